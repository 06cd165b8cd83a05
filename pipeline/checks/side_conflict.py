"""Left and right of the operation across the whole note; the harvest side may differ."""

from __future__ import annotations

from pipeline.checks.base import called, finding, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Kind

MEANING = "Two statements of the note name different sides of the same operation; the harvest side is its own."

# Kinds that name the side of the operation. Harvest and what belongs to it is taken from wherever it is taken.
_TARGET = (
    "procedure", "preop_diagnosis", "postop_diagnosis", "diagnosis", "consent", "time_out", "site_marking",
    "indication", "imaging", "preparation", "approach", "act", "finding", "injection", "injection_volume",
    "injection_total", "injection_depth", "device", "tourniquet", "aftercare", "dressing", "drain", "specimen",
    "closure", "grade", "measurement",
)  # fmt: skip
# Of these a conflict says that one of the two is wrong; others may speak of the healthy side for comparison.
_FIRM = frozenset({"procedure", "preop_diagnosis", "postop_diagnosis", "consent", "time_out", "site_marking",
                   "injection", "injection_volume", "device", "tourniquet", "act", "approach",
                   "preparation"})  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    sided = [fact for fact in note.of(*_TARGET) if fact.laterality is not None and _speaks(fact)]
    harvested = {site.id for site in (site_of(fact, grammar) for fact in note.of("harvest_site")) if site}
    sided = [fact for fact in sided if not _harvest(fact, harvested, grammar)]
    operated = [fact for fact in sided if fact.kind == "procedure" and fact.certainty == "affirmed"]
    sides = {fact.laterality for fact in operated}
    if not operated:
        return _among(sided, grammar)
    if "bilateral" in sides or len(sides) > 1:
        return _two_procedures(operated, grammar) if "bilateral" not in sides else []
    (side,) = sides
    wrong = [fact for fact in sided if fact.laterality not in (side, None) and fact not in operated]
    return [_conflict(operated[0], fact, grammar) for fact in wrong]


def _speaks(fact: Fact) -> bool:
    return fact.certainty != "negated" and fact.status in ("performed", "planned") and fact.role != "harvest"


def _harvest(fact: Fact, harvested: set[str], grammar: Grammar) -> bool:
    """Whether a fact is about the place of the harvest (its closure, its dressing, its portal)."""
    site = site_of(fact, grammar)
    return fact.kind != "procedure" and site is not None and (site.id in harvested or site.within in harvested)


def _among(sided: list[Fact], grammar: Grammar) -> list[Finding]:
    firm = [fact for fact in sided if fact.kind in _FIRM and fact.laterality != "bilateral"]
    other = next((fact for fact in firm if fact.laterality != firm[0].laterality), None)
    return [_conflict(firm[0], other, grammar)] if other is not None else []


def _two_procedures(operated: list[Fact], grammar: Grammar) -> list[Finding]:
    """The same operation said for two sides, neither as bilateral. Two different ones may well have two sides."""
    found: list[Finding] = []
    for index, first in enumerate(operated):
        for second in operated[index + 1 :]:
            same = first.name == second.name and first.name is not None
            if same and first.laterality != second.laterality:
                found.append(_conflict(first, second, grammar))
    return found


def _conflict(first: Fact, second: Fact, grammar: Grammar) -> Finding:
    kinds = grammar.table("kinds", Kind)
    label = kinds[second.kind].name.lower() if second.kind in kinds else second.kind
    firm = second.kind in _FIRM and second.certainty == "affirmed"
    return finding(
        "side_conflict",
        "blocking" if firm else "warning",
        f"Side: {called(first, grammar, 'the operation')} was said for the {first.laterality}, "
        f"{label} ({called(second, grammar)}) for the {second.laterality}.",
        [first, second],
        ask="Say which side is right.",
    )
