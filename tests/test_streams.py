"""Speech without punctuation. The narrations are written by hand; common practice, no source."""

from __future__ import annotations

import pytest

from pipeline import grammar, run
from pipeline.tokens import words_from_text
from pipeline.utterances import read

STREAM = (
    "right knee arthroscopy the medial meniscus was torn and trimmed to a stable rim then the lateral side was looked "
    "at and it was normal no complications blood loss ten millilitres skin closed with three oh nylon counts correct "
    "the patient went to recovery"
)


def test_a_stream_is_cut_where_statements_begin() -> None:
    pieces = [" ".join(token.text for token in sentence.tokens) for sentence in read(words_from_text(STREAM))]
    assert pieces == [
        "right knee arthroscopy the medial meniscus was torn and trimmed to a stable rim",
        "then the lateral side was looked at and it was normal",
        "no complications",
        "blood loss ten millilitres",
        "skin closed with three oh nylon",
        "counts correct",
        "the patient went to recovery",
    ]


@pytest.mark.parametrize("text", [
    "Right knee arthroscopy, then the lateral side, no complications, blood loss ten, skin closed, counts correct, and "
    "the patient went to recovery, stable, with two crutches, and full weight bearing, no drain, and a dressing on.",
    "the drain was then removed and no complications were seen",
])  # fmt: skip
def test_what_has_marks_or_is_short_stays_whole(text: str) -> None:
    assert len(read(words_from_text(text))) == 1


def test_numbers_of_a_stream_go_to_what_they_follow() -> None:
    text = ("adductor canal block with twenty millilitres of ropivacaine point three seven five percent teicoplanin "
            "four hundred milligrams insert ten millimetres patella not resurfaced two mixes of cement")  # fmt: skip
    facts = run.make_note(run.from_text(text), grammar.load()).facts
    told = {(fact.kind, fact.name, str(fact.value), fact.certainty) for fact in facts if fact.value is not None}
    assert ("medication_concentration", "ropivacaine", "0.375", "affirmed") in told
    assert ("medication_dose", "teicoplanin", "400", "affirmed") in told
    assert ("device_count", "bone-cement", "2", "affirmed") in told


def test_a_count_stays_with_what_it_counts() -> None:
    text = ("bladder tumour resected with bipolar in saline down to the muscle the base was sent on its own two "
            "specimens tumour and base bleeding points coagulated blood loss twenty specimens to pathology counts "
            "correct")  # fmt: skip
    pieces = [" ".join(token.text for token in sentence.tokens) for sentence in read(words_from_text(text))]
    assert any("two specimens" in piece for piece in pieces)
    assert "blood loss twenty" in pieces
