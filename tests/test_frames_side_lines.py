"""Which facts of short notes have which side: told by the illness, compared, of a direction, of another day.

Each line is a note and, behind "=>", what is asked of it: kind, a word of its name (or a number), side ("none": nothing
may have one), with the status where it is not of today. Invented, in everyday wording, no source.
"""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline import run
from pipeline.records import Fact

LINES = """
Osteoarthritis of the knees, right more than left. Right knee replacement. => diagnosis arthr bilateral
Carpal tunnel syndrome, R > L. Right carpal tunnel release. => diagnosis carpal bilateral; procedure carpal right
Carpal tunnel syndrome (R>L). Right carpal tunnel release. => diagnosis carpal bilateral
Right more painful than left hip osteoarthritis. Right hip replacement. => diagnosis arthr bilateral
Degenerative spondylolisthesis L4-5, bilateral foraminal stenosis, worse on the left. => diagnosis listhesis none
Lumbar stenosis with leg pain worse on the right. L3-5 laminectomy. => diagnosis stenosis none
Lumbar radiculopathy, left worse than right. L5 laminectomy. => diagnosis radiculopathy none
ACDF C5/6, right-sided approach, for left C6 radiculopathy. => procedure discectomy none; diagnosis radiculopathy left
L4/5 microdiscectomy, right sided approach. => procedure discectomy right
Sinus lift left, bone substitute in. => procedure sinus left
Sinus lift on the left. => procedure sinus left
Orbital floor repair, right. => procedure orbital right
Cystoscopy, left ureteric stent. => procedure cystoscopy none; procedure stent left
Upper endoscopy, left lateral. => procedure endoscopy none
Left breast wide local excision. Breast cancer, 18 mm. => diagnosis cancer left; measurement 18 left
Left knee replacement. Tourniquet 300. Insert 10 mm. => device_size 10 left
Right thyroid lobectomy. Nodule 34 mm. => measurement 34 right
Right ankle Weber B fracture. ORIF with a tubular plate. TQ 300 55 min. Backslab. => procedure fixation right; device plate right; tourniquet_time 55 right; dressing splint right
left wrist ganglion. 3 cm incision. ganglion taken out with its stalk. => procedure ganglion left; incision_length 3 left
Achilles rupture right. Prone. 6 cm incision. Backslab. => incision_length 6 right; dressing splint right; position prone none
Rotator cuff tear right shoulder. Arthroscopic repair. Three anchors. => procedure repair right; device_count 3 right
Distal radius fracture right. Volar plate, seven screws. => device_count 7 right
Parotid tumour right. Superficial parotidectomy. Tumour 2 cm. => procedure parotid right; measurement 2 right
Pneumothorax right. Chest drain 12 French. => drain chest right; drain_size 12 right
Ovarian cyst right. Laparoscopy. => procedure laparoscopy none
Left arm has AVF. PICC right basilic. => procedure fistula left historical
The left knee has a TKR. Right knee arthroscopy. => procedure arthroplasty left historical; procedure arthroscopy right
Latissimus dorsi flap to the right breast. Left breast mastopexy next stage. => procedure mastopexy left planned
Dual chamber PPM via left cephalic. RV lead septum R 11 mV 0.6 V. => device lead none; measurement 11 none
Right pterional craniotomy. Head rotated 30 degrees left. => measurement 30 none
Septum deviated 5 mm to the left. Septoplasty. => measurement 5 none; procedure septoplasty none
Endometriosis on left uterosacral and right ovarian fossa, ablated. => diagnosis endometriosis bilateral
Fracture right parasymphysis and left angle of the mandible. => diagnosis fracture bilateral
Ptosis R MRD 0, L MRD 1. => diagnosis ptosis bilateral
Meniscal tear right knee and left knee normal. => finding tear right; finding normal left
Carpal tunnel syndrome left, trigger thumb right. => diagnosis carpal left; diagnosis trigger right
Left MTP fusion. Cartilage removed, two screws. => device_count 2 left
Tennis elbow right. Open debridement of ECRB. Cuff 250, 24 min. => procedure debridement right; tourniquet_time 24 right
Dx: L Dupuytren, little finger. Op: fasciectomy. => diagnosis dupuytren left; procedure fasciectomy left
Transsphenoidal hypophysectomy via right nostril. => procedure hypophysectomy none
Right VATS upper lobectomy with node dissection. => procedure lobectomy right
Bilateral arthrography, tenotomy left only. => act tenotomy left
LE vitrectomy, ERM peel. RE: superotemporal 3.5 mm, 30G. => procedure vitrectomy left; measurement superotemporal right
Percutaneous tracheostomy. Left lung collapsed on bronchoscopy. => procedure bronchoscopy none historical
osteoarthritis of the knee first right knee forty milligrams of depo then left knee twenty => diagnosis arthr none
Diagnosis: varicocele left and right hydrocele. => diagnosis varicocele left; diagnosis hydrocele right
bunion right and left hammer toe, both corrected today => diagnosis bunion right; diagnosis hammer left
Operation: phaco left and right trabeculectomy. => procedure phaco left; procedure trabeculectomy right
Procedure: carpal tunnel release left and right trigger finger release. => procedure carpal left; procedure trigger right
Osteoarthritis left and right knees, both injected today. => diagnosis arthritis bilateral
Knee injection, both. 40 mg each. => procedure injection bilateral
Right humeral shaft fixation, four screws on both sides of the fracture. => diagnosis fracture right
left tibial plateau. two screws on either side of the split. => device_count 2 left
Left neck dissection. Drains on both sides of the neck. => drain drain bilateral
right knee bone marrow concentrate forty mils drawn from the right iliac crest five mils of concentrate injected => procedure marrow right
Left knee BMAC. 60 mL from the left posterior iliac crest. 6 mL injected. => procedure marrow left; injection_volume 6 left
R ankle scope + BMAC, OLT medial dome. => procedure marrow right
Right knee bmac and left knee prp. 5 mL right, 4 mL left. => procedure marrow right; procedure platelet left
left knee injected with forty milligrams of triamcinolone => procedure injection left
Right ACL reconstruction, medial meniscus repair and lateral meniscectomy. => procedure meniscal right; procedure cruciate right
Right above knee amputation for ischaemia. => procedure amputation right
Right below elbow amputation, the stump closed over a drain. => procedure amputation right
L ankle: old Brostrom, stable, nothing done. R ankle arthroscopy. => procedure ligament left historical; procedure arthroscopy right
He has arthrosis in both knees but we make today only the left side, the valgisation. Plate with eight screws. => procedure osteotomy left; device_count 8 left
Knee injection, both. Come back in three months for the left, the right we will see in six. => follow_up 3 left planned
right knee marrow injection left crest forty mils six and a half mils all of it into the joint nothing went into the left knee which is still good bandage for two days => injection_volume 6.5 right; aftercare plaster none planned
left tympanoplasty the right ear has a grommet from childhood and hears well incision four centimetres postauricular => incision_length 4 left; device tube right historical
Left hip scope. Traction off, fifty one minutes. => duration traction left
Endoscopic sinus surgery on both sides and septoplasty. => procedure septoplasty none; procedure sinus bilateral
"""  # noqa: E501


def _asked(line: str) -> tuple[str, list[list[str]]]:
    note, _, rest = line.partition(" => ")
    return note, [one.split() for one in rest.split(";")]


def _is_meant(fact: Fact, kind: str, word: str) -> bool:
    said = f"{fact.name or ''} {fact.text or ''}".lower()
    return fact.kind == kind and (
        str(fact.value) == word if word.replace(".", "").isdigit() else word in said
    )


@pytest.mark.parametrize("line", [line for line in LINES.strip().splitlines()])
def test_sides_of_a_line(line: str) -> None:
    note, asked = _asked(line)
    facts = facts_of(note)
    for kind, word, side, *status in asked:
        meant = [fact for fact in facts if _is_meant(fact, kind, word)]
        assert meant, (kind, word)
        told = {(fact.laterality or "none", fact.status) for fact in meant}
        assert told == {(side, status[0] if status else "performed")}, (kind, word)


# Another side is told of on purpose: no contradiction.
NO_CLASH = """
R hip replacement today. Plan: left THR in three months.
R hip replacement. Planned for left total hip replacement in 12 weeks.
Left cataract surgery. Right cataract surgery to follow in 4 weeks.
Cemented TKR L. FWB, home when safe. R TKR in 6/12.
AVN both hips, Ficat 3 right, 2 left. Right hip core decompression.
Right carotid endarterectomy. The left carotid artery is occluded. Right facial vein divided.
The left knee has a TKR. Right knee arthroscopy.
Left hip hemiarthroplasty. Right SCD on.
Left below knee amputation. Gangrene L foot. Right foot ulcer dressed.
Bunion right foot, hammertoe left foot.
ACDF C5/6, right-sided approach, for left C6 radiculopathy.
Left pyeloplasty. R kidney compensatory.
Right midfoot fusion. Left foot orthotic.
Right ureteroscopy. Left ureter and left kidney not looked at.
Nephrectomy for a non functioning kidney, left side, laparoscopic. Right kidney good.
Dual chamber PPM via left cephalic. RV lead septum R 11 mV 0.6 V.
"""
CLASH = """
Planned: left THR. Right total hip replacement performed.
Consent for left carpal tunnel release. Right carpal tunnel release. 3 cm incision.
Diagnosis: right knee arthritis. Left total knee replacement. Severe left gonarthrosis found.
Right ureteroscopy. Left ureter stented.
Left total knee replacement. Gonarthrosis left. Tourniquet 300. Right meniscal tear trimmed.
"""


def _clashes(note: str) -> list[str]:
    told = run.note_from_text(note).findings
    return [one.message for one in told if one.check in ("side_conflict", "side_unplaced") and one.severity != "note"]


@pytest.mark.parametrize("note", NO_CLASH.strip().splitlines())
def test_a_side_of_another_day_or_illness_is_no_contradiction(note: str) -> None:
    assert _clashes(note) == []


@pytest.mark.parametrize("note", CLASH.strip().splitlines())
def test_a_side_that_contradicts_is_told(note: str) -> None:
    assert _clashes(note) != []
