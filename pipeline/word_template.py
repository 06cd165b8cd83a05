"""Fills a hospital's own Word template (`--template FILE.docx`).

A template is an ordinary DOCX with named places in double braces. The places are `patient`, `procedure`, `state`,
`version`, `made_at`, `note_id`, `caution`, `signature`, `box` (what must be settled; empty once signed) and
`section_NAME` for each section of the note (`section_findings`, `section_medicines` ...; one line an entry).
Nothing that was said can be lost: sections that the template has no place for are added at its end, and an unsigned
note whose template has no `box` gets it on top.
"""

from __future__ import annotations

import io
import zipfile
from typing import Any

from docx import Document
from docx.opc.exceptions import OpcError
from docxtpl import DocxTemplate, Listing
from jinja2 import StrictUndefined, TemplateError
from jinja2.sandbox import SandboxedEnvironment

from pipeline import word
from pipeline.errors import BadTemplate
from pipeline.grammar import Grammar
from pipeline.note import Entry, OperativeNote, Passage
from pipeline.site import Site
from pipeline.wording import CAUTION, MARKS, STATES, asides, doubts, patient_line, procedure_line

SECTION = "section_"


def fill(note: OperativeNote, grammar: Grammar, site: Site) -> bytes:
    """The filled template as DOCX bytes, the same for the same note. Raises BadTemplate."""
    assert site.template is not None
    places = _places(note, grammar, site)
    try:
        template = DocxTemplate(str(site.template))
        used = template.get_undeclared_template_variables(SandboxedEnvironment())
        unknown = sorted(used - places.keys())
        if unknown:
            known = ", ".join(sorted(places))
            raise BadTemplate(f"has places that do not exist: {', '.join(unknown)}.", f"Known: {known}.",
                              where=str(site.template))  # fmt: skip
        template.render(
            {name: Listing(word.clean(text)) for name, text in places.items()},
            SandboxedEnvironment(undefined=StrictUndefined, autoescape=True),
        )
        raw = io.BytesIO()
        template.save(raw)
    except (OSError, KeyError, ValueError, zipfile.BadZipFile, OpcError, TemplateError) as problem:
        raise BadTemplate(f"cannot be filled ({problem}).", "Name a DOCX with places as in DEVELOPERS.md.",
                          where=str(site.template)) from problem  # fmt: skip
    document = Document(io.BytesIO(raw.getvalue()))
    _add_unplaced(document, places, used)
    return word.to_bytes(document, note.made_at)


def _add_unplaced(document: Any, places: dict[str, str], used: set[str]) -> None:
    if "box" not in used and places["box"]:
        first = document.paragraphs[0] if document.paragraphs else document.add_paragraph()
        for line in reversed(places["box"].split("\n")):
            first = first.insert_paragraph_before()
            word.write_text(first, line, bold=True)
    left = [name for name in places if name.startswith(SECTION) and name not in used and places[name]]
    if left:
        word.write_text(document.add_paragraph(), "Said, and without a place in the template", bold=True)
    for name in left:
        title = name.removeprefix(SECTION).replace("_", " ").capitalize()
        word.write_text(document.add_paragraph(), f"{title}: {places[name]}")


def _places(note: OperativeNote, grammar: Grammar, site: Site) -> dict[str, str]:
    signed = note.signature
    places = {
        "patient": patient_line(site, note),
        "procedure": procedure_line(note, grammar),
        "state": STATES[note.state],
        "version": str(note.version),
        "made_at": note.made_at,
        "note_id": note.id,
        "caution": CAUTION,
        "signature": f"{signed.statement} {signed.by}, {signed.at}" if signed else "Not signed",
        "box": "" if signed else _box(note),
    }
    facts = {fact.id: fact for fact in note.facts}
    for name, entries in note.sections.items():
        places[SECTION + name] = "\n".join(_line(entry, facts) for entry in entries)
    return places


def _box(note: OperativeNote) -> str:
    lines = [
        " ".join(part for part in (f"[{MARKS[one.severity]}]", one.message, one.arithmetic, one.ask) if part)
        for one in note.open_findings()
    ]
    return "\n".join(["To settle before signing", *lines]) if lines else "Nothing open"


def _line(entry: Entry | Passage, facts: dict[str, Any]) -> str:
    if isinstance(entry, Passage):
        return entry.text + "".join(f" [{aside}]" for aside in asides(entry))
    reasons = list(dict.fromkeys([*entry.doubts, *doubts([facts[ident] for ident in entry.facts])]))
    return entry.text + (f" [unsure: {'; '.join(reasons)}]" if reasons else "")

