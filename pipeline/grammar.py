"""The only reader of grammars/.

`grammars/<table>.toml` holds one table: `[row-id]` sections, each a row of `rows.TABLES[table]` (Concept where
none is named). `grammars/<table>/<row-id>.toml` holds one row a file. Every bad row is reported at once.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from pipeline import paths
from pipeline.errors import GrammarError, UnknownName
from pipeline.rows import TABLES, Concept, Family, Profile, Row

R = TypeVar("R", bound=Row)

# Tables whose phrases do not name things to be found in the text as mentions.
NOT_MENTIONED = frozenset((
    "kinds", "units", "context", "sections", "control", "corrections", "confusions", "limits", "profiles", "cues",
    "sides", "loinc", "families", "look_alikes", "operation_words", "dose_talk", "drug_classes",
))  # fmt: skip


@dataclass(frozen=True, eq=False)
class Grammar:
    """All rows, by table and id. Immutable; `load()` gives the one of the installation. Equal only to itself, so that
    what is made of it can be kept by `lru_cache`."""

    tables: Mapping[str, Mapping[str, Row]]
    _seen: dict[tuple[str, type[Row]], Mapping[str, Row]] = field(default_factory=dict, init=False, repr=False)

    def table(self, name: str, model: type[R]) -> Mapping[str, R]:
        """Rows of a table, typed. An absent table is empty. Raises TypeError on a wrong model."""
        seen = self._seen.get((name, model))
        if seen is not None:
            return seen  # type: ignore[return-value]
        rows = self.tables.get(name, {})
        # All rows of a table are of one model (see _row), so the first one tells.
        for row in rows.values():
            if not isinstance(row, model):
                raise TypeError(f"table {name} holds {type(row).__name__}, not {model.__name__}")
            break
        self._seen[name, model] = rows
        return rows  # type: ignore[return-value]

    def row(self, table: str, ident: str) -> Row:
        """One row. Raises UnknownName with the names that exist."""
        try:
            return self.tables[table][ident]
        except KeyError:
            known = ", ".join(sorted(self.tables.get(table, {})))
            raise UnknownName(f"There is no '{ident}' in {table}.", f"Known: {known}.") from None

    def label(self, table: str, ident: str) -> str:
        return self.row(table, ident).name

    def family(self, ident: str) -> Family:
        row = self.row("families", ident)
        assert isinstance(row, Family)
        return row

    def profile(self, ident: str) -> Profile:
        row = self.row("profiles", ident)
        assert isinstance(row, Profile)
        return row

    def phrases(self) -> Iterable[tuple[str, str, str]]:
        """(table, row id, phrase) of every phrase that is found in the text as a mention."""
        for table, rows in self.tables.items():
            if table in NOT_MENTIONED:
                continue
            for ident, row in rows.items():
                for phrase in row.say:
                    yield table, ident, phrase


@lru_cache(maxsize=4)
def load(folder: Path | None = None) -> Grammar:
    """Reads every table. Raises GrammarError that lists all bad rows with file, row and fix."""
    root = folder or paths.grammars()
    faults: list[str] = []
    tables: dict[str, dict[str, Row]] = {}
    for file in sorted(root.rglob("*.toml")):
        single = file.parent != root
        table = file.parent.name if single else file.stem
        try:
            content = tomllib.loads(file.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
            faults.append(f"{file.relative_to(root)}: not TOML ({problem})")
            continue
        rows = {file.stem: content} if single else content
        for ident, fields in rows.items():
            row = _row(table, ident, fields, f"{file.relative_to(root)} [{ident}]", faults)
            if row is None:
                continue
            if ident in tables.setdefault(table, {}):
                faults.append(f"{file.relative_to(root)} [{ident}]: the row exists twice; rename one")
            tables[table][ident] = row
    faults += _clashes(tables)
    if faults:
        raise GrammarError(f"{len(faults)} bad row(s) in the grammars:\n  " + "\n  ".join(faults))
    return Grammar(tables)


def _row(table: str, ident: str, fields: Any, where: str, faults: list[str]) -> Row | None:
    if not isinstance(fields, dict):
        faults.append(f"{where}: stands outside a row; put it under a [row-id] heading")
        return None
    try:
        row = TABLES.get(table, Concept).model_validate({"id": ident, **fields})
    except ValidationError as problem:
        for fault in problem.errors():
            faults.append(f"{where}: {'.'.join(str(part) for part in fault['loc'])}: {fault['msg']}")
        return None
    for phrase in row.say:
        if phrase != " ".join(phrase.lower().split()):
            faults.append(f"{where}: say {phrase!r} must be lower case with single spaces")
    return row


def _clashes(tables: Mapping[str, Mapping[str, Row]]) -> list[str]:
    """A phrase that means two things is a fault unless every row that has it says what decides."""
    owners: dict[str, list[tuple[str, Row]]] = {}
    for table, rows in tables.items():
        if table in NOT_MENTIONED:
            continue
        for row in rows.values():
            for phrase in row.say:
                owners.setdefault(phrase, []).append((table, row))
    return [
        f"{phrase!r} is said for {' and '.join(f'{table}.{row.id}' for table, row in rows)}: "
        "rename one or say in `decided_by` what decides"
        for phrase, rows in sorted(owners.items())
        if len(rows) > 1 and not all(row.decided_by for _, row in rows)
    ]
