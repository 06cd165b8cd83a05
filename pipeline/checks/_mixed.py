"""Mixtures of drugs: how much of each is in a volume that was said of the whole."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
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
    """`passage`: where it was told what was mixed. `volume`: of the whole. `parts`: drug -> its share of the volume
    (None: not said); `own`: volumes said of the drugs themselves; `strengths`: drug -> the strength said with it."""

    passage: Passage
    volume: Fact
    drugs: list[Fact]
    parts: list[Decimal] | None
    own: list[Fact] = field(default_factory=list)
    strengths: dict[str, Fact] = field(default_factory=dict)


def mixtures_of(note: OperativeNote, grammar: Grammar) -> Iterator[Mixture]:
    """Every volume that was said of a mixture of two drugs and more, told in its sentence or shortly before."""
    table = grammar.table("drugs", Drug)
    for fact in note.of(*_WHOLE, given=True):
        if fact.role in NOT_GIVEN or fact.certainty != "affirmed" or millilitres(fact) is None:
            continue
        passage = next((one for one in note.sections.description if one.holds(fact)), None)
        if passage is None or (fact.kind == "medication_volume" and fact.name != "mixture"):
            continue
        tokens = read(passage)
        share = mixtures.share(tokens)
        where = _told_before(note, passage, table) or passage
        if where is not passage:
            share = mixtures.share(read(where))
        elif fact.name != "mixture" and share is None and not any(token.norm in _WORDS for token in tokens):
            continue
        here = [one for one in note.facts if where.holds(one) and one.name in table and one.name not in _ADDED]
        skin = {one.name for one in here if one.kind == "medication" and _is_for_skin(where, one)}
        here = [one for one in here if one.name not in skin or one.evidence.first > fact.evidence.last]
        dosed = {one.name for one in here if one.kind == "medication_dose"}
        strong = {one.name for one in here if one.kind == "medication_concentration"}
        volumes = {one.name for one in here if one.kind == "medication_volume" and _is_of_it(passage, fact)}
        strong |= volumes
        dosed -= volumes
        drugs = list({
            one.name: one for one in here if one.kind == "medication" and (where is not passage or (
                one.name not in dosed
                and (one.name in strong or "local_anaesthetic" in table[one.name or ""].classes)
            ))
        }.values())  # fmt: skip
        if len(drugs) < 2:
            continue
        yield Mixture(
            where, fact, drugs, share.of(len(drugs)) if share is not None else None,
            [one for one in here if one.kind == "medication_volume"],
            {one.name or "": one for one in here if one.kind == "medication_concentration"},
        )  # fmt: skip


def millilitres(fact: Fact) -> Decimal | None:
    """The single number of a volume; of one that was said without a unit, as it was said."""
    if fact.unit is None and fact.comparator in (None, "~"):
        return fact.value
    return exact(fact, "mL")


def _told_before(note: OperativeNote, passage: Passage, table: Mapping[str, Drug]) -> Passage | None:
    """The sentence in which it was told what was mixed, where this one says "the mixture" or "of this" only."""
    if any(passage.holds(one) and one.name in table for one in note.facts if one.kind == "medication"):
        return None
    if not _BACK.search(passage.text):
        return None
    passages = note.sections.description
    named = _NAMED.search(passage.text) is not None
    at = passages.index(passage)
    for one in reversed(passages[max(0, at - _BACK_MOST) : at]):
        own = {fact.name for fact in note.of("medication_volume") if one.holds(fact) and fact.name in table}
        if len(own) > 1 and (named or _TOGETHER.search(one.text)):
            return one
    return None


_BACK_MOST = 4  # sentences
_BACK = re.compile(r"\b(?:the|this|that) (?:resulting |combined |whole )?(?:mixture|mix|cocktail|blend|combination|"
                   r"solution|syringe)\b|\b(?:of|from) (?:this|that|it|which)\b", re.I)  # fmt: skip
_NAMED = re.compile(r"\bthe (?:mixture|mix|cocktail|blend)\b", re.I)
_TOGETHER = re.compile(r"\b(?:mix\w*|combin\w*|blend\w*|cocktail|together|(?:one|same|single) syringe)\b", re.I)


def _is_of_it(passage: Passage, volume: Fact) -> bool:
    """ "Six mils of it", "of this, six mils": said of what was mixed right before, and not of one drug."""
    words = passage.text.lower().split()
    last = volume.evidence.last - passage.evidence.first
    behind = " ".join(word.strip(",.;") for word in words[last + 1 : last + 4])
    before = " ".join(word.strip(",.;") for word in words[max(0, last - 4) : last])
    return _OF_IT.match(behind) is not None or _OF_THIS.search(before) is not None


_OF_IT = re.compile(r"(?:of|from) (?:it|this|that|which|the (?:mix|mixture|lot))\b")
_OF_THIS = re.compile(r"\b(?:of|from) (?:it|this|that|which)\b")


def _is_for_skin(passage: Passage, drug: Fact) -> bool:
    """ "Three millilitres of lidocaine to the skin": no part of what was mixed."""
    at = drug.evidence.last - passage.evidence.first
    after = " ".join(passage.text.lower().split()[at + 1 : at + 1 + _SKIN_NEAR])
    return _SKIN.match(after) is not None


_SKIN_NEAR = 6
_SKIN = re.compile(
    r"(?:\w+ ){0,2}?(?:to|into|in|for|at|under) (?:the )?(?:skin|subcutis|needle tract|tract|portals?)\b"
)
