"""Every check has cases that fire and cases that stay silent; a case is a list of facts, so no extractor is needed.

A case file holds `source` (where its numbers are from), `facts`, and optionally `profile`, `family`, `made_at`,
and `expect` (a list: each item's `severity` is equal to, its `arithmetic`, `message`, `ask` are part of, those of one
finding of the check).
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from pipeline import grammar, plugins
from pipeline.note import OperativeNote, Sections, Source
from pipeline.records import Evidence, Fact, Finding

CASES = Path(__file__).parent / "cases" / "checks"
FILES = sorted(CASES.glob("*/*.toml"))
_DECIMALS = ("value", "low", "high")


def fact(index: int, fields: dict[str, Any]) -> Fact:
    """A fact from a case file: numbers are decimal strings, the evidence is made up from its place in the list."""
    fields = dict(fields)
    for name in _DECIMALS:
        if name in fields:
            fields[name] = Decimal(fields[name])
    for name in ("alternatives", "doubts"):
        if name in fields:
            fields[name] = tuple(fields[name])
    heard = fields.pop("heard", fields.get("text") or str(fields.get("value", fields.get("name", "said"))))
    struck = fields.pop("taken_back", None)
    if struck is not None:
        fields["taken_back"] = (Evidence(10 * index + 5, 10 * index + 6, None, None, struck),)
    fields.setdefault("id", f"f{index:03d}")
    confidence = fields.pop("confidence", None)
    return Fact(evidence=Evidence(10 * index, 10 * index + 2, None, None, heard, confidence), **fields)


def note_of(facts: list[Fact], **fields: Any) -> OperativeNote:
    fields.setdefault("profile", "us")
    fields.setdefault("made_at", "2026-03-02T10:00:00+00:00")
    return OperativeNote(
        id="case",
        source=Source(kind="text", name="case", sha256="0" * 64, engine="typed"),
        facts=facts,
        sections=Sections(),
        **fields,
    )


def findings(check: str, facts: list[dict[str, Any]], **fields: Any) -> list[Finding]:
    """What one check says about a list of facts."""
    note = note_of([fact(index, fields) for index, fields in enumerate(facts, 1)], **fields)
    return list(plugins.find("pipeline.checks", check).check(note, grammar.load()))


def read(path: Path) -> tuple[dict[str, Any], list[Finding]]:
    case = tomllib.loads(path.read_text(encoding="utf-8"))
    fields = {key: case[key] for key in ("profile", "family", "made_at") if key in case}
    return case, findings(path.parent.name, case["facts"], **fields)


def test_checks_and_case_folders_are_the_same_set() -> None:
    assert {folder.name for folder in CASES.iterdir()} == set(plugins.names("pipeline.checks"))


@pytest.mark.parametrize("name", plugins.names("pipeline.checks"))
def test_each_check_says_what_it_means_and_has_both_sorts_of_case(name: str) -> None:
    module = plugins.find("pipeline.checks", name)
    assert module.MEANING.endswith(".")
    assert len(module.MEANING) > 30
    names = [file.name for file in FILES if file.parent.name == name]
    assert any(one.startswith("fires-") for one in names)
    assert any(one.startswith("silent-") for one in names)


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_case(path: Path) -> None:
    case, found = read(path)
    assert case["source"]
    if path.name.startswith("silent-"):
        assert found == []
        return
    assert path.name.startswith("fires-"), "a case file is called fires-* or silent-*"
    wanted = case["expect"]
    assert len(found) == len(wanted), found
    for want in wanted:
        assert any(_meets(one, want) for one in found), (want, found)
    for one in found:
        assert one.check == path.parent.name
        assert one.key.startswith(one.check)
        assert one.message.endswith(".")
        assert one.ask.endswith((".", "?"))


def _meets(one: Finding, want: dict[str, str]) -> bool:
    return one.severity == want["severity"] and all(
        want[part] in getattr(one, part) for part in ("message", "arithmetic", "ask") if part in want
    )
