"""A volume, or millilitres an hour, of a drug that is dosed in units, grams or moles, with no strength said anywhere.

Such a volume says nothing of how much was given: 4 mL of insulin are 400 units of the usual strength.
"""

from __future__ import annotations

from pipeline.checks import _sold
from pipeline.checks.base import NOT_GIVEN, called, finding, shown, unit_words
from pipeline.conversion import convertible
from pipeline.dosing import doses
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug

MEANING = "A volume of a drug dosed in units or by weight, with neither strength nor dose, or too much at any strength."

_TOLD = ("medication_dose", "medication_concentration", "adrenaline_ratio")
_VOLUMES = ("medication_volume", "medication_rate")
_SAMPLES = {"activity": ("[USP'U]", "[IU]", "U"), "other": ("mg", "mmol", "meq")}
# Local anaesthetics are asked for their strength by `local_anaesthetic`; what is made ready or leaves again is no dose.
_ELSEWHERE = frozenset({"local_anaesthetic"})
_PASSED_BY = NOT_GIVEN | {"anticoagulant", "priming", "prime", "diluent", "irrigation", "aftercare"}
# Of these a little of a ready solution is all that is ever said. Common practice, no source.
_WAYS = frozenset({"intravenous", "subcutaneous", "intramuscular"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    drugs = grammar.table("drugs", Drug)
    told = {fact.name for fact in note.of(*_TOLD) if fact.certainty != "negated"}
    usable = [fact for fact in note.facts if fact.status == "performed" and fact.certainty == "affirmed"]
    found: list[Finding] = []
    for dose in doses(usable):
        drug = drugs.get(dose.drug)
        if drug is None or drug.id in told or dose.role in _PASSED_BY or _ELSEWHERE & set(drug.classes):
            continue
        much = next((one for one in (_sold.too_much(note, grammar, drugs, fact) for fact in dose.of(
            "medication_volume")) if one is not None), None)  # fmt: skip
        if much is not None:
            found.append(much)
            continue
        sort = _sort(drug)
        volumes = [fact for kind in _VOLUMES for fact in dose.of(kind) if _is_volume(fact)]
        if not volumes or not sort or (sort == "other" and not _into_the_body(note, dose.facts)):
            continue
        found.append(
            finding(
                "drug_volume",
                "warning" if sort == "activity" else "note",
                f"{called(volumes[0], grammar)} was said as {' and '.join(shown(fact) for fact in volumes)}; it is "
                f"dosed in {' or '.join(dict.fromkeys(unit_words(unit) for unit in drug.dose_units))}, and its "
                "strength was not said.",
                volumes,
                ask="Say the dose with its unit, or the strength.",
            )
        )
    return found


def _sort(drug: Drug) -> str:
    """ "activity" (units) or "other" (mass, moles) where no usual unit of its dose is a volume; "" else."""
    if not drug.dose_units or any(unit.startswith(("mL", "%", "L")) for unit in drug.dose_units):
        return ""
    amounts = [unit.split("/")[0] for unit in drug.dose_units]
    for sort, samples in _SAMPLES.items():
        if all(any(unit == sample or convertible(unit, sample) for sample in samples) for unit in amounts):
            return sort
    return ""


def _is_volume(fact: Fact) -> bool:
    return fact.unit is not None and convertible(fact.unit.split("/")[0], "mL") and "/kg" not in fact.unit


def _into_the_body(note: OperativeNote, facts: list[Fact]) -> bool:
    """Whether it went into a vein, a muscle or under the skin: elsewhere a volume of a ready solution is usual."""
    groups = {fact.group for fact in facts if fact.group}
    return any(one.kind == "medication_route" and one.name in _WAYS and one.group in groups for one in note.facts)
