"""Short notes whose sides contradict each other, and the same sort of note where they do not.

Invented, in everyday wording, no source. Each line is a whole note.
"""

from __future__ import annotations

import pytest

from pipeline import run
from pipeline.note import OperativeNote

CLASHES = """
Right shoulder arthroscopy and cuff repair. Left arm in the sling for six weeks.
left shoulder stabilisation done today right arm in a sling for four weeks
Right elbow arthroscopy. Left arm to stay in the sling until Monday.
Right Achilles repair. Left leg in a boot in equinus for two weeks then review.
Left ankle Brostrom. She goes home with the right foot in a boot and crutches.
Right ankle fracture fixation. Left foot in a boot, non weight bearing for six weeks.
Preoperative diagnosis: osteoarthritis right hip and left knee. Procedure: left total hip replacement.
Left mastectomy. Two drains in the left chest. Right drain sutured with silk.
Right VATS. 24 French drain in the right chest. The left drain is on minus twenty.
Left parotidectomy. A ten French drain on the left. The right drain holds vacuum.
Right chest drain inserted for pneumothorax, 28 French. Left chest drain connected to underwater seal.
Left L4-L5 microdiscectomy. Muscle off on the right only. Fragment out in two pieces.
Right knee marrow injection. Five mils in. Nothing went into the right knee.
Left inguinal hernia repair with mesh. The left groin was not touched.
Right total knee replacement. The right knee will be done in the spring.
Left carotid endarterectomy. The left carotid is occluded.
Time out. Left thumb base, arrow is on the right, consent says left. Trapeziectomy left.
Consent signed for the right knee, mark on the left. Right knee arthroscopy.
Right VATS wedge biopsy. Right lateral decubitus. Three ports.
Both knees injected. Right knee first, forty milligrams. Then the right knee, forty milligrams.
Both feet today. Right foot first, two screws. Swap sides. Right, one wire.
"""

CLEAN = """
Preoperative diagnosis: osteoarthritis right hip and left knee. Procedure: right total hip replacement.
Dx: ganglion right wrist, left ankle. Op: excision ganglion right wrist.
dx tendinopathy right elbow, left achilles. prp right elbow 3 ml.
Left hip arthroscopy. Left leg in the boot, right leg in the other boot, perineal post well padded.
Left hip arthroscopy on the traction table. Right foot in a boot with light traction.
Left mastectomy. Two drains, one in the left axilla and one under the flap on the left.
Phaco OS. Second eye; OD done 12/3, 6/6 unaided. Lidocaine 1 % 0.5 mL intracameral.
R PCNL. L JJ stent change same sitting. L stent out, new 6 Fr stent L. R stent 6 Fr.
Left L4 L5 microdiscectomy. Level checked with the X-ray, it was L five S one so we moved up one. Laminotomy.
Left breast cancer. Operation, left wide local excision, with a right symmetrising reduction. The right breast was \
reduced by two hundred and ten grams.
left tympanoplasty the right ear has a grommet from childhood and hears well incision four centimetres postauricular
Left scaphoid nonunion fixation with a screw. Graft from the right iliac crest, closed over a 10 Fr drain on the right.
Right total knee replacement. The left knee will be done in the spring.
Left carotid endarterectomy. The right carotid is occluded.
Right knee marrow injection. Five mils in. Nothing went into the left knee.
Time out. Left thumb base, arrow is on the left, consent says left. Trapeziectomy left.
Right VATS wedge biopsy. Left lateral decubitus. Three ports.
Both knees injected. Right knee first, forty milligrams. Then the left knee, forty milligrams.
ORIF left distal femur fracture. Three screws on either side of the fracture.
Right humeral shaft fixation, four screws on both sides of the fracture.
"""


def told(text: str) -> list[str]:
    """Messages of the checks of sides, sites and levels that are no mere notes."""
    note: OperativeNote = run.note_from_text(text, name="clash")
    return [one.message for one in note.findings
            if one.check.startswith(("side_", "site_", "level_")) and one.severity != "note"]  # fmt: skip


@pytest.mark.parametrize("text", CLASHES.replace("\\\n", "").strip().splitlines())
def test_sides_that_contradict_each_other_are_told(text: str) -> None:
    assert told(text)


@pytest.mark.parametrize("text", CLEAN.replace("\\\n", "").strip().splitlines())
def test_sides_that_agree_raise_nothing(text: str) -> None:
    assert told(text) == []
