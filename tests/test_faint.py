"""A side or a "no" that was hardly heard is told, though the thing that it is said of was heard well."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline import grammar, run
from pipeline.note import OperativeNote


def _note(text: str, faint: str) -> OperativeNote:
    """The note of a narration in which every word was heard well but one."""
    heard = run.from_text(text)
    words = tuple(
        replace(word, confidence=0.1 if word.text.lower().strip(".,") == faint else 0.95) for word in heard.words
    )
    return run.make_note(replace(heard, words=words), grammar.load())


@pytest.mark.parametrize(
    ("text", "faint", "kind"),
    [
        ("Left knee arthroscopy was performed.", "left", "procedure"),
        ("The patient had a repair of the rotator cuff of the right shoulder.", "right", "procedure"),
        ("Bilateral inguinal hernia repair.", "bilateral", "procedure"),
        ("No drain was left in the wound.", "no", "drain"),
        ("There were no complications.", "no", "complication"),
        ("Blood loss was 50 mL.", "50", "blood_loss"),
    ],
)
def test_what_was_hardly_heard_is_told(text: str, faint: str, kind: str) -> None:
    note = _note(text, faint)
    told = {fact for one in note.findings if one.check == "doubtful" and "low confidence" in one.message
            for fact in one.facts}  # fmt: skip
    assert [fact for fact in note.of(kind) if fact.id in told]


def test_what_was_heard_well_stays_sure() -> None:
    note = _note("Left knee arthroscopy. No drain was left. Blood loss 50 mL.", "arthroscope")
    assert all(fact.evidence.confidence == 0.95 for fact in note.facts)
    assert not [one for one in note.findings if one.check == "doubtful"]


def test_the_other_side_does_not_count() -> None:
    note = _note("Left knee arthroscopy. The right knee was padded.", "right")
    (procedure,) = note.of("procedure")
    assert (procedure.laterality, procedure.evidence.confidence) == ("left", 0.95)
