"""Orders for afterwards with their times, medicines to take and to avoid, and lengths of time that tell when, not how
long. The frames and what each says are common English usage, no source. An X stands for the order or the event."""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from frame_rows import frames

from pipeline.records import Fact

ORDERS = ("full weight bearing", "driving", "return to sport", "brace", "crutches", "physiotherapy", "showering")
HOLDS = """
X for six weeks | X until six weeks | X six weeks | X up to six weeks | X for the first six weeks
X for a total of six weeks | X over six weeks | X to continue for six weeks | X off after six weeks | X off at six weeks
X can come off at six weeks | stop X at six weeks | X discontinued at six weeks | wean off X at six weeks
"""
BEGINS = """
X from six weeks | X after six weeks | X not before six weeks | X in six weeks | X at six weeks | X from week six
X allowed after six weeks | X may start at six weeks | X not until six weeks | X only after six weeks
X at six weeks at the earliest | X once six weeks have passed | X to start six weeks after surgery | X six weeks postop
X earliest at six weeks | X starting at six weeks | X to begin after six weeks | X allowed from six weeks on
"""
BEGINS_BEFORE = "after six weeks X | at six weeks X | from week six X"
FORBIDS = """
X not allowed for six weeks | X forbidden for six weeks | avoid X for six weeks | X to be avoided for six weeks
"""
TAKEN = """
X three times a day for five days | X for ten days | X daily until mobile | X at night | start X tonight
X from tomorrow | X every eight hours | X tds 5/7 | home with X | X on the ward
X for two weeks postop | X for the first week
X with food | prescribe X | restart X on day two | continue X | X up to four times a day | X in the evening | X prn
"""
NOT_TAKEN = """
no X for six weeks | avoid X for six weeks | X not to be taken | stop X for a week | no X until the clinic
X is forbidden | do not take X | X contraindicated
"""
MEDICINES = ("ibuprofen", "enoxaparin", "paracetamol")
EVENTS = ("Tourniquet up", "Tourniquet down", "Antibiotic given", "The drain was clamped", "Traction on", "Clamp off")
WHEN = """
ten minutes before incision | ten minutes later | half an hour before | ten minutes after the start | ten minutes in
an hour into the case | twenty minutes earlier | within ten minutes | about an hour later | in the first ten minutes
"""
HOW_LONG = """
for ten minutes | was ten minutes | for half an hour
"""


def _order(frame: str, thing: str) -> Fact:
    said = frame.replace("X", thing)
    text = f"Right knee arthroscopy. Skin closed. Aftercare: standard. {said[0].upper()}{said[1:]}. Clinic after that."
    return next(f for f in facts_of(text) if f.kind == "aftercare" and f.value is not None)


@pytest.mark.parametrize("frame", frames(HOLDS))
def test_how_long_an_order_holds(frame: str) -> None:
    told = {thing: _order(frame, thing) for thing in ORDERS}
    assert [thing for thing, fact in told.items() if fact.role == "starts" or fact.certainty != "affirmed"] == []


@pytest.mark.parametrize("frame", frames(BEGINS))
def test_when_an_order_begins(frame: str) -> None:
    assert [thing for thing in ORDERS if _order(frame, thing).role != "starts"] == []


@pytest.mark.parametrize("frame", frames(BEGINS_BEFORE))
def test_when_an_order_that_is_named_behind_begins(frame: str) -> None:
    assert [thing for thing in ORDERS if thing != "brace" and _order(frame, thing).role != "starts"] == []


@pytest.mark.parametrize("frame", frames(FORBIDS))
def test_what_an_order_forbids_is_not_ordered(frame: str) -> None:
    told = {thing: _order(frame, thing) for thing in ORDERS}
    assert [thing for thing, fact in told.items() if fact.role != "avoid" and fact.certainty != "negated"] == []


def _medicines(frame: str, drug: str) -> list[Fact]:
    said = frame.replace("X", drug)
    text = f"Right knee arthroscopy. Kenalog forty given. Skin closed. {said[0].upper()}{said[1:]}. Crutches."
    return [f for f in facts_of(text) if f.kind.startswith("medication") and f.name == drug.split()[0]]


@pytest.mark.parametrize("frame", frames(TAKEN))
def test_a_medicine_to_be_taken_was_not_given_here(frame: str) -> None:
    for drug in MEDICINES:
        told = _medicines(frame, f"{drug} forty milligrams")
        assert told
        assert all(f.status == "planned" or f.doubts for f in told), told


@pytest.mark.parametrize("frame", frames(NOT_TAKEN))
def test_a_medicine_to_be_avoided_is_not_ordered(frame: str) -> None:
    for drug in MEDICINES:
        told = _medicines(frame, drug)
        assert told
        assert all(f.role == "avoid" or f.certainty == "negated" or f.status == "historical" for f in told), told


def _spans(said: str) -> list[Fact]:
    return [f for f in facts_of(f"Right knee arthroscopy. Supine. {said}. Rinsed with two litres.")
            if f.kind in ("tourniquet_time", "duration") and not f.doubts]  # fmt: skip


@pytest.mark.parametrize("when", frames(WHEN))
def test_when_something_was_done_is_no_length_of_time(when: str) -> None:
    assert {event: _spans(f"{event} {when}") for event in EVENTS if _spans(f"{event} {when}")} == {}


@pytest.mark.parametrize("long", frames(HOW_LONG))
def test_how_long_something_was_on_is_told(long: str) -> None:
    assert [event for event in ("Tourniquet up", "Traction", "Clamp on") if not _spans(f"{event} {long}")] == []


@pytest.mark.parametrize(
    "said",
    ["The cuff was released forty minutes after inflation", "Tourniquet up for forty minutes before we let it down"],
)
def test_a_time_between_up_and_down_is_that_of_the_tourniquet(said: str) -> None:
    assert [f.value for f in _spans(said)] == [40]
