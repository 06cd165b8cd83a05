"""Sides that the narration says once and means for what follows.

"Then the left ear. Drum retracted. Grommet inserted." A side that opens a sentence as its heading stands until another
side is said. Where every operation of the narration has one and the same side, and no other side was said of what was
done or seen, the parts of that operation have it too. Only things that have a left and a right take a side over;
what stands beside "the other side", a history or a plan takes none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline import stated_sides
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading
from pipeline.rows import Concept, Device, Kind
from pipeline.standing import Standing

_STEPS = frozenset("procedure act finding grade complication measurement device drain specimen".split())
_OF_DEVICE = frozenset({"device_size", "device_count"})
_OF_OPERATION = _STEPS - {"measurement", "drain", "specimen"} | {"diagnosis", "preop_diagnosis", "postop_diagnosis"}
_HARVEST = frozenset({"harvest_site"})


def inherit(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, those without a side with the one that stands over them. Pure; order kept."""
    facts = stated_sides.state(facts, reading, grammar)
    operation, said = _operation(facts, grammar)
    standing = Standing(reading, grammar, _operated(facts, grammar))
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


def _operated(facts: Sequence[Fact], grammar: Grammar) -> frozenset[str]:
    """The parts of the body that the operations of the narration are on."""
    rows = grammar.table("procedures", Concept)
    named = [(fact, rows.get(fact.name or "")) for fact in facts if fact.kind == "procedure" and _counts(fact)]
    return frozenset(fact.body_site or (row.site if row is not None else "") for fact, row in named) - {""}


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
