"""The note itself, as `note.json` (see `voxop schema`)."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.site import Site

FILE = "note.json"
MEANING = "The note with all facts, evidence and findings, as JSON."
NEEDS: tuple[str, ...] = ()


def write(note: OperativeNote, grammar: Grammar, site: Site, parts: Mapping[str, bytes]) -> bytes:
    """UTF-8 JSON; decimals are strings, so that trailing zeros stay."""
    return note.to_json().encode()
