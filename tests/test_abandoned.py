"""Operations that were given up or converted: what the title names is doubted. The truth is from reading the text."""

from __future__ import annotations

import pytest

from pipeline import abandoned, run


def test_a_planned_operation_that_was_given_up_was_not_done() -> None:
    text = "He was booked for a carotid endarterectomy. Lymphoma was found so the endarterectomy was abandoned."
    (fact,) = [fact for fact in run.note_from_text(text).facts if fact.name == "carotid-endarterectomy"]
    assert (fact.status, fact.certainty) == ("performed", "negated")


@pytest.mark.parametrize(
    ("text", "name", "doubt"),
    [
        ("Procedure: left knee replacement. Spinal. The operation was aborted before the incision because of a rash.",
         "total-knee-arthroplasty", abandoned.GIVEN_UP),
        ("Procedure: hysterectomy. We decided to abandon the procedure because of dense adhesions.",
         "hysterectomy", abandoned.GIVEN_UP),
        ("Laparoscopic appendicectomy. We converted to open because of adhesions.",
         "laparoscopic-appendicectomy", abandoned.CONVERTED),
        ("Laparoscopic appendicectomy. No conversion to open was needed.", "laparoscopic-appendicectomy", None),
        ("Hysterectomy. If it bleeds we would abandon the procedure.", "hysterectomy", None),
        ("Hysterectomy. The vaginal approach was abandoned, the operation was finished from above.",
         "hysterectomy", None),
        ("Left ovarian cystectomy converted to left oophorectomy.", "ovarian-cystectomy", abandoned.TURNED),
        ("Left ovarian cystectomy converted to left oophorectomy.", "oophorectomy", None),
        ("Hysterectomy. The case before was cancelled.", "hysterectomy", None),
    ],
)  # fmt: skip
def test_what_was_given_up(text: str, name: str, doubt: str | None) -> None:
    (fact,) = [fact for fact in run.note_from_text(text).facts if fact.kind == "procedure" and fact.name == name]
    given = [reason for reason in fact.doubts if reason in (abandoned.GIVEN_UP, abandoned.CONVERTED, abandoned.TURNED)]
    assert given == ([] if doubt is None else [doubt])
