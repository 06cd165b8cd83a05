"""A volume of a mixture against the volumes that were mixed."""

from __future__ import annotations

from decimal import Decimal

from pipeline.checks._mixed import Mixture, millilitres, mixtures_of
from pipeline.checks.base import called, finding, plain, rounded, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding

MEANING = "The drugs of a mixture do not come to its stated total, or more of it was given than was mixed."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    told_mixtures = list(mixtures_of(note, grammar))
    for mixture in told_mixtures:
        own = [millilitres(fact) for fact in mixture.own]
        whole = millilitres(mixture.volume)
        known = [one for one in own if one is not None]
        # A drug without a volume of its own, or one that is said for each, leaves the sum open.
        told = {fact.name for fact in mixture.own}
        if whole is None or len(known) < len(own) or any(fact.scale for fact in mixture.own):
            continue
        if len(told) < 2 or not told >= {fact.name for fact in mixture.drugs}:
            continue
        added = sum(known, Decimal(0))
        before, volumes = _before(mixture, told_mixtures), [mixture.volume]
        if before:  # "5 mL of the mixture medially and 5 mL laterally"
            volumes = [one.volume for one in before] + volumes
            whole = sum((millilitres(one) or Decimal(0) for one in volumes), Decimal(0))
        is_total = mixture.volume.scale == "total" or mixture.volume.kind == "injection_total"
        if whole > added or (is_total and whole != added):
            terms = " + ".join(rounded(one) for one in known)
            said = " + ".join(shown(one) for one in volumes)
            names = " and ".join(called(fact, grammar) for fact in mixture.drugs)
            found.append(
                finding(
                    "mixture_total",
                    "warning",
                    f"The volumes of {names} come to {plain(added)} mL; {said} were said of "
                    f"{'both' if len(mixture.drugs) == 2 else 'all'}.",
                    [*mixture.own, *volumes],
                    arithmetic=f"{terms} = {plain(added)} mL, said: {said}",
                    ask="Say which is right: a volume, the total, or something that was not said.",
                )
            )
    return found


def _before(mixture: Mixture, mixtures: list[Mixture]) -> list[Mixture]:
    """Further volumes of one mixture, told before this one and in another sentence than what was mixed."""
    if mixture.passage.holds(mixture.volume) or mixture.volume.scale:
        return []
    return [
        one for one in mixtures
        if one.passage is mixture.passage and one is not mixture and one.volume.scale is None
        and not one.passage.holds(one.volume) and one.volume.evidence.first < mixture.volume.evidence.first
    ]  # fmt: skip
