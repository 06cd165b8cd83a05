"""The two bundles: a document, and a transaction that can be sent twice without making anything twice."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import quote

import simplejson

from pipeline.errors import ExportError
from pipeline.fhir import rules
from pipeline.fhir.acts import Operation, add_procedures, main_reference
from pipeline.fhir.base import Book, Resource, own_identifier, reference
from pipeline.fhir.conditions import add_complications, add_diagnoses
from pipeline.fhir.document import composition, document_reference, provenance
from pipeline.fhir.medicines import add_medicines
from pipeline.fhir.observations import add_observations
from pipeline.fhir.people import PEOPLE, add_people
from pipeline.fhir.plans import add_plan
from pipeline.fhir.things import add_devices, add_specimens
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.site import Site


def collect(note: OperativeNote, grammar: Grammar, site: Site, docx: bytes | None) -> Book:
    """The book of a note, the Composition first among its resources."""
    book = Book(note, grammar, site, docx)
    people = add_people(book)
    main = main_reference(book)
    operation = Operation(composition={"reference": f"urn:uuid:{book.ident('Composition', 'note')}"})
    operation.before = add_diagnoses(book, people)
    operation.complications = add_complications(book, people)
    operation.used = add_medicines(book, people, main)
    add_devices(book, people, operation)
    add_procedures(book, people, operation)
    add_observations(book, people, main)
    add_specimens(book, people)
    add_plan(book, people)
    clinical = [reference(one) for one in book.resources if one["resourceType"] not in PEOPLE]
    attached = document_reference(book, people)
    head = book.add(composition(book, people, main, attached), "note")
    made = book.resources.pop()
    provenance(book, people, [head, *([attached] if attached else []), *clinical])
    book.resources.insert(0, made)
    return book


def document(note: OperativeNote, grammar: Grammar, site: Site, docx: bytes | None) -> Resource:
    """A document bundle: identifier and timestamp fixed, Composition first, no request."""
    book = collect(note, grammar, site, docx)
    return {
        "resourceType": "Bundle",
        "identifier": own_identifier(book.ident("Bundle", f"document/{note.version}/{note.state}")),
        "type": "document",
        "timestamp": note.made_at,
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in book.resources],
    }


def transaction(note: OperativeNote, grammar: Grammar, site: Site, docx: bytes | None) -> Resource:
    """A transaction that makes nothing twice.

    Everything of an unsigned note, and every person, is a conditional create: what is there already stays as it is.
    A signed or amended note must replace the unsigned one that may have been sent before, so its own resources are
    conditional updates: the same identifier is written again, never a second time."""
    book = collect(note, grammar, site, docx)
    entries = []
    for one in book.resources:
        body = {name: value for name, value in one.items() if name != "id"}
        update = note.state != "draft" and one["id"] not in book.shared
        entries.append({"fullUrl": f"urn:uuid:{one['id']}", "resource": body, "request": _request(one, update)})
    return {"resourceType": "Bundle", "type": "transaction", "entry": entries}


def _request(resource: Resource, update: bool) -> Resource:
    kind = resource["resourceType"]
    if update:
        return {"method": "PUT", "url": f"{kind}?{condition(resource)}"}
    return {"method": "POST", "url": kind, "ifNoneExist": condition(resource)}


def condition(resource: Resource) -> str:
    """The search that finds a resource again: its first identifier, or its tag where R4 gives it none."""
    identifier = resource.get("identifier")
    if identifier is None:
        own = resource["meta"]["tag"][-1]
        return f"_tag={_token(own['system'], own['code'])}"
    first = identifier[0] if isinstance(identifier, list) else identifier
    return f"identifier={_token(first.get('system', ''), first['value'])}"


def _token(system: str, value: str) -> str:
    """system|value of a FHIR search, escaped (R4 search, 3.1.1.3.8) and percent-encoded."""
    escaped = re.sub(r"([\\\\$,|])", r"\\\1", value)
    return f"{quote(system, safe=':/.-_~')}|{quote(escaped, safe=':/.-_~')}"


def to_bytes(bundle: dict[str, Any]) -> bytes:
    """UTF-8 JSON with decimals exactly as they are. Raises ExportError if the bundle breaks a rule."""
    found = rules.faults(bundle)
    if found:
        raise ExportError(
            f"the FHIR bundle breaks {len(found)} rule(s): {'; '.join(found[:3])}.",
            "Nothing was written. Check the note and the context file for what these name.",
        )
    text: str = simplejson.dumps(bundle, ensure_ascii=False, indent=1, use_decimal=True)
    return (text + "\n").encode()
