"""Sides, states and places that long typed notes tell of something near by, read line by line. The sentences are of our
own making; common practice, no source."""

from __future__ import annotations

import pytest

from pipeline import grammar, run
from pipeline.records import Fact


def told(text: str) -> list[Fact]:
    return list(run.make_note(run.from_text(text), grammar.load()).facts)


def standing(text: str, kind: str, name: str | None = None) -> list[Fact]:
    return [fact for fact in told(text) if fact.kind == kind and name in (None, fact.name)
            and fact.status == "performed" and fact.certainty == "affirmed" and not fact.doubts]  # fmt: skip


@pytest.mark.parametrize("text", [
    "No evident urine extravasation was seen.", "There was no obvious urine extravasation.",
    "There was no urine leak and no dye extravasation.",
])  # fmt: skip
def test_what_it_would_have_been_of_ends_no_denial(text: str) -> None:
    assert {fact.certainty for fact in told(text) if fact.name == "fluid-extravasation"} == {"negated"}


def test_a_right_angled_tube_has_no_side() -> None:
    facts = told("A 28 French right angled chest tube was laid at the base and a straight 24 French one behind it.")
    assert {fact.laterality for fact in facts if fact.kind in ("drain", "drain_size")} == {None}
    sizes = {str(fact.value): fact.laterality for fact in told("Drain fourteen French left, twelve French right.")
             if fact.kind == "drain_size"}  # fmt: skip
    assert sizes == {"14": "left", "12": "right"}


@pytest.mark.parametrize(("text", "side"), [
    ("Bupivacaine 0.5 % was injected into both thighs and the left calf for a total of 20 mL.", None),
    ("Lidocaine 1 % was injected into the upper lip bilaterally and into the left cheek for a total of 9 mL.", None),
    ("Left knee injection. The left knee was injected with a total of 6 mL.", "left"),
])  # fmt: skip
def test_a_total_of_more_than_one_side_has_none(text: str, side: str | None) -> None:
    assert [fact.laterality for fact in told(text) if fact.kind == "injection_total"] == [side]


def test_a_thing_told_anew_lends_its_side_to_none_before_it() -> None:
    facts = told("There was a 4 cm aortic aneurysm and a 2 cm left common iliac aneurysm.")
    sides = {fact.name: fact.laterality for fact in facts if fact.kind in ("finding", "diagnosis")}
    assert sides == {"aortic-aneurysm": None, "iliac-aneurysm": "left"}
    facts = told("A 2 cm bladder tumour + 1 cm right ureteric stone.")
    assert {fact.laterality for fact in facts if fact.name == "bladder-tumour"} == {None}


@pytest.mark.parametrize(("text", "joint"), [
    ("An incision was made over the MPJ crease of the left thumb.", "mcp-joint"),
    ("Bunionectomy of the right foot. The MP joint was opened.", "mtp-joint"),
    ("The MP joint was opened beside the ring finger.", "mcp-joint"),
])  # fmt: skip
def test_the_knuckle_of_a_hand_or_of_a_foot(text: str, joint: str) -> None:
    assert joint in {fact.body_site for fact in told(text)}
    assert not {"mcp-joint", "mtp-joint"} - {joint} & {fact.body_site for fact in told(text)}


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("The femoral trial was set in slight lateral position.", "position", "lateral-decubitus"),
    ("A clear plastic boot was slid over the connector.", "dressing", "boot"),
    ("The pocket was packed with an antibiotic soaked sponge.", "prophylaxis", "antibiotic"),
    ("An antibiotic dressing was put on.", "prophylaxis", "antibiotic"),
    ("The drain was led out through a separate stab wound.", "diagnosis", "stab-wound-injury"),
    ("The tube was placed low to give adequate drainage.", "act", "drainage"),
    ("Findings: were explained to the father.", "finding", None),
    ("The tabs of the screws were fractured off.", "diagnosis", "fracture"),
    ("The patient was discharged to the recovery unit.", "disposition", "home"),
    ("He went back to the floor to begin his recovery.", "disposition", "recovery"),
    ("The old dressing was removed, showing a wound of 3 cm.", "dressing", "sterile-dressing"),
    ("The cup did not appear to have adequate cement fixation.", "act", "internal-fixation"),
    ("The retractor rests in its holder.", "aftercare", "rest"),
    ("Preoperative diagnosis: impending compartment syndrome of the left forearm.", "preop_diagnosis", None),
    ("The case was turned over to Dr. Lund for a skin graft.", "procedure", "skin-graft"),
    ("Dr. Ito will dictate the pedicle screw fixation.", "device", "pedicle-screw"),
    ("A provisional plate was applied to the shaft.", "device_size", "plate"),
    ("A series of spacers was tried and an 8 mm cage was put in first.", "device_size", "interbody-cage"),
])  # fmt: skip
def test_words_that_tell_no_such_thing(text: str, kind: str, name: str | None) -> None:
    assert standing(text, kind, name) == []


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("The patient was turned to the lateral position.", "position", "lateral-decubitus"),
    ("A walking boot was put on.", "dressing", "boot"),
    ("He was discharged home.", "disposition", "home"),
    ("Taken to her recovery room.", "disposition", "recovery"),
    ("The previous midline incision was extended upwards.", "approach", "midline-incision"),
    ("Through the old incision the hip was exposed.", "approach", "incision"),
    ("The tendon was tagged with a number 2 Ethibond for later.", "suture", "polyester"),
    ("The 50 mm screw was thrown across the base.", "device_size", "screw"),
    ("The tourniquet was then inflated to 260 mmHg.", "tourniquet_pressure", None),
])  # fmt: skip
def test_what_they_tell(text: str, kind: str, name: str | None) -> None:
    assert standing(text, kind, name)


@pytest.mark.parametrize(("text", "layers"), [
    ("Fascia and skin were closed with 3-0 Vicryl and 4-0 Monocryl respectively.",
     {"3-0": "fascia", "4-0": "skin"}),
    ("The first layer was 2-0 Vicryl subcutaneous tissue and then a 4-0 Monocryl subcuticular stitch.",
     {"2-0": "subcutaneous-tissue", "4-0": None}),
])  # fmt: skip
def test_the_layers_of_two_threads(text: str, layers: dict[str, str | None]) -> None:
    assert {fact.text: fact.body_site for fact in told(text) if fact.kind == "suture"} == layers


def test_a_part_told_later_is_not_that_of_an_act_before() -> None:
    facts = told("The flap was then approximated. The skin was approximated with staples.")
    assert [fact.body_site for fact in facts if fact.name == "approximation"] == [None, "skin"]
    facts = told("The deep tissue was closed with 3-0 Vicryl. The peroneal tendon was tied down with Vicryl.")
    assert {fact.text: fact.body_site for fact in facts if fact.kind == "suture"}["3-0"] is None


def test_provisional_plates_and_screws_stay_tools() -> None:
    facts = told("A provisional plate was applied. The provisional screws and plate were removed.")
    assert {fact.role for fact in facts if fact.kind == "device"} == {"used"}


@pytest.mark.parametrize("text", [
    "tourniquet sixty minutes did i say sixty it was forty eight then we closed",
    "Tourniquet sixty minutes. Did I say sixty? It was forty eight.",
])
def test_said_again_without_its_unit(text: str) -> None:
    assert [(str(fact.value), fact.unit) for fact in told(text) if fact.kind == "tourniquet_time"] == [("48", "min")]


def test_the_absence_of_a_thing_and_another() -> None:
    facts = told("Absence of a plica and a loose body was noted.")
    assert {fact.name: fact.certainty for fact in facts if fact.kind == "finding"} == (
        {"plica": "negated", "loose-body": "negated"}
    )
    facts = told("There was a lack of motion and a drain was placed.")
    assert {fact.certainty for fact in facts if fact.kind == "drain"} == {"affirmed"}


def test_what_has_a_size_behind_another_denied_thing_is_there() -> None:
    facts = told("oesophagus normal no varices hiatal hernia of three centimetres in the duodenal bulb an ulcer")
    assert {fact.certainty for fact in facts if fact.name == "hiatal-hernia"} == {"affirmed"}
    facts = told("No hiatal hernia of more than three centimetres was seen.")
    assert {fact.certainty for fact in facts if fact.name == "hiatal-hernia"} == {"negated"}


def test_what_was_given_back_before_the_drains() -> None:
    facts = told("blood loss four hundred millilitres cell saver two hundred returned two drains no specimens")
    assert {fact.certainty for fact in facts if fact.kind == "drain"} == {"affirmed"}
    facts = told("We returned two drains unopened.")
    assert not [fact for fact in facts if fact.kind == "drain" and fact.certainty == "affirmed"]


def test_a_strength_right_behind_its_drug() -> None:
    facts = told("axillary block 20 ml ropivacaine 0.5% sedation propofol")
    assert {fact.name for fact in facts if fact.kind == "medication_concentration"} == {"ropivacaine"}


def test_the_second_size_of_a_stent_is_not_of_the_tube_behind_it() -> None:
    facts = told("stent 6 fr x 26 cm nephrostomy 16 fr left in place")
    sizes = {(fact.name, str(fact.value)) for fact in facts if fact.kind in ("device_size", "drain_size")}
    assert sizes == {("stent", "6"), ("stent", "26"), ("nephrostomy", "16")}


def test_a_time_out_is_of_today() -> None:
    facts = told("Time out at 09:10, right hip was replaced in May.")
    assert {fact.status for fact in facts if fact.kind == "clock_time"} == {"performed"}


@pytest.mark.parametrize("text", [
    "supportive bra 1 week paracetamol 650 mg no aspirin results in 5 days",
    "sling three weeks ibuprofen four hundred milligrams and paracetamol one gram",
])
def test_tablets_behind_what_is_worn_for_weeks_may_be_for_later(text: str) -> None:
    assert not standing(text, "medication_dose")


def test_the_left_one_later() -> None:
    text = "today the right hip the left later decompression of the right femoral head"
    facts = [fact for fact in told(text) if fact.kind == "act"]
    assert {fact.laterality for fact in facts} == {"right"}


@pytest.mark.parametrize(("text", "kind", "value", "unit"), [
    ("tourniquet off second time twenty four minutes one drain", "tourniquet_time", "24", "min"),
    ("the tourniquet has been on one hundred and eighteen minutes let it down", "tourniquet_time", "118", "min"),
    ("left knee tray size three ten insert too loose", "device_size", "10", None),
])  # fmt: skip
def test_numbers_that_stand_side_by_side(text: str, kind: str, value: str, unit: str | None) -> None:
    found = [fact for fact in told(text) if fact.kind == kind]
    assert [(str(fact.value), fact.unit, fact.status) for fact in found] == [(value, unit, "performed")]


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("burr five millimetres of bone off the acromion", "device_size", "burr"),
    ("held in extension with the fourteen trial", "measurement", "extension"),
    ("two oh vicryl clips blood loss one hundred", "device", "surgical-clip"),
    ("graft from the head underneath rotator interval closed", "harvest_site", None),
    ("stem ten in thirty degrees of retroversion", "measurement", "10"),
])  # fmt: skip
def test_numbers_and_words_of_something_else_in_a_stream(text: str, kind: str, name: str | None) -> None:
    assert not [fact for fact in told(text) if fact.kind == kind and name in (None, fact.name, str(fact.value))]


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("shaver please i debride the labrum", "act", "debridement"),
    ("eight weeks of pain the brace did not help prone on rolls", "position", "prone"),
    ("prone light sedation with midazolam one milligram", "anaesthesia", "sedation"),
    ("bier block and a little sedation arm table", "anaesthesia", "sedation"),
    ("number one pds two oh vicryl clips dressing", "closure", "staples"),
])  # fmt: skip
def test_what_a_stream_tells_as_done(text: str, kind: str, name: str) -> None:
    assert standing(text, kind, name)


def test_all_of_a_mixture_and_its_parts() -> None:
    facts = told("ten mils that was four and a half of one percent lidocaine four and a half of half percent marcaine "
                 "and one of kenalog")  # fmt: skip
    amounts = [(fact.name, str(fact.value)) for fact in facts if fact.kind in ("medication_volume", "medication_dose")]
    assert amounts == [("lidocaine", "4.5"), ("bupivacaine", "4.5"), ("triamcinolone", "1")]
    assert not [fact for fact in facts if fact.kind == "medication_concentration" and fact.doubts]


def test_a_fixation_told_behind_a_removal_is_of_today() -> None:
    facts = told("TITLE OF OPERATION: 1. Removal of hardware, right ankle. 2. Revision fixation with a plate and "
                 "screws, right ankle.")  # fmt: skip
    assert {fact.role for fact in facts if fact.kind == "device"} == {"implanted"}
    facts = told("Removal of hardware, right ankle. Plate and six screws out.")
    assert {fact.role for fact in facts if fact.kind == "device"} == {"explanted"}


@pytest.mark.parametrize(("text", "name", "roles"), [
    ("The tray was inserted with cement, tapped into place, excess methylmethacrylate was removed.", "bone-cement",
     {"implanted"}),
    ("The bone ends were drilled with the use of a 1.2 mm Kirschner wire to induce bleeding.", "k-wire", {"used"}),
    ("The plate was held while a temporary fixation screw was applied at C5.", "screw", {"used"}),
    ("A temporary pacing wire was placed.", "pacing-wire", {"implanted"}),
    ("Postoperative x-ray showed good alignment of the prosthesis.", "prosthesis", {"implanted"}),
])  # fmt: skip
def test_what_the_devices_of_typed_notes_were_there_for(text: str, name: str, roles: set[str]) -> None:
    facts = [fact for fact in told(text) if fact.kind == "device" and fact.name == name]
    assert {fact.role for fact in facts} <= roles
    assert {fact.status for fact in facts} <= {"performed"}


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("A hook was passed to see that there were no extruded disc fragments.", "finding", "fragment"),
    ("Implants: Palacos cement with antibiotics.", "prophylaxis", "antibiotic"),
    ("Iodine-soaked gauze was laid on the wound.", "preparation", "povidone-iodine"),
    ("The skin was closed with a modified Kessler type stitch.", "act", "tendon-repair"),
    ("The corkscrew was impacted into the head.", "act", "implantation"),
    ("The stem was pushed home.", "disposition", "home"),
    ("Left iliac crest graft. The fluid administered 400 cc.", "draw", None),
])  # fmt: skip
def test_further_words_that_tell_no_such_thing(text: str, kind: str, name: str | None) -> None:
    assert standing(text, kind, name) == []


@pytest.mark.parametrize("text", [
    "A linear incision over the second metatarsal was then created approximately 3 cm in length.",
    "An incision was made over the toe with a number 10 blade approximately 3 cm in length.",
])
def test_the_length_of_an_incision_behind_its_place_or_its_blade(text: str) -> None:
    assert [str(fact.value) for fact in told(text) if fact.kind == "incision_length"] == ["3"]


def test_what_lies_between_vertebrae_has_no_side_of_a_foramen() -> None:
    facts = told("c five six and c six seven now right foramen was fine cages seven millimetres at five six plate "
                 "thirty eight redivac ten")  # fmt: skip
    assert {fact.laterality for fact in facts if fact.kind in ("device", "device_size", "drain")} == {None}
    facts = told("L4-L5 fusion. Right: a 45 mm pedicle screw.")
    assert "right" in {fact.laterality for fact in facts if fact.kind == "device"}


@pytest.mark.parametrize(("text", "sizes"), [
    ("no drain number one vicryl two oh staples", ["1", "2-0"]),
    ("gluteus fascia number one vicryl two oh vicryl clips", ["1", "2-0"]),
])
def test_a_thread_with_its_number_before_another_size(text: str, sizes: list[str]) -> None:
    assert [fact.text for fact in told(text) if fact.kind == "suture"] == sizes


def test_a_size_and_degrees_side_by_side() -> None:
    facts = told("left knee block size four three degrees outward")
    assert not [fact for fact in facts if str(fact.value) == "43"]
    facts = told("left knee now twelve both patella twenty one millimetres")
    assert "bilateral" not in {fact.laterality for fact in facts}


def test_what_has_a_point_counts_nothing_and_both_sides_count_no_pins() -> None:
    facts = told("five screws three point oh cannulated and one solid three point oh k wires out")
    assert "3.0" not in {str(fact.value) for fact in facts if fact.kind == "device_count"}
    facts = told("longus colli up on both sides pins in five and seven")
    assert not [fact for fact in facts if fact.kind == "device_count"]


@pytest.mark.parametrize(("text", "name"), [
    ("There was a 5 cm open wound of the left fourth ray amputation.", "ray-amputation"),
    ("The stump of the right below knee amputation was opened.", "below-knee-amputation"),
])  # fmt: skip
def test_the_wound_of_an_operation_of_before(text: str, name: str) -> None:
    assert {fact.status for fact in told(text) if fact.name == name} == {"historical"}


def test_the_wound_of_the_operation_of_today() -> None:
    facts = told("Left fourth ray amputation. The wound of the ray amputation was left open.")
    assert [fact.status for fact in facts if fact.name == "ray-amputation"] == ["performed"]


def test_what_was_left_of_an_injection_is_not_what_went_in() -> None:
    assert not standing("all but the last two mils of prp went in", "injection_volume")
    assert standing("all of the prp went in, four mils", "injection_volume")
