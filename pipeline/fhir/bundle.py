"""The two bundles: a document, and a transaction that can be sent twice without making anything twice."""

from __future__ import annotations

from typing import Any

import simplejson

from pipeline.fhir.base import Book, Resource, own_identifier, reference, tag
from pipeline.fhir.document import composition, document_reference, provenance
from pipeline.fhir.people import add_people
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.site import Site


def collect(note: OperativeNote, grammar: Grammar, site: Site, docx: bytes | None) -> list[Resource]:
    """All resources of a note, the Composition first."""
    book = Book(note, grammar, site, docx)
    people = add_people(book)
    head = composition(book, people)
    book.add(head, "note")
    made = book.resources.pop()
    document_reference(book, people, made)
    provenance(book, people, [reference(made)])
    return [made, *book.resources]


def document(note: OperativeNote, grammar: Grammar, site: Site, docx: bytes | None) -> Resource:
    """A document bundle: identifier and timestamp fixed, Composition first, no request."""
    resources = collect(note, grammar, site, docx)
    book = Book(note, grammar, site)
    return {
        "resourceType": "Bundle",
        "identifier": own_identifier(book.ident("Bundle", f"document/{note.version}/{note.state}")),
        "type": "document",
        "timestamp": note.made_at,
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in resources],
    }


def transaction(note: OperativeNote, grammar: Grammar, site: Site, docx: bytes | None) -> Resource:
    """A transaction of conditional creates."""
    entries = []
    for one in collect(note, grammar, site, docx):
        body = {name: value for name, value in one.items() if name != "id"}
        entries.append({"fullUrl": f"urn:uuid:{one['id']}", "resource": body, "request": _request(one)})
    return {"resourceType": "Bundle", "type": "transaction", "entry": entries}


def _request(resource: Resource) -> Resource:
    kind = resource["resourceType"]
    return {"method": "POST", "url": kind, "ifNoneExist": condition(resource)}


def condition(resource: Resource) -> str:
    """The search that finds a resource again."""
    identifier = resource.get("identifier")
    if isinstance(identifier, list):
        identifier = identifier[0]
    if identifier is None:
        return f"_tag={tag('unsigned')['system']}|{resource['id']}"
    return f"identifier={identifier['system']}|{identifier['value']}"


def to_bytes(bundle: dict[str, Any]) -> bytes:
    """UTF-8 JSON with decimals exactly as they are."""
    text: str = simplejson.dumps(bundle, ensure_ascii=False, indent=1, use_decimal=True)
    return (text + "\n").encode()
