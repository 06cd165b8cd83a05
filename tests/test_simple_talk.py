"""The plainest ways of saying what the tool is for. Narrations invented; the truth was written by reading them."""

from __future__ import annotations

import pytest

from pipeline import run

HEAD = "Bone marrow aspiration from the left iliac crest. "
DRAWS = HEAD + "First draw 5 mL, second 5 mL, third 4 mL, fourth 5 mL. "

# what names a volume as that of the whole harvest
WHOLES = (
    "Total harvest volume {} mL.", "Harvest volume {} mL.", "Aspirate volume {} mL.", "Total volume of marrow {} mL.",
    "Volume harvested: {} mL.", "The volume of marrow drawn was {} mL.", "The harvest came to {} mL.",
    "Total bone marrow volume {} mL.", "Total amount of aspirate: {} mL.",
)  # fmt: skip


@pytest.mark.parametrize("said", WHOLES)
def test_volume_of_the_harvest_is_its_total(said: str) -> None:
    right, wrong = (run.note_from_text(DRAWS + said.format(total), "case") for total in (19, 20))
    assert [str(fact.value) for fact in right.of("harvest_total")] == ["19"]
    assert len(right.of("draw")) == 4
    assert not [one for one in right.findings if one.check == "draw_total"]
    assert [one.check for one in wrong.findings if one.check == "draw_total"]


def test_total_with_the_agent_is_no_other_total() -> None:
    note = run.note_from_text(
        "Bone marrow aspirate 20 mL drawn from the left iliac crest with 2 mL heparin. Total volume of aspirate 22 mL.",
        "case",
    )
    assert not [one for one in note.findings if one.check == "draw_total"]


KNEE = "Right knee marrow concentrate. "
# (narration, volumes that were injected with their sides, their total or None)
INJECTED = (
    ("Left knee BMAC. Of the concentrate two mils went subchondrally and six into the joint.", "2L 6L", None),
    (KNEE + "Three mils into the tibial plateau, three into the femoral condyle and four intra-articular.", "3R 3R 4R",
     None),
    (KNEE + "Two mils subchondral medial plateau, two mils subchondral condyle, the rest, four mils, intra-articular.",
     "2R 2R 4R", None),
    (KNEE + "The syringe held ten mils; five were injected into the lateral condyle and five into the joint.", "5R 5R",
     None),
    (KNEE + "Total injected ten mils: four subchondral, six intra-articular.", "4R 6R", "10"),
    (KNEE + "Injected 4 + 6 = 10 mL.", "4R 6R", "10"),
    ("Both knees marrow concentrate. Left knee six mils, right knee four mils.", "6L 4R", None),
    ("Right knee. PRP four mils intra-articular.", "4R", None),
)


@pytest.mark.parametrize(("said", "volumes", "total"), INJECTED)
def test_where_the_product_went(said: str, volumes: str, total: str | None) -> None:
    note = run.note_from_text(said, "case")
    found = [f"{fact.value}{(fact.laterality or '?')[0].upper()}" for fact in note.of("injection_volume")]
    assert found == volumes.split()
    assert [str(fact.value) for fact in note.of("injection_total")] == ([total] if total else [])
    loud = [one.check for one in note.findings if one.severity == "warning" and one.check in _AMOUNTS]
    assert not loud


_AMOUNTS = ("injection_total", "prepared_not_given", "harvest_balance")


def test_each_knee() -> None:
    note = run.note_from_text("Both knees marrow concentrate. Five mils into each knee.", "case")
    (fact,) = note.of("injection_volume")
    assert (str(fact.value), fact.unit, fact.scale) == ("5", "mL", "each")


# a tear by its structure, and what tells of none; (narration, name, certainty)
TEARS = (
    ("Root tear of the lateral meniscus.", "lateral-meniscal-tear", "affirmed"),
    ("Right knee arthroscopy. Medial meniscus posterior horn tear.", "medial-meniscal-tear", "affirmed"),
    ("Right knee arthroscopy. A tear of the anterior horn.", "meniscal-tear", "affirmed"),
    ("Suspected posterior horn tear was not seen.", "meniscal-tear", "negated"),
    ("right knee arthroscopy synovitis throughout acl intact posterior horn tear of the medial meniscus trimmed",
     "medial-meniscal-tear", "affirmed"),
    ("Left elbow. A tear of the common extensor origin was found.", "tear", "affirmed"),
    ("Left ankle arthroscopy. Tear of the ATFL.", "tear", "affirmed"),
)


@pytest.mark.parametrize(("said", "name", "certainty"), TEARS)
def test_tears(said: str, name: str, certainty: str) -> None:
    note = run.note_from_text(said, "case")
    found = [(fact.name, fact.certainty) for fact in note.of("finding") if "tear" in str(fact.name)]
    assert found == [(name, certainty)]


def test_a_tear_meant_again_is_no_other_tear() -> None:
    note = run.note_from_text(
        "Right knee arthroscopy. There was a tear of the posterior horn of the medial meniscus. The tear was trimmed. "
        "The tear edges were stable.", "case",
    )  # fmt: skip
    assert [fact.name for fact in note.of("finding") if "tear" in str(fact.name)] == ["medial-meniscal-tear"]


# what stands before a call or an "if" that has its own reason does not hang on it; (narration, kind)
ORDERED = (
    ("Follow up in two weeks for suture removal, come back at once for fever or calf pain.", "follow_up"),
    ("Follow up in two weeks, sooner if fever.", "follow_up"),
    ("Review at six weeks with x-rays, earlier if there is any concern.", "follow_up"),
    ("Sutures out at ten days, return to the emergency department for increasing pain.", "aftercare"),
)


@pytest.mark.parametrize(("said", "kind"), ORDERED)
def test_ordered_whatever_comes(said: str, kind: str) -> None:
    assert {fact.status for fact in run.note_from_text(said, "case").of(kind)} == {"planned"}


def test_a_wound_that_drains_has_no_drain() -> None:
    assert not run.note_from_text("Weight bearing as tolerated, call if the wound drains.", "case").of("drain")


def test_system_of_grades_said_behind() -> None:
    said = "Grade two changes of the patella, grade three of the trochlea, according to Outerbridge."
    note = run.note_from_text(said, "case")
    assert [(fact.name, str(fact.value)) for fact in note.of("grade")] == [("outerbridge", "2"), ("outerbridge", "3")]


# said twice in so many words is given once; (narration, kind)
TWICE = (
    ("Bone marrow concentrate injection left knee. Four mils of concentrate were injected into the left knee. As "
     "stated four mils into the left knee.", "injection_volume"),
    ("Injected 40 mg triamcinolone into the right shoulder. As mentioned, triamcinolone 40 mg was given.",
     "medication_dose"),
)  # fmt: skip


@pytest.mark.parametrize(("said", "kind"), TWICE)
def test_said_twice_is_given_once(said: str, kind: str) -> None:
    assert len(run.note_from_text(said, "case").of(kind)) == 1


# what was done in the end instead of what was planned
@pytest.mark.parametrize("said", [
    "We planned a meniscal repair but did a partial meniscectomy of the right knee.",
    "We planned a meniscal repair and did a partial meniscectomy of the right knee.",
    "Planned meniscal repair, converted to partial meniscectomy of the right knee.",
])  # fmt: skip
def test_done_instead_of_planned(said: str) -> None:
    status = {fact.name: fact.status for fact in run.note_from_text(said, "case").of("procedure")}
    assert status == {"meniscal-repair": "planned", "partial-meniscectomy": "performed"}


def test_side_of_the_patient_is_not_that_of_a_relative() -> None:
    note = run.note_from_text(
        "Father had a knee replacement, the patient had an ACL reconstruction in 2015 on the left.", "case")
    assert {fact.name: fact.laterality for fact in note.of("procedure")} == {
        "total-knee-arthroplasty": None, "anterior-cruciate-ligament-reconstruction": "left"}  # fmt: skip


# one operation for another behind a plain "no"; (narration, name)
CORRECTED = (
    ("Right total thyroidectomy... no, right hemithyroidectomy.", "thyroid-lobectomy"),
    ("Right total thyroidectomy. No, right hemithyroidectomy.", "thyroid-lobectomy"),
    ("Medial meniscectomy, no, lateral meniscectomy of the right knee.", "lateral-meniscectomy"),
)


@pytest.mark.parametrize(("said", "name"), CORRECTED)
def test_another_operation_behind_no(said: str, name: str) -> None:
    found = run.note_from_text(said, "case").of("procedure")
    assert [(fact.name, fact.laterality, fact.certainty) for fact in found] == [(name, "right", "affirmed")]


def test_no_behind_an_operation_that_was_asked_for_is_an_answer() -> None:
    note = run.note_from_text("Right knee: medial meniscectomy no, lateral meniscectomy yes.", "case")
    assert {fact.name: fact.certainty for fact in note.of("procedure")} == {
        "medial-meniscectomy": "negated", "lateral-meniscectomy": "affirmed"}  # fmt: skip


# counts of devices; (narration, counts)
COUNTED = (
    ("A six hole plate with five screws, two of them locking.", {"screw": "5"}),
    ("Kirschner wires, two, 1.6 mm.", {"k-wire": "2"}),
    ("Anchors: two, 2.9 mm.", {"suture-anchor": "2"}),
    ("Four cortical screws of 3.5 mm, 30, 32, 34 and 36 mm long.", {"cortical-screw": "4"}),
)


@pytest.mark.parametrize(("said", "counts"), COUNTED)
def test_how_many_devices(said: str, counts: dict[str, str]) -> None:
    note = run.note_from_text(said, "case")
    assert {fact.name: str(fact.value) for fact in note.of("device_count")} == counts
    assert not [one for one in note.findings if one.check == "listed_count"]


# harm told beside "no complications"
@pytest.mark.parametrize("said", [
    "Complications none. During the procedure the anchor broke and a fragment was retained.",
    "No complications. The popliteal artery was injured.",
    "No complications. The tip of the awl was retained.",
])  # fmt: skip
def test_harm_beside_no_complications(said: str) -> None:
    assert [one.check for one in run.note_from_text(said, "case").findings if one.check == "complication_conflict"]


# how the patient lies is no side of the operation
@pytest.mark.parametrize("lies", [
    "Lateral decubitus on his left side, arm in traction.", "The patient was placed on the left side.",
    "Lateral on the left.", "Left side down.", "Rolled onto the left side.",
])  # fmt: skip
def test_side_that_the_patient_lies_on(lies: str) -> None:
    note = run.note_from_text(f"Right shoulder arthroscopy. {lies} Labral tear found. Three anchors placed.", "case")
    assert {fact.laterality for fact in note.facts if fact.kind in ("finding", "device_count", "act")} == {"right"}
    assert "left-lateral-decubitus" in {fact.name for fact in note.of("position")}


def test_two_angles_of_a_knee_are_two_measures() -> None:
    note = run.note_from_text("Fixed flexion 10 degrees, correctable varus 8 degrees.", "case")
    found = {fact.name: str(fact.value) for fact in note.of("measurement")}
    assert found == {"extension-deficit": "10", "limb-axis": "8"}


# signs that should bring the patient back are not done; (narration, words of the sign)
@pytest.mark.parametrize(("said", "sign"), [
    ("Return for fever or drainage.", "fever or drainage"),
    ("Return precautions: fever, redness, drainage.", "fever, redness, drainage"),
])  # fmt: skip
def test_drainage_as_a_sign(said: str, sign: str) -> None:
    note = run.note_from_text(said, "case")
    assert [fact.text for fact in note.of("warning_sign")] == [sign]
    assert not note.of("act", "drain")


def test_a_turn_of_ninety_degrees_is_no_whole_turn() -> None:
    said = "Marrow of the right posterior crest. Ten mils drawn with a turn of ninety degrees between the draws."
    (fact,) = run.note_from_text(said, "case").of("needle_turns")
    assert (str(fact.value), fact.unit) == ("90", "deg")


def test_an_arthroscopy_said_again_is_the_same() -> None:
    note = run.note_from_text("Left knee arthroscopy. Diagnostic arthroscopy showed a loose body.", "case")
    assert [fact.name for fact in note.of("procedure")] == ["knee-arthroscopy"]


CREST = "Bone marrow from the left crest. Five draws of ten millilitres. "


# where the product went is told by the injection behind it
@pytest.mark.parametrize("said", [
    CREST + "All spun to six millilitres and injected into the left hip.",
    CREST + "Spun to 7 mL. This was injected into the left knee under fluoroscopy.",
    "Marrow aspirate 50 mL right crest. Product 6 mL. Injected into the right hip.",
    "Bone marrow aspirate, 20 mL, was taken from the right crest and injected into the right hip.",
])  # fmt: skip
def test_injected_behind_the_product(said: str) -> None:
    assert not [one for one in run.note_from_text(said, "case").findings if one.check == "prepared_not_given"]


def test_a_medicine_injected_tells_nothing_of_the_product() -> None:
    note = run.note_from_text(
        "Marrow aspirate 50 mL right crest. Product 6 mL. Bupivacaine 5 mL injected into the portal.", "case")
    assert [one for one in note.findings if one.check == "prepared_not_given"]


def test_what_marrow_is_for_is_no_place_where_it_was_taken() -> None:
    note = run.note_from_text(
        "Marrow from the left crest for the right knee. Concentrate 6 mL injected into the right knee.", "case")
    assert [(fact.name, fact.laterality) for fact in note.of("harvest_site")] == [("iliac-crest", "left")]
    assert not [one for one in note.findings if one.check == "side_conflict"]


# blood is drawn under whatever heading it stands; (narration, draws, volumes of the product)
@pytest.mark.parametrize(("said", "draws", "made"), [
    ("PRP: 60 mL blood from the left arm, spun to 6 mL, 5 mL injected into the right patellar tendon.", ["60"], ["6"]),
    ("PRP injection right knee: 30 mL blood drawn, 4 mL PRP obtained and injected.", ["30"], ["4"]),
])  # fmt: skip
def test_blood_under_the_heading_of_the_product(said: str, draws: list[str], made: list[str]) -> None:
    note = run.note_from_text(said, "case")
    assert [str(fact.value) for fact in note.of("draw")] == draws
    assert [str(fact.value) for fact in note.of("product_volume")] == made


# anticoagulant in each syringe and in all; (narration, (value, scale) of its volumes)
@pytest.mark.parametrize(("said", "volumes"), [
    ("R PSIS: 12 x 5 mL = 60 mL. Heparin 1000 U/mL, 0.5 mL per syringe, 12 syringes = 6 mL.",
     [("0.5", "each"), ("6", "total")]),
    ("Each syringe was pre-loaded with 1 mL of heparin. Marrow of the right crest 60 mL in six syringes.",
     [("1", "each")]),
    ("All syringes were primed with one mil of citrate. Marrow of the right crest 60 mL in six syringes.",
     [("1", "each")]),
])  # fmt: skip
def test_anticoagulant_of_the_syringes(said: str, volumes: list[tuple[str, str]]) -> None:
    note = run.note_from_text(said, "case")
    assert [(str(fact.value), fact.scale) for fact in note.of("medication_volume")] == volumes
    assert [str(fact.value) for fact in note.of("harvest_total")] == ["60"]


def test_a_drug_given_again_another_way() -> None:
    said = "Tranexamic acid one gram IV before the incision, one gram topically."
    assert [str(fact.value) for fact in run.note_from_text(said, "case").of("medication_dose")] == ["1", "1"]


def test_more_sent_than_removed() -> None:
    wrong, right = (run.note_from_text(
        f"Right knee arthroscopy. Two loose bodies removed. {sent} loose bodies were sent to pathology.", "case")
        for sent in ("Three", "Two"))  # fmt: skip
    assert [one for one in wrong.findings if one.check == "listed_count"]
    assert not [one for one in right.findings if one.check == "listed_count"]


# what stands behind a title and is no operation keeps its own side; (narration, check)
@pytest.mark.parametrize(("said", "check"), [
    ("Procedure: left hip hemiarthroplasty. A right sided femoral neck fracture.", "side_conflict"),
    ("Procedure: left knee arthroscopy. Tourniquet on the right thigh.", "side_conflict"),
    ("Procedure: tooth 16 extraction. Tooth 26 was extracted.", "tooth_conflict"),
    ("Extraction of tooth 36. Tooth 46 was luxated and delivered.", "tooth_conflict"),
])  # fmt: skip
def test_title_and_what_follows_it(said: str, check: str) -> None:
    assert check in {one.check for one in run.note_from_text(said, "case").findings if one.severity == "blocking"}


def test_teeth_of_the_title_are_those_that_were_treated() -> None:
    note = run.note_from_text(
        "Extraction of teeth 36 and 46. Tooth 36 was elevated. Tooth 46 was sectioned and delivered.", "case")
    assert not [one for one in note.findings if one.check == "tooth_conflict"]


# so many on each side; (narration, sides of the parts)
@pytest.mark.parametrize("said", [
    "Six pedicle screws, three on the left and three on the right.",
    "Four anchors, two on the left and two on the right.",
    "Four screws, two left two right.",
])  # fmt: skip
def test_parts_on_each_side(said: str) -> None:
    parts = [fact for fact in run.note_from_text(said, "case").of("device_count") if fact.scale is None]
    assert [fact.laterality for fact in parts] == ["left", "right"]


def test_number_of_pulls_behind_equals_is_no_volume() -> None:
    said = "Harvest: both anterior crests, 60 mL per side, 120 mL total. 5 mL pulls, 12 per side = 24."
    note = run.note_from_text(said, "case")
    assert [str(fact.value) for fact in note.of("harvest_total")] == ["120"]


@pytest.mark.parametrize("said", [
    "Cefazolin 2g, 0715.", "Cefazolin 2 g, 0715, incision 0740.", "Cefazolin 2 g (0715).",
])  # fmt: skip
def test_time_in_four_digits_behind_a_dose(said: str) -> None:
    note = run.note_from_text(said, "case")
    assert "07:15" in {fact.text for fact in note.of("clock_time")}
    assert not [one for one in note.findings if one.check == "unplaced_number" and one.severity != "note"]


def test_a_row_of_draws_of_marrow_holds_no_total() -> None:
    note = run.note_from_text(
        "Draws of five, six, five and four millilitres of marrow. Total aspirate twenty millilitres.", "case")
    assert [str(fact.value) for fact in note.of("draw")] == ["5", "6", "5", "4"]
    assert [str(fact.value) for fact in note.of("harvest_total")] == ["20"]


def test_a_grade_is_no_amount() -> None:
    note = run.note_from_text("PRP both knees (KL 3 L, KL 2 R), 5 mL each.", "case")
    assert [(str(fact.value), fact.scale) for fact in note.of("injection_volume")] == [("5", "each")]
