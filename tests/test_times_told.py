"""Times of day against each other, as they are told. Written by hand.

Windows as configured (60 minutes before the incision, 120 for vancomycin: ASHP 2013 [from memory]).
"""

from __future__ import annotations

import pytest

from pipeline import grammar, run

_CHECKS = {"time_order", "duration_times", "prophylaxis_window", "tourniquet_times", "stated_sums"}


def told(text: str) -> list[tuple[str, str]]:
    note = run.make_note(run.from_text(text), grammar.load())
    return [(one.check, one.arithmetic) for one in note.findings if one.check in _CHECKS]


@pytest.mark.parametrize(("text", "check", "sum_"), [
    ("incision at eleven closure at ten", "time_order", "10:00 - 11:00 = -60 min"),
    ("patient out of the room at eleven closure at eleven twenty", "time_order", "11:00 - 11:20 = -20 min"),
    ("skin closed at 10:05 and out of theatre at 09:55", "time_order", "09:55 - 10:05 = -10 min"),
    ("anaesthesia began at ten pm and ended at one am and lasted two hours", "duration_times", "= 180 min, said: 2 h"),
    ("Surgery start 22:15, surgery end 01:05, duration 110 min.", "duration_times", "= 170 min, said: 110 min"),
    ("cefazolin two grams was given at seven o'clock and the incision was at quarter to nine", "prophylaxis_window",
     "08:45 - 07:00 = 105 min"),
    ("the antibiotic went in ten minutes after the skin incision", "prophylaxis_window", "10 min after"),
    ("tourniquet on at nine ten off at ten fifty five that is ninety five minutes", "tourniquet_times", "= 105 min"),
    ("Tourniquet up 22:50, down 00:20, total 80 minutes.", "tourniquet_times", "= 90 min), said: 80 min"),
])  # fmt: skip
def test_times_that_do_not_agree(text: str, check: str, sum_: str) -> None:
    (found,) = told(text)
    assert found[0] == check
    assert sum_ in found[1]


@pytest.mark.parametrize("text", [
    "anaesthesia began at ten pm and ended at one am and lasted three hours",
    "Surgery start 22:15, surgery end 01:05, duration 170 min.",
    "incision at nine and closure at ten",
    "cefazolin two grams at eight o'clock knife to skin quarter to nine",
    "Vancomycin 1 g was started 90 minutes before the incision.",
    "Tourniquet up 23:30 and down at 00:45, tourniquet time 75 minutes.",
    "The paracentesis was made at two and the main corneal incision at eleven.",
])  # fmt: skip
def test_times_that_agree(text: str) -> None:
    assert not told(text)


def test_an_hour_alone_is_a_time_with_a_doubt() -> None:
    note = run.make_note(run.from_text("Out of the room at eleven."), grammar.load())
    ((name, text, doubts),) = [(fact.name, fact.text, fact.doubts) for fact in note.of("clock_time")]
    assert (name, text) == ("out_of_room", "11:00")
    assert "only the hour was said" in doubts


@pytest.mark.parametrize("text", ["The corneal incision at eleven.", "Anchors at two and at four."])
def test_a_place_on_a_clock_face_is_no_time(text: str) -> None:
    assert not run.make_note(run.from_text(text), grammar.load()).of("clock_time")
