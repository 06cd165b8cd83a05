"""Which way a bare "no" looks in speech without verbs, and what is doubted where nobody can tell."""

from __future__ import annotations

import pytest

from pipeline import run
from pipeline.facing import EITHER
from pipeline.records import Fact


def told(text: str) -> list[Fact]:
    return list(run.note_from_text(text, "facing").facts)


def test_a_chain_that_reads_both_ways_is_doubted_at_its_ends_only() -> None:
    facts = told("acl reconstruction with two stitches medial normal notchplasty no microfracture no chondroplasty")
    doubted = {fact.name for fact in facts if EITHER in fact.doubts}
    assert "notchplasty" in doubted
    assert "microfracture" not in doubted
    assert "anterior-cruciate-ligament-reconstruction" not in doubted


@pytest.mark.parametrize(
    "text",
    [
        "Knee arthroscopy, no drain, no tourniquet.",
        "knee arthroscopy no drain no tourniquet",
        "knee arthroscopy no loose bodies sling two weeks no lifting six weeks",
        "Drain: no. Tourniquet: no.",
        "two anchors no drain",
    ],
)
def test_a_plain_no_is_not_doubted(text: str) -> None:
    assert not [fact for fact in told(text) if EITHER in fact.doubts]


@pytest.mark.parametrize(
    "text",
    [
        "slap no supraspinatus tear two centimetres repaired",
        "shoulder scope bankart no supraspinatus tear two by one centimetre",
        "shoulder scope slap no supraspinatus tear repaired",
    ],
)
def test_what_has_a_size_or_was_mended_is_there(text: str) -> None:
    tears = [fact for fact in told(text) if fact.kind == "finding" and fact.name == "supraspinatus-tear"]
    assert [fact.certainty for fact in tears] == ["affirmed"]


def test_a_part_behind_what_was_done_opens_the_next_statement() -> None:
    done = [fact for fact in told("left shoulder bursa thick debrided acromion flat no acromioplasty")
            if fact.name == "debridement"]  # fmt: skip
    assert done
    assert all(fact.body_site != "acromion" for fact in done)
