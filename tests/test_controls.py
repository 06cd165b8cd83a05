"""Spoken control words: found, obeyed, told; never by accident; heard from real sound."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline import controls, grammar, plugins, run
from pipeline.engines.base import Options
from pipeline.listen import ENGINES, Listener
from pipeline.records import Word
from pipeline.rows import Control
from pipeline.tokens import words_from_text
from tests.voice import speak

RULES = grammar.load()
ROWS = RULES.table("control", Control)
ROOT = Path(__file__).resolve().parent.parent


def actions(text: str, when: str = "always") -> list[str]:
    return [command.action for command in controls.find(words_from_text(text), RULES, when)]


@pytest.mark.parametrize("row", ROWS.values(), ids=lambda row: row.id)
def test_each_phrase_and_example_is_found_and_ordinary_speech_is_not(row: Control) -> None:
    for text in (*row.say, *row.examples):
        assert row.action in actions(text, row.when), text
    for text in row.not_examples:
        assert actions(text, row.when) == [], text


@pytest.mark.parametrize("row", [row for row in ROWS.values() if row.unless], ids=lambda row: row.id)
def test_whoever_denies_doubts_or_goes_on_confirms_nothing(row: Control) -> None:
    for phrase in row.say:
        for other in row.unless:
            curled = other.replace("'", "\N{RIGHT SINGLE QUOTATION MARK}")
            for text in (f"{phrase} {other}", f"{other}, {phrase}.", f"{phrase}, {curled} so"):
                assert actions(text, row.when) == [], text


def test_what_is_for_the_screen_leaves_the_note_as_it_is() -> None:
    words = words_from_text("Left ankle arthroscopy. Note keeper, read back. Confirmed. Cefazolin, two grams.")
    assert controls.obey(words, RULES) == controls.Obeyed(tuple(words), (), ())


def test_each_action_has_one_row() -> None:
    assert sorted(row.action for row in ROWS.values()) == ["begin", "confirm", "end", "mark", "read_back", "take_back"]


def test_the_last_sentence_is_taken_back_and_shown_as_such() -> None:
    note = run.note_from_text("First draw, five milliliters. Second draw, six milliliters. Note keeper, take that "
                              "back. Second draw, seven milliliters.")  # fmt: skip
    draws = {fact.name: str(fact.value) for fact in note.facts if fact.kind == "draw"}
    assert draws == {"first": "5", "second": "7"}
    assert any("taken back by voice" in notice and "Second draw, six" in notice for notice in note.source.notices)


def test_without_full_stops_the_sentence_before_is_still_the_one_between_pauses() -> None:
    said = "first draw five milliliters | second draw six milliliters | note keeper take that back"
    words: list[Word] = []
    now = 0.0
    for part in said.split():
        if part == "|":
            now += 2.0
            continue
        words.append(Word(len(words), part, start=now, end=now + 0.3))
        now += 0.35
    facts = run.understand(words, RULES)[1]
    assert [(fact.name, str(fact.value)) for fact in facts if fact.kind == "draw"] == [("first", "5")]


def test_what_lies_outside_the_note_is_left_out_and_told() -> None:
    note = run.note_from_text("Left hip, ten grams of cefazolin. Note keeper, begin the note. Right knee arthroscopy. "
                              "Note keeper, end. Ropivacaine, twenty milliliters. Note keeper, begin. No drains."
                              )  # fmt: skip
    assert not {"cefazolin", "ropivacaine"} & {fact.name for fact in note.facts}
    assert {"knee-arthroscopy"} <= {fact.name for fact in note.facts}
    assert any(fact.kind == "drain" for fact in note.facts)
    left_out = "9 words said before the note was begun or after it was ended by voice are not in it."
    assert note.source.notices == [left_out]


def test_words_and_evidence_keep_their_ids() -> None:
    words = words_from_text("Note keeper, begin. Cefazolin, two grams. Note keeper, mark this. No drains.")
    reading, facts = run.understand(words, RULES)
    assert reading.words == tuple(words)
    dose = next(fact for fact in facts if fact.kind == "medication_dose")
    assert (dose.evidence.first, dose.evidence.last) == (3, 5)
    assert controls.obey(words, RULES).notices == ("A place was marked by voice, after '... Cefazolin, two grams.'.",)


def test_a_mark_alone_and_a_take_back_of_nothing() -> None:
    assert controls.obey(words_from_text("Note keeper, mark this."), RULES).notices == ("A place was marked by voice.",)
    empty = controls.obey(words_from_text("Note keeper, take that back."), RULES)
    assert (empty.words, empty.notices) == ((), ())


def test_narrations_trigger_none() -> None:
    texts = [(ROOT / "audio_demo" / "script.txt").read_text(encoding="utf-8")]
    texts += [path.read_text(encoding="utf-8") for path in sorted((ROOT / "tests" / "gold").rglob("*.txt"))]
    texts += [path.read_text(encoding="utf-8") for path in sorted((ROOT / "tests" / "gold").rglob("*.toml"))]
    assert len(texts) > 10
    for text in texts:
        assert actions(text) == []


def test_notes_of_others_trigger_none() -> None:
    pool = ROOT.parent / "shared" / "notes_pool.jsonl"
    if not pool.exists():
        pytest.skip("the pool of notes is not here")
    with pool.open(encoding="utf-8") as lines:
        for line in lines:
            if "keeper" in line.casefold():
                assert actions(line) == []


SPOKEN: tuple[tuple[str, list[str]], ...] = (
    ("Left ankle arthroscopy.", []),
    ("Note keeper, begin the note.", ["begin"]),
    ("Second draw, six milliliters.", []),
    ("Note keeper, take that back.", ["take_back"]),
    ("Note keeper, mark this spot.", ["mark"]),
    ("Note keeper, end the note.", ["end"]),
)


def test_they_are_heard_from_sound() -> None:
    pause = np.zeros(20_000, dtype=np.float32)
    engine = plugins.find(ENGINES, "whisper").load()
    listener = Listener(engine, Options())
    for text, _ in SPOKEN:
        for piece in (speak(text), pause):
            for _ in listener.feed(piece):
                pass
    for _ in listener.finish():
        pass
    heard = [command.action for command in controls.find(listener.words, RULES)]
    assert heard == [action for _, wanted in SPOKEN for action in wanted], listener.words
