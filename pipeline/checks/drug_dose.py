"""A dose far from what is usual for the drug, or in a unit in which the drug is not dosed."""

from __future__ import annotations

from decimal import Decimal

from pipeline.checks.base import NOT_GIVEN, amount, finding, plain, shown, span
from pipeline.conversion import convertible
from pipeline.dosing import weight
from pipeline.grammar import Grammar
from pipeline.limits import limit, limits
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug, Limit, LookAlike

MEANING = "A drug's dose is far from its usual adult dose, or in a unit in which the drug is not dosed."

_FAR_ABOVE, _FAR_BELOW = Decimal(2), Decimal("0.25")
_FULL_GROWN = Decimal(40)
_ADULT = Decimal(50)  # kg, of whom the adult doses hold. Common practice, no source.
_LEAST, _GROWN = Decimal(1), 16
_BY_MOUTH = frozenset({"oral", "intranasal", "buccal"})
_INTO_A_PART = "into-a-part"  # `name_of` of limits for a joint, a bursa, a lesion: a given side tells of one too
_SYSTEMIC = frozenset({"intravenous", "oral", "intramuscular", "subcutaneous", "rectal"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    drugs = grammar.table("drugs", Drug)
    found: list[Finding] = []
    for fact in note.of("medication_dose", "medication_rate"):
        drug = drugs.get(fact.name or "")
        if drug is None or fact.unit is None or fact.certainty == "negated" or (
            fact.role in NOT_GIVEN and not (fact.role == "prepared" and _other_sort(fact, drug.dose_units))
        ):
            continue
        row = _usual(note, grammar, fact) if fact.kind == "medication_dose" else None
        said = span(fact, row.unit) if row is not None else None
        if row is not None and said is not None and row.low is not None and row.high is not None:
            top = row.high * min(Decimal(1), _share(note, fact)) * _FAR_ABOVE
            above = said.low is not None and said.low > top
            below = said.high is not None and said.high < row.low * _FAR_BELOW
            below = below and not _small(note) and not _local(note, fact)
            if above or below:
                found.append(
                    finding(
                        "drug_dose",
                        "warning",
                        f"{drug.name}: {shown(fact)} is far {'above' if above else 'below'} the usual dose.",
                        [fact],
                        arithmetic=f"{shown(fact)} against {plain(row.low)} to {amount(row.high, row.unit)} "
                        f"({row.source})",
                        ask=f"Say the dose again, with its unit.{_other_drug(note, grammar, fact)}",
                    )
                )
        elif drug.dose_units and (_other_sort(fact, drug.dose_units) or (row is None and _in_grams(note, fact, drug))):
            found.append(
                finding(
                    "drug_dose",
                    "warning",
                    f"{drug.name} was said as {shown(fact)}; it is dosed in {' or '.join(drug.dose_units)}.",
                    [fact],
                    ask="Say the dose again, with its unit.",
                )
            )
    return found


def _usual(note: OperativeNote, grammar: Grammar, fact: Fact) -> Limit | None:
    """The usual doses in the sort of unit that was said: enoxaparin has some in milligrams and some in units."""
    ways = [_way(note, fact)]
    if ways[0] not in _SYSTEMIC and (ways[0] or fact.laterality is not None):
        ways.append(_INTO_A_PART)
    rows = [row for way in ways for row in limits(grammar, note.profile, "dose", drug=fact.name or "", name=way)]
    rows.sort(key=lambda row: not row.name_of)
    return next((row for row in rows if span(fact, row.unit) is not None), None)


def _other_drug(note: OperativeNote, grammar: Grammar, fact: Fact) -> str:
    """The drug whose name is taken for this one and for which the dose would be usual, as a question."""
    drugs = grammar.table("drugs", Drug)
    for pair in grammar.table("look_alikes", LookAlike).values():
        if fact.name not in pair.pair:
            continue
        other = next(name for name in pair.pair if name != fact.name)
        row = limit(grammar, note.profile, "dose", drug=other)
        said = span(fact, row.unit) if row is not None else None
        if row is None or said is None or said.low is None or row.low is None or row.high is None:
            continue
        if row.low <= said.low <= row.high and other in drugs:
            return f" Was it {drugs[other].name}?"
    return ""


def _other_sort(fact: Fact, units: tuple[str, ...]) -> bool:
    """Whether the unit is of another sort than all usual ones: mass for a drug of units. Per-kilogram doses pass; of
    a rate, what runs in counts ("5 units a minute")."""
    unit = (fact.unit or "").split("/")[0] if fact.kind == "medication_rate" else fact.unit or ""
    mass, activity = convertible(unit, "mg"), convertible(unit, "[USP'U]")
    if not (mass or activity):
        return False
    usual_mass = any(convertible(unit, "mg") or unit.startswith(("mg/", "ug/", "g/")) for unit in units)
    usual_activity = any(convertible(unit, "[USP'U]") or unit.startswith(("[USP'U]", "[iU]", "[IU]")) for unit in units)
    return (mass and usual_activity and not usual_mass) or (activity and usual_mass and not usual_activity)


def _in_grams(note: OperativeNote, fact: Fact, drug: Drug) -> bool:
    """A drug that is dosed in milligrams, micrograms or units only, said in whole grams: a thousand times too much.
    Where it has a dose of its own sort too, the grams may be those of the drug before ("redose 2 g, ATG 75 mg")."""
    if any(other.name == fact.name and other.unit in drug.dose_units for other in note.of("medication_dose")):
        return False
    heavy = fact.unit in ("g", "kg") and fact.kind == "medication_dose" and (fact.value or _LEAST) >= _LEAST
    return heavy and all(not unit.startswith(("g", "kg")) for unit in drug.dose_units)


def _share(note: OperativeNote, fact: Fact) -> Decimal:
    """What part of an adult's dose somebody light gets at most; sedatives by mouth are dosed higher in children."""
    kilograms = weight(note)
    one = span(kilograms, "kg") if kilograms is not None else None
    routes = {other.name for other in note.group(fact) if other.kind == "medication_route"}
    grown = any((age := span(said, "a")) is not None and (age.low or 0) >= _GROWN for said in note.of("patient_age"))
    if grown or one is None or one.high is None or one.high >= _FULL_GROWN or routes & _BY_MOUTH:
        return Decimal(1)
    return one.high / _ADULT


def _way(note: OperativeNote, fact: Fact) -> str:
    """The only route of the giving: a drug may be dosed otherwise under the skin than into a vein."""
    routes = {other.name for other in note.group(fact) if other.kind == "medication_route" and other.name}
    return routes.pop() if len(routes) == 1 else ""


def _local(note: OperativeNote, fact: Fact) -> bool:
    """Whether the drug went to one place only (an eye, a joint, the spine), where little is enough."""
    routes = {other.name for other in note.group(fact) if other.kind == "medication_route"}
    return note.family == "eye" or bool(routes - _SYSTEMIC)


def _small(note: OperativeNote) -> bool:
    """Whether the patient is said to be a child or light, so that a small dose says nothing."""
    kilograms = weight(note)
    light = kilograms is not None and (one := span(kilograms, "kg")) is not None
    if light and one is not None and one.high is not None and one.high < _FULL_GROWN:
        return True
    ages = [span(fact, "a") for fact in note.of("patient_age")]
    return any(age is not None and age.high is not None and age.high < _GROWN for age in ages)
