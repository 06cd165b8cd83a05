"""Observation: every number, time and result that has no resource of its own.

The code is LOINC where grammars/loinc.toml has one for the kind, and always the words. Exact value, range or words.
"""

from __future__ import annotations

from pipeline.fhir import times
from pipeline.fhir.acts import notes
from pipeline.fhir.base import Book, Resource, coding, role, scale, value_of, without_empty, words
from pipeline.fhir.bodies import body_site
from pipeline.fhir.names import LOINC, TERMS
from pipeline.fhir.narrative import clean
from pipeline.fhir.people import People
from pipeline.records import Fact
from pipeline.rows import Kind, Loinc

# Kinds that other resources hold.
_ELSEWHERE = frozenset(
    {"patient_name", "patient_identifier", "patient_sex", "team_member", "date", "preop_diagnosis", "postop_diagnosis",
     "diagnosis", "procedure", "act", "anaesthesia", "harvest_site", "processing", "injection", "irrigation",
     "medication", "medication_dose", "medication_volume", "medication_concentration", "medication_rate",
     "medication_route", "adrenaline_ratio", "device", "device_size", "device_count", "device_lot", "device_serial",
     "device_udi", "device_expiry", "drain", "drain_size", "specimen", "complication", "aftercare", "follow_up",
     "warning_sign", "next_step", "indication", "imaging", "history", "consent", "allergy", "approach", "preparation",
     "guidance", "site_marking", "spinal_level", "suture", "closure", "dressing"}
)  # fmt: skip
# Kinds whose words are the result; the kind itself is what was looked at.
_RESULTS = frozenset({"finding", "condition", "disposition", "urgency", "handedness", "position", "prophylaxis",
                      "recovery_concern", "equipment_problem", "time_out", "tourniquet"})  # fmt: skip


def add_observations(book: Book, people: People, main: Resource | None) -> None:
    kinds = book.grammar.table("kinds", Kind)
    for fact in book.of(*(kind for kind in kinds if kind not in _ELSEWHERE)):
        _add(book, people, fact, main)


def _code(book: Book, fact: Fact) -> Resource:
    codings = [
        coding(LOINC, row.code, row.display)
        for row in book.grammar.table("loinc", Loinc).values()
        if row.use == "observation" and fact.kind in row.holds
    ]
    label, kind = book.label(fact), book.kind_label(fact)
    named = fact.name is not None and fact.kind not in _RESULTS and label.lower() != kind.lower()
    return words(f"{kind}: {label}" if named else kind, *codings)


def _value(book: Book, fact: Fact) -> Resource:
    if fact.kind == "clock_time" and (time := times.clock(fact)):
        return {"valueTime": time}
    if fact.kind in _RESULTS:
        said = book.label(fact)
        if fact.text and clean(fact.text).lower() not in said.lower():
            said = f"{said}: {clean(fact.text)}"
        return {"valueCodeableConcept": words(said)}
    if fact.kind == "grade" and (fact.text or fact.value is not None):
        return {"valueString": clean(fact.text or format(fact.value or 0, "f"))}
    if fact.kind in ("draw_count", "specimen_count") and fact.unit is None and _whole(fact):
        return {"valueInteger": int(fact.value or 0)}
    return value_of(fact)


def _whole(fact: Fact) -> bool:
    return fact.value is not None and fact.comparator is None and fact.value == int(fact.value)


def _add(book: Book, people: People, fact: Fact, main: Resource | None) -> None:
    sites = body_site(book, fact)
    made: Resource = {
        "resourceType": "Observation",
        "extension": [*scale(fact), *role(fact)],
        "partOf": [main] if main else [],
        "status": book.status,
        "category": [words("Procedure", coding(f"{TERMS}observation-category", "procedure", "Procedure"))],
        "code": _code(book, fact),
        "subject": people.patient,
        "encounter": people.encounter,
        **_effective(book, fact),
        **_value(book, fact),
        "note": notes(book, [fact]),
        "bodySite": sites[0] if sites else None,
    }
    book.add(without_empty(made), fact.id, [fact])


def _effective(book: Book, fact: Fact) -> Resource:
    if fact.kind == "clock_time" and (full := times.moment(book, fact)):
        return {"effectiveDateTime": full}
    date = times.day(book)
    return {"effectiveDateTime": date} if date else {}
