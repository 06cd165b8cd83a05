"""A FHIR R4 document bundle (`bundle.json`): Composition first, everything it refers to inside, the Word file too."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.fhir import bundle
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.site import Site

FILE = "bundle.json"
MEANING = "A FHIR R4 document bundle: Composition, acts, medicines, observations and the Word file."
NEEDS: tuple[str, ...] = ("docx",)


def write(note: OperativeNote, grammar: Grammar, site: Site, parts: Mapping[str, bytes]) -> bytes:
    """UTF-8 JSON; decimals exact; the same note and site give the same bytes. Raises ExportError."""
    return bundle.to_bytes(bundle.document(note, grammar, site, parts.get("docx")))
