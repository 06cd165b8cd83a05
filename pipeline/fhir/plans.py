"""CarePlan: the aftercare in words as ordered, with its lengths of time; what to avoid is marked doNotPerform."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from pipeline.fhir.base import Book, Resource, doubt, simple_quantity, within, without_empty, words
from pipeline.fhir.lines import roles
from pipeline.fhir.narrative import clean
from pipeline.fhir.people import People
from pipeline.records import Fact

_KINDS = ("aftercare", "follow_up", "warning_sign", "next_step")
_MEDICINE = ("medication", "medication_dose", "medication_volume", "medication_concentration", "medication_route",
             "medication_rate", "duration")  # fmt: skip
_LATER = frozenset({"aftercare", "avoid"})
_REFUSES = re.compile(r"(?:no|non|not|nil|avoid\w*|without|never|do not|don't|stop|hold)\b", re.IGNORECASE)
# UCUM codes that FHIR allows for a duration of time (value set units-of-time).
_TIMES = frozenset({"s", "min", "h", "d", "wk", "mo", "a"})


def add_plan(book: Book, people: People) -> None:
    """One CarePlan with an activity for each instruction; none when nothing was ordered."""
    events = _events(book)
    if not events:
        return
    made: Resource = {
        "resourceType": "CarePlan",
        "status": "draft" if book.unsigned else "active",
        "intent": "plan" if book.unsigned else "order",
        "title": "Aftercare",
        "subject": people.patient,
        "encounter": people.encounter,
        "created": book.note.made_at,
        "author": people.surgeon,
        "activity": [_activity(book, facts) for facts in events],
    }
    book.add(without_empty(made), "aftercare", [fact for facts in events for fact in facts])


def _events(book: Book) -> list[list[Fact]]:
    """Instructions, and medicines to take or to avoid afterwards with their numbers."""
    live = [fact for fact in book.note.facts if fact.status not in ("historical", "other_person")]
    later = {fact.name: fact for fact in live if fact.kind == "medication" and fact.role in _LATER}
    ordered = [fact for fact in live if fact.kind in _KINDS or (fact.kind == "medication" and fact.role in _LATER)]
    groups = {_event(fact, later) for fact in ordered}
    made: dict[str, list[Fact]] = {}
    for fact in live:
        key = _event(fact, later)
        if key in groups and fact.kind in (*_KINDS, *_MEDICINE):
            made.setdefault(key, []).append(fact)
    return list(made.values())


def _event(fact: Fact, later: Mapping[str | None, Fact]) -> str:
    """What belongs together. How long a medicine is taken or avoided belongs to that medicine, whoever said it."""
    medicine = later.get(fact.name) if fact.kind in ("aftercare", "duration") else None
    return (medicine or fact).group or (medicine or fact).id


def _activity(book: Book, facts: Sequence[Fact]) -> Resource:
    head = facts[0]
    instruction = next((fact for fact in facts if fact.kind == "medication"), None)
    instruction = instruction or next((fact for fact in facts if fact.kind in _KINDS), head)
    label = book.label(instruction)
    # "Avoid impact" is a thing to do; only what is named by itself can be marked as not to be done
    refused = instruction.certainty == "negated" or "avoid" in roles(instruction, book.note)
    avoid = refused and not _REFUSES.match(label)
    kind = book.kind_label(instruction)
    title = label if instruction.kind in ("aftercare", "medication") else f"{kind}: {book.shown(instruction)}"
    lines = [
        f"{book.kind_label(fact)}: {book.shown(fact)}"
        for fact in facts
        if fact is not instruction or (fact.kind == "aftercare" and book.shown(fact).lower() != label.lower())
    ]
    if any(fact.status == "conditional" for fact in facts):
        lines.append("Only on a condition, as said")
    lines.append("As said: " + " … ".join(dict.fromkeys(clean(fact.evidence.heard) for fact in facts)))
    detail: Resource = {
        "extension": doubt(facts),
        "kind": "MedicationRequest" if instruction.kind == "medication" else None,
        "code": words(title),
        "status": "not-started",
        "doNotPerform": True if avoid else None,
        **_scheduled(book, facts),
        "description": "; ".join(lines),
    }
    return {"detail": without_empty(detail)}


def _scheduled(book: Book, facts: Sequence[Fact]) -> Resource:
    """How long: bounds of a Timing where the unit of time was said, else words."""
    lengths = [fact for fact in facts if fact.kind in ("aftercare", "duration") and fact.numeric]
    later = [fact for fact in facts if fact.kind == "follow_up" and fact.numeric]
    if later:
        return {"scheduledString": ", ".join(f"in {book.shown(fact)}" for fact in later)}
    if any(fact.role == "starts" for fact in lengths):
        return {"scheduledString": ", ".join(
            f"from {book.shown(fact)} on" if fact.role == "starts" else f"for {book.shown(fact)}" for fact in lengths
        )}  # fmt: skip
    if len(lengths) != 1 or lengths[0].unit not in _TIMES:
        return {"scheduledString": ", ".join(f"for {book.shown(fact)}" for fact in lengths)} if lengths else {}
    fact = lengths[0]
    if fact.value is not None and fact.comparator is None:
        return {"scheduledTiming": {"repeat": {"boundsDuration": simple_quantity(fact.value, fact.unit)}}}
    if fact.low is not None and fact.high is not None:
        ends = {"low": simple_quantity(fact.low, fact.unit), "high": simple_quantity(fact.high, fact.unit)}
        return {"scheduledTiming": {"repeat": {"boundsRange": within(ends)}}}
    return {"scheduledString": f"for {book.shown(fact)}"}
