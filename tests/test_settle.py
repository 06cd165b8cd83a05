"""One account of a narration: said twice, suspected then settled, planned then done, statements that clash."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from cases_runner import facts_of

from pipeline import grammar, settle
from pipeline.records import Evidence, Fact, Reading


def facts(text: str, *kinds: str) -> list[Fact]:
    return [fact for fact in facts_of(text) if fact.kind in kinds]


def fact(kind: str, at: int, **fields: Any) -> Fact:
    return Fact(kind, Evidence(at, at, None, None, f"word {at}"), **fields)


def settled(*given: Fact) -> list[Fact]:
    return settle.settle(given, Reading((), ()), grammar.load())


def test_header_and_body_say_one_thing() -> None:
    text = "PROCEDURE: Left carpal tunnel release.\nDESCRIPTION: A left carpal tunnel release was done."
    (one,) = facts(text, "procedure")
    assert one.laterality == "left"
    assert len(one.also) == 1


def test_the_side_that_only_one_of_them_says_is_kept() -> None:
    (one,) = settled(fact("procedure", 0, name="x"), fact("procedure", 5, name="x", laterality="right"))
    assert one.laterality == "right"


def test_two_sides_are_two_operations() -> None:
    assert len(facts("Left carpal tunnel release. Right carpal tunnel release.", "procedure")) == 2


def test_blood_loss_said_twice_is_one() -> None:
    (one,) = facts("EBL: 50 mL. Supine. Estimated blood loss was 50 mL.", "blood_loss")
    assert one.value == Decimal("50")
    assert len(one.also) == 1
    assert one.doubts == ()


def test_two_blood_losses_are_both_kept_and_both_doubted() -> None:
    both = facts("EBL: 50 mL. Supine. Estimated blood loss was 500 mL.", "blood_loss")
    assert [item.value for item in both] == [Decimal("50"), Decimal("500")]
    assert all(item.doubts for item in both)


def test_two_draws_of_the_same_volume_are_two() -> None:
    same = {"value": Decimal("5"), "unit": "mL"}
    assert len(settled(fact("draw", 0, **same), fact("draw", 5, **same))) == 2


def test_a_named_draw_said_twice_is_one() -> None:
    same = {"value": Decimal("5"), "unit": "mL", "name": "second"}
    assert len(settled(fact("draw", 0, **same), fact("draw", 5, **same))) == 1


def test_two_doses_of_a_drug_are_one_medicine_and_two_doses() -> None:
    found = settled(
        fact("medication", 0, name="heparin", group="a"),
        fact("medication_dose", 1, name="heparin", value=Decimal("5000"), unit="[USP'U]", group="a"),
        fact("medication", 9, name="heparin", group="b"),
        fact("medication_dose", 10, name="heparin", value=Decimal("2000"), unit="[USP'U]", group="b"),
    )
    assert sorted(item.kind for item in found) == ["medication", "medication_dose", "medication_dose"]


@pytest.mark.parametrize(
    ("later", "certainty"), [("A loose body was found.", "affirmed"), ("No loose body was seen.", "negated")]
)
def test_a_suspicion_takes_its_last_state(later: str, certainty: str) -> None:
    (one,) = facts(f"A loose body was suspected. The joint was opened. {later}", "finding")
    assert one.certainty == certainty


def test_done_beats_planned() -> None:
    (one,) = settled(
        fact("procedure", 0, name="x", status="planned"), fact("procedure", 5, name="x", status="performed")
    )
    assert one.status == "performed"
    assert len(one.also) == 1


def test_planned_and_never_done_stays_planned() -> None:
    (one,) = settled(fact("procedure", 0, name="x", status="planned"))
    assert one.status == "planned"


def test_medicine_given_and_medicine_to_take_home_stay_two() -> None:
    assert len(settled(fact("medication", 0, name="x"), fact("medication", 5, name="x", status="planned"))) == 2


def test_there_and_not_there_are_both_kept_and_both_doubted() -> None:
    both = settled(fact("finding", 0, name="x"), fact("finding", 5, name="x", certainty="negated"))
    assert len(both) == 2
    assert all("opposite" in item.doubts[0] for item in both)


def test_there_in_one_place_and_not_in_another_is_no_clash() -> None:
    there = fact("finding", 0, name="x", body_site="knee")
    both = settled(there, fact("finding", 5, name="x", body_site="hip", certainty="negated"))
    assert all(item.doubts == () for item in both)


def test_settling_twice_changes_nothing() -> None:
    once = list(facts_of("PROCEDURE: Left carpal tunnel release. EBL: 5 mL. Blood loss was 5 mL. No complications."))
    again = settle.settle(once, Reading((), ()), grammar.load())
    assert {(item.kind, item.name, item.value) for item in again} == {(i.kind, i.name, i.value) for i in once}
    assert len(again) == len(once)


def test_a_shorter_name_is_the_same_diagnosis() -> None:
    full = fact("diagnosis", 0, name="inguinal-hernia", laterality="left")
    (one,) = settled(full, fact("diagnosis", 5, name="hernia"))
    assert one.name == "inguinal-hernia"
    assert len(one.also) == 1


def test_a_cuff_that_is_blown_up_again_has_two_times_without_a_doubt() -> None:
    text = "Tourniquet inflated at 10:12, deflated at 11:08, reinflated at 11:25, down at 11:50."
    times = facts(text, "clock_time")
    assert [fact.text for fact in times] == ["10:12", "11:08", "11:25", "11:50"]
    assert not any(fact.doubts for fact in times)
    twice = facts("Tourniquet inflated at 10:12. Tourniquet inflated at 10:20.", "clock_time")
    assert all(fact.doubts for fact in twice)
