"""Condition: diagnoses before and after, and complications. What was ruled out or belongs to the past makes none."""

from __future__ import annotations

from pipeline.fhir.acts import notes
from pipeline.fhir.base import Book, Resource, coding, without_empty, words
from pipeline.fhir.bodies import body_site
from pipeline.fhir.names import TERMS
from pipeline.fhir.people import People
from pipeline.records import Fact

_ROLES = {"preop_diagnosis": "pre-op", "postop_diagnosis": "post-op"}


def add_diagnoses(book: Book, people: People) -> list[Resource]:
    """One Condition a diagnosis; gives the references of those before the operation.

    "The same" after the operation refers to the conditions before it."""
    before: list[Resource] = []
    for fact in book.of("preop_diagnosis"):
        before.append(_add(book, people, fact))
    for fact in book.of("postop_diagnosis", "diagnosis"):
        if "same" in (fact.name, (fact.text or "").strip().lower()):
            book.made.setdefault(fact.id, []).extend(before)
        else:
            _add(book, people, fact)
    return before


def add_complications(book: Book, people: People) -> list[tuple[Fact, Resource]]:
    return [(fact, _add(book, people, fact)) for fact in book.of("complication") if fact.name != "none"]


def _verification(book: Book, fact: Fact) -> Resource:
    """Suspected is provisional; what was said surely is confirmed only once a person has signed it."""
    code = "confirmed"
    if fact.certainty == "suspected":
        code = "provisional"
    elif book.unsigned or fact.doubts or fact.alternatives:
        code = "unconfirmed"
    return words(code, coding(f"{TERMS}condition-ver-status", code, code.capitalize()))


def _add(book: Book, people: People, fact: Fact) -> Resource:
    code = coding(f"{TERMS}condition-category", "encounter-diagnosis", "Encounter Diagnosis")
    category = [words("Encounter diagnosis", code)]
    if fact.kind in _ROLES:
        when = _ROLES[fact.kind]
        category.append(words(book.kind_label(fact), coding(f"{TERMS}diagnosis-role", when, f"{when} diagnosis")))
    else:
        category.append(words(book.kind_label(fact)))
    made: Resource = {
        "resourceType": "Condition",
        "verificationStatus": _verification(book, fact),
        "category": category,
        "code": words(book.label(fact), *book.codings(fact)),
        "bodySite": body_site(book, fact),
        "subject": people.patient,
        "encounter": people.encounter,
        "recordedDate": book.note.made_at,
        "note": notes(book, [fact]),
    }
    return book.add(without_empty(made), fact.id, [fact])
