"""Sides that are of something else than what is operated on: the arm that gave blood, a ligament, what was denied."""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from reading_of import read, sides

from pipeline import donor_sides, grammar, laterality

_HIPS = ("both hips injected today with leukocyte poor p r p fifteen mils of blood from the left arm gave six mils "
         "four into the right hip joint two into the left at the gluteus medius tendon twenty two gauge spinal needle "
         "on both sides")  # fmt: skip
_CORE = ("avascular necrosis of both hips core decompression on the right with marrow concentrate and an injection on "
         "the left right hip three millimetre wire then an eight millimetre reamer left hip twenty gauge spinal "
         "needle")  # fmt: skip


@pytest.mark.parametrize(
    ("text", "kind", "name", "expected"),
    [
        (_HIPS, "injection", "platelet-rich-plasma", ["bilateral"]),
        (_HIPS, "injection_needle", "", ["bilateral"]),
        ("Right knee PRP injection. 60 mL blood from left antecubital. 6 mL PRP injected.", "injection_volume", "",
         ["right"]),
        ("Rt wrist arthroscopy + TFCC debridement. SL intact, LT normal, TFCC tear 4 mm, lunate gr 2.", "grade", "",
         ["right"]),
        ("clipped left ureter seen loop ileostomy on the right", "procedure", "ileostomy", ["right"]),
        ("clipped left ureter seen loop ileostomy on the right", "act", "clipping", [None]),
        ("Right knee marrow concentrate. Left posterior crest, 40 mL drawn. Spun to 5 mL. Effusion 9 mL off.",
         "finding", "joint-effusion", ["right"]),
        ("Right knee marrow concentrate. Left posterior crest, 40 mL drawn. Spun to 5 mL. 9 mL of effusion off.",
         "fluid_out", "effusion", ["right"]),
        ("Right knee marrow concentrate. Left posterior crest. Lidocaine 10 mL to the periosteum. 40 mL drawn.",
         "medication_volume", "lidocaine", ["left"]),
        ("Ears examined. Drum left intact, right perforated.", "finding", "intact", ["left"]),
        ("Ears examined. Drum left intact, right perforated.", "finding", "perforation", ["right"]),
        (_CORE, "procedure", "core-decompression", ["right"]),
        (_CORE, "device_size", "reamer", ["right"]),
        ("then the left knee four mils no effusion on the right six mils of clear fluid came off the left", "finding",
         "joint-effusion", ["right"]),
        ("Consented for both knees PRP, only left injected, 5 mL LP-PRP. Right deferred for skin.", "injection_volume",
         "", ["left"]),
    ],
)  # fmt: skip
def test_sides_of_what_stands_beside_another_side(
    text: str, kind: str, name: str, expected: list[str | None]
) -> None:
    assert sides(text, kind, name) == expected


def test_what_was_done_of_a_consent_is_done() -> None:
    facts = facts_of("Consented for both knees PRP, only left injected, 5 mL LP-PRP.")
    assert {fact.status for fact in facts if fact.kind == "injection_volume"} == {"performed"}


@pytest.mark.parametrize(
    ("text", "vein"),
    [
        ("Fifteen mils of blood from the left arm.", True),
        ("Drip in the right hand.", True),
        ("Blood pressure cuff on the left arm.", True),
        ("Blood loss 50 mL, left hip closed.", False),
        ("Blood drawn. Left elbow injected.", False),
    ],
)
def test_blood_and_drips_have_a_side_of_their_own(text: str, vein: bool) -> None:
    rules = grammar.load()
    found = [
        donor_sides.of_vein(sentence, side.first)
        for sentence in read(text).sentences for side in laterality.sides(sentence, rules)
    ]  # fmt: skip
    assert found == [vein]


_JOINTS = ("sacroiliac joints both sides under fluoroscopy left joint 22 gauge half a mil of contrast then twenty "
           "milligrams of triamcinolone with one mil of bupivacaine right joint the same needle half a mil of contrast")
_HIPS_IN_TURN = ("injection of both hips under ultrasound right hip concentrate left hip only steroid marrow from the "
                 "right posterior crest first local with ten millilitres of lidocaine at the crest now supine right "
                 "hip four millilitres of concentrate into the joint then the left hip eighty milligrams of "
                 "methylprednisolone")  # fmt: skip


@pytest.mark.parametrize(
    ("text", "kind", "name", "expected"),
    [
        (_JOINTS, "medication_dose", "triamcinolone", ["left"]),
        (_JOINTS, "medication_volume", "bupivacaine", ["left"]),
        (_JOINTS, "medication_volume", "contrast", ["left", "right"]),
        (_HIPS_IN_TURN, "medication_volume", "lidocaine", [None]),
        (_HIPS_IN_TURN, "medication_dose", "methylprednisolone", ["left"]),
        ("PRP both knees (KL 3 L, KL 2 R), 5 mL each.", "grade", "", ["left", "right"]),
        ("This is the right wrist, we scope it. On the left he had that done in 2019. Tourniquet 250, 52 minutes.",
         "tourniquet_time", "", ["right"]),
        ("both elbows tennis elbow on the right and golfers on the left", "diagnosis", "lateral-epicondylitis",
         ["right"]),
        ("right hip injected with four mils of ropivacaine nothing was given on the left", "medication_volume", "",
         [None]),
        ("tep right side first a sac of four centimetres then the left a direct defect of two centimetres",
         "measurement", "size", ["right", "left"]),
    ],
)  # fmt: skip
def test_sides_that_are_told_one_after_the_other(
    text: str, kind: str, name: str, expected: list[str | None]
) -> None:
    assert sides(text, kind, name) == expected


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("the right ear had thick glue and a one point one four millimetre tube in the left was dry", "device_size",
         [None]),
        ("left wrist injection the first extensor compartment on the right it is zero point four twenty five gauge",
         "device_size", [None]),
        ("The left hip was injected with bone marrow concentrate. The right hip was replaced two years ago. Three "
         "millilitres of lidocaine were put into the skin. On the right side nothing was done.", "medication_volume",
         ["left"]),
        ("Right elbow arthroscopy. Before surgery the right elbow went from 20 to 110, the left one from 0 to 140. "
         "Tourniquet 250. Fifteen mils of bupivacaine in the joint.", "medication_volume", ["right"]),
    ],
)  # fmt: skip
def test_remarks_on_the_other_side(text: str, kind: str, expected: list[str | None]) -> None:
    assert sides(text, kind) == expected
