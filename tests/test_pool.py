"""The command that reads real notes: it finds a number that is not in the words, and skips where there are none."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pool
import pytest

from pipeline import grammar, run

SAID = "The tourniquet was inflated to 240 mmHg. Blood loss 35 mL. Blood pressure 128/74 mmHg."


def test_a_number_that_was_not_said_is_found() -> None:
    facts = run.make_note(run.from_text(SAID), grammar.load()).facts
    held = {str(fact.value) for fact in facts if fact.value is not None}
    assert {"240", "35", "128", "74"} <= held
    assert pool.unsaid(facts, SAID) == []
    wrong = [replace(fact, value=Decimal(53)) for fact in facts if fact.kind == "blood_loss"]
    assert len(wrong) == 1
    assert pool.unsaid(wrong, SAID) == wrong


def test_words_that_are_not_in_the_note_are_found() -> None:
    facts = run.make_note(run.from_text(SAID), grammar.load()).facts
    loss = [fact for fact in facts if fact.kind == "blood_loss"]
    assert pool.unsaid(loss, "Nothing of the kind.") == loss


def test_without_the_notes_it_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path,
                                      capsys: pytest.CaptureFixture[str]) -> None:  # fmt: skip
    monkeypatch.setattr(pool, "POOL", tmp_path / "shared" / "notes_pool.jsonl")
    assert pool.main([]) == 0
    assert "skipped" in capsys.readouterr().out


def test_words_that_count_are_read_and_no_more() -> None:
    assert pool.numbers("both screws") == {Decimal(2)}
    assert pool.numbers("a single wire") == {Decimal(1)}
    assert pool.numbers("the screws") == set()
