"""Medication and MedicationAdministration.

The strength (percent, mg/mL, 1 in N) is a Ratio of the Medication; dose and rate stand in the administration, exact.
A dose that was never said, or is no single number, is absent with a reason, its words in dosage.text. Prepared,
discarded, held or to be avoided makes no administration. A drug that went into a syringe or device (prime,
anticoagulant) is a Medication that the operation used.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from pipeline.fhir import times
from pipeline.fhir.acts import notes
from pipeline.fhir.base import (
    Book,
    Resource,
    absent,
    quantity,
    role,
    scale,
    simple_quantity,
    within,
    without_empty,
    words,
)
from pipeline.fhir.names import VOLUME
from pipeline.fhir.people import People
from pipeline.records import NOT_GIVEN, Fact
from pipeline.rows import Drug

KINDS = ("medication", "medication_dose", "medication_volume", "medication_concentration", "medication_rate",
         "medication_route", "adrenaline_ratio")  # fmt: skip
_INTO_THINGS = frozenset({"prime", "anticoagulant", "irrigation", "rinse"})
_INHALED = frozenset({"volatile", "inhaled", "gas"})


def events(book: Book) -> list[list[Fact]]:
    """The facts of each drug event that was given, in the order said."""
    made: dict[str, list[Fact]] = {}
    for fact in book.note.of(*KINDS):
        made.setdefault(fact.group or f"{fact.name}", []).append(fact)
    return [given for facts in made.values() if (given := _given(facts))]


def _given(facts: Sequence[Fact]) -> list[Fact]:
    if any(fact.role in NOT_GIVEN or fact.role == "aftercare" for fact in facts):
        return []
    heads = [fact for fact in facts if fact.kind == "medication"]
    if heads and not any(_is_given(fact) for fact in heads):
        return []
    return [fact for fact in facts if _is_given(fact)]


def _is_given(fact: Fact) -> bool:
    return fact.status == "performed" and fact.certainty != "negated"


def add_medicines(book: Book, people: People, main: Resource | None) -> list[Resource]:
    """Adds them; gives the references of those that the operation used."""
    used: list[Resource] = []
    for facts in events(book):
        medication = _medication(book, facts)
        if _role(facts) in _INTO_THINGS:
            used.append(medication)
        else:
            _administration(book, people, facts, medication, main)
    return used


def _role(facts: Sequence[Fact]) -> str | None:
    return next((fact.role for fact in facts if fact.role), None)


def _head(facts: Sequence[Fact]) -> Fact:
    return next((fact for fact in facts if fact.kind == "medication"), facts[0])


def _medication(book: Book, facts: Sequence[Fact]) -> Resource:
    head = _head(facts)
    label = book.label(head)
    strong = [fact for fact in facts if fact.kind == "medication_concentration"]
    ratios = [fact for fact in facts if fact.kind == "adrenaline_ratio"]
    ingredient: Resource = {"itemCodeableConcept": words(label)}
    if len(strong) == 1 and (made := strength(book, strong[0])):
        ingredient["strength"] = made
    elif strong:
        ingredient["strength"] = absent("as-text")
    ingredients = [ingredient]
    for fact in ratios:
        ratio = strength(book, fact) or absent("as-text")
        if head.name in ("adrenaline", "epinephrine"):
            ingredient["strength"] = ratio
        else:
            ingredients.append({"itemCodeableConcept": words("Adrenaline"), "strength": ratio})
    said = [book.shown(fact) for fact in strong]
    said += [f"with adrenaline {book.shown(fact)}" if len(ingredients) > 1 else book.shown(fact) for fact in ratios]
    medication: Resource = {
        "resourceType": "Medication",
        "extension": role(head),
        "code": words(" ".join([label, *said])),
        "ingredient": ingredients,
    }
    return book.add(without_empty(medication), head.id, [head, *strong, *ratios])


def strength(book: Book, fact: Fact) -> Resource | None:
    """The Ratio of a concentration: 0.25 % is 0.25 g in 100 mL (a gas stays in percent), 1:200000 is 1 g in
    200000 mL, 5 mg/mL is 5 mg in 1 mL. None for ranges and for anything without a denominator."""
    single = quantity(fact)
    if single is None or fact.value is None or fact.unit is None and fact.kind != "adrenaline_ratio":
        return None
    extras = single.get("extension", [])
    if fact.kind == "adrenaline_ratio":
        top, bottom = simple_quantity(Decimal(1), "g"), simple_quantity(fact.value, "mL")
    elif fact.unit == "%":
        row = book.grammar.tables.get("drugs", {}).get(fact.name or "")
        gas = isinstance(row, Drug) and not _INHALED.isdisjoint(row.classes)
        top = simple_quantity(fact.value, "%" if gas else "g")
        bottom = simple_quantity(Decimal(1 if gas else 100), "1" if gas else "mL")
    else:
        over, slash, under = str(fact.unit).partition("/")
        if not slash or "/" in under:
            return None
        top, bottom = simple_quantity(fact.value, over), simple_quantity(Decimal(1), under)
    if fact.comparator in ("<", ">", "<=", ">="):
        top = {"value": top.pop("value"), "comparator": fact.comparator, **top}
    return {"numerator": within(top, extras), "denominator": bottom}


def _administration(
    book: Book, people: People, facts: Sequence[Fact], medication: Resource, main: Resource | None
) -> None:
    head = _head(facts)
    reason = _role(facts)
    made: Resource = {
        "resourceType": "MedicationAdministration",
        "extension": role(head),
        "partOf": [main] if main else [],
        "status": "completed" if head.certainty == "affirmed" else "unknown",
        "medicationReference": medication,
        "subject": people.patient,
        "context": people.encounter,
        **_effective(book, facts, reason),
        "reasonCode": [words(reason.replace("_", " "))] if reason else [],
        "note": notes(book, facts),
        "dosage": _dosage(book, facts),
    }
    book.add(without_empty(made), head.id, facts)


def _effective(book: Book, facts: Sequence[Fact], reason: str | None) -> Resource:
    groups = {fact.group for fact in facts if fact.group}
    clocks = [fact for fact in book.of("clock_time") if fact.group in groups]
    return times.at(book, "effective", clocks)


def _dosage(book: Book, facts: Sequence[Fact]) -> Resource:
    """mad-1: a dose or a rate must be there; what was not said is absent with a reason."""
    by_kind = {kind: [fact for fact in facts if fact.kind == kind] for kind in KINDS}
    doses, volumes, rates = by_kind["medication_dose"], by_kind["medication_volume"], by_kind["medication_rate"]
    numbers = [fact for fact in facts if fact.kind not in ("medication", "medication_route")]
    made: Resource = {"text": ", ".join(book.shown(fact) for fact in numbers) or "dose not said"}
    routes = [words(book.shown(fact)) for fact in by_kind["medication_route"]]
    head = _head(facts)
    if place := book.place(head):
        made["site"] = words(place)
    if len(routes) == 1:
        made["route"] = routes[0]
    elif routes:
        made["text"] += ", route " + " or ".join(route["text"] for route in routes)
    dose = _single(doses) or (_single(volumes) if not doses else None)
    if dose is not None:
        made["dose"] = dose
    elif doses or volumes:
        made["dose"] = absent("as-text")
    elif not rates:
        made["dose"] = absent()
    if doses and (volume := _single(volumes)):
        made["extension"] = [{"url": VOLUME, "valueQuantity": volume}]
    if rates:
        made["rateQuantity"] = _single(rates) or absent("as-text")
    return made


def _single(facts: Sequence[Fact]) -> Resource | None:
    """A SimpleQuantity, which has no comparator; None unless there is exactly one plain number."""
    if len(facts) != 1 or facts[0].comparator not in (None, "~"):
        return None
    made = quantity(facts[0])
    return within(made, scale(facts[0])) if made else None
