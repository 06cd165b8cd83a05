"""A check that would warn, and something said beside it that explains the number, side or name: nothing is asked aloud.

Each kind stands with its twin, the same without what explains it, where the check still warns. Facts of a few readings
that led to such alarms stand at the end.
"""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from reading_of import loud

# (how the name of the check begins, explained, not explained)
TWINS = {
    "other eye, done before": ("side_unplaced",
        "Op: phaco + IOL OD. 2nd eye; OS done 11/03 (6/6 now, happy). No complications.",
        "Op: phaco + IOL OD. The lids of the left eye were cleaned. No complications."),
    "other knee needs nothing": ("side_conflict",
        "Right total knee arthroplasty. Right knee OA. No complications. Left knee needs nothing.",
        "Right total knee arthroplasty. Right knee OA. No complications. Left knee incision closed."),
    "drip on the other arm": ("side_",
        "Carpal tunnel release, left hand. IV right hand. No complications.",
        "Carpal tunnel release, left hand. Right hand incised. No complications."),
    "a lens of another year": ("two_values",
        "Phaco of the left eye. Right eye done in 2022, lens 21.5 D, 6/6 now. IOL 23 D into the bag, left eye.",
        "Phaco of the left eye. Lens 21.5 D at the check. IOL 23 D into the bag, left eye."),
    "an insert of the other knee": ("implant_fit",
        "Right total knee arthroplasty. Left TKA in 2021, size 4 femur, 10 mm insert, doing well. Insert 12 mm.",
        "Right total knee arthroplasty. Size 4 femur, 10 mm insert. Insert 12 mm."),
    "pulls at each site and in all": ("two_values",
        "Marrow for the knee. First site, three draws of ten milliliters. Second site, three draws of ten milliliters. "
        "That is six draws, sixty mils total, all injected.",
        "Marrow for the knee. First site, three draws of ten milliliters. That is six draws, sixty mils total, all "
        "injected."),
    "a dose of the whole": ("",
        "Lidocaine one percent with adrenaline, fifteen mils at the wrist and five at the finger, so twenty mils "
        "altogether, two hundred milligrams.",
        "Lidocaine one percent with adrenaline, fifteen mils at the wrist, 200 milligrams."),
    "carpules and what they come to": ("dose_arithmetic",
        "Articaine four percent, four carpules of one point seven, six point eight milliliters, two hundred "
        "seventy-two milligrams.",
        "Articaine four percent, six point eight milliliters, three hundred seventy-two milligrams."),
    "two clamps": ("duration_times",
        "CABG. Cross-clamp 10:02-11:11 (69 min). Side clamp 11:12-11:27.",
        "CABG. Cross-clamp 10:02-11:11 (96 min)."),
    "sizes and not counts": ("",
        "Laparoscopy. Five at the umbilicus, twelve suprapubic, five left lower quadrant, so three ports total.",
        "Laparoscopy. Two ports at the umbilicus, one suprapubic port, two ports on the left, so three ports total."),
    "an antibiotic given again in time": ("prophylaxis_window",
        "Zosyn 3.375 g in the ED at 04:15 and again cefoxitin 2 g at 05:50. Incision 06:10.",
        "Zosyn 3.375 g in the ED at 04:15. Incision 06:10."),
    "a bleeder and the whole loss": ("two_values",
        "Nephrectomy. A lumbar vein bled about 50 mL and was clipped. EBL 150 mL. No complications.",
        "Nephrectomy. Blood loss was 50 mL. EBL 150 mL. No complications."),
    "what the patient heard": ("complication_conflict",
        "Form's signed, he's heard about nerve damage, one in a hundred losing a finger. No complications.",
        "There was nerve damage with the saw. No complications."),
    "a level left alone": ("level_conflict",
        "Preop diagnosis: stenosis C5-C6. ACDF C5-C6. C4-C5 has a bulge and was discussed; we agreed to leave it "
        "alone. Time out C5-C6.",
        "Preop diagnosis: stenosis C5-C6. ACDF C5-C6. Time out C4-C5."),
    "a level fused before": ("level_conflict",
        "Preop diagnosis: stenosis L3-L4. Laminectomy L3-L4. L5-S1 fused at age 52, solid. Time out L3-L4.",
        "Preop diagnosis: stenosis L3-L4. Laminectomy L3-L4. Time out L5-S1."),
    "an epidural below the disc": ("level_conflict",
        "Diagnosis: C5-C6 disc protrusion. Interlaminar cervical epidural steroid injection C7-T1. Time out C7-T1.",
        "Diagnosis: C5-C6 disc protrusion. Interlaminar cervical epidural steroid injection C7-T1. Time out C4-C5."),
    "one named without a number": ("",
        "Vein (1 load), artery (1 load), bronchus (green load), fissure 3 loads, so 6 loads in all.",
        "Vein (1 load), artery (1 load), fissure 3 loads, so 6 loads in all."),
    "a drain taken back": ("none_but_said",
        "Hip revision. One drain, no, we agreed no drain. No drain. No complications.",
        "Hip revision. One drain. No drain. No complications."),
    "a swab apart from histology": ("none_but_said",
        "Swab to microbiology, nothing to pathology.",
        "The nodule was sent to pathology. No specimens."),
}  # fmt: skip

QUIET = {
    "a dose in brackets is of what stands there": "Epidural top-up 20 ml 2% lido + adr 1:200k (400 mg) + fent 100 mcg.",
    "what came of a name": "Right carpal tunnel release. She's signed for scar pain, nerve injury, not getting better. "
                           "No complications.",
    "a rate": "Varicose vein laser right leg. DVT one in two hundred, nerve, burns, coming back. No complications.",
    "volumes in brackets": "Lidocaine 2%, 6 x 1.8 mL cartridges (10.8 mL, 216 mg).",
    "suction and swabs": "Caesarean. Suction 500 + swabs 150. EBL 650 ml.",
    "both tonsils": "Adenotonsillectomy. Left tonsil out, dry. Right tonsil out, one small vessel. No complications.",
    "a tally in brackets": "Three sponges with mitomycin C 0.2 mg/mL, counted (3 in, 3 out), washed with 20 mL BSS.",
    "suction below nought": "One 28 Fr chest tube, -20 cm suction.",
    "lower left eight": "Lower left eight in the line of fracture, tooth three eight out in two pieces.",
    "each limb its load": "Core decompression left hip. Fifteen kilogram load left leg, right leg full load.",
    "another crest": "External dacryocystorhinostomy, left. Lacrimal crest, bone punched. Sac sewn six oh Vicryl, "
                     "three. Skin six oh nylon, five.",
    "a sort of section": "We're having a planned caesarean. Uterus opened at 09:35. No complications.",
}  # fmt: skip


@pytest.mark.parametrize(("check", "explained", "bare"), TWINS.values(), ids=TWINS)
def test_what_is_explained_is_not_asked(check: str, explained: str, bare: str) -> None:
    assert [one for one in loud(explained) if one.startswith(check)] == []
    assert [one for one in loud(bare) if one.startswith(check)]


@pytest.mark.parametrize("text", QUIET.values(), ids=QUIET)
def test_nothing_is_asked_aloud(text: str) -> None:
    assert loud(text) == []


@pytest.mark.parametrize("text", [
    "Tamsin Roe, 27. Broke the same wrist when she was eleven.",
    "Tamsin Roe, 27. She had grommets at the age of two.",
    "Tamsin Roe, 27. Open appendicectomy aged 12.",
    "Tamsin Roe, 27. Film checked with the patient: all four wisdom teeth present.",
])  # fmt: skip
def test_an_age_of_another_day_is_not_the_age(text: str) -> None:
    assert [fact.value for fact in facts_of(text) if fact.kind == "patient_age"] == [27]


def test_a_vancomycin_that_ran_in_ends_no_operation() -> None:
    told = facts_of("Vancomycin 1 g started 10:05 (cephalosporin rash), finished 10:58. Incision 11:08. Closed 11:57.")
    assert "operation_end" not in {fact.name for fact in told if fact.kind == "clock_time"}


def test_a_side_of_the_patients_past_is_not_that_of_the_finding_before_it() -> None:
    told = facts_of("right knee arthroscopy post op diagnosis grade three lesion of the medial femoral condyle twelve "
                    "by fifteen millimetres he had the left knee done four years ago elsewhere that one is fine now "
                    "consent signed")  # fmt: skip
    assert "left" not in {fact.laterality for fact in told if fact.kind in ("postop_diagnosis", "grade")}


def test_a_cuff_that_is_closed_and_opened() -> None:
    told = facts_of("Tourniquet three hundred at the thigh right, closed twelve fifty six. Cut twelve fifty eight.")
    assert {fact.name: fact.text for fact in told if fact.kind == "clock_time"} == {
        "tourniquet_up": "12:56", "incision": "12:58"}  # fmt: skip
