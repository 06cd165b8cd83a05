"""Sides that are said once and meant for what follows. The narrations are invented; the truth is read from them."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline.records import Fact


def found(text: str, kind: str, name: str) -> list[Fact]:
    return [fact for fact in facts_of(text) if fact.kind == kind and name in (fact.name or fact.text or "")]


def sides(text: str, kind: str, name: str) -> list[str | None]:
    return [fact.laterality for fact in found(text, kind, name)]


EARS = (
    "Bilateral myringotomy and grommets. Right ear first. Wax cleared. Mucoid effusion aspirated. "
    "Then the left ear. Glue. A grommet of one point one four millimetres was inserted."
)
BREASTS = (
    "Left wide local excision and sentinel node biopsy, right breast reduction. Left side: clear margins. "
    "Cavity marked with five clips."
)
HERNIAS = "Hernia repair. On the right a direct defect, on the left an indirect sac."
STREAM = (
    "hip arthroscopy general anaesthetic labral tear repaired with two anchors all this was on the left the right hip "
    "has not been touched"
)
LIGAMENT = (
    "revision acl reconstruction of the right knee tourniquet on the right and on the left for the harvest then the "
    "right knee old graft torn and removed lateral meniscus had a bucket handle tear button on the femur and a nine "
    "millimetre screw in the tibia lachman negative at the end pivot same as the left left knee stable"
)
SCOPE = "Right shoulder arthroscopy. The labrum was torn. Three anchors of two point four millimetres were placed."


@pytest.mark.parametrize(
    ("text", "kind", "name", "side"),
    [
        (EARS, "finding", "mucoid-effusion", "right"),
        (EARS, "device", "ventilation-tube", "left"),
        (EARS, "device_size", "ventilation-tube", "left"),
        (BREASTS, "procedure", "wide-local-excision", "left"),
        (BREASTS, "procedure", "sentinel-lymph-node-biopsy", "left"),
        (BREASTS, "procedure", "breast-reduction", "right"),
        (BREASTS, "device", "surgical-clip", "left"),
        (SCOPE, "finding", "torn", "right"),
        (LIGAMENT, "finding", "bucket-handle-tear", "right"),
        (LIGAMENT, "device", "screw", "right"),
        (SCOPE, "device_count", "suture-anchor", "right"),
        (HERNIAS, "finding", "direct-defect", "right"),
        (HERNIAS, "finding", "indirect-sac", "left"),
        ("Bilateral FESS. On the left the antrum held pus.", "finding", "purulence", "left"),
        ("Shoulder, left, beach chair. Rotator cuff repair.", "procedure", "rotator-cuff-repair", "left"),
        ("Today it is the right hip. Hip arthroscopy.", "procedure", "hip-arthroscopy", "right"),
        ("Side is left. Trigger finger release.", "procedure", "trigger-finger-release", "left"),
        ("Operating on the left. Carpal tunnel release.", "procedure", "carpal-tunnel-release", "left"),
        # said behind the name, in a sentence of its own
        ("Procedure: Arthroscopy, hip. Left.", "procedure", "arthroscopy", "left"),
        ("Knee arthroscopy. Not the left. The right was done.", "procedure", "knee-arthroscopy", "right"),
        ("Total knee replacement. The right one. Tourniquet 300 mmHg.", "procedure", "total-knee", "right"),
        ("Orchidectomy. Operated side: left. Prosthesis placed.", "procedure", "orchidectomy", "left"),
        (STREAM, "procedure", "hip-arthroscopy", "left"),
        ("Cataract extraction. Lens 21 D. Left.", "procedure", "cataract-extraction", "left"),
        # said of the way in, and nowhere is another one
        ("Carotid endarterectomy. Left neck incision.", "procedure", "carotid-endarterectomy", "left"),
        # said of the part of the body that was operated on
        ("Diagnosis: left knee osteoarthritis. Procedure: total knee replacement.", "procedure", "total-knee", "left"),
        ("Total hip replacement. The left hip was approached from behind. The right hip was not operated on.",
         "procedure", "total-hip-arthroplasty", "left"),
        ("Shoulder arthroscopy. The left shoulder was examined for comparison. Right shoulder in traction.",
         "procedure", "shoulder-arthroscopy", "right"),
    ],
)  # fmt: skip
def test_a_side_stands_over_what_follows(text: str, kind: str, name: str, side: str) -> None:
    given = sides(text, kind, name)
    assert given[-1:] == [side], facts_of(text)


@pytest.mark.parametrize(
    ("text", "kind", "name"),
    [
        # one of two operations lends its side to nothing of the other
        ("Removal of hardware left ankle. Carpal tunnel release right wrist. A screw was placed.", "device", "screw"),
        # both sides were operated on: which one a thing is of was not said
        ("Bilateral knee arthroscopy. The meniscus was torn.", "finding", "torn"),
        # what has no side takes none
        ("Left inguinal hernia repair. The bladder was normal.", "finding", "normal"),
        # the other side is not the side of the operation
        ("Left carotid endarterectomy. The other carotid was occluded.", "finding", "occlusion"),
        # what was done before a side was said may be on the other one
        ("Trigger finger release. Then carpal tunnel release on the right.", "procedure", "trigger-finger-release"),
        # "each side" is not the side that stands
        ("Breast surgery on both sides. Right side: all clear. One drain each side.", "drain", "drain"),
        # what is there once has two halves, whichever side it was done from
        ("Lumbar fusion from a left approach. Left facetectomy. Pedicle screws placed.", "device", "pedicle-screw"),
        # a graft is taken somewhere else
        ("Right wrist arthrodesis. Iliac crest bone graft from the left.", "procedure", "iliac-crest-bone-graft"),
        # where the graft was taken, and a disease of both sides, say nothing of the side operated on
        ("ACL reconstruction. Hamstring harvested from the left knee.", "procedure", "anterior-cruciate"),
        ("Diagnosis: bilateral knee osteoarthritis. Procedure: total knee replacement.", "procedure", "total-knee"),
        # a side that stood for one part of two is not that of the whole
        ("Hydrocele repair. Right side. Sac everted. Left side. Normal.", "procedure", "hydrocelectomy"),
        # a history lends no side
        ("Cystoscopy. Left: stent in 2015. A stone was seen.", "finding", "stone"),
    ],
)
def test_and_over_nothing_else(text: str, kind: str, name: str) -> None:
    given = sides(text, kind, name)
    assert given == [None] * len(given)
    assert given, facts_of(text)


def test_a_direction_is_no_side() -> None:
    text = "Septoplasty. Septum deviated to the left, spur on the right."
    assert sides(text, "finding", "deviation-of-the-septum") == [None]
    assert sides(text, "finding", "osteophyte") == ["right"]


def test_the_side_of_the_harvest_is_not_that_of_the_operation() -> None:
    text = "Left ankle arthroscopy. Marrow was taken from the right iliac crest. Two anchors in the talus."
    assert sides(text, "harvest_site", "iliac-crest") == ["right"]
    assert sides(text, "device", "suture-anchor") == ["left"]


def test_both_sides_spoken_of_and_none_with_the_operation_is_a_doubt() -> None:
    text = "Knee arthroscopy. Left knee stable, right knee with a torn meniscus. Meniscectomy."
    assert all(fact.laterality is None and fact.doubts for fact in found(text, "procedure", "knee-arthroscopy"))


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("Left: 5 cm medial incision. Scarf osteotomy. Right: 3 cm incision.", "incision_length", ["left", "right"]),
        ("Bilateral knee replacement. Tourniquet L 52 min, R 24 min.", "tourniquet_time", ["left", "right"]),
        ("No tourniquet R, tourniquet L 250 mmHg 14 min.", "tourniquet_pressure", ["left"]),
        ("Tourniquets on both thighs 280 mmHg: L 52 min, R 24 min.", "tourniquet_pressure", ["bilateral"]),
        ("Right knee: 40 mg of triamcinolone.", "medication_dose", ["right"]),
        ("Ten mL of lidocaine on the right, five mL on the left.", "medication_volume", ["right", "left"]),
        ("R specimen 48 g, L specimen 210 g.", "measurement", ["right", "left"]),
        ("Patent blue, two mL under the right areola.", "medication_volume", ["right"]),
        ("A Redivac, ten French, on the left.", "drain_size", ["left"]),
        ("right direct left indirect mesh 10 by 15 cm on each side", "device", ["bilateral"]),
        ("Clavicle plate with three screws on each side.", "device_count", [None]),
        ("2) R thigh: vein exposed, diameter 4 mm.", "measurement", ["right"]),
        # an antibiotic is given to the whole patient
        ("Right knee: cefazolin 2 g IV.", "medication_dose", [None]),
        ("Intercostal block L with 20 mL of ropivacaine.", "medication_volume", ["left"]),
        ("Left total knee. Adductor block on the same side, 15 mL of ropivacaine.", "medication_volume", ["left"]),
    ],
)  # fmt: skip
def test_numbers_have_the_side_of_their_label(text: str, kind: str, expected: list[str | None]) -> None:
    assert [fact.laterality for fact in facts_of(text) if fact.kind == kind] == expected


@pytest.mark.parametrize(
    ("text", "kind", "name", "side"),
    [
        ("Left mastectomy. Reduction of the other breast.", "act", "reduction", "right"),
        ("Right ear first. Grommet inserted. Next the other one. Retraction pocket.", "finding", "drum", "left"),
        ("Right ear: glue. Other ear: retraction pocket.", "finding", "drum", "left"),
    ],
)
def test_the_other_side_is_told_from_the_first_with_a_doubt(text: str, kind: str, name: str, side: str) -> None:
    given = found(text, kind, name)
    assert [fact.laterality for fact in given] == [side]
    assert "its side was said as the other side" in given[0].doubts


def test_the_other_side_in_one_place_takes_no_side_from_the_rest() -> None:
    """ "The other hip has it too" had given every fact of the note the side of the operation."""
    told = (
        "Marrow injection of the right hip. Left crest was used, posterior, needle fifteen gauge. "
        "The other hip has avascular necrosis too and is observed."
    )
    assert [fact.laterality for fact in facts_of(told) if fact.kind == "harvest_site"] == ["left"]
    needles = [fact.laterality for fact in facts_of(told) if fact.kind == "harvest_needle"]
    assert needles == ["left"]  # of the only crest, not of the hip
