"""The way of a harvest needle: depths of the draws, turns and pitch, what is left, and the draws that fit.

The narrations are written by hand. First draw about 1 cm under the cortex and 0.5 cm a full turn: common practice, no
source.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline import grammar, run
from pipeline.note import OperativeNote

_END = " The marrow was injected into the right knee."


def note_of(text: str) -> OperativeNote:
    return run.make_note(run.from_text(text + _END), grammar.load())


def told(text: str, *checks: str) -> list[str]:
    note = note_of(text)
    return [f"{one.message} {one.arithmetic}" for one in note.findings if one.check in (checks or ("needle_depth",))]


@pytest.mark.parametrize(("text", "depths"), [
    ("Marrow harvest left iliac crest. First draw at 1 cm, second at 2 cm, third at 3 cm.", [1, 2, 3]),
    ("bone marrow harvest left iliac crest the first draw was taken at one centimetre", [1]),
    ("Marrow harvest left iliac crest. Needle to 4 cm. Last draw at 2 cm.", [4, 2]),
    ("marrow from the left iliac crest cannula at three centimetres first draw there", [3]),
])  # fmt: skip
def test_where_a_draw_was_taken_is_a_depth(text: str, depths: list[int]) -> None:
    note = note_of(text)
    assert [fact.value for fact in note.of("harvest_depth")] == [Decimal(one) for one in depths]
    assert not [fact for fact in note.of("measurement", "harvest_needle") if fact.unit == "cm"]


def test_a_draw_at_forty_centimetres_is_hardly_possible() -> None:
    (found,) = told("Marrow harvest left iliac crest. The first draw was taken at 40 cm.", "plausible")
    assert "40 cm" in found


@pytest.mark.parametrize("text", [
    "Marrow harvest left iliac crest. Needle to 4 cm. Six turns back at half a centimetre a turn, 3 cm in all.",
    "Marrow harvest left iliac crest. Depth 6 cm. Two turns per draw, 0.5 cm per turn, for five draws, 4 cm in total.",
    "Marrow harvest left iliac crest. Advanced to 4 cm. Three turns of 0.5 cm, retracted 1.5 cm.",
    "Marrow harvest left iliac crest. Needle depth 4 cm; withdrew 4 turns (0.5 cm per turn); tip now at 2 cm.",
    "Marrow harvest left iliac crest. Depth 4 cm. Withdrawn 3 cm. Remaining excursion 1 cm.",
    "Marrow harvest left iliac crest. The needle lay 4 cm deep, then a draw every 1 cm on the way out, four draws.",
    "marrow from the left iliac crest cannula at three centimetres a full turn back after each draw half a centimetre "
    "a turn six draws in all",
])  # fmt: skip
def test_moves_that_agree(text: str) -> None:
    assert not told(text, "needle_depth", "unplaced_number")


@pytest.mark.parametrize(("text", "sum_"), [
    ("Marrow harvest left iliac crest. Needle to 4 cm. Six turns back at half a centimetre a turn, 2 cm in all.",
     "6 x 0.5 cm = 3 cm, said: 2 cm"),
    ("Marrow harvest left iliac crest. Depth 6 cm. Two turns per draw, 0.5 cm per turn, for five draws, 3 cm in total.",
     "8 x 0.5 cm = 4 cm, said: 3 cm"),
    ("Marrow harvest left iliac crest. Advanced to 4 cm. Three turns of 0.5 cm, retracted 2 cm.",
     "3 x 0.5 cm = 1.5 cm, said: 2 cm"),
    ("Marrow harvest left iliac crest. Needle depth 4 cm; withdrew 4 turns (0.5 cm per turn); tip now at 3 cm.",
     "4 - 2 = 2 cm, said: 3 cm"),
    ("Marrow harvest left iliac crest. Depth 4 cm. Withdrawn 3 cm. Remaining excursion 2 cm.",
     "4 - 3 = 1 cm, said: 2 cm"),
    ("Marrow harvest left iliac crest. The needle lay 4 cm deep, then a draw every 1 cm on the way out, seven draws.",
     "4 - 6 = -2 cm left; 5 draws would fit"),
    ("marrow from the left iliac crest cannula at three centimetres a full turn back after each draw half a centimetre "
     "a turn nine draws in all", "3 - 4 = -1 cm left; 7 draws would fit"),
    ("marrow right iliac crest first draw one centimetre under the cortex then advanced two centimetres more then came "
     "back four centimetres", "3 - 4 = -1 cm left"),
    ("The needle was introduced to a depth of 5 cm and backed out 7 cm.", "5 - 7 = -2 cm left"),
])  # fmt: skip
def test_moves_that_do_not_agree(text: str, sum_: str) -> None:
    (found,) = told(text)
    assert sum_ in found
