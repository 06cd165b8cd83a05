"""BodyStructure: R4 has no element for a side, so side and site stand here and as words in bodySite."""

from __future__ import annotations

from pipeline.fhir.base import Book, Resource, coding, words
from pipeline.fhir.names import SIDES, SNOMED
from pipeline.fhir.people import People
from pipeline.records import Fact


def body_structure(book: Book, people: People, fact: Fact) -> Resource | None:
    """The reference to the structure of a fact that has a side; None without one. One resource a side and site."""
    if fact.laterality is None:
        return None
    place = book.place(fact)
    location = place.removeprefix(fact.laterality).strip()
    made: Resource = {
        "resourceType": "BodyStructure",
        "location": words(location or "site not said"),
        "locationQualifier": [side(fact.laterality)],
        "description": place,
        "patient": people.patient,
    }
    return book.once(made, place, [fact])


def side(laterality: str) -> Resource:
    return words(laterality, *(coding(SNOMED, code, display) for code, display in SIDES[laterality]))


def body_site(book: Book, fact: Fact) -> list[Resource]:
    place = book.place(fact)
    return [words(place)] if place else []
