"""A FHIR R4 transaction (`transaction.json`): conditional creates, so that sending twice makes nothing twice."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.fhir import bundle
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.site import Site

FILE = "transaction.json"
MEANING = "A FHIR R4 transaction bundle of conditional creates, for a server that takes no documents."
NEEDS: tuple[str, ...] = ("docx",)


def write(note: OperativeNote, grammar: Grammar, site: Site, parts: Mapping[str, bytes]) -> bytes:
    """UTF-8 JSON; decimals exact; the same note and site give the same bytes. Raises ExportError."""
    return bundle.to_bytes(bundle.transaction(note, grammar, site, parts.get("docx")))
