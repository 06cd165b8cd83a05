"""A volume of a mixture against the volumes that were mixed."""

from __future__ import annotations

from decimal import Decimal

from pipeline.checks._mixed import mixtures_of
from pipeline.checks.base import called, exact, finding, plain, rounded, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding

MEANING = "The drugs of a mixture do not come to its stated total, or more of it was given than was mixed."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for mixture in mixtures_of(note, grammar):
        own = [exact(fact, "mL") for fact in mixture.own]
        whole = exact(mixture.volume, "mL")
        known = [one for one in own if one is not None]
        # A drug without a volume of its own, or one that is said for each, leaves the sum open.
        told = {fact.name for fact in mixture.own}
        if whole is None or len(known) < len(own) or any(fact.scale for fact in mixture.own):
            continue
        if len(told) < 2 or not told >= {fact.name for fact in mixture.drugs}:
            continue
        added = sum(known, Decimal(0))
        is_total = mixture.volume.scale == "total" or mixture.volume.kind == "injection_total"
        if whole > added or (is_total and whole != added):
            terms = " + ".join(rounded(one) for one in known)
            names = " and ".join(called(fact, grammar) for fact in mixture.drugs)
            found.append(
                finding(
                    "mixture_total",
                    "warning",
                    f"The volumes of {names} come to {plain(added)} mL; {shown(mixture.volume)} were said of both.",
                    [*mixture.own, mixture.volume],
                    arithmetic=f"{terms} = {plain(added)} mL, said: {shown(mixture.volume)}",
                    ask="Say which is right: a volume, the total, or something that was not said.",
                )
            )
    return found
