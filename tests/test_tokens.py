"""Cutting of words into tokens, and of typed text into words."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline.records import Word
from pipeline.tokens import tokenize, words_from_text

CUT = [
    ("5ml,", ["5ml", ","]),
    ("0.5%,", ["0.5%", ","]),
    ("(left)", ["(", "left", ")"]),
    ("48-year-old", ["48", "year", "old"]),
    ("10-mm", ["10", "mm"]),
    ("osteo-chondral", ["osteo", "chondral"]),
    ("3-0", ["3-0"]),
    ("#3-0-Vicryl", ["#3-0", "vicryl"]),
    ("1:100,000", ["1:100,000"]),
    ("L4-L5.", ["l4-l5", "."]),
    ("C5-6", ["c5-6"]),
    ("4x4s,", ["4x4s", ","]),
    ("10mL", ["10ml"]),
    ("#2", ["#2"]),
    ("1,000", ["1,000"]),
    ("½", ["½"]),
    ("2½", ["2½"]),
    ("5-10", ["5-10"]),
    ("mg/mL", ["mg", "/", "ml"]),
    ("and/or", ["and", "/", "or"]),
    ("a.m.", ["am"]),
    ("GIA-80", ["gia-80"]),
    ("3-1/2-year-old,", ["3-1/2", "year", "old", ","]),
    ("twenty-second", ["twenty", "second"]),
    ("—", ["—"]),
    ('2"', ['2"']),
    ("(354.0).", ["(", "354.0", ")", "."]),
    ("Dr.", ["dr."]),
    ("surgeon’s", ["surgeon's"]),
    ("nine-o'five", ["nine", "o", "five"]),
    ("O’Two.", ["o", "two", "."]),
    ("o'clock", ["o'clock"]),
    ("q.4-6h.", ["q.4-6h", "."]),
    ("...", ["..."]),
]


@pytest.mark.parametrize(("text", "norms"), CUT, ids=lambda item: str(item))
def test_cut(text: str, norms: list[str]) -> None:
    assert [token.norm for token in tokenize([Word(0, text)])] == norms


def test_tokens_keep_word_ids_and_a_repaired_word_keeps_its_run() -> None:
    words = [Word(0, "left"), Word(1, "sub-chondral", last=3, heard="sub con drill"), Word(4, "bone.")]
    assert [(t.norm, t.first, t.last) for t in tokenize(words)] == [
        ("left", 0, 0),
        ("sub", 1, 3),
        ("chondral", 1, 3),
        ("bone", 4, 4),
        (".", 4, 4),
    ]


def test_lines_that_end_a_thought_are_segments_of_their_own() -> None:
    words = words_from_text("PREOPERATIVE DIAGNOSIS:\nTorn cuff.\n\nFINDINGS\nA tear\nof 2 cm")
    assert [word.text for word in words][:2] == ["PREOPERATIVE", "DIAGNOSIS:"]
    assert [word.segment for word in words] == [0, 0, 1, 1, 2, 3, 3, 4, 4, 4]
    assert [word.id for word in words] == list(range(len(words)))


def test_a_line_that_was_wrapped_for_width_goes_on() -> None:
    text = (
        "The tourniquet was inflated to two hundred and fifty millimetres\n"
        "of mercury after the limb had been raised for several minutes and\n"
        "the incision was made."
    )
    assert {word.segment for word in words_from_text(text)} == {0}


def test_no_letter_is_lost_on_the_pool() -> None:
    pool = Path(__file__).resolve().parents[2] / "shared" / "notes_pool.jsonl"
    if not pool.exists():
        pytest.skip("the pool of notes is not beside this checkout")
    for line in pool.read_text(encoding="utf-8").splitlines()[:80]:
        words = words_from_text(json.loads(line)["text"])
        for word in words:
            kept = "".join(token.text for token in tokenize([word]))
            lost = set(word.text) - set(kept) - set("-–‑’")
            assert not lost, (word.text, kept)


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("We did a decompression of the\nright hip.", 1),
        ("Tourniquet on\nDrain in\nCounts correct", 3),
        ("He has a necrosis of the femoral head, stage two, and that is what I would\nwrite down afterwards as well, "
         "so nothing changes in it for the coder", 1),
        ("COMPLICATIONS: None\nDRAINS: None", 2),
    ],
)  # fmt: skip
def test_a_line_that_wants_more_goes_on(text: str, lines: int) -> None:
    assert len({word.segment for word in words_from_text(text)}) == lines
