"""Sides and words that only look like one. The truth is from reading the sentence."""

from __future__ import annotations

import pytest
from reading_of import read

from pipeline import grammar, laterality

NO_SIDE = [
    "The drain was left in place.",
    "She left the room in good condition.",
    "The wound was left open.",
    "The screws were left in situ.",
    "A cage of the right size was chosen.",
    "A right angle clamp was passed.",
    "The right atrium was cannulated.",
    "The right colon was mobilised.",
    "A stone in the left hepatic duct.",
    "The head was turned to the left.",
    "Right lateral decubitus position.",
    "The patient is right hand dominant.",
    "The medial and lateral gutters were clear.",
    "Tenderness in the right upper quadrant.",
    "The table was tilted to the right.",
    "The cup was in the right position.",
    "Nothing was left to do.",
    "Both portals were closed.",
    "The suture was passed from left to right.",
]
SIDES = [
    ("Left knee arthroscopy.", "arthroscopy", "left"),
    ("Arthroscopy of the left knee.", "arthroscopy", "left"),
    ("Inguinal hernia, right.", "hernia", "right"),
    ("Carpal tunnel release, left wrist.", "release", "left"),
    ("Left open ray amputation of the index finger.", "amputation", "left"),
    ("Bilateral inguinal hernia.", "hernia", "bilateral"),
    ("Both knees were prepared.", "knees", "bilateral"),
    ("Attention was turned to the left shoulder.", "shoulder", "left"),
    ("There was left shoulder pain.", "shoulder", "left"),
    ("The right elbow and the left wrist were prepared.", "elbow", "right"),
    ("The right elbow and the left wrist were prepared.", "wrist", "left"),
    ("Right sided varicocele.", "varicocele", "right"),
    ("Marrow from the right iliac crest was injected into the left talus.", "crest", "right"),
    ("Marrow from the right iliac crest was injected into the left talus.", "talus", "left"),
    ("Marrow from the iliac crest was injected into the left talus.", "crest", None),
    ("the left tube was ruptured the right tube was scarred", "tube", "left"),
]


def side(text: str, word: str) -> tuple[str | None, str | None]:
    """Side and doubt at the first mention that ends with the word, else at the word alone."""
    rules = grammar.load()
    for sentence in read(text).sentences:
        for index, token in enumerate(sentence.tokens):
            if token.norm == word:
                mention = next((m for m in sentence.mentions if m.first <= index <= m.last), None)
                first, last = (mention.first, mention.last) if mention else (index, index)
                return laterality.side_for(sentence, first, last, rules)
    raise LookupError(word)


@pytest.mark.parametrize("text", NO_SIDE)
def test_these_are_no_sides(text: str) -> None:
    found = [side for sentence in read(text).sentences for side in laterality.sides(sentence, grammar.load())]
    assert found == []


@pytest.mark.parametrize(("text", "word", "expected"), SIDES)
def test_whose_side_it_is(text: str, word: str, expected: str | None) -> None:
    assert side(text, word)[0] == expected


def test_two_sides_and_nothing_to_tell_them_apart_is_a_doubt() -> None:
    found, doubt = side("After the left one was done, right side also prepared, meniscectomy.", "meniscectomy")
    assert found is None
    assert doubt is not None


def test_a_relative_side_is_no_side_but_a_doubt() -> None:
    found, doubt = side("The contralateral knee was normal.", "knee")
    assert found is None
    assert doubt is not None


def test_a_side_in_a_stream_keeps_to_its_part() -> None:
    """Speech without marks: what follows "both sides", or a part that was told of already, is something else."""
    text = (
        "procedure left shoulder stabilization under examination the shoulder dislocated the right shoulder was stable "
        "the labrum was torn from seven to ten o'clock biceps anchor intact no cuff tear the anchors were placed at "
        "the rim with a needle on both sides balloons were not used both ovaries normal pus was seen portals closed "
        "with three oh nylon blood loss minimal counts correct sling for four weeks"
    )
    assert side(text, "torn")[0] != "right"
    assert side(text, "balloons")[0] is None
    assert side(text, "pus")[0] is None
