"""Answers by yes and no. How they are said is common practice, no source; the narrations are written by hand."""

from __future__ import annotations

import pytest

from pipeline import grammar, run


def certainties(text: str) -> dict[str, str]:
    note = run.make_note(run.from_text(text), grammar.load())
    kinds = ("procedure", "drain", "tourniquet", "finding", "act")
    return {str(fact.name): fact.certainty for fact in note.facts if fact.kind in kinds}


@pytest.mark.parametrize(("text", "meant"), [
    ("Left knee, chondroplasty yes, microfracture no, synovectomy yes.",
     {"chondroplasty": "affirmed", "microfracture": "negated", "synovectomy": "affirmed"}),
    ("Right knee microfracture no.", {"microfracture": "negated"}),
    ("Was a drain used? No. Tourniquet? No.", {"drain": "negated", "tourniquet": "negated"}),
    ("Any loose bodies? No. Meniscal tear? Yes.", {"loose-body": "negated", "meniscal-tear": "affirmed"}),
    ("Tourniquet up, drain used? No.", {"tourniquet": "affirmed", "drain": "negated"}),
    ("Should we use a tourniquet? Next the right knee.", {"tourniquet": "suspected"}),
    ("Lateral release, no. Synovectomy done.", {"lateral-release": "negated", "synovectomy": "affirmed"}),
    ("No drain, no chondroplasty, no lateral release.",
     {"drain": "negated", "chondroplasty": "negated", "lateral-release": "negated"}),
    ("Chondroplasty, no drain, then synovectomy.",
     {"chondroplasty": "affirmed", "drain": "negated", "synovectomy": "affirmed"}),
])  # fmt: skip
def test_what_is_answered(text: str, meant: dict[str, str]) -> None:
    assert certainties(text) == meant


@pytest.mark.parametrize(("text", "meant"), [
    ("Drains 0. Right knee synovectomy.", {"drain": "negated", "synovectomy": "affirmed"}),
    ("Drains: zero. Right knee synovectomy.", {"drain": "negated", "synovectomy": "affirmed"}),
    ("Drain 10 French. Right knee synovectomy.", {"drain": "affirmed", "synovectomy": "affirmed"}),
])  # fmt: skip
def test_a_nought_behind_a_thing_is_none(text: str, meant: dict[str, str]) -> None:
    assert certainties(text) == meant
