"""What every exporter is.

An exporter is a module of this folder; its name ("-" for "_") is what `--to` takes. It has `FILE` (the file name
that it writes), `MEANING` (one plain sentence), `NEEDS` (names of exporters whose output it embeds) and
`write(note, grammar, site, parts) -> bytes`, where `parts` holds the output of each exporter in NEEDS. The same note
gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.site import Site


class Exporter(Protocol):
    FILE: str
    MEANING: str
    NEEDS: tuple[str, ...]

    def write(self, note: OperativeNote, grammar: Grammar, site: Site, parts: Mapping[str, bytes]) -> bytes: ...
