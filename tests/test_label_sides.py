"""Two sides in one narration, each with work of its own, and what is ordered for them. The narrations are invented."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline import label_sides

HIPS = (
    "injection of both hips supine under ultrasound now the right hip twenty two gauge spinal needle four millilitres "
    "of concentrate into the joint then the left hip eighty milligrams of methylprednisolone with five millilitres of "
    "ropivacaine then plasters"
)
GROINS = (
    "laparoscopic repair of inguinal hernia both sides general anaesthesia. right side first a direct defect sac "
    "reduced mesh ten by fifteen centimetres five tacks on the left scar tissue indirect sac ligated mesh twelve by "
    "sixteen and seven tacks then gas out"
)
FEET = "PRP right Achilles tendon and steroid left heel. Now the left heel. Forty milligrams of triamcinolone."


def found(text: str, kind: str, value: str = "") -> list[tuple[str | None, tuple[str, ...]]]:
    return [
        (fact.laterality, fact.doubts) for fact in facts_of(text)
        if fact.kind == kind and value in ("", str(fact.value))
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "kind", "value", "side"),
    [
        (HIPS, "injection_volume", "4", "right"),
        (HIPS, "medication_dose", "80", "left"),
        (HIPS, "medication_volume", "5", "left"),
        (GROINS, "device_count", "7", "left"),
        (FEET, "medication_dose", "40", "left"),
        ("Knee arthroscopies. Left knee in a brace for six weeks, right knee free.", "aftercare", "6", "left"),
        ("Toe fusions both feet. L NWB 4 wks, R sandal.", "aftercare", "4", "left"),
        ("Toe fusions both feet. Review of both in 4 weeks, the left at once.", "follow_up", "4", None),
        (
            "Marrow from the right posterior crest, prone. Trocar of eleven gauge. Left hip injection.",
            "harvest_needle", "11", "right",
        ),
        ("Right cheek and left forearm cyst excised. Left forearm: 3 cm. Lidocaine 4 mL cheek, 8 mL forearm.",
         "medication_volume", "4", None),
        ("in both knees we injected left forty milligrams of triamcinolone right two millilitres of hyaluronic acid",
         "medication_dose", "40", "left"),
        ("in both knees we injected left forty milligrams of triamcinolone right two millilitres of hyaluronic acid",
         "medication_volume", "2", "right"),
        ("Right knee arthroscopy. Brace left on for 6 weeks.", "aftercare", "6", "right"),
        ("Bilateral hernia repair. Left: mesh. Bupivacaine 20 mL to both sides.", "medication_volume", "20", None),
    ],
)  # fmt: skip
def test_what_is_told_of_one_side(text: str, kind: str, value: str, side: str | None) -> None:
    sides = [side for side, _ in found(text, kind, value)]
    assert sides
    assert set(sides) <= {side, "bilateral"} if side is None else set(sides) == {side}


def test_what_stands_right_before_a_turn_is_unsure() -> None:
    tacks = found(GROINS, "device_count", "5")
    assert [side for side, _ in tacks] == ["right"]
    assert any(label_sides._TURNED in doubts for _, doubts in tacks)


def test_a_part_that_is_well_lends_its_side_to_nothing() -> None:
    text = "Right pleural biopsy. the left lung is clear on the scan specimen six pleural biopsies"
    assert {fact.laterality for fact in facts_of(text) if fact.kind == "procedure"} == {"right"}


def test_a_side_right_behind_a_thing_beats_that_of_a_part_before_it() -> None:
    text = "weakness of the right hand regional anaesthesia superficial cervical block left twenty five millilitres"
    assert [fact.laterality for fact in facts_of(text) if fact.name == "cervical-plexus-block"] == ["left"]
    text = "Steroid injection left plantar fascia, PRP right Achilles."
    assert [fact.laterality for fact in facts_of(text) if fact.kind == "injection"] == ["right"]


def test_what_is_no_side() -> None:
    assert not [fact for fact in facts_of("TURBT. Tumour 3 cm on the left wall of the bladder.") if fact.laterality]
    facts = facts_of("Right knee arthroscopy. Brace left on for 6 weeks.")
    assert {fact.name for fact in facts if fact.kind == "procedure"} == {"knee-arthroscopy"}


def test_the_other_one_that_is_planned_plans_nothing_else() -> None:
    facts = facts_of("right TKR today left one is planned in May spinal tourniquet three hundred")
    assert [(fact.status, fact.laterality) for fact in facts if fact.kind == "procedure"] == [("performed", "right")]
