"""Blood loss against what the blood volume and the haematocrit allow."""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline.checks.base import exact, finding, given, rounded, shown, span
from pipeline.dosing import allowable_loss, blood_volume, weight
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "Blood loss is over what blood volume and haematocrit allow: EBV x (Hi - Hf) / Hi, Hf as configured."

_PER_HAEMOGLOBIN = Decimal(3)  # haematocrit in per cent for 1 g/dL; common practice, no source
_PERCENT, _GRAMS = (Decimal(15), Decimal(65)), (Decimal(4), Decimal(20))
_MAN = re.compile(r"\b(?:man|male|gentleman)\b", re.I)
_WOMAN = re.compile(r"\b(?:woman|female|lady)\b", re.I)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    before = _haematocrit(note)
    said_weight = weight(note)
    kilograms = exact(said_weight, "kg") if said_weight is not None else None
    lowest = limit(grammar, note.profile, "lowest_haematocrit")
    if before is None or said_weight is None or kilograms is None or lowest is None or lowest.value is None:
        return []
    if _is_child(note, grammar) or before[1] <= lowest.value:
        return []
    volume = _volume(note, grammar, kilograms)
    if volume is None:
        return []
    most = allowable_loss(volume[0], before[1], lowest.value)
    losses = given(note, "blood_loss")
    whole = [fact for fact in losses if fact.scale == "total"] or losses
    return [
        finding(
            "allowable_loss",
            "warning",
            f"Blood loss of {shown(fact)} is over the {rounded(most, 0)} mL that the haematocrit allows.",
            [fact, before[0], said_weight],
            arithmetic=f"{volume[1]}; {rounded(volume[0], 0)} mL x ({rounded(before[1])} - {rounded(lowest.value)}) / "
            f"{rounded(before[1])} = {rounded(most, 0)} mL, said: {shown(fact)} (lowest haematocrit: {lowest.source})",
            ask="Say the loss again if it was misheard; else say what was given for it.",
        )
        for fact in whole
        if (lost := span(fact, "mL")) is not None and lost.low is not None and lost.low > most
    ]


def _haematocrit(note: OperativeNote) -> tuple[Fact, Decimal] | None:
    """The first haematocrit that was said, in per cent; three times a haemoglobin in g/dL."""
    for fact in note.of("measurement"):
        if fact.name not in ("haemoglobin", "haematocrit") or fact.value is None or fact.certainty == "negated":
            continue
        if fact.unit in ("%", None) and _PERCENT[0] <= fact.value <= _PERCENT[1]:
            return (fact, fact.value) if fact.unit == "%" or fact.value > _GRAMS[1] else None
        grams = exact(fact, "g/dL")
        if grams is not None and _GRAMS[0] <= grams <= _GRAMS[1]:
            return fact, grams * _PER_HAEMOGLOBIN
    return None


def _volume(note: OperativeNote, grammar: Grammar, kilograms: Decimal) -> tuple[Decimal, str] | None:
    """(mL, the sum as worked): Nadler where height and sex are known, else so much for a kilogram."""
    sex = _sex(note)
    heights = [metres for fact in note.of("measurement")
               if fact.name == "height" and (metres := exact(fact, "m")) is not None]  # fmt: skip
    if sex and len(heights) == 1:
        litres = blood_volume(sex, heights[0], kilograms)
        words = f"blood volume after Nadler ({sex}, {rounded(heights[0])} m, {rounded(kilograms)} kg)"
        return litres * 1000, f"{words} = {rounded(litres * 1000, 0)} mL"
    row = limit(grammar, note.profile, "blood_volume", name=sex or "female")  # the smaller one where sex is not known
    if row is None or row.value is None:
        return None
    volume = row.value * kilograms
    return volume, f"blood volume {rounded(row.value)} mL/kg x {rounded(kilograms)} kg = {rounded(volume, 0)} mL"


def _sex(note: OperativeNote) -> str:
    said = {fact.name for fact in note.of("patient_sex")}
    if len(said) == 1:
        return next(iter(said)) or ""
    words = " ".join(passage.text for passage in note.sections.description)
    man, woman = _MAN.search(words), _WOMAN.search(words)
    return "" if bool(man) == bool(woman) else "male" if man else "female"


def _is_child(note: OperativeNote, grammar: Grammar) -> bool:
    row = limit(grammar, note.profile, "adult_from")
    ages = [one.high for fact in note.of("patient_age") if (one := span(fact, "a")) is not None]
    return row is not None and row.value is not None and any(age is not None and age < row.value for age in ages)
