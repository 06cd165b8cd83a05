"""Errors in what is told of joints, marrow and injections: the same words right and wrong, told as surgeons talk."""

from __future__ import annotations

import pytest

from pipeline import run
from pipeline.note import OperativeNote

# (check, right words, wrong words, the narration with ___ in their place)
TOLD = (
    ("listed_count", "Total 6 anchors", "Total 7 anchors",
     "Anchors 1.8 mm all-suture: 4 on the glenoid. Remplissage: 2 anchors 4.75 mm in the Hill-Sachs. ___."),
    ("listed_count", "another two loose bodies", "another three loose bodies",
     "Four loose bodies, two anterior and two posterior. Two loose bodies out of the front of it. From behind "
     "___. SPECIMENS: 4 loose bodies."),
    ("listed_count", "SPECIMENS: 4 loose bodies", "SPECIMENS: 6 loose bodies",
     "Four loose bodies, two anterior and two posterior. Two loose bodies out of the front of it. From behind "
     "another two loose bodies. ___."),
    ("listed_count", "so three portals in the end", "so two portals in the end",
     "standard two portals then a third one superolateral for the loose bodies ___ and the scope went round"),
    ("listed_count", "so three portals", "so four portals",
     "First portal three-four at nine nineteen, then six R, and the midcarpal radial; ___."),
    ("listed_count", "so two screws", "so three screws",
     "screw on the femur seven by twenty five lot two two four one screw on the tibia nine by twenty five lot two "
     "two four six ___ meniscus intact"),
    ("listed_count", "three implants", "four implants", "That is ___: two anchors, one screw."),
    ("listed_count", "two screws", "three screws",
     "A fifty six cup with ___, a twenty five and a thirty, both bit well."),
    ("implant_fit", "Final femoral component size 5", "Final femoral component size 6",
     "Left total knee replacement. Implants: femur size 5, tibia size 4, insert 9 mm. Trial 8 mm insert loose, 9 mm "
     "stable; final insert 9 mm. ___, tibial baseplate 4."),
    ("implant_fit", "final insert 9 mm", "final insert 11 mm",
     "Left total knee replacement. Implants: femur size 5, tibia size 4, insert 9 mm. Trial with 8 mm insert loose in "
     "flexion, 9 mm stable; ___."),
    ("implant_fit", "stem six, head", "stem seven, head",
     "Right total hip replacement. A fifty six cup. Stem broached up to a size six, collared. Final implants, "
     "cup fifty six, ___ thirty six plus five."),
    ("implant_fit", "left femur size four", "left femur size five",
     "Both knees replaced. Right knee: femur size three, tibia size three. Left knee: femur size four, tibia three. "
     "Sizes again: right femur size three, ___."),
    ("two_values", "the nine by twenty five", "the seven by twenty five",
     "screw on the femur seven by twenty five screw on the tibia nine by twenty five so two screws tibial screw ___ "
     "has good bite"),
    ("two_values", "ten millimeters by eight like I said", "ten millimeters by eighteen like I said",
     "lesion measured ten by eight millimeters the loose cartilage came off to a stable edge ___ microfracture"),
    ("two_values", "the largest 12 mm", "the largest 22 mm", "Four loose bodies, 5 to 12 mm. All came out, ___."),
    ("two_values", "(18 mm long)", "(28 mm long)", "Hill-Sachs 18 x 9 mm. 2 anchors in the Hill-Sachs ___."),
    ("stated_sums", "so twenty four degrees better", "so forty two degrees better",
     "Then I burred the bump, alpha angle from sixty eight down to forty four, ___."),
    ("stated_sums", "gain 55 deg", "gain 75 deg",
     "Motion before 40 to 110 deg (arc 70), after 10 to 135 deg (arc 125, ___)."),
    ("stated_sums", "= 80 g", "= 120 g", "Cement 2 mixes 40 g ___ w/ gentamicin."),
    ("stated_sums", "that's the eleven", "that's the thirteen",
     "under ultrasound six mils into the right knee and five into the left ___ no steroid"),
    ("stated_sums", "total volume 10 mL", "total volume 15 mL",
     "Right shoulder: Kenalog 40 mg with lidocaine 1% 4 mL, 5 mL in all into the bursa. Left shoulder: the same, "
     "another 5 mL. Total Kenalog 80 mg, ___."),
    ("irrigation_deficit", "8.5 L out", "7.5 L out", "Pump 45 mmHg, 9 L in, ___, 500 mL not recovered."),
    ("injection_total", "the last milliliter into", "the last four milliliters into",
     "BMA 40 mL, spun for fifteen minutes and got five milliliters back. Four milliliters of the concentrate onto the "
     "defect and ___ the joint."),
    ("listed_count", "five anchors in that tendon", "six anchors in that tendon",
     "Medial row, three triple loaded anchors, five and a half millimeter. Lateral row, two knotless, four "
     "seventy five. "
     "So she's got ___, and it is down flat."),
    ("implant_fit", "the tibial tunnel is nine and a half", "the tibial tunnel is five and a half",
     "Quad graft from the same knee, full length sixty eight millimetres, nine and a half millimetres thick. Femoral "
     "socket nine and a half wide. On the other end ___ too."),
    ("implant_fit", "stem size 3 down", "stem size 5 down",
     "Cemented hemiarthroplasty, left hip. Canal broached to 3, trial reduction stable. Cement; cemented ___."),
    ("implant_fit", "Bipolar 47 mm", "Bipolar 74 mm",
     "Cemented bipolar hemiarthroplasty, left hip. Head out with the corkscrew, measured 47 mm. ___ on a 28 mm "
     "inner head."),
    ("two_values", "that twenty two millimeter tear", "that thirty two millimeter tear",
     "Tear measured twenty two millimeters front to back. Took six millimeters off the acromion. So ___ is down flat."),
    ("two_values", "cam 6 mm deep", "cam 16 mm deep",
     "Op: R hip arthroscopy, cam resection 6 mm. Head-neck: ___ resected."),
    ("two_values", "the ten by thirty screw bites", "the ten by twenty screw bites",
     "Tibia, one peek screw, ten by thirty, tensioned at twenty degrees; ___ really well."),
    ("two_values", "that was the twelve from the right", "that was the twenty from the right",
     "right knee had an effusion so I took twelve mils of clear fluid off, ___, not sent anywhere"),
    ("stated_sums", "one hour and thirty one minutes", "one hour and thirteen minutes",
     "right shoulder skin eight twenty six deltopectoral eleven centimeters cephalic vein taken laterally "
     "subscap peeled "
     "biceps tenodesed to the pec head cut in twenty degrees of retroversion staples closed nine fifty seven "
     "___ no drain"),
    ("time_order", "wrapped up at nine fourteen", "wrapped up at seven fourteen",
     "Incision seven fifty. Portals closed with three oh nylon, ___."),
    ("side_conflict", "TO 1400 R hip", "TO 1400 L hip",
     "Dx R FAI cam. Op: R hip arthroscopy. Supine, traction table. R perineal post, R foot padded, ___. Ancef "
     "2 g 1352."),
    ("side_conflict", "same knee, the right one", "same knee, the left one",
     "Operation, right ACL reconstruction with quadriceps tendon. Quad graft from the ___."),
    ("plausible", "spun for ten minutes", "spun for ten hours",
     "sixty mils of blood from the right arm ___ at fifteen"),
    ("listed_count", "So four anchors back there", "So six anchors back there",
     "Anchors went in at half past six, half past seven, half past eight and half past nine. ___, all suture."),
    ("listed_count", "second of three today", "fourth of three today", "Hyaluronic acid series, right knee, ___."),
    ("implant_fit", "36 mm + 3.5 ceramic head", "32 mm + 3.5 ceramic head",
     "Acetabular revision right THA. 62 mm multihole shell seated. ___ impacted. Implant log: shell 62 mm, "
     "head 36 mm."),
    ("implant_fit", "tibial tunnel 10 mm", "tibial tunnel 6 mm",
     "Op: L knee revision ACL reconstruction, BTB allograft. New femoral tunnel 10 mm anatomic; ___."),
    ("two_values", "The fifteen by twelve defect", "The fifty by twelve defect",
     "The defect was fifteen by twelve millimetres and down to bone. ___ was cleaned to a firm rim."),
    ("two_values", "the 6.5 x 60 mm screw", "the 6.5 x 90 mm screw",
     "6.5 mm partially threaded: 6.5 x 60 mm medial, 6.5 x 55 mm lateral. On fluoro, ___ medially just short."),
    ("two_values", "those eighteen milliliters", "those eighty milliliters",
     "I drew off eighteen milliliters of fluid. Nothing bloody, ___ looked like straw."),
    ("side_conflict", "anterior crest on the right", "anterior crest on the left",
     "Time out, right knee and right iliac crest. Marrow from the ___ with an eleven gauge needle, twelve "
     "draws of four "
     "millilitres, which is forty eight millilitres."),
    ("side_conflict", "right leg in the holder", "left leg in the holder",
     "Right knee arthroscopy, right medial meniscus tear. Supine, ___. Time out, right knee."),
    ("side_conflict", "R arm in 4 kg traction", "L arm in 4 kg traction",
     "Dx: Bankart lesion R shoulder. Op: arthroscopic Bankart repair, R shoulder. Lateral decubitus, ___."),
    ("side_conflict", "with the right side up", "with the left side up",
     "Right total hip replacement through a posterior approach. Lateral position ___. Time out, right hip."),
    ("side_conflict", "the right anterior crest", "the left anterior crest",
     "right ankle arthroscopy time out right ankle and right iliac crest marrow first from ___ five milliliters a pull "
     "and eight pulls so forty milliliters"),
    ("side_conflict", "Then the left shoulder", "Then the right shoulder",
     "Injection of both shoulders. Right shoulder first: Kenalog 40 mg. ___: Kenalog 40 mg."),
)  # fmt: skip

# Right as they are: no check speaks above a note.
RIGHT = (
    "Plan: norco five one tablet every six hours as needed.",
    "physiotherapy and oxycodone ten two tablets every six hours",
    "left knee two grams cefazolin seven thirty two time out seven forty five left knee",
    "She got cefazolin, two grams, seven twenty five. Time out at seven forty two, right shoulder.",
    "6R first, then 3-4, and one ulnar midcarpal; that makes three portals.",
    "Fusion of the left ankle. Graft: 3 mL DBM + 4 mL BMA. Screws 2 + 1 = 3 screws. 5 L of saline.",
    "Acetabular revision, right hip. Cefazolin 2 g held until cultures, given 09:41. Incision 09:30.",
    "Tranexamic acid one gram before the cuff and one gram at the end, two grams altogether.",
    "cefazolin two grams eight oh five tranexamic acid one gram eight ten time out eight eighteen right shoulder",
    "Stem broached up to a size six, the seven would not go down, so stem size six.",
    "SL tight, LT tight, Geissler zero.",
    "LIA: 100 mL ropi 0.2% (200 mg), 50 mL posterior, 50 mL around the wound.",
    "Five anchors on the table, one pulled out and was thrown away, so four anchors.",
    "One 4-hole plate and four screws on either side, that is eight, so eight screws in all.",
    "Right hip nailing on the fracture table, right foot in traction, left leg in a holder.",
)


def _loud(text: str, check: str | None = None) -> list[str]:
    note: OperativeNote = run.note_from_text(text, made_at="2026-03-02T18:00:00+00:00")
    asked = {"completeness", "family_elements"}
    return [one.message for one in note.findings
            if one.severity != "note" and one.check not in asked and check in (None, one.check)]  # fmt: skip


@pytest.mark.parametrize(("check", "right", "wrong", "told"), TOLD)
def test_an_error_of_a_joint_is_caught(check: str, right: str, wrong: str, told: str) -> None:
    assert _loud(told.replace("___", right), check) == []
    assert _loud(told.replace("___", wrong), check)


@pytest.mark.parametrize("told", RIGHT)
def test_what_is_right_stays_quiet(told: str) -> None:
    assert _loud(told) == []
