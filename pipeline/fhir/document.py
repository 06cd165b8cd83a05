"""The Composition with its sections, the DocumentReference with the Word file, and the Provenance."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence

from pipeline import __version__
from pipeline.fhir.base import Book, Resource, coding, reference, without_empty, words
from pipeline.fhir.lines import entry_line
from pipeline.fhir.names import LOINC, SHA256, TERMS, VERSION
from pipeline.fhir.narrative import bullets, clean, narrative, paragraph
from pipeline.fhir.people import PEOPLE, People, person
from pipeline.note import Entry, Passage
from pipeline.records import Fact
from pipeline.rows import Loinc
from pipeline.wording import asides

_DOCX = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"


def document_type(book: Book) -> Resource:
    row = book.grammar.table("loinc", Loinc)["document"]
    return words(row.label, coding(LOINC, row.code, row.display))


def category() -> Resource:
    """The category that US Core asks of a clinical note."""
    system = "http://hl7.org/fhir/us/core/CodeSystem/us-core-documentreference-category"
    return words("Clinical note", coding(system, "clinical-note", "Clinical Note"))


def title(book: Book) -> str:
    return "Operative note (draft, not signed)" if book.unsigned else "Operative note"


def composition(book: Book, people: People, main: Resource | None, attached: Resource | None) -> Resource:
    """The Composition, to stand first. Everything that was made of the note can be reached from it."""
    note = book.note
    rows = sorted(
        (row for row in book.grammar.table("loinc", Loinc).values() if row.use == "section"), key=lambda row: row.order
    )
    sections = [one for row in rows if (one := _section(book, row)) is not None]
    rest = _rest(book, rows)
    made: Resource = {
        "resourceType": "Composition",
        "status": book.status,
        "type": document_type(book),
        "category": [category()],
        "subject": people.patient,
        "encounter": people.encounter,
        "date": note.made_at,
        "author": [people.surgeon],
        "title": title(book),
        "attester": _attester(book),
        "custodian": people.organization,
        "text": narrative(*_summary(book)),
        "language": note.language,
        "extension": [{"url": VERSION, "valueString": str(note.version)}],
        "event": _event(book, main),
        "section": _reaching_all(book, [*_amendment(book), *sections, *rest], attached),
    }
    return without_empty(made)


def _amendment(book: Book) -> list[Resource]:
    """What an amended version says of itself: why it was made, by whom, and what it changes."""
    amendment = book.note.amendment
    if amendment is None:
        return []
    head = f"Amends version {amendment.version}: {amendment.reason} ({amendment.by}, {amendment.at})"
    text = narrative(paragraph(head), *(paragraph(change) for change in amendment.changes))
    return [{"title": "Amendment", "code": words("Amendment"), "text": text}]


def _event(book: Book, main: Resource | None) -> list[Resource]:
    if main is None:
        return []
    done = next(one for one in book.resources if reference(one) == main)
    made = {"code": [done["code"]], "period": done.get("performedPeriod"), "detail": [main]}
    return [without_empty(made)]


def _reaching_all(book: Book, sections: list[Resource], attached: Resource | None) -> list[Resource]:
    """With the Word file, and with whatever no entry of the note has led to."""
    if attached is not None:
        title = "Word document"
        text = narrative(paragraph("The note as a Word document is attached."))
        sections = [*sections, {"title": title, "code": words(title), "text": text, "entry": [attached]}]
    held = {ref["reference"] for ref in references({"section": sections})}
    for one in book.resources:
        held.update(ref["reference"] for ref in references(one))
    left = [reference(one) for one in book.resources if reference(one)["reference"] not in held]
    left = [ref for ref in left if ref["reference"] not in _people(book)]
    if left:
        title = "Further entries"
        text = narrative(paragraph("Entries of the note that stand in no section."))
        sections.append({"title": title, "code": words(title), "text": text, "entry": left})
    return sections


def _people(book: Book) -> set[str]:
    return {reference(one)["reference"] for one in book.resources if one["resourceType"] in PEOPLE}


def references(node: object) -> Iterator[Resource]:
    """Every Reference inside, at any depth."""
    if isinstance(node, dict):
        if isinstance(node.get("reference"), str):
            yield node
        for value in node.values():
            yield from references(value)
    elif isinstance(node, list):
        for value in node:
            yield from references(value)


def _attester(book: Book) -> list[Resource]:
    signed = book.note.signature
    if signed is None or book.note.state == "draft":
        return []
    return [{"mode": "legal", "time": signed.at, "party": person(book, clean(signed.by))}]


def _summary(book: Book) -> Iterable[str]:
    note = book.note
    yield paragraph({"draft": "Draft, not signed.", "signed": "Signed.", "amended": "Amended."}[note.state])
    findings = note.open_findings()
    if findings:
        yield paragraph("Open findings of the checks:")
        yield bullets(f"{item.severity}: {item.message} {item.arithmetic} {item.ask}" for item in findings)


def _section(book: Book, row: Loinc) -> Resource | None:
    facts = {fact.id: fact for fact in book.note.facts}
    parts: list[tuple[str, list[Entry | Passage]]] = []
    for name, entries in book.note.sections.items():
        if name in row.holds:
            chosen = [entry for entry in entries if _belongs(entry, row, facts)]
            if chosen:
                parts.append((name, chosen))
    if not parts and not row.required:
        return None
    code = words(row.label, coding(LOINC, row.code, row.display))
    made: Resource = {"title": row.label, "code": code, **_content(book, parts[:1])}
    if not parts:
        made["emptyReason"] = words("Not said", coding(f"{TERMS}list-empty-reason", "unavailable", "Unavailable"))
    elif len(parts) > 1:
        made["section"] = [_plain_section(book, name, entries) for name, entries in parts[1:]]
    return made


def _belongs(entry: Entry | Passage, row: Loinc, facts: Mapping[str, Fact]) -> bool:
    if isinstance(entry, Passage):
        return True
    mine = [facts[ident] for ident in entry.facts if ident in facts]
    of_kind = not row.kinds or any(fact.kind in row.kinds for fact in mine)
    return of_kind and (not row.statuses or any(fact.status in row.statuses for fact in mine))


def _plain_section(book: Book, name: str, entries: list[Entry | Passage]) -> Resource:
    title = name.replace("_", " ").capitalize()
    return {"title": title, "code": words(title), **_content(book, [(name, entries)])}


def _rest(book: Book, rows: Sequence[Loinc]) -> list[Resource]:
    """Sections of the note that no LOINC section holds."""
    held = {name for row in rows for name in row.holds}
    return [
        _plain_section(book, name, list(entries))
        for name, entries in book.note.sections.items()
        if entries and name not in held
    ]


def _content(book: Book, parts: Iterable[tuple[str, list[Entry | Passage]]]) -> Resource:
    """Narrative, and references to the resources made of the facts."""
    blocks: list[str] = []
    entries: dict[str, Resource] = {}
    facts = {fact.id: fact for fact in book.note.facts}
    for _, items in parts:
        lines: list[str] = []
        for item in items:
            if isinstance(item, Passage):
                lines.append(item.text + "".join(f" [{aside}]" for aside in asides(item)))
                continue
            mine = [facts[ident] for ident in item.facts if ident in facts]
            lines.append(entry_line(item, mine, book.note))
            for fact in mine:
                for ref in book.made.get(fact.id, []):
                    entries[ref["reference"]] = ref
        blocks.append(bullets(lines) if lines else "")
    text = narrative(*blocks) if any(blocks) else narrative(paragraph("Not said."))
    return without_empty({"text": text, "entry": list(entries.values())})


def document_reference(book: Book, people: People) -> Resource | None:
    """The Word file inside a DocumentReference, with its size and SHA-1; None without the file."""
    if book.docx is None:
        return None
    made: Resource = {
        "resourceType": "DocumentReference",
        "status": "current",
        "docStatus": book.status,
        "type": document_type(book),
        "category": [category()],
        "subject": people.patient,
        "date": book.note.made_at,
        "author": [people.surgeon],
        "custodian": people.organization,
        "description": title(book),
        "content": [
            {
                "attachment": {
                    "contentType": _DOCX,
                    "language": book.note.language,
                    "data": base64.b64encode(book.docx).decode(),
                    "size": len(book.docx),
                    "hash": base64.b64encode(hashlib.sha1(book.docx, usedforsecurity=False).digest()).decode(),
                    "title": "note.docx",
                    "creation": book.note.made_at,
                }
            }
        ],
        "context": {"encounter": [people.encounter]},
    }
    return book.add(without_empty(made), "docx")


def provenance(book: Book, people: People, targets: Sequence[Resource]) -> Resource:
    """Who said it, what heard it, who checked it."""
    note = book.note
    engine: Resource = {
        "resourceType": "Device",
        "deviceName": [{"name": f"vox-operandi {__version__}, {note.source.engine}", "type": "model-name"}],
        "version": [{"value": clean(f"{note.source.engine} {note.source.model}")}],
        "type": words("Dictation software"),
    }
    software = book.add(engine, "software")
    role = f"{TERMS}provenance-participant-type"
    agents: list[Resource] = [
        {"type": words("said it", coding(role, "author", "Author")), "who": people.surgeon},
        {"type": words("heard it and wrote it down", coding(role, "assembler", "Assembler")), "who": software},
    ]
    if note.signature is not None and note.state != "draft":
        signer = person(book, clean(note.signature.by))
        agents.append({"type": words("checked and signed it", coding(role, "attester", "Attester")), "who": signer})
    for name in dict.fromkeys(clean(decision.by) for decision in note.decisions):
        if name:
            who = person(book, name)
            agents.append({"type": words("reviewed and decided", coding(role, "verifier", "Verifier")), "who": who})
    made: Resource = {
        "resourceType": "Provenance",
        "target": list(targets),
        "recorded": note.made_at if note.signature is None else note.signature.at,
        "agent": agents,
        "entity": [_source(book)],
    }
    return book.add(made, "note")


def _source(book: Book) -> Resource:
    """What the note was made from, named by its checksum."""
    source = book.note.source
    return {
        "role": "source",
        "what": {
            "identifier": {"system": SHA256, "value": source.sha256},
            "display": clean(f"{source.kind}: {source.name}"),
        },
    }
