"""How people say a side, and how they say "left" and "right" for something else, tried with things of each sort.

A frame is a remark within the narration of an operation on one side; the frames are common English usage, no source.
What is asked first: nothing stands with the other side and without a doubt on it. What was said to be talk, a position,
a remainder or a past day does not take the side away either.
"""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline.records import Fact

OTHER = {"left": "right", "right": "left"}
STORY = "{remark} Meniscectomy done. Kenalog forty milligrams injected into the joint."


def frames(text: str) -> list[str]:
    return [frame.strip() for line in text.strip().splitlines() for frame in line.split("|")]


def silent(facts: list[Fact], side: str) -> list[tuple[str, str | None]]:
    """Facts of today that stand with this side and no doubt on them."""
    return [
        (fact.kind, fact.name or fact.text) for fact in facts
        if fact.laterality == side and not fact.doubts and fact.status == "performed"
    ]  # fmt: skip


RIGHT_AS_TALK = """
Is the camera white balanced? Right. | Right. | Right, let's start. | Right, synovitis seen. | All right. | Right then.
That's right. | Yes, right. | The count is right. | Swabs all right. | Right, so the pump is on. | Two litres, right?
Right, pump on. | There was a loose body right behind the condyle. | The scope went right into the notch.
The fluid came right from the portal. | A plica sat right against the condyle. | You're right. | Right away it bled.
"""


@pytest.mark.parametrize("remark", frames(RIGHT_AS_TALK))
def test_right_that_is_no_side(remark: str) -> None:
    facts = facts_of("Left knee arthroscopy. " + STORY.format(remark=remark))
    assert silent(facts, "right") == []
    assert [fact.laterality for fact in facts if fact.name == "meniscectomy"] == ["left"]


def test_right_that_is_a_heading_or_an_answer() -> None:
    both = facts_of("Bilateral knee injections. Right. Kenalog forty milligrams. Left. Kenalog twenty milligrams.")
    doses = {str(fact.value): fact.laterality for fact in both if fact.kind == "medication_dose"}
    assert doses == {"40": "right", "20": "left"}
    for said in ("Knee arthroscopy. Right.", "Which side? Right. Knee arthroscopy.", "Right, knee arthroscopy."):
        assert [fact.laterality for fact in facts_of(said) if fact.kind == "procedure"] == ["right"]


LEFT_AS_VERB = """
Rim left four millimetres. | A stable rim of 4 mm left. | Four millimetres of rim were left. | No fragments left.
Loose bodies removed, none left. | We left the plica alone. | Capsule left open two centimetres. | Nothing left to do.
The patella was left unresurfaced. | A stump of 3 mm left. | Remnant left 2 mm. | The portals were left unsutured.
"""
OUT_OF_THE_WAY = """
Left leg in the other boot. | Left foot in the other boot with a little pull. | Left foot padded. | Left arm on a board.
Left lateral decubitus. | Left leg lies in the holder. | I stand on the left. | Monitor on the left.
Assistant on the left. | IV in the left hand. | Blood pressure cuff on the left arm. | Head turned to the left.
"""
OTHER_DAY = """
He had a left knee replacement in 2018. | The left knee had an arthroscopy in 2015. | The left one is planned for June.
The left knee was examined for comparison. | The left knee will follow in six weeks. | The left knee is fine.
"""


@pytest.mark.parametrize("remark", frames(LEFT_AS_VERB) + frames(OUT_OF_THE_WAY) + frames(OTHER_DAY))
def test_left_that_is_no_side_of_the_work(remark: str) -> None:
    facts = facts_of("Right knee arthroscopy. " + STORY.format(remark=remark))
    told = ("history", "finding", "position", "procedure")
    said = [one for one in silent(facts, "left") if one[0] not in told and one[1] != "inspection"]
    assert said == []
    assert [fact.laterality for fact in facts if fact.name == "meniscectomy"] in (["right"], [None])


@pytest.mark.parametrize("remark", frames(LEFT_AS_VERB))
def test_left_as_a_verb_takes_no_side_away(remark: str) -> None:
    facts = facts_of("Right knee arthroscopy. " + STORY.format(remark=remark))
    assert {fact.laterality for fact in facts if fact.name in ("meniscectomy", "triamcinolone")} == {"right", None}


SAID_APART = """
Left. | On the left. | Side left. | Laterality left. | Laterality: left. | We do the left one. | It is the left one.
We are doing the left one today. | I'm operating on the left one. | This is the left knee. | Side is left.
The operative side is the left. | Tourniquet on the left thigh. | Left knee marked.
"""


@pytest.mark.parametrize("remark", frames(SAID_APART))
def test_a_side_said_apart_from_the_operation(remark: str) -> None:
    facts = facts_of(f"Knee arthroscopy. {remark} Synovitis seen. Meniscectomy done.")
    assert {fact.laterality for fact in facts if fact.kind == "procedure"} == {"left"}


@pytest.mark.parametrize(
    "second",
    [
        "The other knee got twenty milligrams of Kenalog.", "The other side got twenty milligrams of Kenalog.",
        "Then the other knee with twenty milligrams of Kenalog.", "Contralateral: Kenalog twenty milligrams.",
        "Kenalog twenty milligrams into the other knee.",
    ],
)  # fmt: skip
def test_a_dose_of_the_other_side(second: str) -> None:
    facts = facts_of(f"Left knee injected with Kenalog forty milligrams. {second}")
    doses = {str(fact.value): fact for fact in facts if fact.kind == "medication_dose"}
    assert (doses["40"].laterality, doses["20"].laterality) == ("left", "right")
    assert doses["20"].doubts != ()


SHARED = {
    "Left hip and right knee arthroscopy.": {("hip-arthroscopy", "left"), ("knee-arthroscopy", "right")},
    "Left carpal tunnel and right cubital tunnel release.": {("carpal-tunnel-release", "left"),
                                                             ("cubital-tunnel-release", "right")},
    "L ring + R middle trigger finger release.": {("trigger-finger-release", "left"),
                                                  ("trigger-finger-release", "right")},
    "Left second and right third hammertoe correction.": {("hammertoe-correction", "left"),
                                                          ("hammertoe-correction", "right")},
    "Right L4 and left L5 nerve root block.": {("nerve-root-block", "right"), ("nerve-root-block", "left")},
    "Left shoulder and right elbow injection.": {("shoulder injection", "left"), ("elbow injection", "right")},
    "Injection left knee and right hip.": {("knee injection", "left"), ("hip injection", "right")},
    "Excision of lipoma left thigh and right forearm.": {("excision-of-lipoma", "left"),
                                                         ("excision-of-lipoma", "right")},
    "Arthroscopy of the left knee and right ankle fusion.": {("knee-arthroscopy", "left"), ("ankle-fusion", "right")},
    "Right iliac crest and left tibia bone grafting.": {("bone-grafting", "left")},
    "Right knee injection and left tennis elbow injection.": {("knee injection", "right"),
                                                              ("tennis elbow injection", "left")},
    "Injection of the right shoulder and aspiration of the left elbow bursa.": {
        ("Injection of the right shoulder", "right"), ("aspiration of the left elbow bursa", "left"),
    },
    "Left knee pain and right knee arthroscopy.": {("knee-arthroscopy", "right")},
    "Right knee, left knee and right shoulder injections.": {("knee injections", "right"), ("knee injections", "left"),
                                                             ("shoulder injections", "right")},
    "right knee left knee and right shoulder injections": {("knee injections", "right"), ("knee injections", "left"),
                                                           ("shoulder injections", "right")},
    "Injection of the left knee, right knee and right hip.": {("knee injection", "left"), ("knee injection", "right"),
                                                              ("hip injection", "right")},
    "okay both feet left a lapidus and the right a hammertoe correction": {("lapidus-procedure", "left"),
                                                                          ("hammertoe-correction", "right")},
}


@pytest.mark.parametrize("said", SHARED)
def test_two_parts_that_share_the_name_of_an_operation(said: str) -> None:
    facts = [fact for fact in facts_of(said) if fact.kind == "procedure"]
    assert {(fact.name or fact.text, fact.laterality) for fact in facts} == SHARED[said]


def test_a_shared_name_of_before_is_of_before() -> None:
    facts = facts_of("He had a left hip and right knee replacement in 2012. Right shoulder arthroscopy.")
    told = {(fact.name, fact.laterality, fact.status) for fact in facts if fact.kind == "procedure"}
    assert ("shoulder-arthroscopy", "right", "performed") in told
    assert {status for name, _, status in told if name != "shoulder-arthroscopy"} == {"historical"}


@pytest.mark.parametrize(
    ("story", "side"),
    [
        ("Left hip core decompression. Marrow from the right iliac crest. Right, spun to eight mL. Drain in.", "left"),
        ("Left knee arthroscopy. The right knee is fine. Right, a drain is placed.", "left"),
        ("Left knee arthroscopy and right ankle arthroscopy. Right, a drain is placed.", None),
    ],
)
def test_right_before_a_comma_where_both_sides_are_spoken_of(story: str, side: str | None) -> None:
    assert {fact.laterality for fact in facts_of(story) if fact.kind == "drain"} <= {side, None}


TURNED = {
    "Right shoulder replacement and left carpal tunnel injection. Before we woke him up, left carpal tunnel, "
    "triamcinolone twenty milligrams.": ("medication_dose", ["left"]),
    "Left mastoidectomy and right grommet. Left ear first. Right side. Ciprofloxacin four drops.": (
        "medication_dose", ["right"]),
    "Bilateral knee injections. Right knee: effusion, 12 mL off, then hyaluronate 6 mL. Left knee: hyaluronate 5 mL.": (
        "medication_volume", ["right", "left"]),
    "Bilateral knee injections. Left knee: hyaluronate 6 mL. 21G both.": ("device_size", ["bilateral"]),
    "Bilateral knee injections. Rest both knees 2 days.": ("aftercare", ["bilateral"]),
    "Op: L ureteroscopy, R stent removal. L: stone 7 mm, basketed. R: stent grasped. Stone sent.": (
        "specimen", ["left"]),
    "Bilateral hernia repair. Right: mesh 15 cm. Left: mesh 12 cm. Blood loss 10 mL. Drain none.": ("drain", [None]),
    "Bilateral foot surgery. Calf cuffs 220, L 64 min, R 18 min.": ("tourniquet_pressure", ["bilateral"]),
    "Bilateral knee arthroscopy. Tourniquet on both thighs at three hundred mmHg, left first, then the right.": (
        "tourniquet_pressure", ["bilateral"]),
    "R bunionectomy, L bunionectomy. Left: 5 cm incision. 4-0 nylon. Right: 3 cm incision. 5-0 nylon.": (
        "suture", ["left", "right"]),
    "R bunionectomy, L bunionectomy. Left: 5 cm incision. Right: 3 cm incision. 5-0 nylon.": ("suture", [None]),
    "R bunionectomy, L bunionectomy. 4-0 nylon both.": ("suture", ["bilateral"]),
    "R hip arthroscopy, BMAC. L iliac crest: 11G needle, 3 mL BMAC. Crest: 5 mL lidocaine 1%.": (
        "medication_volume", ["left"]),
    "Lt ureteroscopy. Cystoscopy normal, both orifices seen. Stone 9 mm lower pole. Rt kidney: 4 mm stone.": (
        "measurement", ["left", "right"]),
    "Lt ureteroscopy. Stone 9 mm lower pole. Rt kidney: 4 mm stone, left alone.": ("finding", ["left", "right"]),
    "Lt ureteroscopy. Cystoscopy: a 4 mm papilloma.": ("measurement", [None]),
    "Right ankle, open reduction and internal fixation of a trimalleolar fracture. Non weight bearing for six weeks.": (
        "aftercare", ["right"]),
    "Right carotid endarterectomy. 85% stenosis, TIA (left arm weakness).": ("measurement", ["right"]),
    "Right carotid endarterectomy. Bleeding from the left arm vein 3 mm.": ("measurement", ["left"]),
    "PRP left elbow and right hip. Right hip joint spinal needle then lidocaine five millilitres at the elbow": (
        "medication_volume", ["left"]),
    "bone marrow concentrate for the left elbow and the right hip.": ("procedure", ["left", "right"]),
    "PRP left elbow and right hip. Elbow in a sling for three days.": ("aftercare", ["left"]),
    "PRP left knee. Right knee cancelled today. Lidocaine 1% 1 mL.": ("medication_volume", ["left"]),
    "PRP left knee. Left knee done, no right knee.": ("finding", []),
    "Both knees PRP.": ("procedure", ["bilateral"]),
    "Fat graft for both knees. 40 mL of fat taken from both thighs.": ("fluid_out", ["bilateral"]),
    "Both knees injected, 20 mL of effusion drained from the right, none left.": ("fluid_out", ["right"]),
    "Left lower lobectomy. Intercostal block.": ("anaesthesia", ["left"]),
    "Left lower lobectomy. Interscalene block.": ("anaesthesia", [None]),
    "Phaco LE. Dexamethasone drops qds 4 weeks.": ("medication", ["left"]),
    "Phaco LE. Acetazolamide 250 mg tonight.": ("medication", [None]),
    "both shoulders today mister Ola Berg fifty interscalene block on the left left shoulder scope two anchors "
    "five millimetres deep then a suture": ("device_count", ["left"]),
    "bilateral knee arthroscopy for mister Ola Berg general on the left medial meniscus torn partial meniscectomy "
    "on the right lateral meniscus torn loose body out chondroplasty": ("procedure", ["bilateral", "left", "right"]),
    "bilateral knee arthroscopy general medial meniscus trimmed on the left lateral meniscus trimmed on the right "
    "loose body out chondroplasty": ("specimen", []),
    "Bilateral knee scopes tourniquets on both at two eighty on the left medial meniscus torn": (
        "tourniquet_pressure", ["bilateral"]),
    "Bilateral knee scopes. plica resected nylon tourniquet left twenty two minutes right thirty five full weight "
    "bearing both": ("aftercare", ["bilateral"]),
    "on the right plica resected nylon tourniquet left twenty two minutes right thirty five full weight bearing": (
        "tourniquet_time", ["left", "right"]),
    "Bilateral knee arthroscopy. Duplex at 1 wk both.": ("follow_up", ["bilateral"]),
    "Procedure: L L4/5 + L5/S1 facet injections, R SIJ injection.": ("procedure", ["left", "right"]),
    "PRP R LE (lateral epicondyle), HA L knee.": ("procedure", ["right", "left"]),
    "Right ORIF distal radius. Dorsal tilt from 20 to -5 degrees.": ("measurement", ["right", "right"]),
    "Left mastectomy and axillary clearance. Pectoral block 20 mL of ropivacaine. Right breast examined normal.": (
        "medication_volume", ["left"]),
    "R PCNL, L JJ stent change. R lower pole puncture, tract 24 Fr.": ("device_size", ["right"]),
    "Left hip replacement. 1 g of tranexamic acid in the joint.": ("medication_dose", ["left"]),
    "Right shoulder arthroscopy with marrow from the left iliac crest. Abduction sling six weeks.": (
        "aftercare", ["right"]),
    "R PCNL. Nephrostomy 14 Fr. Gentamicin 240 mg. Nephrostomy out day 2, stent out week 3.": (
        "follow_up", ["right", "right"]),
    "right shoulder stabilisation external rotation ninety on this side seventy on the left nylon sling four weeks": (
        "aftercare", [None]),
    "Both feet today. On the right it's the big toe fusion. Calf tourniquets, 220 mmHg.": (
        "tourniquet_pressure", [None]),
    "L selective neck dissection. Neck: incision 12 cm. Blake drain 15 Fr.": ("drain", ["left"]),
    "Wide excision of a tumour, left thigh. Incision 16 cm over the vastus lateralis.": ("incision_length", ["left"]),
    "R tympanoplasty. Keep ear dry 6 weeks.": ("aftercare", ["right"]),
    "L hip IA injection. 80 mg depo + 5 mL ropi 0.2%.": ("medication_dose", ["left"]),
    "R hip arthroscopy. R hip: traction 25 kg, 47 min.": ("measurement", ["right"]),
    "left lumpectomy and right core biopsy patent blue two millilitres under the left nipple then right three cores": (
        "medication_volume", ["left"]),
    "R: mastectomy, drain 10 Fr. L: wide local excision. No drain.": ("drain", ["right", "left"]),
    "Right VATS lobectomy. Left lung ventilated. Drain twenty eight French.": ("drain", ["right"]),
    "Ultrasound guided PRP left Achilles. Blood from right arm, thirty mils. Five mils into the midportion.": (
        "injection_volume", ["left"]),
    "Right knee injection and left tennis elbow injection. Right knee first, Kenalog 40 mg. Then the left tennis "
    "elbow, there she got 20 milligrams of triamcinolone.": ("medication_dose", ["right", "left"]),
    "Right eye phaco, left intravitreal injection. Right: incision 2.4 mm. Intracameral cefuroxime 1 mg. Left: "
    "aflibercept 2 mg.": ("medication_dose", ["right", "left"]),
    "Bilateral breast surgery. On to the left mastectomy. Specimen 480 g. Next the right lumpectomy. Specimen 40 g.": (
        "measurement", ["left", "right"]),
    "Now the left carpal tunnel. Incision 3 cm. Then the right trigger thumb. Incision 1 cm.": (
        "incision_length", ["left", "right"]),
    "Bilateral knee arthroscopy. Both thighs have tourniquets at three hundred.": (
        "tourniquet_pressure", ["bilateral"]),
    "Bilateral knee arthroscopy. Tourniquet 280 each side.": ("tourniquet_pressure", ["bilateral"]),
    "R: mastectomy. L: mastectomy, drain 10 Fr. Drain out when < 30 mL/24 h.": ("aftercare", ["left"]),
    "Left knee replacement. Tranexamic acid 1 g. Tranexamic acid 2 g into the joint.": (
        "medication_dose", [None, "left"]),
    "Right trabeculectomy. Subconjunctival cefuroxime 125 mg. Cefuroxime 1.5 g IV.": (
        "medication_dose", ["right", None]),
}


@pytest.mark.parametrize("said", TURNED)
def test_what_stands_under_a_turn_or_goes_into_a_part(said: str) -> None:
    kind, sides = TURNED[said]
    assert [fact.laterality for fact in facts_of(said) if fact.kind == kind] == sides


CAME_THROUGH = """
Coronary angiogram through the right radial. | Coronary angiography via the left femoral.
Cerebral angiogram from the right groin. | Coronary angiogram. Right radial access, 6 French sheath.
"""


@pytest.mark.parametrize("said", frames(CAME_THROUGH))
def test_the_vessel_that_one_came_through_is_no_side_of_the_work(said: str) -> None:
    assert {fact.laterality for fact in facts_of(said) if fact.kind == "procedure"} == {None}


@pytest.mark.parametrize(
    "told", ["done right only, left abandoned", "only the right was done", "converted to right only"]
)
def test_one_of_two_sides_left_out_is_doubted(told: str) -> None:
    facts = facts_of(f"Bilateral facet joint injection, {told}.")
    assert all(fact.doubts for fact in facts if fact.kind == "procedure" and fact.laterality == "bilateral")


TURNS = """
Turning to the left. | Moving to the left. | Moving over to the left. | On to the left. | Over to the left now.
Switching to the left side. | We move to the left. | We go to the left side. | I then turned to the left.
Then to the left. | Then the left. | Now the left side. | Left next. | And the left.
Left knee. | The other knee. | Left: | On the left:
"""
DIRECTIONS = "The head is turned to the left. | Table tilted to the left. | The light moved to the left of the screen."


@pytest.mark.parametrize("turn", frames(TURNS))
def test_a_turn_to_the_other_side(turn: str) -> None:
    facts = facts_of(
        f"Bilateral knee arthroscopy. Right first. Incision ten centimetres. Tourniquet twenty minutes. {turn} "
        "Incision eleven centimetres. Screw of thirty millimetres. Tourniquet forty minutes."
    )
    told = {(fact.kind, str(fact.value)): fact.laterality for fact in facts if fact.value is not None}
    assert told == {
        ("incision_length", "10"): "right", ("tourniquet_time", "20"): "right", ("incision_length", "11"): "left",
        ("device_size", "30"): "left", ("tourniquet_time", "40"): "left",
    }  # fmt: skip


@pytest.mark.parametrize("remark", frames(DIRECTIONS))
def test_a_direction_turns_to_no_side(remark: str) -> None:
    facts = facts_of(f"Right knee arthroscopy. {remark} Incision ten centimetres. Tourniquet twenty minutes.")
    assert silent(facts, "left") == []


IN_A_STREAM = """
moving to the left | turning to the left | on to the left | over to the left now | switching to the left side
then the left knee | now the left | left next
"""


@pytest.mark.parametrize("turn", frames(IN_A_STREAM))
def test_a_turn_in_speech_without_marks(turn: str) -> None:
    facts = facts_of(
        "bilateral knee arthroscopy right first tourniquet twenty minutes adhesions were divided a screw of eleven "
        f"millimetres {turn} tourniquet forty minutes adhesions were divided a screw of thirty mm counts correct"
    )
    told = {(str(fact.value), fact.laterality) for fact in facts if fact.value is not None and not fact.doubts}
    assert not told & {("20", "left"), ("11", "left"), ("40", "right"), ("30", "right")}
