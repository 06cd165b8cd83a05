"""Sides that the narration says once and means for what follows.

"Then the left ear. Drum retracted. Grommet inserted." A side that opens a sentence as its heading stands until another
side is said. Where every operation of the narration has one and the same side, and no other side was said of what was
done or seen, the parts of that operation have it too. Only things that have a left and a right take a side over;
what stands beside "the other side", a history or a plan takes none.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline import laterality
from pipeline.extractors.base import scope_at
from pipeline.grammar import Grammar
from pipeline.laterality import Side
from pipeline.records import Fact, Laterality, Reading, Sentence
from pipeline.rows import Concept, Device, Kind

_STEPS = frozenset("procedure act finding grade complication measurement device drain specimen".split())
_OF_DEVICE = frozenset({"device_size", "device_count"})
_OF_OPERATION = _STEPS - {"measurement", "drain", "specimen"} | {"diagnosis", "preop_diagnosis", "postop_diagnosis"}
_HARVEST = frozenset({"harvest_site"})


def inherit(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, those without a side with the one that stands over them. Pure; order kept."""
    operation, said = _operation(facts, grammar)
    standing = _Standing(reading, grammar)
    if operation is None and not standing.any:
        return list(facts)
    alone = not any(fact.laterality not in (None, operation) and _counts(fact) for fact in facts)
    result: list[Fact] = []
    given: dict[str, Laterality] = {}
    for fact in facts:
        side = None
        if fact.laterality is None and fact.kind in _STEPS | _OF_OPERATION and _free(fact) and _named(fact):
            place = standing.at(fact.evidence.first)
            stands = place.side is not None and operation in (None, place.side)
            if stands and fact.kind in _STEPS and _may_have(fact, grammar, strict=False):
                side = place.side
            elif operation is not None and fact.kind in _OF_OPERATION and fact.evidence.first > said:
                near = place.last in (None, operation)
                if (alone or near) and not place.other and _may_have(fact, grammar, strict=True):
                    side = operation
        if side is not None and fact.group is not None:
            given[fact.group] = side
        result.append(fact if side is None else replace(fact, laterality=side))
    return [
        replace(fact, laterality=given[fact.group])
        if fact.kind in _OF_DEVICE and fact.laterality is None and fact.group in given else fact
        for fact in result
    ]  # fmt: skip


def _operation(facts: Sequence[Fact], grammar: Grammar) -> tuple[Laterality | None, int]:
    """The side that all operations which were done and have one agree on (never both), and the word at which it was
    first said: what comes before may be an operation on the other side.

    An operation on what there is once (the spine, the bowel) may be done from one side; its parts lie on both, and it
    hands nothing on."""
    sided = [fact for fact in facts if fact.kind == "procedure" and fact.laterality and _counts(fact)]
    sides = {fact.laterality for fact in sided}
    side = next(iter(sides)) if len(sides) == 1 else None
    if side == "bilateral" or not any(_is_paired(fact, grammar) for fact in sided):
        return None, 0
    return side, min((fact.evidence.first for fact in sided), default=0)


def _is_paired(fact: Fact, grammar: Grammar) -> bool:
    row = grammar.tables["procedures"].get(fact.name or "")
    site = grammar.table("sites", Concept).get(fact.body_site or (row.site if isinstance(row, Concept) else ""))
    if isinstance(row, Concept):
        return row.sided or (site is not None and site.sided and row.site != "")
    return site is not None and site.sided


def _counts(fact: Fact) -> bool:
    return fact.status == "performed" and fact.role != "harvest" and fact.kind not in _HARVEST


def _free(fact: Fact) -> bool:
    if fact.kind in ("procedure", "device") and fact.certainty != "affirmed":
        return False
    return fact.status == "performed" and not any("side" in doubt for doubt in fact.doubts)


def _named(fact: Fact) -> bool:
    return fact.name not in ("none", "any", "any-other") and fact.text != "none"


def _may_have(fact: Fact, grammar: Grammar, *, strict: bool) -> bool:
    """Whether a thing can have a side: its row or its part of the body has one. Not `strict`: nothing says that it has
    none."""
    sites = grammar.table("sites", Concept)
    table = grammar.table("kinds", Kind)[fact.kind].table
    row = grammar.tables.get(table, {}).get(fact.name or "")
    site = sites.get(fact.body_site or (row.site if isinstance(row, Concept) else ""))
    if fact.kind == "measurement":
        return fact.name == "size"
    if isinstance(row, Device):
        return row.implant and fact.role == "implanted"
    if site is not None:
        return site.sided
    return (isinstance(row, Concept) and row.sided) or not strict


@dataclass(frozen=True, slots=True)
class _Place:
    """What stands at a word: `side` said as a heading, `last` side said before, `other`: another one than the
    operation's is spoken of here."""

    side: Laterality | None
    last: Laterality | None
    other: bool


class _Standing:
    """The sides that stand over a narration, by word."""

    def __init__(self, reading: Reading, grammar: Grammar) -> None:
        self._starts: list[int] = []
        self._places: list[_Place] = []
        self.any = False
        side: Laterality | None = None
        last: Laterality | None = None
        for sentence in reading.sentences:
            if not sentence.tokens:
                continue
            if sentence.section in _ELSEWHERE:
                side = None
                self._put(sentence.tokens[0].first, _Place(None, None, other=True))
                continue
            norms = {token.norm for token in sentence.tokens}
            other = bool(norms & _OTHER) or bool(norms & _TAKEN and "from" in norms)
            said = [one for one in laterality.sides(sentence, grammar)
                    if scope_at(sentence, "status", one.first, "performed") == "performed"]  # fmt: skip
            other = other or any(one.value is None for one in said)
            head = _heading(sentence, said)
            if head is not None:
                side = last = head
                self.any = True
            elif any(one.value != side for one in said):
                side = None
                last = said[-1].value
            self._put(sentence.tokens[0].first, _Place(None if other else side, last, other))

    def _put(self, word: int, place: _Place) -> None:
        self._starts.append(word)
        self._places.append(place)

    def at(self, word: int) -> _Place:
        index = bisect_right(self._starts, word) - 1
        return self._places[index] if index >= 0 else _Place(None, None, other=True)


# Sections that tell of something else than the work on one side.
_ELSEWHERE = frozenset(
    "history consent aftercare follow-up team identity disposition counts diagnosis imaging indication preop-diagnosis "
    "postop-diagnosis both-diagnoses".split()
)
_OTHER = frozenset({"each", "other", "opposite", "contralateral", "opposing", "sides"})
_TAKEN = frozenset({"graft", "grafts", "autograft", "harvest", "harvested", "donor"})  # where it was taken, not put
_LEAD = frozenset(
    "then now next and first firstly second secondly finally on the in to at for over back attention was were turned "
    "directed drawn moving turning going moved went turn go we i same again a of started starting start with began "
    "beginning begin so okay ok right side only , proceeded continuing continued onto today it is it's this that's "
    "we're are operating operation procedure case doing working".split()
)
_BEHIND = frozenset(
    "side ear eye one first next now then second too again as well likewise done procedure operation case today".split()
)
_SHUT = frozenset({",", ":", ".", ";", "-", "—", "–"})


def _heading(sentence: Sentence, said: list[Side]) -> Laterality | None:
    """The side that a sentence opens with and means for what follows: "Right ear first.", "On the left, ..."."""
    if not said or len({one.value for one in said}) != 1 or any(one.axis == "status" for one in sentence.scopes):
        return None
    first = said[0]
    tokens = sentence.tokens
    before = {index for m in sentence.mentions if m.table == "sites" for index in range(m.first, m.last + 1)
              if m.first == 0 and m.last + 2 == first.first and tokens[m.last + 1].norm == ","}  # "Shoulder, left"
    if first.first > 8 or any(token.norm not in _LEAD and index not in before
                              for index, token in enumerate(tokens[: first.first])):  # fmt: skip
        return None
    at = first.last + 1
    sites = {m.first: m.last for m in sentence.mentions if m.table == "sites"}
    own = {m.first: m.last for m in sentence.mentions if m.table == "sites" and m.first <= first.first <= m.last}
    at = max([at, *(last + 1 for last in own.values())])
    while at < len(tokens) and (at in sites or tokens[at].norm in _BEHIND):
        at = sites.get(at, at) + 1
    led = any(token.norm in ("on", "to") for token in tokens[: first.first])
    if at < len(tokens) and tokens[at].norm not in _SHUT and not led:
        return None
    return first.value
