"""The weight of a child against its age: doses go by it, and a slip by ten is easily made."""

from __future__ import annotations

from decimal import Decimal

from pipeline.checks.base import finding, rounded, shown, span
from pipeline.dosing import weight
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding

MEANING = "A child's weight is far from what is usual at its age (2 x age + 8 kg, from six years on 3 x age + 7 kg)."

_SOURCE = "APLS formulas [from memory]"
_NEWBORN, _YOUNGEST, _SCHOOL, _OLDEST = Decimal(0), Decimal(1), Decimal(6), Decimal(12)
_LEAST, _MOST = Decimal("0.45"), Decimal("2.5")  # of the usual weight; convention of this project, no source


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    said = weight(note)
    ages = [fact for fact in note.of("patient_age") if fact.status == "performed" and fact.value is not None]
    kilograms = span(said, "kg") if said is not None and said.unit is not None else None
    years = span(ages[0], "a") if len(ages) == 1 and ages[0].unit is not None else None
    if said is None or kilograms is None or years is None or years.low is None or kilograms.low is None:
        return []
    age = years.low
    if not _NEWBORN <= age <= _OLDEST:
        return []
    infant = age < _YOUNGEST
    usual = age * 6 + 4 if infant else age * 3 + 7 if age >= _SCHOOL else age * 2 + 8
    if (usual * _LEAST <= kilograms.low or infant) and kilograms.low <= usual * _MOST:
        return []  # an infant born early may be far lighter
    return [
        finding(
            "weight_for_age",
            "warning",
            f"{shown(said)} is far from what is usual at {shown(ages[0])}.",
            [said, ages[0]],
            arithmetic=f"{shown(said)} against about {rounded(usual)} kg ({_SOURCE})",
            ask="Say the weight and the age again.",
        )
    ]
