"""The arithmetic of drugs: strengths, amounts, maxima, blood volume. Decimals in and out; no limits live here.

Sources: 1 % = 10 mg/mL and 1:100,000 = 10 ug/mL (drug labels; Medscape); Nadler's blood volume formula;
allowable loss EBV x (Hi - Hf) / Hi (perioperative manuals).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from pipeline.conversion import convert, convertible
from pipeline.note import OperativeNote
from pipeline.records import Fact

MG_PER_ML_OF_PERCENT = Decimal(10)
UG_PER_ML_OF_ONE_IN = Decimal(1000000)

_NUMBERS = ("medication_dose", "medication_volume", "medication_concentration", "adrenaline_ratio", "medication_rate")
DRUG_KINDS = ("medication", "medication_route", *_NUMBERS)


def strength(value: Decimal, unit: str) -> tuple[Decimal, str] | None:
    """(amount per millilitre, unit of the amount) of a concentration: percent and mass -> mg, activity -> [USP'U].

    None where the unit is no concentration.
    """
    if unit == "%":
        return value * MG_PER_ML_OF_PERCENT, "mg"
    for per, of in (("mg/mL", "mg"), ("[USP'U]/mL", "[USP'U]"), ("mmol/mL", "mmol"), ("meq/mL", "meq")):
        if convertible(unit, per):
            return convert(value, unit, per), of
    return None


def in_solution(value: Decimal, unit: str, volume: Decimal, volume_unit: str) -> tuple[Decimal, str] | None:
    """(amount, its unit) in a volume of that concentration; None where the units are not of that sort."""
    per_ml = strength(value, unit)
    if per_ml is None or not convertible(volume_unit, "mL"):
        return None
    return per_ml[0] * convert(volume, volume_unit, "mL"), per_ml[1]


def adrenaline(ratio: Decimal, millilitres: Decimal) -> Decimal:
    """Micrograms of adrenaline in that volume of a 1:`ratio` solution (1:100,000 = 10 ug/mL)."""
    return UG_PER_ML_OF_ONE_IN / ratio * millilitres


def maximum(per_kg: Decimal | None, absolute: Decimal | None, weight_kg: Decimal | None) -> Decimal | None:
    """The smaller of per_kg x weight and the absolute maximum, of those that are known."""
    known = [absolute] if absolute is not None else []
    if per_kg is not None and weight_kg is not None:
        known.append(per_kg * weight_kg)
    return min(known, default=None)


def blood_volume(sex: str, height_m: Decimal, weight_kg: Decimal) -> Decimal:
    """Blood volume in litres after Nadler (1962). `sex`: "male" or "female"."""
    factors = ("0.3669", "0.03219", "0.6041") if sex == "male" else ("0.3561", "0.03308", "0.1833")
    cube, per_kg, fixed = (Decimal(part) for part in factors)
    return cube * height_m**3 + per_kg * weight_kg + fixed


def allowable_loss(volume: Decimal, before: Decimal, lowest: Decimal) -> Decimal:
    """Blood loss at which the haematocrit falls from `before` to `lowest`, in the unit of `volume`."""
    return volume * (before - lowest) / before


@dataclass(slots=True)
class Dose:
    """All facts of one giving of one drug. Lists, since a mixture or a spoken slip may give two."""

    drug: str
    facts: list[Fact] = field(default_factory=list)

    def of(self, kind: str) -> list[Fact]:
        return [fact for fact in self.facts if fact.kind == kind]

    def one(self, kind: str) -> Fact | None:
        """The fact of that kind if there is exactly one."""
        found = self.of(kind)
        return found[0] if len(found) == 1 else None

    @property
    def role(self) -> str:
        return next((fact.role for fact in self.facts if fact.role), "")


def doses(facts: Iterable[Fact]) -> list[Dose]:
    """Drug facts gathered into givings: by group and drug; an adrenaline ratio goes with its group's other drug."""
    gathered: dict[tuple[str, str], Dose] = {}
    ratios: list[Fact] = []
    for fact in facts:
        if fact.kind == "adrenaline_ratio":
            ratios.append(fact)
        elif fact.kind in DRUG_KINDS and fact.name:
            key = (fact.group or f"alone {fact.id}", fact.name)
            gathered.setdefault(key, Dose(fact.name)).facts.append(fact)
    for ratio in ratios:
        for (group, drug), dose in gathered.items():
            if ratio.group is not None and group == ratio.group and drug not in ("adrenaline", "epinephrine"):
                dose.facts.append(ratio)
    for dose in gathered.values():
        shares = [id(fact) for fact in _shares(dose.of("medication_volume"))]
        dose.facts = [fact for fact in dose.facts if id(fact) not in shares]
    return list(gathered.values())


def _shares(volumes: list[Fact]) -> list[Fact]:
    """ "40 mL, 20 mL into the joint, 20 mL into the portals": what goes on about the first and comes to it."""
    first, others = volumes[:1], volumes[1:]
    if len(others) < 2 or any(one.scale is not None or one.unit != first[0].unit for one in volumes):
        return []
    whole = sum((one.value for one in others if one.value is not None), Decimal(0))
    return others if whole == first[0].value and all(one.value for one in others) else []


def told_behind(note: OperativeNote, said: list[Dose]) -> list[Dose]:
    """ "Ten millilitres of one percent lidocaine with adrenaline one in two hundred thousand, one hundred milligrams of
    lidocaine.": a dose right behind the solution, the drug named again and nothing more of it: that of the solution."""
    found = list(said)
    for alone in said:
        if len(alone.of("medication_dose")) != 1 or any(alone.of(kind) for kind in _OF_SOLUTION):
            continue
        first, last = _first(alone), _last(alone)
        ends = any(one.evidence.last == last for one in note.sections.description)
        for other in said:
            if other.drug != alone.drug or other is alone or other.of("medication_dose"):
                continue
            whole = alone.of("medication_dose")[0].scale == "total"  # "... two hundred milligrams altogether"
            linked = _between(note, _last(other), first, whole)
            if linked is None or not (linked or ends or _comes_to(other, alone)):
                continue
            if all(other.of(kind) for kind in _OF_SOLUTION):
                found = [one for one in found if one is not alone and one is not other]
                found.append(Dose(other.drug, [*other.facts, *alone.facts]))
    return found


def _comes_to(solution: Dose, dose: Dose) -> bool:
    """Whether the strength and the volume of a solution give exactly that dose."""
    strengths, volumes = solution.of("medication_concentration"), solution.of("medication_volume")
    said = dose.of("medication_dose")[0]
    if len(strengths) != 1 or len(volumes) != 1 or None in (strengths[0].value, volumes[0].value, said.value):
        return False
    worked = in_solution(strengths[0].value or Decimal(0), strengths[0].unit or "", volumes[0].value or Decimal(0),
                         volumes[0].unit or "")  # fmt: skip
    return worked is not None and said.unit is not None and convertible(said.unit, worked[1]) and (
        convert(said.value or Decimal(0), said.unit, worked[1]) == worked[0]
    )


def _between(note: OperativeNote, last: int, first: int, whole: bool) -> str | None:
    """The words that lead from a solution to its dose ("so", "that is"); None where others lie between, but where it
    went, if the dose is said to be the whole."""
    if not 0 < first - last <= (_TO_WHOLE if whole else _LINK):
        return None
    here = next((one for one in note.sections.description if one.evidence.first <= last < first <= one.evidence.last),
                None)  # fmt: skip
    if here is None:
        return None
    words = here.text.lower().split()[last + 1 - here.evidence.first : first - here.evidence.first]
    said = " ".join(words).strip(" ,")
    return said if whole or said in _LEAD_TO_DOSE else None


_LINK, _TO_WHOLE = 4, 8
_LEAD_TO_DOSE = frozenset({"", "so", "that's", "thats", "that is", "which is", "makes", "which makes", "making", "is"})
_OF_SOLUTION = ("medication_concentration", "medication_volume")


def _first(dose: Dose) -> int:
    return min(fact.evidence.first for fact in dose.facts)


def _last(dose: Dose) -> int:
    return max(fact.evidence.last for fact in dose.facts)


def weight(note: OperativeNote) -> Fact | None:
    """The one body weight said for the patient, or None (none, or two that differ)."""
    said = [fact for fact in note.of("patient_weight") if fact.value is not None and fact.status != "other_person"]
    return said[0] if said and all((one.value, one.unit) == (said[0].value, said[0].unit) for one in said) else None
