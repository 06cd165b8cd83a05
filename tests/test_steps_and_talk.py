"""Tools of a step, packages, talk of what might come and words beside others: what long typed notes tell that is no
fact of its own. Narrations written by hand; common practice, no source."""

from __future__ import annotations

import pytest

from pipeline import grammar, run
from pipeline.records import Fact


def told(text: str) -> list[Fact]:
    return list(run.make_note(run.from_text(text), grammar.load()).facts)


@pytest.mark.parametrize(("text", "name", "roles"), [
    ("The fragment was temporarily fixed with two 1.6 mm K-wires. A 3.5 mm screw was placed.", "k-wire", {"used"}),
    ("Two 1.2 mm K-wires were then inserted as guides for the osteotomy.", "k-wire", {"used"}),
    ("Two 1.6 mm K-wires were driven across and cut below the skin as temporary fixation.", "k-wire", {"implanted"}),
    ("A 1.6 mm K-wire was placed. This was then exchanged for a 50 mm cannulated screw.", "k-wire", {"explanted"}),
    ("The fracture was held with 2 mm K-wires and exchanging these for two 40 mm cancellous screws.", "k-wire",
     {"explanted"}),
    ("Our trial components were put in, a 10 mm tibial tray and a 9 mm insert. The knee was stable.",
     "tibial-baseplate", {"trial"}),
    ("A Steinmann pin was placed across the spine to localize the level.", "steinmann-pin", {"used"}),
    ("Extruding cement was removed from the bone.", "bone-cement", set()),
    ("A trial tibial tray of 10 mm was stable. The definitive tibial tray, 10 mm, was cemented.", "tibial-baseplate",
     {"trial", "implanted"}),
])  # fmt: skip
def test_what_a_device_was_there_for(text: str, name: str, roles: set[str]) -> None:
    assert {fact.role for fact in told(text) if fact.kind == "device" and fact.name == name} == roles


def test_a_trial_that_comes_out_is_no_explantation() -> None:
    facts = told("Left total knee replacement. The trial femoral component was placed and the knee was stable. The "
                 "prosthesis was removed. The real components were cemented.")  # fmt: skip
    assert not [fact for fact in facts if fact.name == "explantation-of-the-prosthesis"]
    facts = told("Left total knee revision. The infected prosthesis was removed. A trial spacer was placed.")
    assert [fact for fact in facts if fact.name == "explantation-of-the-prosthesis"]


def test_an_anchor_placed_earlier_today_is_not_from_before() -> None:
    facts = told("A 3 mm anchor was placed in the footprint. The tendon was tied down to the previously placed anchor.")
    assert {fact.status for fact in facts if fact.name == "suture-anchor"} == {"performed"}
    facts = told("A previously placed plate was seen and left.")
    assert {fact.status for fact in facts if fact.name == "plate"} == {"historical"}


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("The tourniquet was released and the flap was pink.", "act", "release"),
    ("One stitch was placed to release the tension on the skin edge.", "act", "release"),
    ("The real cup was opened and impacted.", "act", "opening"),
    ("His ankle was pinned under the horse.", "act", "internal-fixation"),
    ("The film revealed distraction of the fragments.", "act", "distraction"),
    ("Distraction pins were placed in C5 and C6.", "device", "pin"),
    ("The block was held with spring pins.", "device", "pin"),
    ("The nerve was watched with free-running EMG.", "closure", "running-suture"),
    ("A well padded splint was applied.", "position", "pressure-points-padded"),
    ("The swelling was two and a half times its normal size.", "finding", "normal"),
    ("There was no undue tissue tension.", "finding", "tension-free"),
    ("The wound was inspected for any bleeding points and gapping.", "finding", "gapping"),
    ("A marrow harvest was done. The pain began below the iliac crest.", "harvest_site", "iliac-crest"),
    ("Postoperative x-ray showed a good position of the plate.", "aftercare", "control-x-ray"),
    ("A two-level 60 mm plate was used.", "device_count", "plate"),
    ("The patient will go to the ward or the ICU as indicated.", "indication", None),
    ("The referring doctor called about the fracture and suggested surgery.", "warning_sign", None),
    ("Distraction was released and the frame was taken off.", "act", "release"),
    ("The arteriotomy was lengthened with scissors.", "act", "tendon-lengthening"),
    ("Lidocaine was given during advancement of the Tuohy needle.", "act", "flap-transfer"),
    ("Tenotomy and forceps dissection was carried out.", "act", "tenotomy"),
    ("The component had excellent fixation.", "act", "internal-fixation"),
    ("A drain was placed for postoperative drainage.", "act", "drainage"),
    ("A femoral stem guide was used to measure the neck cut.", "device", "femoral-stem"),
    ("A box chisel was used, keeping the awl in the lateral position.", "position", "lateral-decubitus"),
    ("The humerus could be subluxed enough to see the head.", "finding", "subluxation"),
    ("There is a high rate of avascular necrosis after this fracture.", "finding", "avascular-necrosis"),
    ("The repair presented significantly more challenges than usual.", "indication", None),
    ("The ureteral opening was seen on the right.", "act", "opening"),
    ("Two periapical x-rays were exposed and read.", "act", "exposure"),
    ("A 0 Vicryl fixation suture was put into place.", "act", "internal-fixation"),
    ("The sheath was flushed and the catheter was passed.", "irrigation", "irrigation"),
    ("A screw type speculum was inserted.", "device", "screw"),
    ("The opening reamer was used over the wire.", "act", "opening"),
    ("The bone was morcellized and placed on the back table.", "position", "supine"),
    ("A T2 tibial nail was passed.", "spinal_level", None),
    ("He was refractory to outpatient therapy.", "disposition", "day-case"),
    ("Screws were placed in the lateral masses.", "finding", "mass"),
    ("Lidocaine was given to augment local anesthesia.", "device", "metal-augment"),
    ("The foot was brought down using bandage scissors.", "dressing", "adhesive-plaster"),
    ("Drill holes for pegs were made in the femur.", "device", "locking-peg"),
    ("Complications none. A fracture haematoma was seen at the joint.", "finding", "haematoma"),
])  # fmt: skip
def test_words_that_tell_no_such_thing(text: str, kind: str, name: str | None) -> None:
    assert not [fact for fact in told(text) if fact.kind == kind and name in (None, fact.name)]


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("The carpal ligament was released.", "act", "release"),
    ("The fascia was opened.", "act", "opening"),
    ("The fragment was pinned to the shaft with a 2 mm wire.", "act", "internal-fixation"),
    ("All pressure points were well padded.", "position", "pressure-points-padded"),
    ("The skin was closed with a running suture.", "closure", "running-suture"),
    ("The skin was closed with surgical clips.", "closure", "staples"),
    ("Steel clips were used to approximate the skin.", "closure", "staples"),
    ("Two plates were used.", "device_count", "plate"),
    ("The Achilles tendon was lengthened.", "act", "tendon-lengthening"),
    ("The patella was subluxed laterally.", "finding", "subluxation"),
    ("The femoral stem, 12 mm, was impacted.", "device", "femoral-stem"),
    ("Fixation of the fragment was done with two screws.", "act", "internal-fixation"),
    ("The abscess was treated by drainage of twenty millilitres.", "act", "drainage"),
    ("Bone graft was harvested from the left iliac crest.", "harvest_site", "iliac-crest"),
])  # fmt: skip
def test_the_same_words_where_they_tell_it(text: str, kind: str, name: str) -> None:
    assert [fact for fact in told(text) if fact.kind == kind and fact.name == name]


@pytest.mark.parametrize(("text", "length"), [
    ("An incision was made over the lateral malleolus approximately 7 cm long.", "7"),
    ("An incision was created over this area about 5 cm in length.", "5"),
    ("Incision along the border of the muscle at the marker, measuring 4 cm in length.", "4"),
])  # fmt: skip
def test_the_length_of_an_incision_over_the_place(text: str, length: str) -> None:
    assert [str(fact.value) for fact in told(text) if fact.kind == "incision_length"] == [length]


def test_the_length_of_what_was_found_under_the_incision() -> None:
    facts = told("An incision was made and the tear was found to be 2 cm long.")
    assert not [fact for fact in facts if fact.kind == "incision_length"]


def test_a_share_of_a_risk_is_no_size() -> None:
    facts = told("The chance of arthritis is nearly 100 % particularly because of the comminution.")
    assert not [fact for fact in facts if fact.kind == "measurement" and fact.text == "comminution"]


def test_what_was_tried_before_was_not_done_today() -> None:
    for text in ("The patient has failed epidural steroid injections.",
                 "She has tried physiotherapy and epidural steroid injections."):  # fmt: skip
        done = [fact for fact in told(text) if fact.name == "epidural-steroid-injection"]
        assert {fact.status for fact in done} == {"historical"}


def test_a_template_with_an_if_tells_of_nothing_that_was_done() -> None:
    facts = told("If cement was used, the canal was dried and the cement was injected.")
    assert not [fact for fact in facts if fact.status == "performed"]


def test_failed_before_a_thing_denies_nothing() -> None:
    facts = told("There was a fracture of the mandible beside a failed dental implant.")
    assert not [fact for fact in facts if fact.certainty == "negated"]
    facts = told("Closed reduction was attempted and failed.")
    assert [fact for fact in facts if fact.certainty == "negated" or fact.doubts]


def test_a_name_with_both_in_it_is_no_side() -> None:
    facts = told("Preoperative diagnosis: left distal both-bone forearm fracture.")
    assert {fact.laterality for fact in facts if fact.kind == "preop_diagnosis"} == {"left"}


def test_two_names_that_share_their_noun() -> None:
    facts = told("Procedure: right knee arthroscopy, partial medial and lateral meniscectomy.")
    named = {fact.name: fact.laterality for fact in facts if fact.kind == "procedure"}
    assert named["medial-meniscectomy"] == named["lateral-meniscectomy"] == "right"
    facts = told("No medial or lateral meniscal tear was seen.")
    assert {(fact.name, fact.certainty) for fact in facts if fact.kind == "finding"} == {
        ("medial-meniscal-tear", "negated"), ("lateral-meniscal-tear", "negated")
    }  # fmt: skip


def test_a_volume_behind_the_ratio_of_adrenaline_is_of_the_solution() -> None:
    facts = told("Xylocaine 1%, 1:100,000 epinephrine 7 ml was infiltrated into the mucosa.")
    assert [(fact.name, str(fact.value)) for fact in facts if fact.kind == "medication_volume"] == [("lidocaine", "7")]


def test_a_tourniquet_that_is_inflated_later_was_used() -> None:
    facts = told("A tourniquet was placed on the left thigh, but not inflated. The leg was prepped. The tourniquet was "
                 "then inflated to 300 mmHg.")  # fmt: skip
    assert {(fact.certainty, fact.laterality) for fact in facts if fact.kind == "tourniquet"} == {("affirmed", "left")}
    facts = told("A tourniquet was placed on the thigh but never inflated.")
    assert {fact.certainty for fact in facts if fact.kind == "tourniquet"} == {"negated"}


def test_where_a_drain_leaves_the_wound() -> None:
    facts = told("A drain was placed in the wound and the drain was pulled out superiorly.")
    assert not any(fact.doubts for fact in facts if fact.kind == "drain")
    facts = told("A drain was placed. The drain was pulled out.")
    assert any(fact.doubts for fact in facts if fact.kind == "drain")


def test_no_leak_from_an_anastomosis_denies_no_anastomosis() -> None:
    facts = told("An anastomosis was made. There was no evidence of a leak from the new anastomosis.")
    assert {fact.certainty for fact in facts if fact.name == "anastomosis"} == {"affirmed"}


def test_what_came_back_as_possible_is_not_sure() -> None:
    facts = told("The frozen section returned as possible purulent material.")
    assert {fact.certainty for fact in facts if fact.name == "purulence"} == {"suspected"}


def test_a_pacemaker_that_was_turned_off_was_there_before() -> None:
    facts = told("Right shoulder repair. The patient had his pacemaker function turned off.")
    assert {(fact.status, fact.laterality) for fact in facts if fact.name == "pacemaker"} == {("historical", None)}


def test_a_side_behind_with_is_of_what_it_brought_about() -> None:
    facts = told("Preoperative diagnosis: C5-C6 disc herniation with right arm radiculopathy.")
    sides = {fact.name: fact.laterality for fact in facts if fact.kind == "preop_diagnosis"}
    assert sides == {"herniated-disc": None, "radiculopathy": "right"}


def test_an_angle_before_and_is_not_of_the_measure_behind_it() -> None:
    facts = told("Stability was verified at 0 degrees and flexion of 120 degrees.")
    assert [str(fact.value) for fact in facts if fact.name == "flexion"] == ["120"]


def test_an_amount_given_behind_a_history_is_of_today() -> None:
    facts = told("The patient has a history of keloid formation and approximately 1 mL of 40 mg per mL Kenalog was "
                 "injected into the scar.")  # fmt: skip
    assert {fact.status for fact in facts if fact.name == "triamcinolone"} == {"performed"}
    facts = told("History of stroke and three stents were placed in 2015.")
    assert {fact.status for fact in facts if fact.name == "stent"} == {"historical"}


def test_what_was_cleared_of_blood_was_irrigated_too() -> None:
    facts = told("The gutters were suctioned free of blood and clots and irrigated.")
    assert {fact.certainty for fact in facts if fact.kind == "irrigation"} == {"affirmed"}


def test_except_blood_loss_is_no_loss_of_none() -> None:
    assert not [fact for fact in told("There were no complications except blood loss.") if fact.kind == "blood_loss"]
    facts = told("There was no blood loss.")
    assert [fact.text for fact in facts if fact.kind == "blood_loss"] == ["none"]


def test_a_stage_of_an_operation_is_no_skin_type() -> None:
    assert not [fact for fact in told("She had a modified stage I Norwood procedure.") if fact.kind == "grade"]


def test_carbon_dioxide_with_a_zero_is_no_vertebra() -> None:
    facts = told("Pneumoperitoneum was obtained using C02.")
    assert not [fact for fact in facts if fact.kind == "spinal_level"]


def test_what_cannot_be_told_apart_is_suspected() -> None:
    facts = told("He had villous changes, impossible to tell from frank tumor.")
    assert {fact.certainty for fact in facts if fact.name == "tumour"} == {"suspected"}
    facts = told("Pathology was asked to evaluate the mass for potential malignancy.")
    assert not [fact for fact in facts if fact.name == "malignancy"]


def test_what_a_look_before_showed_is_not_planned() -> None:
    facts = told("Indication: The cystoscopy showed a bladder stone.")
    assert {fact.status for fact in facts if fact.name == "cystoscopy"} == {"historical"}


def test_we_bring_him_back_is_no_warning() -> None:
    facts = told("We will probably bring him back for a second stage lithotripsy.")
    assert not [fact for fact in facts if fact.kind == "warning_sign"]


def test_a_length_behind_a_height_has_a_word_of_its_own() -> None:
    facts = told("A 10 mm height by 26 mm length spacer was chosen.")
    assert [str(fact.value) for fact in facts if fact.name == "height"] == ["10"]


def test_all_of_a_mixture_is_no_amount_of_its_first_part() -> None:
    facts = told("A block was given using 10 mL of 4.5 mL of 1% lidocaine, 4.5 mL of 0.5% Marcaine and 1 mL of "
                 "Solu-Medrol.")  # fmt: skip
    volumes = [str(fact.value) for fact in facts if fact.kind == "medication_volume" and fact.name == "lidocaine"]
    assert volumes == ["4.5"]


def test_what_is_named_before_a_comma_was_not_removed() -> None:
    facts = told("Upon insertion of the screws, the two wires were removed.")
    assert {fact.role for fact in facts if fact.name == "screw"} == {"implanted"}
    facts = told("Two screws from the transfer, 4.5 by 45 mm, were removed.")
    assert {fact.role for fact in facts if fact.name == "screw"} == {"explanted"}


@pytest.mark.parametrize(("text", "severity"), [
    ("Closed reduction of a left distal radius fracture. A splint was applied.", "note"),
    ("Open reduction and internal fixation of a left distal radius fracture. A splint was applied.", "blocking"),
])  # fmt: skip
def test_a_fracture_that_a_splint_holds_needs_no_plate(text: str, severity: str) -> None:
    note = run.make_note(run.from_text(text), grammar.load())
    assert [one.severity for one in note.findings if "fixation (usual" in one.message] == [severity]
