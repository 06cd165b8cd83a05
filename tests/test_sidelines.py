"""Sides that are told beside a fact and not with its name. The narrations are invented; the truth is read from them."""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from reading_of import read, sides

from pipeline import grammar, laterality
from pipeline.records import Fact

HIP = (
    "core decompression of the right hip with marrow concentrate from the left iliac crest patient is mister anton "
    "bergmann spinal anaesthesia he lies supine with a bump under the right buttock we start on the left crest with an "
    "eleven gauge needle six draws of eight millilitres then i go to the other side a guide wire into the head and six "
    "millilitres of concentrate injected sponge count correct blood loss thirty millilitres"
)
HANDS = (
    "right carpal tunnel release and injection of the left thumb the left wrist will be done in the autumn local "
    "anaesthesia eight millilitres of lidocaine two percent to the right palm tourniquet two hundred and fifty for "
    "eleven minutes"
)
KNEES = (
    "bilateral knee injections skin cleaned with chlorhexidine right knee first lateral approach with a twenty one "
    "gauge needle forty milligrams of triamcinolone with four millilitres of lidocaine then the left knee eighty "
    "milligrams of triamcinolone"
)


@pytest.mark.parametrize(
    ("text", "kind", "name", "side"),
    [
        ("Left ankle arthroscopy. Boot on the left for two weeks.", "aftercare", "boot", "left"),
        ("Knee injections. Review of the left knee in six weeks.", "follow_up", "", "left"),
        ("Ankle scope L. TQ L 300 mmHg x 64 min.", "tourniquet_pressure", "", "left"),
        ("Hemithyroidectomy R. Specimens: 1. R lobe + isthmus.", "specimen", "", "right"),
        ("TKR both knees. EBL 300 mL R, 250 mL L.", "blood_loss", "", "right"),
        ("Medial branch blocks L4, L5 R and left SI joint injection.", "procedure", "medial-branch", "right"),
        ("Medial branch blocks L4, L5 R and left SI joint injection.", "procedure", "joint-injection", "left"),
        ("Carpal tunnel release right and a steroid injection to the base of the left thumb.", "procedure", "thumb",
         "left"),
        (HIP, "harvest_site", "iliac-crest", "left"),
        (HIP, "procedure", "core-decompression", "right"),
        (HIP, "position", "supine", None),
        (HIP, "patient_name", "", None),
        (HIP, "blood_loss", "", None),
        (HANDS, "medication_volume", "lidocaine", "right"),
        (KNEES, "injection_needle", "", "right"),
        (KNEES, "medication_volume", "lidocaine", "right"),
        (
            "shoulder surgery on the right interscalene block right side with fifteen millilitres of ropivacaine and "
            "general anaesthesia the left arm was padded",
            "medication_volume", "ropivacaine", "right",
        ),
    ],
)  # fmt: skip
def test_a_side_beside_a_fact_is_its_side(text: str, kind: str, name: str, side: str | None) -> None:
    assert sides(text, kind, name)[:1] == [side]


@pytest.mark.parametrize(
    ("text", "kind", "name"),
    [
        ("Hemicolectomy. 5 mm ports in the left flank.", "device_size", "port"),
        ("Fusion C5-C6 through a left sided approach.", "spinal_level", ""),
        ("Anterior cervical discectomy and fusion C5-C6 through a left sided approach.", "procedure", "fusion"),
        ("Marrow from both crests, left crest and right crest, with an 11 gauge needle.", "harvest_needle", ""),
        ("Colonoscopy. Polyp in the left colon 6 mm, one in the right colon 3 mm.", "measurement", "size"),
        ("the right arm in traction head turned to the left posterior portal the tear measured twenty two millimetres",
         "measurement", "size"),
    ],
)  # fmt: skip
def test_a_name_or_a_way_in_gives_no_side(text: str, kind: str, name: str) -> None:
    assert set(sides(text, kind, name)) <= {None}


def test_only_what_was_told_as_the_other_side_has_it() -> None:
    """One relative side is no side of the patient, of the position or of the harvest."""
    named = [fact for fact in facts_of(HIP) if fact.kind in ("patient_name", "position", "anaesthesia", "count")]
    assert named
    assert all(fact.laterality is None for fact in named)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4.2 cm nodule R lobe.", ["right"]),
        ("L orifice wide, R orifice normal.", ["left", "right"]),
        ("Stone R for analysis.", ["right"]),
        ("Stent R out in 2 weeks.", ["right"]),
        ("L side not explored.", ["left"]),
        ("Blood loss 1 L.", []),
        ("Pt R Castellanos, 50.", []),
        ("Assistants L Brown, R Green.", []),
        ("L lateral decubitus.", []),
        ("L iliac fossa drain.", []),
        ("A C L torn.", []),
        ("L spine clear.", []),
        ("R/O infection.", []),
    ],
)
def test_initials_in_notes_written_in_short(text: str, expected: list[str]) -> None:
    found = [side.value for sentence in read(text).sentences for side in laterality.sides(sentence, grammar.load())]
    assert found == expected


def test_two_sides_of_the_harvest_give_none_to_its_needle() -> None:
    text = "Left crest: 10 mL aspirated. Right crest: 12 mL aspirated. An 11 gauge needle was used."
    needles: list[Fact] = [fact for fact in facts_of(text) if fact.kind == "harvest_needle"]
    assert all(fact.laterality is None for fact in needles)
