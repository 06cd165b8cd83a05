"""Who: patient, encounter, organisation, practitioners. From the site's context; else marked placeholders.

A person who was named in the narration is linked to a practitioner of the context only when exactly one family
name of the context is among the words said; otherwise a practitioner of that spoken name stands, marked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.fhir.base import Book, Resource, absent, reference, tag, without_empty, words
from pipeline.fhir.narrative import clean, narrative, paragraph
from pipeline.records import Fact

PEOPLE = frozenset({"Patient", "Encounter", "Organization", "Practitioner"})


@dataclass(frozen=True)
class People:
    """References to use in other resources. `team`: (fact, reference) of each person named."""

    patient: Resource
    encounter: Resource
    surgeon: Resource
    team: tuple[tuple[Fact, Resource], ...]
    organization: Resource | None


def add_people(book: Book) -> People:
    patient = _patient(book)
    organization = _given(book, "Organization")
    encounter = _encounter(book, patient)
    practitioners = [(_family(one), book.share(one)) for one in book.site.resources.get("Practitioner", [])]
    team: list[tuple[Fact, Resource]] = []
    for fact in book.of("team_member"):
        said = clean(fact.text or "")
        if not said:
            continue
        tokens = set(re.findall(r"\w+", said.casefold()))
        matching = [ref for family, ref in practitioners if family and set(family.casefold().split()) <= tokens]
        team.append((fact, matching[0] if len(matching) == 1 else _spoken(book, said, fact)))
    surgeons = [ref for fact, ref in team if fact.name == "surgeon"]
    surgeon = surgeons[0] if surgeons else _unnamed(book)
    return People(patient, encounter, surgeon, tuple(team), organization)


def _given(book: Book, kind: str) -> Resource | None:
    listed = book.site.resources.get(kind, [])
    return book.share(listed[0]) if listed else None


def _family(practitioner: Resource) -> str:
    names = practitioner.get("name") or [{}]
    return str(names[0].get("family", ""))


def _placeholder(text: str) -> Resource:
    return {"meta": {"tag": [tag("placeholder")]}, "text": narrative(paragraph(text))}


def _patient(book: Book) -> Resource:
    given = _given(book, "Patient")
    if given is not None:
        return given
    names = [clean(fact.text or "") for fact in book.of("patient_name")]
    numbers = [clean(fact.text or "") for fact in book.of("patient_identifier")]
    said = [f"{'Name' if text in names else 'Number'} as dictated: {text}" for text in (*names, *numbers) if text]
    made: Resource = {
        "resourceType": "Patient",
        **_placeholder("; ".join(["Placeholder: the site gave no patient", *said])),
        "identifier": [{"value": text} for text in numbers if text],
        "name": [{"text": text} for text in names[:1] if text] or [absent()],
        "gender": _gender(book),
    }
    return book.add(without_empty(made), "patient", book.of("patient_name", "patient_identifier"))


def _gender(book: Book) -> str | None:
    said = {fact.name for fact in book.of("patient_sex")}
    return next(iter(said)) if len(said) == 1 and said <= {"male", "female"} else None


def _encounter(book: Book, patient: Resource) -> Resource:
    listed = book.site.resources.get("Encounter", [])
    if listed:
        return book.share({**listed[0], "subject": patient})
    made: Resource = {
        "resourceType": "Encounter",
        **_placeholder("Placeholder: the site gave no encounter"),
        "status": "unknown",
        "class": absent(),
        "subject": patient,
    }
    return book.add(made, "encounter")


def _spoken(book: Book, said: str, fact: Fact) -> Resource:
    ident = book.ident("Practitioner", said.casefold())
    for one in book.resources:
        if one["id"] == ident:
            return reference(one)
    made: Resource = {
        "resourceType": "Practitioner",
        **_placeholder("Placeholder: named in the dictation, not found in the site's list"),
        "name": [{"text": said}],
    }
    return book.add(made, said.casefold(), [fact])


def _unnamed(book: Book) -> Resource:
    made: Resource = {
        "resourceType": "Practitioner",
        **_placeholder("Placeholder: the surgeon was not named"),
        "name": [absent()],
    }
    return book.add(made, "surgeon not named")


def performers(people: People, *roles: str) -> list[Resource]:
    """Procedure.performer of the people named (all roles when none is given), each with the role said."""
    made = [
        {"function": words(fact.name or "team"), "actor": ref}
        for fact, ref in people.team
        if not roles or fact.name in roles
    ]
    return made or [{"function": words("surgeon"), "actor": people.surgeon}]
