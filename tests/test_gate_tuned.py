"""The gate for tuned weights can say no."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from pipeline import grammar

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
import gate_tuned as gate

SAID = ["Fifteen milliliters of saline.", "The left ureter was seen."]


def test_human_speech_must_not_get_worse() -> None:
    base = [(1, 20)] * 300
    assert gate.human(base, base).passed
    assert not gate.human(base, [(2, 20)] * 300).passed  # 5 points worse
    assert not gate.human(base[:239], base[:239]).passed  # too few to say


def test_paired_difference_is_of_the_same_utterances() -> None:
    base, tuned = [(0, 10), (10, 10)] * 150, [(0, 10), (10, 10)] * 150
    assert gate.worse_by(base, tuned) == (0.0, 0.0)
    mean, upper = gate.worse_by(base, [(1, 10), (10, 10)] * 150)
    assert mean == pytest.approx(5.0)  # 150 errors more in 3000 words
    assert upper > mean


def test_the_critical_words_must_be_halved() -> None:
    rules = grammar.load()
    wrong = gate.scored(SAID, ["Fifty millimeters of saline.", "The right ureter was seen."], rules)
    better = gate.scored(SAID, ["Fifteen milliliters of saline.", "The right ureter was seen."], rules)
    assert gate.halved(_sum(wrong), _sum(better)).passed
    assert not gate.halved(_sum(wrong), _sum(wrong)).passed


def test_a_new_wrong_side_or_number_fails_and_is_told() -> None:
    rules = grammar.load()
    right = gate.scored(SAID, SAID, rules)
    new = gate.scored(SAID, [SAID[0], "The right ureter was seen."], rules)
    assert gate.invented(right, right).passed
    told = gate.invented(right, new)
    assert not told.passed
    assert "'left' <- 'right'" in told.told


def _sum(rows: list[gate.words.Errors]) -> gate.words.Errors:
    total = gate.words.Errors()
    for row in rows:
        total.add(row)
    return total
