"""Procedure: one for each act that was done, with side, people, devices, medicines and complications.

The first procedure said is the operation; steps, harvest, injections and anaesthesia are part of it. What was
planned, negated, put off, or done to somebody else makes no Procedure: it stands in the narrative as what it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from pipeline.fhir import times
from pipeline.fhir.base import Book, Resource, coding, doubts_of, role, without_empty, words
from pipeline.fhir.bodies import body_site, body_structure
from pipeline.fhir.names import INCISION, TARGET_BODY
from pipeline.fhir.narrative import clean
from pipeline.fhir.people import People, performers
from pipeline.records import Fact

_STEPS = ("procedure", "act", "harvest_site", "processing", "injection", "anaesthesia", "irrigation")
_ANAESTHETISTS = frozenset({"anaesthetist", "anaesthetic-practitioner"})
_SURGEONS = frozenset({"surgeon"})


@dataclass
class Operation:
    """What the operation itself refers to, collected before it is made."""

    before: list[Resource] = field(default_factory=list)
    complications: list[tuple[Fact, Resource]] = field(default_factory=list)
    devices: list[Resource] = field(default_factory=list)
    used: list[Resource] = field(default_factory=list)
    composition: Resource = field(default_factory=dict)


def main_fact(book: Book) -> Fact | None:
    """The operation: the first procedure that was done and is sure, else the first that was done."""
    done = book.of("procedure")
    return next((fact for fact in done if fact.certainty == "affirmed"), done[0] if done else None)


def main_reference(book: Book) -> Resource | None:
    """What the Procedure of the operation will be called, before it is made; None when none was said."""
    fact = main_fact(book)
    return {"reference": f"urn:uuid:{book.ident('Procedure', fact.id)}"} if fact else None


def add_procedures(book: Book, people: People, operation: Operation) -> None:
    """One Procedure for each act done."""
    main = main_fact(book)
    if main is not None:
        _add(book, people, main, operation, None)
    for kind in _STEPS:
        for fact in book.of(kind):
            if fact is not main:
                _add(book, people, fact, None, main_reference(book))


def _add(book: Book, people: People, fact: Fact, operation: Operation | None, part_of: Resource | None) -> None:
    when, time_facts = times.performed(book) if operation else (times.on_day(book, "performed"), [])
    anaesthesia = fact.kind == "anaesthesia"
    # the operation lists everybody; a step lists only who can be said to have done it
    roles = _ANAESTHETISTS if anaesthesia else _SURGEONS if operation is None else None
    structure = body_structure(book, people, fact)
    extensions: list[Resource] = [*role(fact)]
    if structure:
        extensions.append({"url": TARGET_BODY, "valueReference": structure})
    incision = times.event(book, "incision") if operation else None
    if incision is not None and (opened := times.moment(book, incision)):
        extensions.append({"url": INCISION, "valueDateTime": opened})
    facts = [fact, *(time for time in time_facts if doubts_of([time]))]
    made: Resource = {
        "resourceType": "Procedure",
        "extension": extensions,
        "status": "completed" if fact.certainty == "affirmed" else "unknown",
        "category": words("Anaesthesia") if anaesthesia else None,
        "code": words(_title(book, fact), *book.codings(fact)),
        "subject": people.patient,
        "encounter": people.encounter,
        **when,
        "performer": performers(book, people, roles),
        "bodySite": body_site(book, fact),
        "partOf": [part_of] if part_of and fact.kind != "procedure" else [],
        "note": notes(book, [fact]),
    }
    if operation is not None:
        made |= {
            "reasonReference": operation.before,
            "complication": [words(book.label(one)) for one, _ in operation.complications],
            "complicationDetail": [ref for _, ref in operation.complications],
            "focalDevice": operation.devices,
            "usedReference": operation.used,
            "report": [operation.composition] if operation.composition else [],
        }
    book.add(without_empty(made), fact.id, facts)


def _title(book: Book, fact: Fact) -> str:
    label = book.label(fact)
    if fact.kind == "harvest_site":
        return f"Harvest: {label}"
    if fact.kind == "injection":
        return f"Injection: {label}"
    return label


def notes(book: Book, facts: Sequence[Fact]) -> list[Resource]:
    """Annotations in words: what was taken back, why it is unsure, text that no element has room for."""
    lines = [f"Unsure: {reason}" for reason in doubts_of(facts)]
    for fact in facts:
        lines += [f"Corrected while speaking; taken back: {clean(piece.heard)}" for piece in fact.taken_back]
    return [{"text": line} for line in dict.fromkeys(lines)]


def device_action(code: str) -> Resource:
    return words(code, coding("http://hl7.org/fhir/device-action", code, code.capitalize()))
