"""Decisions, values, codes and comparison of versions: pure functions over a note."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from pipeline import grammar, run
from pipeline.errors import BadDecision
from pipeline.note import OperativeNote
from pipeline.records import Fact, Revision
from pipeline.review import code_forms, compare, decisions, values, worklist
from pipeline.review.decisions import Step

RULES = grammar.load()
WHO = {"by": "ann", "at": "2026-03-02T09:00:00+00:00"}
NARRATION = (
    "Left hip arthroscopy. Cefazolin two grams intravenously was given. First draw five millilitres, second draw four "
    "millilitres, total ten millilitres. Tourniquet up at nine fifteen. Estimated blood loss fifty millilitres."
)


@pytest.fixture(scope="module")
def note() -> OperativeNote:
    return run.note_from_text(NARRATION, made_at=WHO["at"])


def one(note: OperativeNote, kind: str) -> Fact:
    (fact,) = note.of(kind)
    return fact


def steps(*revisions: Revision) -> list[Step]:
    return [Step(number, "revision", revision) for number, revision in enumerate(revisions, 1)]


def after(note: OperativeNote, *made: Step) -> OperativeNote:
    return run.recheck(decisions.apply(note, made, RULES), RULES)


def keys(note: OperativeNote) -> set[str]:
    return {finding.check for finding in note.open_findings()}


def test_no_decision_changes_nothing(note: OperativeNote) -> None:
    assert after(note) == note


def test_a_correction_changes_one_value_and_keeps_the_words(note: OperativeNote) -> None:
    total = one(note, "harvest_total")
    assert "draw_total" in keys(note)
    made = decisions.correct(total, "value", "9 mL", RULES, **WHO)
    corrected = after(note, *steps(made))
    now = corrected.fact(total.id)
    assert (now.value, now.unit, now.evidence.heard) == (Decimal(9), "mL", total.evidence.heard)
    assert (made.before, made.after) == ("10 mL", "9 mL")
    assert "draw_total" not in keys(corrected)
    assert any("9 mL" in entry.text for entry in corrected.sections.harvest)
    assert not any("10 mL" in entry.text for entry in corrected.sections.harvest)
    unchanged = [fact for fact in corrected.facts if fact.id != total.id]
    assert unchanged == [fact for fact in note.facts if fact.id != total.id]
    assert corrected.sections.description == note.sections.description
    assert note.fact(total.id).value == Decimal(10), "the note as made is never touched"


@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("9", Decimal(9), "mL"),
        ("9.50 mL", Decimal("9.50"), "mL"),
        ("nine millilitres", Decimal(9), "mL"),
        ("half a litre", Decimal("0.5"), "L"),
        ("9 to 10 mL", None, "mL"),
    ],
)
def test_typed_values_are_read_like_spoken_ones(note: OperativeNote, typed: str, value: Decimal, unit: str) -> None:
    made = values.corrected(one(note, "harvest_total"), "value", typed, RULES)
    assert (made.value, made.unit) == (value, unit)
    if value is not None:
        assert format(made.value, "f") == format(value, "f"), "the digits as typed, zeros included"


@pytest.mark.parametrize("typed", ["", "nine or nonsense", "9 mg", "9 mL 3 mL", "L4", "10 mL", "9 mmHg", "left"])
def test_what_does_not_fit_is_refused_with_what_would(note: OperativeNote, typed: str) -> None:
    with pytest.raises(BadDecision) as problem:
        values.corrected(one(note, "harvest_total"), "value", typed, RULES)
    assert problem.value.what
    assert problem.value.do


def test_sides_and_times_take_only_what_they_can_be(note: OperativeNote) -> None:
    procedure = one(note, "procedure")
    assert values.corrected(procedure, "laterality", "right", RULES).laterality == "right"
    with pytest.raises(BadDecision):
        values.corrected(procedure, "laterality", "upper", RULES)
    time = one(note, "clock_time")
    assert values.corrected(time, "text", "9:20", RULES).text == "09:20"
    for wrong in ("25:00", "nine", "9:61"):
        with pytest.raises(BadDecision):
            values.corrected(time, "text", wrong, RULES)


def test_another_drug_takes_its_dose_along(note: OperativeNote) -> None:
    drug, dose = one(note, "medication"), one(note, "medication_dose")
    assert drug.group == dose.group
    corrected = after(note, *steps(decisions.correct(drug, "name", "vancomycin", RULES, **WHO)))
    assert one(corrected, "medication").name == one(corrected, "medication_dose").name == "vancomycin"
    assert not any("efazolin" in entry.text for entry in corrected.sections.medicines)


def test_a_rejected_fact_leaves_the_note_and_stays_in_the_decisions(note: OperativeNote) -> None:
    loss = one(note, "blood_loss")
    with pytest.raises(BadDecision):
        decisions.reject(loss, RULES, **WHO, reason="  ")
    made = decisions.reject(loss, RULES, **WHO, reason="misheard")
    rejected = after(note, *steps(made))
    assert not rejected.of("blood_loss")
    assert not rejected.sections.blood_loss
    assert rejected.decisions == [made]
    assert "50 mL" in made.before
    with pytest.raises(BadDecision):
        after(note, *steps(made, decisions.accept(loss, RULES, **WHO)))


def test_accepting_settles_what_was_unsure(note: OperativeNote) -> None:
    unsure = one(note, "harvest_total")
    doubtful = note.model_copy(
        update={"facts": [fact if fact != unsure else _unsure(fact) for fact in note.facts]}
    )
    before = run.recheck(doubtful, RULES)
    assert "doubtful" in keys(before)
    made = decisions.accept(before.fact(unsure.id), RULES, **WHO)
    assert "also heard as 12" in made.before
    accepted = after(before, *steps(made))
    assert "doubtful" not in keys(accepted)
    assert accepted.fact(unsure.id).value == unsure.value


def _unsure(fact: Fact) -> Fact:
    return replace(fact, alternatives=("12",), doubts=("the number is unclear",))


def test_undo_takes_back_the_last_and_what_was_made_with_it(note: OperativeNote) -> None:
    total = one(note, "harvest_total")
    made = decisions.correct(total, "value", "9 mL", RULES, **WHO)
    accepted = [Step(number, "revision", decisions.accept(fact, RULES, **WHO), together="t")
                for number, fact in enumerate(note.of("draw"), 2)]  # fmt: skip
    listed = [*steps(made), *accepted]
    back = decisions.last_to_undo(listed)
    assert back == accepted
    listed += [Step(10 + step.id, "undo", undoes=step.id) for step in back]
    assert after(note, *listed) == after(note, *steps(made))
    assert decisions.last_to_undo(listed) == steps(made)
    assert not decisions.last_to_undo([*listed, Step(99, "undo", undoes=1)])


def test_a_question_is_open_until_the_thing_is_decided(note: OperativeNote) -> None:
    total = one(note, "harvest_total")
    asked = decisions.ask(total.id, "10 mL", "Nine or ten?", **WHO)
    assert decisions.questions(after(note, *steps(asked))) == [asked]
    answered = steps(asked, decisions.correct(total, "value", "9 mL", RULES, **WHO))
    assert not decisions.questions(after(note, *answered))


def test_what_needs_a_decision_is_never_among_the_sure(note: OperativeNote) -> None:
    sure = {fact.id for fact in worklist.sure(note)}
    against = {ident for finding in note.open_findings() if finding.severity != "note" for ident in finding.facts}
    assert against
    assert not sure & against
    assert sure | {ident for ident, item in worklist.items(note).items() if item.standing == "decide"} == {
        fact.id for fact in note.facts
    }


def test_comparison_names_every_change(note: OperativeNote) -> None:
    total, loss = one(note, "harvest_total"), one(note, "blood_loss")
    other = after(note, *steps(decisions.correct(total, "value", "9 mL", RULES, **WHO),
                               decisions.reject(loss, RULES, **WHO, reason="misheard")))  # fmt: skip
    told = compare.changes(note, other)
    assert len(told) == 2
    assert any("10 mL" in line and "9 mL" in line for line in told)
    assert any("removed" in line and "50 mL" in line for line in told)
    assert not compare.changes(note, note)


# Forms: ICD-10-CM guidelines I.A.2 (3 to 7 characters, point after the third), ICD-10-PCS guideline A1 (7 characters,
# neither I nor O), CPT (five characters). The codes are examples of form only.
@pytest.mark.parametrize(
    ("kind", "typed", "code"),
    [
        ("icd-10-cm", "m25.572", "M25.572"), ("icd-10-cm", "S93402A", "S93.402A"), ("icd-10-cm", "I10", "I10"),
        ("icd-10-pcs", "0SBG4ZZ", "0SBG4ZZ"), ("cpt", "29891", "29891"),
    ],
)  # fmt: skip
def test_codes_of_the_right_form_are_taken(kind: str, typed: str, code: str) -> None:
    made = code_forms.checked(kind, typed, "", [])
    assert made.code == code
    assert code_forms.kind(made.system) == kind


@pytest.mark.parametrize(
    ("kind", "typed"),
    [("icd-10-cm", "25.572"), ("icd-10-cm", "M2"), ("icd-10-cm", "M25.57212"), ("icd-10-pcs", "0SBG4Z"),
     ("icd-10-pcs", "OSBG4ZZ"), ("cpt", "2989"), ("cpt", "ABCDE"), ("loinc", "1-8")],
)  # fmt: skip
def test_codes_of_another_form_are_refused(kind: str, typed: str) -> None:
    with pytest.raises(BadDecision):
        code_forms.checked(kind, typed, "", [])
