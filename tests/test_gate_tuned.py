"""The gate for tuned weights can say no."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from pipeline import grammar, manifest
from pipeline.records import Word
from tests.test_merging import _adapter, _file

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "benchmarks"))
import gate_tuned as gate
import gate_tuned_strengths as strengths

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


def test_what_only_tuned_made_up_fails_and_is_told() -> None:
    rules = grammar.load()
    wrong = [SAID[0], "The right ureter was seen."]
    assert gate.invented(SAID, SAID, SAID, rules).passed
    told = gate.invented(SAID, SAID, wrong, rules)
    assert not told.passed
    assert "side right" in told.told
    assert gate.invented(SAID, wrong, wrong, rules).passed  # base made it up as well
    assert not gate.invented(SAID, SAID, ["Fifty milliliters of saline.", SAID[1]], rules).passed
    assert not gate.invented(SAID, SAID, ["Fifteen millimeters of saline.", SAID[1]], rules).passed
    # A word that sounds like a number and is none: the size of a suture out of nowhere.
    plain = ["The biceps tenodesis was done."]
    assert not gate.invented(plain, plain, ["The biceps 10-0 cis was done."], rules).passed
    assert not gate.invented([], [], [], rules).passed


def test_what_base_has_wrong_in_the_same_place_is_not_new_but_elsewhere_it_is() -> None:
    rules = grammar.load()
    pressure = ["Fifteen millimeters of mercury, then twelve. A ten millimeter trocar."]
    assert gate.invented(pressure, ["15mm of mercury, then 12-10mm trocar."],
                         ["Fifteen millimeters of mercury, then twelve to ten millimeter trocar."], rules).passed
    twice = ["Blood loss sixteen milliliters, urine sixty milliliters."]
    base = ["Blood loss sixty milliliters, urine sixty milliliters."]
    assert gate.invented(twice, base, base, rules).passed
    # The same number that base made up, but where base had it right.
    assert not gate.invented(twice, base, ["Blood loss sixty milliliters, urine sixteen milliliters."], rules).passed
    # A side is no matter of a quantity that base has wrong beside it.
    side = ["Five milliliters left."]
    assert not gate.invented(side, ["Nine milliliters left."], ["Five milliliters right."], rules).passed


def test_places_meet_where_they_share_a_word_or_stand_for_none_beside_one() -> None:
    assert gate.meet((2, 4), (3, 6))
    assert not gate.meet((2, 4), (4, 6))
    assert gate.meet((4, 4), (4, 6))
    assert not gate.meet((3, 3), (4, 6))


def _rows(*passed: bool) -> list[gate.Verdict]:
    return [gate.Verdict("row", one, "") for one in passed]


def test_the_strongest_that_passes_is_chosen_and_the_weakest_of_the_best_where_none_does() -> None:
    assert strengths.best({0.3: _rows(True, True), 0.4: _rows(True, True), 0.5: _rows(True, False)}) == 0.4
    assert strengths.best({0.3: _rows(False, False), 0.4: _rows(True, False), 0.5: _rows(True, False)}) == 0.4


def test_a_strength_is_joined_as_a_model_of_the_site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A model of one weight: 1 + strength * 2 * 3 = 1 + 0.5 * 6 = 4."""
    base = tmp_path / "base"
    base.mkdir()
    one = {"w": np.ones((1, 1), np.float16)}
    (base / "model.bin").write_bytes(_file(one))
    (base / "config.json").write_text("{}")
    adapter = tmp_path / "adapter.npz"
    adapter.write_bytes(_adapter(w__a=np.full((1, 1), 2, np.float16), w__b=np.full((1, 1), 3, np.float16)))
    monkeypatch.setenv("VOXOP_DATA", str(tmp_path / "site"))
    manifest.site_folder().mkdir(parents=True)
    monkeypatch.setattr(manifest, "folder", lambda name: base)
    name = strengths.joined("whisper-base-operative", 0.5, adapter)
    strengths.listed()
    monkeypatch.undo()
    monkeypatch.setenv("VOXOP_DATA", str(tmp_path / "site"))
    made = manifest.folder(name)
    assert (made / "model.bin").read_bytes() == _file({"w": np.full((1, 1), 4, np.float16)})
    assert manifest.choose("whisper", name).origin == "site"
    assert manifest.choose("whisper").name != name  # the default stays
    shipped = next(file.strength for file in manifest.model("whisper-base-operative").files if file.adapter)
    assert strengths.joined("whisper-base-operative", shipped) == "whisper-base-operative"


def test_the_table_ends_with_the_verdict() -> None:
    assert gate.told(_rows(True, True))[-1] == "passed"
    assert gate.told(_rows(True, False))[-1] == "not passed"


def test_every_changed_critical_word_is_listed() -> None:
    rules = grammar.load()
    told = "\n".join(gate.changes(SAID, ["Fifty milliliters of saline.", SAID[1]], [SAID[0], "The ureter."], rules))
    assert "mended number: '15'" in told
    assert "NEW" in told
    assert gate.changes(SAID, SAID, SAID, rules) == []
    # What stands in place of words that are not critical is listed as well.
    stone = ["For a stone on the left."]
    assert "  MADE UP number 1" in gate.changes(stone, stone, ["First stone on the left."], rules)


def test_a_phrase_said_twice_is_no_loop_but_one_heard_twice_is() -> None:
    once, again = "the wound was closed", "the wound was closed the wound was closed"
    assert gate.loops(once, gate.tokens.words_from_text(again))
    assert not gate.loops(again, gate.tokens.words_from_text(again))
    assert not gate.loops(once, gate.tokens.words_from_text(once))


def test_word_times_are_compared_where_the_word_was_heard_right() -> None:
    told = [("wound", 0.3), ("edges", 1.0), ("healthy", 1.5)]
    heard = [Word(0, "Wound", start=0.35), Word(1, "ages", start=1.0), Word(2, "healthy.", start=1.4)]
    assert gate.apart(told, heard) == pytest.approx([0.05, -0.1])
    def passed(base: list[float], tuned: list[float]) -> list[bool]:
        return [verdict.passed for verdict in gate.timed(base, tuned)]

    assert passed([0.02] * 50, [0.05] * 50) == [True, True]
    assert passed([0.02] * 50, [0.2] * 50) == [False, False]
    assert passed([0.02] * 50, [0.02] * 40 + [0.3] * 10) == [True, False]  # a fifth fewer within 100 ms
    assert passed([0.02] * 10, [0.02] * 10) == [False, False]  # too few to say
    assert passed([-0.2] * 50, [-0.18] * 50) == [False, True]  # as early as base
    assert passed([-0.2] * 50, [-0.4] * 50) == [False, False]


def _sum(rows: list[gate.words.Errors]) -> gate.words.Errors:
    total = gate.words.Errors()
    for row in rows:
        total.add(row)
    return total
