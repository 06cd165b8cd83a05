"""Pieces of narrations cut and mixed at random: a note comes of every one, and nothing in it that was not said.

Speech breaks off, recognisers drop words, and two cases run into one another. The pieces come from tests/gold (all
parts but the blind one), drawn with a fixed seed, so that a fault can be found again.
"""

from __future__ import annotations

import random
import re

import gold_truth
import pytest

from pipeline import run

_SEED, _PIECES, _LONGEST = 20261129, 240, 60


def pieces() -> list[str]:
    draw = random.Random(_SEED)
    told = [item.text.split() for part in ("train", *gold_truth.FURTHER) for item in gold_truth.load(part)]
    made = []
    for _ in range(_PIECES):
        words = draw.choice(told)
        start = draw.randrange(len(words))
        piece = words[start : start + draw.randint(1, _LONGEST)]
        way = draw.random()
        if way < 0.25:
            draw.shuffle(piece)
        elif way < 0.5:
            piece = [word for word in piece if draw.random() < 0.8] or piece
        elif way < 0.75:
            other = draw.choice(told)
            start = draw.randrange(len(other))
            piece += other[start : start + 20]
        made.append(" ".join(piece))
    return made


@pytest.mark.parametrize("first", range(0, _PIECES, 40))
def test_every_piece_becomes_a_note(first: int) -> None:
    for text in pieces()[first : first + 40]:
        note = run.note_from_text(text)
        said = set(re.findall(r"[a-z]+|\d+(?:\.\d+)?", text.lower()))
        for fact in note.facts:
            for word in re.findall(r"[a-z]+|\d+(?:\.\d+)?", fact.evidence.heard.lower()):
                assert word in said, f"{text}: {fact.kind} {fact.evidence.heard}"


def test_a_piece_that_ends_in_a_count_or_a_joint_is_read() -> None:
    """Both broke the reading once."""
    for text in ("Aspirate 60 mL x", "marrow 4 x", "sixty mils of marrow in four fifteen mil", "Draws 5 mL x 6",
                 "EBL Swabs 3-0 mL. 50 +", "-", "50 -"):  # fmt: skip
        assert run.note_from_text(text).source.sha256
