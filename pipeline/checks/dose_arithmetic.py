"""Concentration x volume against the stated dose."""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline.checks import _sold
from pipeline.checks._spoken_counts import shares
from pipeline.checks.base import NOT_GIVEN, exact, finding, plain, read, rounded, shown, span, unit_words
from pipeline.conversion import convertible
from pipeline.dosing import Dose, doses, in_solution, told_behind
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Scale

MEANING = "Concentration times volume does not give the stated dose (1 % is 10 mg/mL), or no such strength is sold."

# A dose said to the nearest whole number agrees with the computed one. Convention of this project.
_ROUNDING = Decimal("0.02")
_PIECES = 6  # ports, levels or needles; of more, ten times the dose would pass as ten pieces


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    said = doses(fact for fact in note.facts if fact.certainty != "negated" and fact.role not in NOT_GIVEN)
    for dose in told_behind(note, said):
        one = _compare(note, dose, grammar) or _volume_for_dose(dose, grammar) or _too_dense(dose, grammar)
        one = one or _sold.not_sold(note, dose, grammar)
        if one is not None:
            found.append(one)
    return found


def _compare(note: OperativeNote, dose: Dose, grammar: Grammar) -> Finding | None:
    doses_said = [fact for fact in dose.of("medication_dose") if fact.unit not in _PIECE_UNITS]
    strengths, said = dose.one("medication_concentration"), doses_said[0] if len(doses_said) == 1 else None
    own = [fact for fact in dose.of("medication_volume") if not (fact.unit or "").endswith("/kg")]
    volumes = _times_out(note, _packed_out(dose, own))
    if strengths is None or said is None or not volumes or strengths.value is None or strengths.unit is None:
        return None
    if said.value is None or said.unit is None or (said.scale == "each" and len(volumes) > 1):
        return None
    volume = _volume(volumes)
    worked = None if volume is None else in_solution(strengths.value, strengths.unit, volume, "mL")
    if worked is None or volume is None or not convertible(said.unit, worked[1]):
        return None
    wanted = span(said, worked[1])
    slack = worked[0] * _ROUNDING
    if wanted is None or wanted.low is None:
        return None
    if wanted.high is not None and any(
        wanted.low - slack * times <= worked[0] * times <= wanted.high + slack * times
        for times in _times(_scale(volumes), said.scale, wanted.low / worked[0] if worked[0] else Decimal(0))
    ):
        return None
    if _of_a_whole(note, dose, said, worked[0] / volume, wanted.low if wanted.low == wanted.high else None):
        return None
    if _of_one_volume(own, worked[0] / volume, wanted.low if wanted.low == wanted.high else None):
        return None
    if said.scale == "each" and _said_shares(note, said) * worked[0] == wanted.low == wanted.high:
        return None  # "half a millilitre at each of three needles, thirty milligrams": the dose is of all of them
    factor = worked[0] / wanted.low if wanted.low else Decimal(0)
    far = factor >= 10 or factor <= Decimal("0.1")
    label = grammar.tables.get("drugs", {}).get(dose.drug)
    facts: list[Fact] = [strengths, *volumes, said]
    return finding(
        "dose_arithmetic",
        "blocking" if far else "warning",
        f"{label.name if label else dose.drug}: the volume and the strength give "
        f"{rounded(worked[0])} {unit_words(worked[1])}, the dose was said as {shown(said)}.",
        facts,
        arithmetic=f"{shown(strengths)} x {rounded(volume)} mL = {rounded(worked[0])} {unit_words(worked[1])}, "
        f"said: {shown(said)}",
        ask="Say which is right: the strength, the volume or the dose.",
    )


def _of_a_whole(note: OperativeNote, dose: Dose, said: Fact, strength: Decimal, value: Decimal | None) -> bool:
    """ "Fifteen mils at the wrist and five at the finger, so twenty mils altogether, two hundred milligrams": the dose
    is of a whole that was said with it, of which the volume that was understood is a part."""
    passage = next((one for one in note.sections.description if one.holds(said)), None)
    if passage is None or value is None or not strength:
        return False
    own = [fact.value for fact in dose.of("medication_volume") if fact.value is not None]
    tokens = read(passage)
    end = said.evidence.last - passage.evidence.first
    begun = min(fact.evidence.first for fact in (said, *dose.of("medication"))) - passage.evidence.first
    for at, token in enumerate(tokens):
        quantity = token.quantity
        if quantity is None or quantity.value is None or quantity.unit != "mL" or not (
            max(begun, end - _DOSE_WORDS) <= token.first <= end + _DOSE_WORDS
        ):
            continue
        near = {one.norm for one in tokens[max(0, at - 3) : at + 4]}
        if near & _WHOLE and quantity.value * strength == value and any(part < quantity.value for part in own):
            return True
    return False


def _of_one_volume(volumes: list[Fact], strength: Decimal, value: Decimal | None) -> bool:
    """ "Four carpules of 1.7, 6.8 millilitres, 272 milligrams": the dose is of the whole, which the others make up."""
    said = sorted(one.value for one in volumes if one.value is not None)
    if len(said) < 2 or len(said) != len(volumes) or value is None or said[-1] * strength != value:
        return False
    return all(one > 0 and not said[-1] % one for one in said[:-1]) or sum(said[:-1]) == said[-1]


_WHOLE = frozenset({"total", "altogether", "all", "together", "whole", "makes", "so", "=", "that's"})
_DOSE_WORDS = 8  # words between the whole and its dose


_PIECE_UNITS = frozenset({"{cartridge}", "{vial}", "{ampoule}", "{ampule}"})


def _packed_out(dose: Dose, volumes: list[Fact]) -> list[Fact]:
    """ "Four cartridges of 1.8 mL, 7.2 mL": the volume of one is not added to that of all."""
    pieces = [fact for fact in dose.of("medication_dose") if fact.unit in _PIECE_UNITS and fact.value is not None]
    if len(pieces) != 1 or len(volumes) != 2:
        return volumes
    number = pieces[0].value or Decimal(1)
    one, other = volumes
    if one.value is not None and other.value is not None and one.value * number == other.value:
        return [other]
    return volumes


def _times_out(note: OperativeNote, volumes: list[Fact]) -> list[Fact]:
    """ "2 x 2.2 mL lido 2 % = 4.4 mL": what each holds is not added to what they come to."""
    for one, whole in (volumes, volumes[::-1]) if len(volumes) == 2 else ():
        passage = next((place for place in note.sections.description if place.holds(one)), None)
        if passage is None or one.value is None or whole.value is None:
            continue
        packs = re.search(rf"\b(\d+) (?:[a-z]+ )?x {plain(one.value)} ?ml", passage.text.lower())
        if packs is not None and int(packs[1]) * one.value == whole.value:
            return [whole]  # also "3 cartridges x 1.8 mL = 5.4 mL"
    return volumes


def _said_shares(note: OperativeNote, fact: Fact) -> int:
    """Of how many things the sentence of a fact says "each"; 0 where it does not tell."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    return 0 if passage is None else shares(read(passage)) or 0


def _scale(volumes: list[Fact]) -> Scale | None:
    """What a volume is for: each or a side only where nothing was said of the whole."""
    scales = {fact.scale for fact in volumes}
    return next(iter(scales)) if len(scales) == 1 else None


def _times(volume: Scale | None, dose: Scale | None, ratio: Decimal) -> tuple[Decimal, ...]:
    """By what the worked dose may be multiplied: the volume may be for a side or a piece and the dose for all.

    "5 mL of 1 % each side, 100 mg in all" holds with 2; of pieces the number is not always said, so any whole
    number of them holds.
    """
    one, two = Decimal(1), Decimal(2)
    if volume == dose:
        return (one,)
    if "each" in (volume, dose):
        pieces = ratio if volume == "each" else (one / ratio if ratio else ratio)
        whole = round(pieces)
        return (one, (Decimal(whole) if volume == "each" else one / whole) if 2 <= whole <= _PIECES else one)
    if volume == "per_side":
        return (two,) if dose == "total" else (one, two)
    if dose == "per_side":
        return (one / two,) if volume == "total" else (one, one / two)
    return (one,)


def _volume_for_dose(dose: Dose, grammar: Grammar) -> Finding | None:
    """Two volumes of which one is the dose in milligrams of the other: the unit of the dose was wrong."""
    strengths, volumes = dose.one("medication_concentration"), dose.of("medication_volume")
    if strengths is None or strengths.value is None or strengths.unit is None or len(volumes) != 2:
        return None
    for first, second in (volumes, volumes[::-1]):
        if first.value is None or second.value is None or {first.unit, second.unit} != {"mL"}:
            continue
        worked = in_solution(strengths.value, strengths.unit, first.value, "mL")
        if worked is None or worked[1] != "mg" or worked[0] != second.value:
            continue
        if second.scale == "total" and first.scale in ("each", "per_side") and not second.value % first.value:
            continue  # "sixty mils round each knee, so a hundred and twenty mils in both"
        label = grammar.tables.get("drugs", {}).get(dose.drug)
        return finding(
            "dose_arithmetic",
            "warning",
            f"{label.name if label else dose.drug}: {shown(second)} was said, and {rounded(worked[0])} mg is the dose "
            f"in {shown(first)}.",
            [strengths, first, second],
            arithmetic=f"{shown(strengths)} x {shown(first)} = {rounded(worked[0])} mg, said: {shown(second)}",
            ask=f"Say whether {rounded(worked[0])} mg was meant.",
        )
    return None


_DENSEST = Decimal(1000)  # mg/mL: what is dissolved in water weighs less than the water does (1 g/mL)


def _too_dense(dose: Dose, grammar: Grammar) -> Finding | None:
    """ "One gram in 0.1 mL": more than such a volume of water weighs; the unit of the dose or the volume is wrong."""
    said, volume = dose.one("medication_dose"), dose.one("medication_volume")
    if said is None or volume is None or dose.of("medication_concentration") or said.scale != volume.scale:
        return None
    mass, room = exact(said, "mg"), exact(volume, "mL")
    if mass is None or room is None or room <= 0 or mass / room <= _DENSEST:
        return None
    label = grammar.tables.get("drugs", {}).get(dose.drug)
    return finding(
        "dose_arithmetic",
        "warning",
        f"{label.name if label else dose.drug}: {shown(said)} cannot be in {shown(volume)}.",
        [said, volume],
        arithmetic=f"{shown(said)} / {shown(volume)} = {rounded(mass / room)} mg/mL > {rounded(_DENSEST)} mg/mL",
        ask="Say the dose and the volume again, with their units.",
        about="dense",
    )


def _volume(volumes: list[Fact]) -> Decimal | None:
    """The volume of one giving in mL: the one that was said, or the sum of the parts.

    Beside the whole, what went into each port or side is a part of it ("30 mL, 10 mL per port").
    """
    for scales in (("total",), (None,)):
        whole = [fact for fact in volumes if fact.scale in scales]
        if whole and len(volumes) > 1:
            volumes = whole
            break
    spans = [span(fact, "mL") for fact in volumes]
    total = Decimal(0)
    for one in spans:
        if one is None or one.low is None or one.low != one.high:
            return None
        total += one.low
    return total
