"""The Composition with its sections, the DocumentReference with the Word file, and the Provenance."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence

from pipeline import __version__
from pipeline.fhir.base import Book, Resource, coding, doubts_of, without_empty, words
from pipeline.fhir.names import LOINC, TERMS
from pipeline.fhir.narrative import bullets, clean, narrative, paragraph
from pipeline.fhir.people import People
from pipeline.note import Entry, Passage
from pipeline.records import Fact
from pipeline.rows import Loinc

_DOCX = "application/vnd.openxmlformats-officedocument.wordprocessingml.document"


def document_type(book: Book) -> Resource:
    row = book.grammar.table("loinc", Loinc)["document"]
    return words(row.label, coding(LOINC, row.code, row.display))


def composition(book: Book, people: People) -> Resource:
    """The Composition, to stand first."""
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
        "category": [
            words(
                "Clinical note",
                coding(
                    "http://hl7.org/fhir/us/core/CodeSystem/us-core-documentreference-category",
                    "clinical-note",
                    "Clinical Note",
                ),
            )
        ],
        "subject": people.patient,
        "encounter": people.encounter,
        "date": note.made_at,
        "author": [people.surgeon],
        "title": "Operative note" if note.state != "draft" else "Operative note (draft, not signed)",
        "attester": _attester(book, people),
        "custodian": people.organization,
        "text": narrative(*_summary(book)),
        "language": note.language,
        "section": [*sections, *rest],
    }
    return without_empty(made)


def _attester(book: Book, people: People) -> list[Resource]:
    signed = book.note.signature
    if signed is None or book.note.state == "draft":
        return []
    return [{"mode": "legal", "time": signed.at, "party": people.surgeon}]


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
            chosen: list[Entry | Passage] = [
                entry
                for entry in entries
                if isinstance(entry, Passage)
                or not row.kinds
                or any(facts[ident].kind in row.kinds for ident in entry.facts if ident in facts)
            ]
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
                lines.append(item.text + "".join(f" [taken back: {piece.heard}]" for piece in item.taken_back))
                continue
            mine = [facts[ident] for ident in item.facts if ident in facts]
            lines.append(entry_line(item, mine))
            for fact in mine:
                for ref in book.made.get(fact.id, []):
                    entries[ref["reference"]] = ref
        blocks.append(bullets(lines) if lines else "")
    text = narrative(*blocks) if any(blocks) else narrative(paragraph("Not said."))
    return without_empty({"text": text, "entry": list(entries.values())})


def entry_line(entry: Entry, facts: Sequence[Fact]) -> str:
    """The words of an entry with its doubts and what was taken back."""
    line = clean(entry.text)
    reasons = list(dict.fromkeys([*map(clean, entry.doubts), *doubts_of(facts)]))
    if reasons:
        line += f" [unsure: {'; '.join(reasons)}]"
    elif entry.doubtful:
        line += " [unsure]"
    for fact in facts:
        line += "".join(f" [corrected while speaking; taken back: {piece.heard}]" for piece in fact.taken_back)
    return line


def document_reference(book: Book, people: People, about: Resource) -> Resource | None:
    """The Word file inside a DocumentReference, with its size and SHA-1; None without the file."""
    if book.docx is None:
        return None
    made: Resource = {
        "resourceType": "DocumentReference",
        "status": "current",
        "docStatus": book.status,
        "type": document_type(book),
        "category": about["category"],
        "subject": people.patient,
        "date": book.note.made_at,
        "author": [people.surgeon],
        "custodian": people.organization,
        "description": about["title"],
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
        agents.append({"type": words("checked and signed it", coding(role, "legal", "Legal Authenticator")),
                       "who": {"display": clean(note.signature.by)}})  # fmt: skip
    made: Resource = {
        "resourceType": "Provenance",
        "target": list(targets),
        "recorded": note.made_at if note.signature is None else note.signature.at,
        "agent": agents,
    }
    return book.add(made, "note")
