"""A number that needs a unit and was said without one."""

from __future__ import annotations

from pipeline.checks.base import called, finding, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Concept, Drug, Kind

MEANING = "A value of a kind that needs a unit was said without one; the unit is asked for, never inferred."

# Often said as a bare number by habit; asked for quietly.
_QUIET = frozenset({"pressure", "follow_up", "incision_length", "patient_age", "measurement", "duration"})
_IN_MMHG = frozenset({"blood-pressure", "systolic-pressure", "diastolic-pressure", "mean-arterial-pressure"})


def _by_convention(fact: Fact, grammar: Grammar) -> bool:
    """Blood products are counted in packs, blood pressure is always in mmHg: nothing to ask."""
    row = grammar.table("fluids", Concept).get(fact.name or "")
    packs = fact.kind == "fluid_in" and row is not None and row.group == "blood"
    drug = grammar.table("drugs", Drug).get(fact.name or "") if fact.kind == "medication_dose" else None
    named = drug is not None and "contrast" in drug.classes  # "Isovue 300": the strength is part of its name
    return packs or named or (fact.kind == "pressure" and fact.name in _IN_MMHG)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    kinds = grammar.table("kinds", Kind)
    found: list[Finding] = []
    for fact in note.facts:
        kind = kinds.get(fact.kind)
        if kind is None or kind.value != "quantity" or not kind.dimensions or fact.unit is not None:
            continue
        if set(kind.dimensions) & {"none", "ratio", "turns"} or fact.certainty == "negated":
            continue
        if fact.value is None and fact.low is None:
            continue
        if fact.value == 0 or _by_convention(fact, grammar):
            continue
        about = called(fact, grammar)
        subject = f"{kind.name} ({about})" if about and about != fact.text else kind.name
        found.append(
            finding(
                "unit_missing",
                "note" if fact.kind in _QUIET else "warning",
                f"{subject} was said as {shown(fact)} without a unit.",
                [fact],
                ask="Say the value with its unit.",
            )
        )
    return found
