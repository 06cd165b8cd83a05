"""Mixtures of drugs: how much of each is in a volume that was said of the whole."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal

from pipeline import mixtures
from pipeline.checks.base import NOT_GIVEN, exact, read
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact
from pipeline.rows import Drug

_WHOLE = ("medication_volume", "injection_total", "injection_volume")
# What is added to a solution, these and what is said with a dose, has no share of its volume.
_ADDED = frozenset({"adrenaline", "epinephrine", "clonidine", "sodium-bicarbonate"})
_WORDS = frozenset("mix mixes mixed mixture mixtures cocktail combination blend".split())


@dataclass(slots=True)
class Mixture:
    """`volume`: of the whole. `parts`: drug -> its share of the volume (None: not said); `own`: volumes said of the
    drugs themselves; `strengths`: drug -> the strength said with it."""

    passage: Passage
    volume: Fact
    drugs: list[Fact]
    parts: list[Decimal] | None
    own: list[Fact] = field(default_factory=list)
    strengths: dict[str, Fact] = field(default_factory=dict)


def mixtures_of(note: OperativeNote, grammar: Grammar) -> Iterator[Mixture]:
    """Every volume that was said of a mixture of two drugs and more in its sentence."""
    table = grammar.table("drugs", Drug)
    for fact in note.of(*_WHOLE, given=True):
        if fact.role in NOT_GIVEN or fact.certainty != "affirmed" or exact(fact, "mL") is None:
            continue
        passage = next((one for one in note.sections.description if one.holds(fact)), None)
        if passage is None or (fact.kind == "medication_volume" and fact.name != "mixture"):
            continue
        tokens = read(passage)
        share = mixtures.share(tokens)
        if fact.name != "mixture" and share is None and not any(token.norm in _WORDS for token in tokens):
            continue
        here = [one for one in note.facts if passage.holds(one) and one.name in table and one.name not in _ADDED]
        skin = {one.name for one in here if one.kind == "medication" and _is_for_skin(passage, one)}
        here = [one for one in here if one.name not in skin or one.evidence.first > fact.evidence.last]
        dosed = {one.name for one in here if one.kind == "medication_dose"}
        strong = {one.name for one in here if one.kind == "medication_concentration"}
        drugs = list({
            one.name: one for one in here if one.kind == "medication" and one.name not in dosed
            and (one.name in strong or "local_anaesthetic" in table[one.name or ""].classes)
        }.values())  # fmt: skip
        if len(drugs) < 2:
            continue
        yield Mixture(
            passage, fact, drugs, share.of(len(drugs)) if share is not None else None,
            [one for one in here if one.kind == "medication_volume"],
            {one.name or "": one for one in here if one.kind == "medication_concentration"},
        )  # fmt: skip


def _is_for_skin(passage: Passage, drug: Fact) -> bool:
    """ "Three millilitres of lidocaine to the skin": no part of what was mixed."""
    at = drug.evidence.last - passage.evidence.first
    after = " ".join(passage.text.lower().split()[at + 1 : at + 1 + _SKIN_NEAR])
    return _SKIN.match(after) is not None


_SKIN_NEAR = 6
_SKIN = re.compile(
    r"(?:\w+ ){0,2}?(?:to|into|in|for|at|under) (?:the )?(?:skin|subcutis|needle tract|tract|portals?)\b"
)
