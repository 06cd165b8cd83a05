"""One of several implants that did not stay, and counts that are told as what they come to. Common practice and common
English usage, no source."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline.records import Fact

BEFORE = "Right shoulder cuff repair."


def _counts(text: str) -> list[Fact]:
    return [fact for fact in facts_of(f"{BEFORE} {text}") if fact.kind == "device_count"]


@pytest.mark.parametrize(
    "said",
    [
        "Three anchors, one of which pulled out and was discarded.",
        "Three anchors placed. One pulled out and was discarded.",
        "Three anchors were placed, one of them failed.",
        "Three anchors were placed but one did not hold and was removed.",
        "Three anchors were placed, the last one broke and was replaced.",
        "Three anchors. One of the anchors was exchanged for a bigger one.",
        "Three anchors, one wasted.",
        "Three anchors (one wasted).",
        "Three anchors were placed, we had to remove one.",
        "Three anchors, lost one.",
    ],
)
def test_how_many_are_in_is_open_where_one_was_lost(said: str) -> None:
    counts = [fact for fact in _counts(said) if fact.value == 3]
    assert [(fact.role, fact.certainty) for fact in counts] == [("implanted", "affirmed")]
    assert all(any("how many are in was not said" in doubt for doubt in fact.doubts) for fact in counts)


@pytest.mark.parametrize(
    "said",
    [
        "Three anchors, two medial and one lateral.",
        "Three anchors were placed. One portal was closed with nylon.",
        "Three anchors. One litre was used.",
        "Three anchors, each held.",
        "Three anchors were placed and one loose body removed.",
        "Three anchors, none pulled out.",
        "Three anchors, none of them failed.",
    ],
)
def test_what_is_told_of_something_else_leaves_the_count(said: str) -> None:
    counts = [fact for fact in _counts(said) if fact.value == 3]
    assert [(fact.role, fact.certainty, fact.doubts) for fact in counts] == [("implanted", "affirmed", ())]


@pytest.mark.parametrize(
    ("said", "in_place"),
    [
        ("We opened three anchors, used two.", ["2"]),
        ("Three anchors opened, two used.", ["2"]),
        ("Another anchor, that makes four.", ["1", "4"]),
        ("A further anchor was needed, making three.", ["3"]),
        ("Anchors: 3.", ["3"]),
        ("3x 5.5mm anchors.", ["3"]),
    ],
)
def test_the_count_that_holds_is_the_one_that_was_used(said: str, in_place: list[str]) -> None:
    held = [fact for fact in _counts(said) if fact.certainty == "affirmed" and fact.role == "implanted"]
    assert [str(fact.value) for fact in held] == in_place
    assert all(not fact.doubts for fact in held)


def test_what_was_dropped_is_none_of_those_opened() -> None:
    counts = _counts("Three anchors opened, two used, one dropped.")
    assert [(str(fact.value), fact.certainty) for fact in counts] == [("3", "negated"), ("2", "affirmed")]
    assert counts[1].doubts


def test_the_one_that_pulled_out_takes_no_other_with_it() -> None:
    facts = facts_of(f"{BEFORE} First anchor in, second anchor in, third anchor pulled out and was replaced.")
    assert [fact.role for fact in facts if fact.kind == "device"] == ["implanted", "implanted", "explanted"]


@pytest.mark.parametrize(
    "said",
    [
        "Two medial anchors, the lateral one pulled out, so a bigger one instead, so three anchors in.",
        "two medial row anchors one lateral no wait the lateral one pulled out so a five point five instead so three "
        "anchors in",
    ],
)
def test_the_total_behind_one_that_pulled_out_stays_in(said: str) -> None:
    totals = [fact for fact in _counts(said) if fact.value == 3]
    assert [(fact.role, fact.certainty) for fact in totals] == [("implanted", "affirmed")]
