"""Numbers of the part that is operated on, and what has no side of its own. The narrations are invented; the truth is
read from them."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline import run
from pipeline.records import Fact

TITLE = (
    "Knee arthroscopy, right. Thigh tourniquet 280 mmHg for 22 minutes. Medial femoral condyle Outerbridge 3. "
    "Lateral meniscus tear 12 mm. Table tilted 15 degrees. Weight 80 kg."
)
GRAFT = "ACL reconstruction, left knee. Hamstring graft 8.5 mm thick. Tear of the medial meniscus 14 mm."
UNPAIRED = "Cystoscopy and left ureteroscopy. Bladder tumour 2 cm."
NERVES = (
    "Total thyroidectomy. R RLN found, signal 720 uV before, 700 uV after. "
    "Left lobe first: left recurrent nerve seen, signal 650 uV at the end."
)
LUNG = "VATS right upper lobectomy. Double lumen tube 37 French, left sided. Left lateral decubitus."
NECK = "ACDF C6/7 for right arm pain. Left sided approach. Drain left side."
CUFFS = "ACL reconstruction left knee. Tourniquet on the left thigh 300 mmHg for 82 minutes, none on the right."

BOTH_CUFFS = "Arthroscopy of both knees. Tourniquet left 21 min, right 14 min, both 300 mmHg."
FINGERS = (
    "Fasciectomy of the right little finger and trigger release left ring finger. Right: Brunner, cord 4 cm removed, "
    "both digital nerves intact, extension deficit 60 to 5 degrees."
)
REDUCED = (
    "Bilateral breast reduction. Right 640 g resected, left 515 g. Drains 10 Fr one per side. "
    "Specimens: right and left breast tissue in separate pots."
)
POTS = (
    "Right mastectomy, left WLE. Specimens: A R breast, suture at 12. B R axillary contents. C L wide local excision. "
    "D L sentinel node 1."
)
THUMB = (
    "Injections. Right thumb base, 25G, 0.5 mL lidocaine 1%, 20 mg methylprednisolone. "
    "Left wrist, 22G, 1 mL lidocaine, 40 mg methylprednisolone."
)

ELBOW = "Injections. Right elbow: lateral, 1 mL of lidocaine 2% and 20 mg of triamcinolone, nothing to aspirate."
ORIFICES = (
    "Ureteroscopy. R orifice: semirigid 8 Fr scope, 9 mm stone, Foley 16 Fr after. L orifice: old stent 6 Fr pulled."
)
BLOCKS = (
    "Medial branch blocks L4, L5 R and left SI joint injection. Rt side: 22G 9 cm needle to L4 and L5, 0.5 mL "
    "bupivacaine 0.5% each level. Lt side: contrast 0.3 mL."
)
KNEES = (
    "Bilateral TKR.\nRIGHT: tourniquet 280 mmHg, 52 min. Femur size 5.\nDrain 12 Fr.\n"
    "LEFT: tourniquet 280 mmHg, 61 min. Femur size 4.\nEBL 300 mL."
)

EAR = (
    "Right cortical mastoidectomy. Cholesteatoma of the right ear, the left ear is dry and hears well. "
    "Incision 5 cm. Perforation 6 mm."
)
EAR_SEEN = "Right cortical mastoidectomy. The left ear had a large perforation."
ARM = "Left reverse shoulder arthroplasty. Beach chair, right arm with BP cuff. Baseplate 25 mm. Glenosphere 38 mm."
TWO_PARTS = (
    "Arthroscopy of the left ankle and injection of the right elbow. Spurs on the tibia removed with a 4 mm shaver. "
    "Loose body of 6 mm in the ankle."
)
SKIN = (
    "Excision of BCC left cheek and SCC right forearm. Right forearm: 3 x 2 cm, margin 6 mm, full thickness graft from "
    "the left groin."
)


def told(text: str, kind: str) -> list[tuple[str | None, str | None]]:
    return [(_amount(fact), fact.laterality) for fact in facts_of(text) if fact.kind == kind]


def findings(text: str, check: str) -> list[str]:
    return [one.severity for one in run.note_from_text(text).findings if one.check == check]


def _amount(fact: Fact) -> str | None:
    return None if fact.value is None else f"{fact.value} {fact.unit or ''}".strip()


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        (TITLE, "tourniquet_pressure", [("280 mm[Hg]", "right")]),
        (TITLE, "tourniquet_time", [("22 min", "right")]),
        (TITLE, "grade", [("3", "right")]),
        (TITLE, "measurement", [("12 mm", "right"), ("15 deg", None)]),
        (TITLE, "patient_weight", [("80 kg", None)]),
        (GRAFT, "measurement", [("14 mm", "left")]),
        (UNPAIRED, "measurement", [("2 cm", None)]),
        (NERVES, "measurement", [("720 uV", "right"), ("700 uV", "right"), ("650 uV", "left")]),
        (LUNG, "device_size", [("37 [Ch]", None)]),
        (NECK, "procedure", [(None, None)]),
        (NECK, "spinal_level", [(None, None)]),
        ("Microdiscectomy L4/5 left for left sciatica.", "procedure", [(None, "left")]),
        (BOTH_CUFFS, "tourniquet_pressure", [("300 mm[Hg]", "bilateral")]),
        (FINGERS, "measurement", [("4 cm", "right"), ("60 deg", "right"), ("5 deg", "right")]),
        (FINGERS, "finding", [(None, "right")]),
        ("EVAR. AAA 6.1 cm, right common iliac aneurysm 3.8 cm.", "diagnosis", [(None, None), (None, "right")]),
        (REDUCED, "measurement", [("640 g", "right"), ("515 g", "left")]),
        (REDUCED, "drain_size", [("10 [Ch]", "bilateral")]),
        (REDUCED, "specimen", [(None, "right"), (None, "left")]),
        (POTS, "specimen", [(None, "right"), (None, "right"), (None, "left"), (None, "left")]),
        (THUMB, "medication_dose", [("20 mg", "right"), ("40 mg", "left")]),
        (THUMB, "medication_volume", [("0.5 mL", "right"), ("1 mL", "left")]),
        (ELBOW, "medication_dose", [("20 mg", "right")]),
        (ORIFICES, "device_size", [("8 [Ch]", "right"), ("6 [Ch]", "left")]),
        (ORIFICES, "measurement", [("9 mm", "right")]),
        (ORIFICES, "drain_size", [("16 [Ch]", None)]),
        (BLOCKS, "medication_volume", [("0.5 mL", "right"), ("0.3 mL", "left")]),
        (BLOCKS, "injection_needle", [("22 {gauge}", "right"), ("9 cm", "right")]),
        ("Microlaryngoscopy. R cord normal. L cord 4 mm polyp.", "measurement", [("4 mm", "left")]),
        (KNEES, "drain_size", [("12 [Ch]", "right")]),
        (KNEES, "tourniquet_time", [("52 min", "right"), ("61 min", "left")]),
        (EAR, "incision_length", [("5 cm", "right")]),
        (EAR, "measurement", [("6 mm", "right")]),
        (EAR_SEEN, "finding", [(None, "left")]),
        (ARM, "device_size", [("25 mm", "left"), ("38 mm", "left")]),
        (TWO_PARTS, "measurement", [("6 mm", "left")]),
        (TWO_PARTS, "device_size", [("4 mm", "left")]),
        (SKIN, "measurement", [("3 cm", "right"), ("2 cm", "right"), ("6 mm", "right")]),
        ("Split skin graft right forearm and hand.", "procedure", [(None, "right")]),
        ("Cholecystectomy. Ports: navel 12 mm, right flank 5 mm.", "device_size", [("12 mm", None), ("5 mm", None)]),
        ("Ankle blocks both feet. Right scarf osteotomy.", "anaesthesia", [(None, "bilateral")]),
        ("Kidney transplant, right iliac fossa, left kidney of a living donor.", "procedure", [(None, None)]),
        (CUFFS, "tourniquet_pressure", [("300 mm[Hg]", "left")]),
    ],
)
def test_a_number_has_the_side_of_its_own_part(text: str, kind: str, expected: list[tuple[str, str]]) -> None:
    assert told(text, kind) == expected


def test_none_on_the_other_side_denies_nothing_of_this_one() -> None:
    assert {fact.certainty for fact in facts_of(CUFFS) if fact.kind.startswith("tourniquet_")} == {"affirmed"}


def test_none_on_the_side_itself_does() -> None:
    facts = facts_of("Left knee replacement. Tourniquet on the left: none on the left.")
    assert "affirmed" not in {fact.certainty for fact in facts if fact.kind == "tourniquet"}


def test_drops_named_by_a_disease_are_no_diagnosis_and_no_contradiction() -> None:
    text = "Phaco right eye. Shield on. The left eye keeps its glaucoma drops."
    assert [fact.name for fact in facts_of(text) if fact.kind == "diagnosis"] == []
    assert findings(text, "side_conflict") == []


def test_what_shuts_the_vessel_of_the_way_in_is_no_contradiction() -> None:
    text = "Thrombectomy of the right middle cerebral artery. Sheath 8 French. Closure device left groin."
    assert "blocking" not in findings(text, "side_conflict")


def test_two_digits_and_two_sides_told_in_one_breath_are_no_contradiction() -> None:
    text = "Bimedial recession. Right medial rectus recessed 5 mm, left medial rectus recessed 5.5 mm."
    assert "blocking" not in findings(FINGERS, "side_conflict") + findings(text, "side_conflict")


def test_the_same_operation_told_for_two_sides_far_apart_is_one() -> None:
    text = (
        "Right total knee replacement. Spinal, supine, tourniquet 300 mmHg. Medial parapatellar approach. "
        "The left total knee replacement was cemented with two mixes."
    )
    assert "blocking" in findings(text, "side_conflict")


def test_an_operation_named_for_each_side_is_no_contradiction() -> None:
    text = "Op: Right scarf and Akin, left 2nd toe PIP fusion. L foot: K-wire 1.6 mm."
    sinuses = "FESS both sides. Right: antrostomy 15 mm. Left: antrostomy 12 mm."
    assert "blocking" not in findings(text, "side_conflict") + findings(sinuses, "side_conflict")


def test_a_remark_on_the_other_side_is_no_loud_one() -> None:
    assert "warning" not in findings(EAR, "side_unplaced") + findings(ARM, "side_unplaced")


def test_a_drug_given_on_the_other_side_is_asked_aloud() -> None:
    text = "Right carpal tunnel release. 10 mL lidocaine 1 % into the left palm."
    taken = (
        "ACL reconstruction left knee, hamstring graft from the right knee. Drain left. "
        "20 mL ropivacaine 0.2 % at the harvest site on the right."
    )
    assert findings(text, "side_conflict") == ["warning"]
    assert "warning" not in findings(taken, "side_conflict")


def test_an_approach_from_the_left_for_pain_on_the_right_is_no_contradiction() -> None:
    assert findings(NECK, "side_conflict") == []
