"""All phrases in a row of words, those inside others too."""

from __future__ import annotations

from pipeline.phrases import Phrases

PHRASES = Phrases([
    (("rotator", "cuff"), "cuff"),
    (("rotator", "cuff", "repair"), "repair"),
    (("cuff",), "garment"),
    (("cuff",), "balloon"),
    (("cuff",), "garment"),
    ((), "nothing"),
])  # fmt: skip


def test_phrases_inside_others_are_found_too() -> None:
    assert PHRASES.find("the rotator cuff repair".split()) == [
        (1, 3, "cuff"), (1, 4, "repair"), (2, 3, "garment"), (2, 3, "balloon"),
    ]  # fmt: skip


def test_a_phrase_that_is_cut_off_is_not_found() -> None:
    assert PHRASES.find(["rotator"]) == []
    assert PHRASES.find(["rotator", "blade", "cuff", "repair"])[0][:2] == (2, 3)
    assert PHRASES.find([]) == []
