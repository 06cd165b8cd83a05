"""Who: patient, encounter, organisation, practitioners. From the site's context; else marked placeholders.

A person who was named in the narration is linked to a practitioner of the context only when exactly one there has
that family name and no given name speaks against it; otherwise a practitioner of the spoken name stands, marked.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.assemble import concept
from pipeline.fhir.base import Book, Resource, absent, tag, without_empty, words
from pipeline.fhir.narrative import clean, narrative, paragraph
from pipeline.records import Fact

PEOPLE = frozenset({"Patient", "Encounter", "Organization", "Practitioner"})
_TITLES = frozenset(
    {"dr", "doctor", "mr", "mister", "mrs", "ms", "miss", "prof", "professor", "sister", "nurse", "sir"}
)


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
    team = [(fact, person(book, said, fact)) for fact in book.of("team_member") if (said := clean(fact.text or ""))]
    surgeons = [ref for fact, ref in team if fact.name == "surgeon"]
    surgeon = surgeons[0] if surgeons else _unnamed(book)
    return People(patient, encounter, surgeon, tuple(team), organization)


def _tokens(name: str) -> set[str]:
    return set(re.findall(r"\w+", name.casefold())) - _TITLES


def person(book: Book, said: str, fact: Fact | None = None) -> Resource:
    """The practitioner of that spoken or signed name: the site's, else one of that name, marked."""
    tokens = _tokens(said)
    known = [one for one in book.site.resources.get("Practitioner", []) if _is(one, tokens)]
    if len(known) == 1:
        ref = book.share(known[0])
    else:
        key = " ".join(sorted(tokens)) or said.casefold()
        made: Resource = {
            "resourceType": "Practitioner",
            **_placeholder("Placeholder: named in the dictation, not found in the site's list"),
            "name": [{"text": said}],
        }
        ref = book.once(made, key)
    if fact is not None:
        book.made.setdefault(fact.id, []).append(ref)
    return ref


def _is(practitioner: Resource, said: set[str]) -> bool:
    """Whether some name of the practitioner fits: the family name was said, other words are given names or initials."""
    for name in practitioner.get("name", []):
        family = _tokens(str(name.get("family", "")))
        given = {token for one in name.get("given", []) for token in _tokens(str(one))}
        rest = said - family
        if family and family <= said and all(
            any(token == one or (len(token) == 1 and one.startswith(token)) for one in given) for token in rest
        ):  # fmt: skip
            return True
    return False


def _given(book: Book, kind: str) -> Resource | None:
    listed = book.site.resources.get(kind, [])
    return book.share(listed[0]) if listed else None


def _placeholder(text: str) -> Resource:
    return {"meta": {"tag": [tag("placeholder")]}, "text": narrative(paragraph(text))}


def _patient(book: Book) -> Resource:
    given = _given(book, "Patient")
    if given is not None:
        return given
    names = [clean(fact.text or "") for fact in book.of("patient_name")]
    numbers = [clean(fact.text or "") for fact in book.of("patient_identifier")]
    said = [f"Name as dictated: {text}" for text in names if text]
    said += [f"Number as dictated: {text}" for text in numbers if text]
    made: Resource = {
        "resourceType": "Patient",
        **_placeholder("; ".join(["Placeholder: the site gave no patient", *said])),
        "identifier": [{"value": text} for text in numbers if text],
        "name": [{"text": text} for text in names[:1] if text] or [absent()],
        "gender": _gender(book),
    }
    return book.add(without_empty(made), "patient", book.of("patient_name", "patient_identifier"))


def _gender(book: Book) -> str | None:
    said = {fact.name for fact in book.of("patient_sex") if fact.certainty == "affirmed"}
    return next(iter(said)) if len(said) == 1 and said <= {"male", "female"} else None


def _encounter(book: Book, patient: Resource) -> Resource:
    listed = book.site.resources.get("Encounter", [])
    if listed:
        provider = _given(book, "Organization")
        links = {"subject": patient, "serviceProvider": provider} if provider else {"subject": patient}
        return book.share(listed[0], **links)
    made: Resource = {
        "resourceType": "Encounter",
        **_placeholder("Placeholder: the site gave no encounter"),
        "status": "unknown",
        "class": absent(),
        "subject": patient,
    }
    return book.add(made, "encounter")


def _unnamed(book: Book) -> Resource:
    made: Resource = {
        "resourceType": "Practitioner",
        **_placeholder("Placeholder: the surgeon was not named"),
        "name": [absent()],
    }
    return book.add(made, "surgeon not named")


def performers(book: Book, people: People, roles: frozenset[str] | None = None) -> list[Resource]:
    """Procedure.performer of the people named (of all roles when None), each with the role said."""
    return [
        {"function": words(concept(fact, book.grammar) or "team"), "actor": ref}
        for fact, ref in people.team
        if roles is None or fact.name in roles
    ]
