"""Blood loss over the configured flag, by weight in a child."""

from __future__ import annotations

from pipeline.checks.base import amount, finding, given, rounded, shown, span
from pipeline.dosing import weight
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Finding

MEANING = "Blood loss is over the configured flag: 500 mL in an adult, 7 mL/kg in a child (WHO checklist)."


# kg: whoever weighs less is a child where no age was said. Common practice, no source.
_LIGHT = 30


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    adult_from = limit(grammar, note.profile, "adult_from")
    ages = [one.high for fact in note.of("patient_age") if (one := span(fact, "a")) is not None]
    years = min((age for age in ages if age is not None), default=None)
    child = years is not None and adult_from is not None and adult_from.value is not None and years < adult_from.value
    said = weight(note)
    kilograms = span(said, "kg") if said is not None else None
    if years is None and kilograms is not None and kilograms.high is not None:
        child = kilograms.high < _LIGHT
    row = limit(grammar, note.profile, "flag", kind="blood_loss", name="child" if child else note.family or "")
    if row is None or row.value is None:
        return []
    most, worked = row.value, ""
    if row.unit == "mL/kg":
        if kilograms is None or kilograms.low is None:
            return []
        most = row.value * kilograms.low
        worked = f"{rounded(row.value)} mL/kg x {rounded(kilograms.low)} kg = {rounded(most)} mL; "
    found: list[Finding] = []
    losses = given(note, "blood_loss")
    whole = [fact for fact in losses if fact.scale == "total" and fact.unit is not None]
    for fact in whole or losses:
        lost = span(fact, "mL")
        if lost is None or lost.low is None or lost.low <= most:
            continue
        found.append(
            finding(
                "blood_loss_flag",
                "warning",
                f"Blood loss of {shown(fact)} is over the configured {amount(round(most, 1), 'mL')}.",
                [fact],
                arithmetic=f"{worked}{shown(fact)} > {rounded(most)} mL ({row.source})",
                ask="Say the loss again if it was misheard; else say what was given for it.",
            )
        )
    return found
