"""Errors planted in correct narrations of benchmarks/checks.py: a floor under what the whole way catches."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).resolve().parent.parent / "benchmarks"


@pytest.mark.slow
def test_planted_errors_are_caught_and_correct_narrations_stay_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(BENCHMARKS))
    sys.modules.pop("checks", None)
    import checks

    tallies, missed, alarms, _ = checks.plant(1, None)
    contradictions = [tallies[error.kind] for error in checks.ERRORS if error.contradicts]
    planted, caught = sum(one.planted for one in contradictions), sum(one.caught for one in contradictions)
    assert len(checks.ERRORS) >= 25
    assert all(tallies[error.kind].planted for error in checks.ERRORS)
    # Measured at 96 % when this floor was set; the target of 95 % is the benchmark's business, on more narrations.
    assert caught >= 0.93 * planted, missed
    asked = {"completeness", "family_elements"}
    assert [(name, one.message) for name, one in alarms if one.check not in asked] == []


@pytest.mark.parametrize("name", ["checks_clean.toml", "checks_told.toml"])
def test_the_narrations_of_the_bench_can_be_planted(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every error names words that stand in one line of its narration, so that a run of minutes does not end on one."""
    monkeypatch.syspath_prepend(str(BENCHMARKS))
    import checks

    rows = tomllib.loads((BENCHMARKS / name).read_text(encoding="utf-8"))
    assert len(rows) > 50
    told = {ident: checks._as_said(row) for ident, row in rows.items()}
    errors = [(ident, words, wrong) for ident, row in rows.items() for _, words, wrong in row.get("errors", ())]
    assert errors
    assert [one for one in errors if one[1] not in told[one[0]] or one[1] == one[2]] == []
