"""What was said is not asked for again, and what was not said does not count as said: benchmarks/asked.toml."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).resolve().parent.parent / "benchmarks"
sys.path.insert(0, str(BENCHMARKS))
import asked  # noqa: E402

sys.path.remove(str(BENCHMARKS))
NARRATIONS = asked.narrations()


@pytest.mark.parametrize("name", NARRATIONS)
def test_only_what_was_not_said_is_asked_for(name: str) -> None:
    text, unsaid, known = NARRATIONS[name]
    found = asked.ask(name, text, unsaid)
    assert found.said
    assert {line.split(": ")[1] for line in found.again} <= known
    assert found.silent == []


# (what is left out, the words that say it, an element): without the words the element is open.
LEFT_OUT = (
    ("knee-flap-stream", "went without a hitch ", "complications"),
    ("knee-flap-stream", "hardly a drop lost ", "blood_loss"),
    ("knee-flap-stream", "swabs and needles all there twice ", "counts"),
    ("knee-flap-stream", "nothing went to the lab ", "specimens"),
    ("knee-flap-stream", "so what came out is what we thought going in ", "postop_diagnosis"),
    ("section-chatty", "All went smoothly. ", "complications"),
    ("section-chatty", "About six hundred lost. ", "blood_loss"),
    ("section-chatty", "Top up of the epidural. ", "anaesthesia"),
    ("section-chatty", "Emergency ", "urgency"),
    ("tonsils-child-plain", "threw them away not sent ", "specimens"),
    ("lumbar-disc-notes", "We sent the piece off. ", "specimens"),
    ("lumbar-disc-notes", "Same as the scan said, a sequestrated disc. ", "postop_diagnosis"),
    ("carotid-stream-sparse", "under a deep and superficial block ", "anaesthesia"),
    ("burn-graft", "Uneventful.", "complications"),
    ("distal-biceps", "Trivial loss. ", "blood_loss"),
    ("grommets-short", "Gas and a mask. ", "anaesthesia"),
)


@pytest.mark.parametrize(("name", "words", "element"), LEFT_OUT)
def test_an_element_is_open_where_its_words_are_left_out(name: str, words: str, element: str) -> None:
    text, unsaid, _ = NARRATIONS[name]
    assert words in text
    assert asked.ask(name, text, unsaid).silent == []
    assert asked.ask(name, text.replace(words, ""), unsaid | {element}).silent == []
