"""A number that needs a unit and was said without one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from itertools import accumulate

from pipeline.checks import _into, _syringes
from pipeline.checks.base import EACH_OF_TWO, called, exact, finding, read, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Concept, Drug, Kind

MEANING = "A value of a kind that needs a unit was said without one; the unit is asked for, never inferred."

# Parts whose sum a bare number may be, so that its unit can be no other: asked for quietly.
_PARTS = {"harvest_total": ("draw",), "injection_total": ("injection_volume",)}

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
                "note" if fact.kind in _QUIET or _is_told(note, fact) or _one_unit(fact, grammar) or _is_cuff(fact)
                else "warning",
                f"{subject} was said as {shown(fact)} without a unit.",
                [fact],
                ask="Say the value with its unit.",
            )
        )
    return found


# Millimetres of mercury that a tourniquet is blown up to; by habit they are said bare ("tourniquet two fifty").
_LEAST, _MOST = 100, 400  # common practice, no source


def _is_cuff(fact: Fact) -> bool:
    return fact.kind == "tourniquet_pressure" and fact.value is not None and _LEAST <= fact.value <= _MOST


def _one_unit(fact: Fact, grammar: Grammar) -> bool:
    """ "Aspirin eighty one daily": a medicine to take at home that is dosed in one unit only."""
    drug = grammar.table("drugs", Drug).get(fact.name or "") if fact.kind == "medication_dose" else None
    return drug is not None and fact.status == "planned" and drug.dose_units == ("mg",)


def _is_told(note: OperativeNote, fact: Fact) -> bool:
    """Whether the other numbers of the note leave one unit only: the same number was said with it, or the number is the
    sum, or the rest, of others that have it."""
    if fact.value is None:
        return False
    if fact.kind == "medication_volume" and _makes_the_dose(note, fact):
        return True
    if fact.kind in ("irrigation_out", "irrigation_deficit"):
        return _balances(note, fact)
    alike = [one for one in note.of(fact.kind) if one is not fact and one.certainty != "negated"
             and (one.name == fact.name or fact.kind == "draw")]  # fmt: skip
    if any(one.value == fact.value and one.unit is not None for one in alike):
        return True
    if fact.kind == "injection_volume" and (_shares_out(note) or _of_what_was_made(note, fact)):
        return True
    if fact.kind == "draw" and fact.scale == "each" and _makes_the_total(note, fact):
        return True
    if fact.kind == "harvest_total" and _syringes.explain(note, note.of("draw", given=True), fact):
        return True
    if fact.kind in ("injection_total", "harvest_total") and _said_sum(note, fact):
        return True
    if fact.kind in _PARTS:
        parts = [one for one in note.of(*_PARTS[fact.kind], given=True) if one.scale != "each"]
        before = [one for one in alike if one.evidence.first < fact.evidence.first]
        return _sums(parts, fact.value) or _sums(before, fact.value) or _times(note, fact)
    if fact.kind == "blood_loss" and _shares_loss(note, alike):
        return True
    parts = [one for one in alike if one.scale not in ("total", "per_side")]
    return (fact.scale == "total" and _sums(parts, fact.value)) or _of_a_sum(note, fact)


def _makes_the_dose(note: OperativeNote, fact: Fact) -> bool:
    """ "Twenty of quarter percent Marcaine, fifty milligrams": with the strength it makes the dose in one unit only."""
    said = [one for one in note.facts if one.name == fact.name and one.group == fact.group and one.value is not None]
    strengths = {one.value for one in said if one.kind == "medication_concentration" and one.unit == "%"}
    doses = {one.value for one in said if one.kind == "medication_dose" and one.unit == "mg"}
    return any((fact.value or 0) * (one or 0) * 10 in doses for one in strengths)


_BRACKET, _FIGURE = re.compile(r"\(([^)]*\+[^)]*)\)"), re.compile(r"\b\d+\b")


def _of_what_was_made(note: OperativeNote, fact: Fact) -> bool:
    """ "Five millilitres came back. Of the concentrate, four went onto the membrane": a share of the only product."""
    made = [one for one in note.of("product_volume", given=True) if one.value is not None]
    given = sum(one.value or Decimal(0) for one in note.of("injection_volume", given=True))
    return len(made) == 1 and made[0].unit is not None and made[0].evidence.first < fact.evidence.first and (
        given <= (made[0].value or 0)
    )


def _makes_the_total(note: OperativeNote, fact: Fact) -> bool:
    """ "Six pulls of six, that's thirty six millilitres"."""
    counts = {one.value for one in note.of("draw_count", given=True)}
    totals = {one.value for one in note.of("harvest_total", given=True) if one.unit is not None}
    return any(count * fact.value in totals for count in counts if count is not None and fact.value is not None)


def _shares_loss(note: OperativeNote, alike: list[Fact]) -> bool:
    """ "Two hundred and fifty millilitres all told, two hundred in the sucker and fifty on swabs"."""
    bare = [one.value for one in note.of("blood_loss", given=True) if one.unit is None and one.value is not None]
    for passage in note.sections.description:
        inner = _BRACKET.search(passage.text)  # "450 mL (350 suction + 100 swabs)"
        parts = [Decimal(one) for one in _FIGURE.findall(inner.group(1))] if inner is not None else []
        if len(parts) > 1 and any(passage.holds(one) and one.value == sum(parts) and one.unit for one in alike):
            return True
    if any(one.scale == "total" and one.unit is not None for one in alike):
        return True  # a part, told before the whole
    return len(bare) > 1 and any(one.unit is not None and one.value == sum(bare) for one in alike)


def _said_sum(note: OperativeNote, fact: Fact) -> bool:
    """ "Four millilitres there and two millilitres into the joint makes six": the volumes told right before it."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None:
        return False
    told = [token.quantity.value for at, token in enumerate(read(passage)) if token.quantity is not None
            and token.quantity.unit == "mL" and token.quantity.value is not None
            and passage.evidence.first + token.first < fact.evidence.first]  # fmt: skip
    return len(told) > 1 and fact.value in (told[-1] + told[-2], sum(told[-3:]))


def _shares_out(note: OperativeNote) -> bool:
    """ "It yielded four and a half millilitres, three into the talus and one and a half into the joint"."""
    made = [one for one in note.of("product_volume", given=True) if one.unit is not None]
    parts = [one.value for one in note.of("injection_volume", given=True) if one.scale is None]
    if len(made) != 1:
        return False
    told = [value for passage in note.sections.description if passage.evidence.last > made[0].evidence.first
            for value in _into.shares(note, passage, made[0])]  # fmt: skip
    return sum(told) == made[0].value or (
        len(parts) > 1 and sum((one for one in parts if one), Decimal(0)) == made[0].value
    )


def _sums(parts: Iterable[Fact], value: Decimal) -> bool:
    """Whether two or more of the parts, in the order said, come to a value; those that have a unit have the same."""
    told = [one for one in parts if one.value is not None]
    units = {one.unit for one in told if one.unit is not None}
    values = [one.value for one in told if one.value is not None]
    return len(units) == 1 and len(values) > 1 and (value in list(accumulate(values))[1:] or value == sum(values[-2:]))


def _times(note: OperativeNote, fact: Fact) -> bool:
    """ "Four draws of five, that is twenty", "three millilitres under each cheek so six in all"."""
    if fact.kind == "injection_total" and fact.value is not None:
        given = [one.value for one in note.of("injection_volume", given=True)
                 if one.scale in ("each", "per_side") and one.unit is not None and one.value]  # fmt: skip
        return any(fact.value % one == 0 and fact.value > one for one in given)
    each = [one.value for one in note.of("draw", given=True) if one.scale in ("each", "per_side") and one.value]
    counts = [one.value for one in note.of("draw_count", given=True) if one.value is not None]
    if any(EACH_OF_TWO.search(passage.text) for passage in note.sections.description):
        counts += [one * 2 for one in counts]  # "six draws of five millilitres on each side ... so sixty"
    if not counts and fact.kind == "harvest_total" and fact.value is not None:
        return any(fact.value % one == 0 for one in each)  # "two millilitres at a place ... so sixty in the bag"
    return any(count * one == fact.value for count in counts for one in each)


def _of_a_sum(note: OperativeNote, fact: Fact) -> bool:
    """ "Crystalloid one thousand three hundred, colloid five hundred millilitres, eighteen hundred in all"."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None or fact.kind not in ("fluid_in", "fluid_out"):
        return False
    here = [one for one in note.of(fact.kind) if passage.holds(one) and one.value is not None and one.scale != "total"]
    bare = {token.quantity.value for token in read(passage) if token.quantity is not None}
    units = {one.unit for one in here if one.unit is not None}
    total = sum((one.value for one in here if one.value is not None), Decimal(0))
    return len(here) > 1 and len(units) == 1 and total in bare


def _balances(note: OperativeNote, fact: Fact) -> bool:
    """ "Eighteen litres in, seventeen point two out, so eight hundred deficit": in less out is the deficit."""
    def one(kind: str) -> Fact | None:
        said = note.of(kind, given=True)
        return said[0] if len(said) == 1 else None

    put_in, came_out, deficit = one("irrigation_in"), one("irrigation_out"), one("irrigation_deficit")
    if put_in is not None and put_in.unit is not None and deficit is None and came_out is fact:
        whole, back = put_in.value or Decimal(0), fact.value or Decimal(0)
        return whole / 2 <= back <= whole  # "twelve litres in, eleven and a half out"
    if put_in is None or came_out is None or deficit is None or put_in.unit is None:
        return False
    first = exact(put_in, "mL")
    seconds, rests = (
        [exact(each if each.unit is not None else replace(each, unit=unit), "mL") for unit in (put_in.unit, "mL")]
        for each in (came_out, deficit)
    )
    return any(first is not None and second is not None and rest is not None and first - second == rest
               for second in seconds for rest in rests)  # fmt: skip
