"""What a check should ask aloud, and what it should not: told in whole sentences, since the words decide.

Each kind stands in pairs where that can be: a narration in which nothing is wrong and nobody is asked aloud, and one
that differs by the error.
"""

from __future__ import annotations

import pytest

from pipeline import run

ASKED = frozenset({"completeness", "family_elements"})  # what was not said in so short a text

QUIET = {
    "arm of the position": "left knee arthroscopy and partial meniscectomy spinal with right arm out tourniquet on the "
                           "left thigh no complications",
    "leg in a boot": "Right total hip replacement. Spinal anaesthesia. Left leg in a boot. No complications.",
    "other side looked at": "Procedure: left inguinal hernia repair with mesh. The right groin was inspected through "
                            "the scope and a small hernia was seen, not repaired. No complications.",
    "other side left alone": "Procedure: laparoscopic left ovarian cystectomy. The right ovary had a two centimetre "
                             "simple cyst, which was left alone and will be observed with ultrasound.",
    "injection of the other knee, in the title": "Procedure: right knee arthroscopy and injection of the left knee "
        "with 40 mg triamcinolone. Diagnosis: meniscal tear right knee, osteoarthritis left knee. No complications.",
    "two shoulders": "right shoulder subacromial injection forty milligrams of triamcinolone and five mils of one "
        "percent lidocaine then the left shoulder glenohumeral injection forty milligrams of triamcinolone and five "
        "mils of one percent lidocaine no complications",
    "as agreed": "right knee arthroscopy partial medial meniscectomy at the end the left knee was injected with forty "
                 "milligrams of triamcinolone as agreed no complications",
    "two eyes": "Op: Phaco + IOL OD. Intravitreal bevacizumab OS, same sitting. Dx: Nuclear cataract OD; wet AMD OS.",
    "screws beyond the decompression": "Preoperative diagnosis: L4-L5 spondylolisthesis. Procedure: TLIF L4-L5. Time "
        "out L4-L5. Screws were placed at L4, L5 and S1. Cage at L4-L5.",
    "screws in vertebrae": "preop diagnosis degenerative disc disease l five s one procedure posterior instrumented "
        "fusion screws at l four l five and s one decompression at l five s one no complications",
    "a span over more levels": "lumbar fusion diagnosis degenerative spondylolisthesis l four l five procedure "
        "posterior fusion l four to s one screws in l four l five and s one cages at l four five and l five s one no "
        "complications",
    "screws on both sides": "Preop diagnosis: L4-L5 stenosis and L5-S1 stenosis. Procedure: decompression L4-L5 and "
        "L5-S1 and instrumentation L4 to S1. Six screws: L4, L5, S1. No complications.",
    "a further one in brackets": "Right hip arthroscopy, labral repair, 3 anchors (4th pulled out, discarded).",
    "a size before the places": "Left groin flap. Two suction drains, fourteen French, one above the mesh and one "
                                "under the skin.",
    "one lens of each eye": "Both eyes phaco. Right lens serial 4471, left lens serial 9902.",
    "lens exchanged": "Phaco left eye. First lens SN 111222 torn, exchanged for another, SN 333444. No complications.",
}  # fmt: skip
LOUD = {
    "tourniquet on the other side": ("side_conflict", "left knee arthroscopy and partial meniscectomy tourniquet on "
                                     "the right thigh no complications"),
    "injection of the other side": ("side_conflict", "right knee arthroscopy partial medial meniscectomy at the end "
                                    "the left knee was injected with forty milligrams of triamcinolone"),
    "one level astray": ("level_conflict", "Preoperative diagnosis: L3-L4 stenosis. Procedure: TLIF L5-S1. Time out "
                         "L5-S1. Screws were placed at L5 and S1."),
    "screws too few": ("listed_count", "Procedure: posterior fusion. Five screws: L4, L5, S1. No complications."),
    "two numbers of one lens": ("device_identity", "right eye phaco and lens plus twenty one dioptres serial number "
        "four four seven one nine in the bag no complications for the register lens serial eight eight two five six"),
    "deeper than the needle is long": ("needle_depth", "marrow aspiration right posterior iliac crest with a ten "
        "centimetre needle first draw at two centimetres five millilitres then deeper to twelve centimetres five "
        "millilitres"),
    "deeper than the needle went": ("needle_depth", "marrow harvest from the right crest with an eleven gauge needle "
        "the needle was advanced to four centimetres first draw five millilitres then advanced one centimetre second "
        "draw at nine centimetres five millilitres"),
    "deeper though drawn back": ("needle_depth", "marrow from the left posterior crest eleven gauge needle first draw "
        "at four centimetres five mils back one centimetre second draw at five centimetres five mils"),
}  # fmt: skip


def _loud(text: str) -> list[str]:
    found = run.note_from_text(text, name="case").findings
    return [f"{one.check}: {one.message}" for one in found if one.severity != "note" and one.check not in ASKED]


@pytest.mark.parametrize("text", QUIET.values(), ids=QUIET)
def test_nothing_is_asked_aloud(text: str) -> None:
    assert _loud(text) == []


@pytest.mark.parametrize(("check", "text"), LOUD.values(), ids=LOUD)
def test_an_error_is_asked_aloud(check: str, text: str) -> None:
    assert [one for one in _loud(text) if one.startswith(f"{check}:")]
