"""A dose per kilogram against the dose that was given and the weight of the patient."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from pipeline.checks.base import ABOUT, NOT_GIVEN, amount, exact, finding, read, rounded, shown, unit_words
from pipeline.conversion import convert, convertible
from pipeline.dosing import Dose, doses, weight
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Quantity, Token

MEANING = "A dose per kilogram times the weight is not the dose that was said, or makes a weight that nobody has."

_UNITS = ("mg", "ug", "g", "[USP'U]", "[iU]", "[IU]", "U", "mmol", "meq", "mL")
_FAR = Decimal(5)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    said_weight = weight(note)
    kilograms = exact(said_weight, "kg") if said_weight is not None else None
    usable = [fact for fact in note.facts if fact.certainty != "negated" and fact.role not in NOT_GIVEN]  # orders too
    found: list[Finding] = []
    for dose in doses(usable):
        pair = _pair(dose, "medication_dose") or _pair(dose, "medication_volume")
        if pair is None:
            continue
        per_kg, said, unit = pair
        each = convert(per_kg.value or Decimal(0), per_kg.unit or "", f"{unit}/kg")
        if not each or said.value is None:
            continue
        if kilograms is not None and said_weight is not None:
            one = _against_weight(grammar, dose, per_kg, said, unit, each * kilograms, said_weight)
        else:
            one = _implied(note, grammar, dose, per_kg, said, convert(said.value, said.unit or "", unit) / each)
        if one is not None:
            found.append(one)
    if kilograms is not None and said_weight is not None:
        found += _unnamed(note, kilograms, said_weight) or _a_kilo(note, kilograms, said_weight)
    return found


_KILO = (["a", "kilo"], ["per", "kilo"], ["a", "kilogram"], ["per", "kilogram"], ["per", "kg"])
_BACK = 14  # tokens from an amount to what it is for a kilogram


def _a_kilo(note: OperativeNote, kilograms: Decimal, said_weight: Fact) -> list[Finding]:
    """ "Seven hundred milligrams, that's fifty a kilo": the number without its unit, of an amount before it."""
    found: list[Finding] = []
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            each = token.quantity
            if each is None or each.dimension or each.form != "number" or not each.value or each.comparator:
                continue
            if " ".join(one.text.lower().strip(".,;") for one in tokens[at + 1 : at + 3]).split()[:2] not in _KILO:
                continue
            given = [one for near in tokens[max(0, at - _BACK) : at] if (one := near.quantity) is not None
                     and one.dimension in ("mass", "volume") and one.value and one.unit != "kg"]  # fmt: skip
            made = _made(tokens, at)
            given = [made] if made is not None else given  # "fifteen per kilo which makes three hundred milligrams"
            worked = each.value * kilograms
            if not given or any(abs((one.value or Decimal(0)) - worked) <= worked * ABOUT for one in given):
                continue
            unit = given[-1].unit
            told = amount(given[-1].value or Decimal(0), unit)
            found.append(
                finding(
                    "dose_by_weight", "warning",
                    f"{token.text} per kilogram for {shown(said_weight)} is {amount(worked, unit)}, {told} was said.",
                    [said_weight], arithmetic=f"{token.text} x {shown(said_weight)} = {amount(worked, unit)}, said: "
                    f"{told}",
                    ask="Say which is right: the dose per kilogram, the dose or the weight.",
                    about=f"w{passage.evidence.first + at}",
                )
            )  # fmt: skip
    return found


_MAKES = frozenset("so makes is that's that which making = , giving gives".split())


def _made(tokens: Sequence[Token], at: int) -> Quantity | None:
    """What a dose a kilo makes, right behind it."""
    for place in range(at + 3, min(len(tokens), at + 8)):
        quantity = tokens[place].quantity
        if quantity is not None:
            return quantity if place > at + 3 and quantity.dimension == "mass" and quantity.value else None
        if tokens[place].norm not in _MAKES:
            return None
    return None


def _unnamed(note: OperativeNote, kilograms: Decimal, said_weight: Fact) -> list[Finding]:
    """ "Para 15 mg/kg (60 mg)": the two doses stand together, of a drug that no row has."""
    found: list[Finding] = []
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            per_kg, said = token.quantity, _right_behind(tokens, at)
            if per_kg is None or said is None or per_kg.value is None or said.value is None or per_kg.unit is None:
                continue
            unit = said.unit or ""
            if not convertible(per_kg.unit, f"{unit}/kg") or any(
                fact.kind in ("medication_dose", "medication_volume") and fact.name and fact.value == per_kg.value
                and passage.holds(fact) for fact in note.facts
            ):  # fmt: skip
                continue
            worked = convert(per_kg.value, per_kg.unit, f"{unit}/kg") * kilograms
            if abs(said.value - worked) <= worked * ABOUT:
                continue
            sum_words = f"{rounded(worked)} {unit_words(unit)}"
            made = finding(
                "dose_by_weight", "warning",
                f"{token.text} for {shown(said_weight)} is {sum_words}, {amount(said.value, unit)} was said.",
                [said_weight], arithmetic=f"{token.text} x {shown(said_weight)} = {sum_words}, said: "
                f"{amount(said.value, unit)}",
                ask="Say which is right: the dose per kilogram, the dose or the weight.",
                about=f"w{passage.evidence.first + at}",
            )  # fmt: skip
            found.append(made)
    return found


_LEADS = frozenset("( = , so is that's : of saline hartmanns ringers albumin blood plasma".split())


def _right_behind(tokens: Sequence[Token], at: int) -> Quantity | None:
    """The amount behind one per kilogram, over marks and words that only lead to it."""
    own = tokens[at].quantity
    if own is None or own.form != "number" or not own.dimension.endswith("_per_mass"):
        return None
    for token in tokens[at + 1 : at + 5]:
        if token.quantity is not None:
            return token.quantity if token.quantity.form == "number" and not token.quantity.comparator else None
        if token.norm not in _LEADS:
            return None
    return None


def _pair(dose: Dose, kind: str) -> tuple[Fact, Fact, str] | None:
    """(dose or volume per kilogram, all of it, the unit of both) where exactly one of each was said for a giving."""
    known = [fact for fact in dose.of(kind) if fact.value is not None and fact.unit]
    per_kg = [fact for fact in known if (fact.unit or "").endswith("/kg")]
    whole = [fact for fact in known if fact not in per_kg and fact.scale != "each"]
    if len(per_kg) != 1 or len(whole) != 1:
        return None
    unit = next((one for one in _UNITS if convertible(per_kg[0].unit or "", f"{one}/kg")), None)
    return (per_kg[0], whole[0], unit) if unit and convertible(whole[0].unit or "", unit) else None


def _against_weight(
    grammar: Grammar, dose: Dose, per_kg: Fact, said: Fact, unit: str, worked: Decimal, said_weight: Fact
) -> Finding | None:
    given = convert(said.value or Decimal(0), said.unit or "", unit)
    if abs(given - worked) <= worked * ABOUT or not worked:
        return None
    factor = given / worked
    sum_words = f"{rounded(worked)} {unit_words(unit)}"
    far = factor >= _FAR or factor <= 1 / _FAR
    return finding(
        "dose_by_weight",
        "blocking" if far else "warning",
        f"{_name(grammar, dose)}: {shown(per_kg)} for {shown(said_weight)} is {sum_words}, "
        f"the dose was said as {shown(said)}.",
        [per_kg, said, said_weight],
        arithmetic=f"{shown(per_kg)} x {shown(said_weight)} = {sum_words}, said: {shown(said)}",
        ask="Say which is right: the dose per kilogram, the dose or the weight.",
    )


def _implied(
    note: OperativeNote, grammar: Grammar, dose: Dose, per_kg: Fact, said: Fact, kilograms: Decimal
) -> Finding | None:
    """Without a weight: the one that the two doses make, where nobody weighs so much."""
    row = limit(grammar, note.profile, "plausible", kind="patient_weight", unit="kg")
    if row is None or row.low is None or row.high is None or row.low <= kilograms <= row.high:
        return None
    return finding(
        "dose_by_weight",
        "warning",
        f"{_name(grammar, dose)}: {shown(per_kg)} and {shown(said)} make a weight of {rounded(kilograms)} kg.",
        [per_kg, said],
        arithmetic=f"{shown(said)} / {shown(per_kg)} = {rounded(kilograms)} kg",
        ask="Say the dose again, and the weight.",
        about="weight",
    )


def _name(grammar: Grammar, dose: Dose) -> str:
    row = grammar.tables.get("drugs", {}).get(dose.drug)
    return row.name if row is not None else dose.drug
