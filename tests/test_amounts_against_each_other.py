"""Amounts, counts and sizes of one narration held against each other: each row is right with one word and wrong with
another, and the named check speaks of the wrong one and no check of the right.

The sentences are invented, and the truth of each was written before it was run.
"""

from __future__ import annotations

import pytest

from pipeline import run

UDI = "(01)09501101530003(17)281231(10)"
# (check, right words, wrong words, the sentence with ___ where they stand)
TOLD = (
    ("prepared_not_given", "four mL at the wrist", "eight mL at the wrist",
     "Right hand. Ten mL of 1% lidocaine drawn up, six mL in the palm and ___."),
    ("prepared_not_given", "eight round the wound", "ten round the wound",
     "Drew up twenty mils of half percent marcaine, twelve into the left hip capsule and ___."),
    ("prepared_not_given", "3 mL to the fat pad", "4 mL to the fat pad",
     "We had 8 mL PRP from the spin. 5 mL to the right patellar tendon and ___."),
    ("prepared_not_given", "8 mL into the portals", "12 mL into the portals",
     "20 mL 0.5% bupivacaine was drawn up. 12 mL went into the left knee and ___."),
    ("injection_total", "two under the plateau", "three under the plateau",
     "Six mL of BMAC came off the kit: four into the right knee joint, ___."),
    ("mixture_total", "10 mL", "12 mL",
     "5 mL lidocaine and 5 mL marcaine mixed in one syringe; ___ of that went into the right shoulder."),
    ("mixture_total", "5 mL of it", "6 mL of it",
     "4 mL ropivacaine, 1 mL kenalog in the same syringe, ___ into the left hip."),
    ("mixture_total", "nine mL", "twelve mL",
     "Drawn up together were 5 mL of lidocaine and 5 mL of bupivacaine, of this, ___ put in the left knee."),
    ("listed_count", "12 screws", "14 screws", "Right wrist fracture fixed with 3 plates x 4 screws, ___."),
    ("listed_count", "eight sutures", "nine sutures", "Four anchors with two sutures each, ___ in all, right cuff."),
    ("listed_count", "12 screws", "13 screws", "2 plates with 6 screws each, ___ used for the left forearm."),
    ("listed_count", "seven of them", "nine of them", "Left radius plated. The plate has 8 holes, I filled ___."),
    ("listed_count", "six screws", "eight screws", "Seven hole plate on the left fibula, ___ put in."),
    ("listed_count", "2 left empty", "3 left empty", "Plate with 6 holes, right fibula, 4 filled, ___."),
    ("listed_count", "screws in eight", "screws in eleven", "Locking plate, ten holes; ___ of them. Right humerus."),
    ("stated_sums", "52 mL of blood", "50 mL of blood", "8 mL of citrate and ___ makes 60 mL."),
    ("stated_sums", "54 mL blood", "50 mL blood", "6 mL ACD-A + ___ = 60 mL, right arm."),
    ("irrigation_deficit", "800 mL", "1800 mL", "Left shoulder arthroscopy. In 9 L, out 8.2 L, missing ___."),
    ("device_udi", "4471A", "5582B", f"Femoral stem lot 4471A. UDI {UDI}___."),
    ("device_udi", "X991", "77X", f"Anchor, lot X991, barcode {UDI}___."),
    ("device_udi", "2028-12-31", "2027-12-31", f"Expiry ___ on the liner, UDI {UDI}A1."),
    ("device_udi", "December 2028", "November 2028", f"Liner expires ___, UDI {UDI}A1."),
    ("two_values", "10 French drain", "15 French drain",
     "A 10 French Blake drain was placed. Later on, the ___ was sutured in."),
    ("two_values", "the 16 Fr Foley", "the 18 Fr Foley", "16 Fr Foley placed. At the end ___ was removed."),
    ("two_values", "Drain 10 Fr", "Drain 12 Fr",
     "A 10 Fr drain through a stab. Skin clips. ___ secured with silk, left hip."),
    ("prepared_not_given", "the other twenty", "the other forty",
     "I have dissolved one hundred units of Botox. I give forty units in flexor carpi radialis and forty units in "
     "flexor carpi ulnaris of the left arm, ___ was thrown away."),
    ("prepared_not_given", "sixty afterwards", "eighty afterwards",
     "Right knee. We had mixed a hundred mils of the cocktail and that went in, forty before the cement and ___."),
    ("prepared_not_given", "twenty five binned", "forty five binned",
     "Left knee, I drew off thirty five mils of straw coloured fluid, ten to the lab and the other ___."),
    ("prepared_not_given", "3 mL to the capsule", "7 mL to the capsule",
     "Right hip. Drew up 10 mL of 1% lidocaine, 7 mL to the skin and ___."),
    ("listed_count", "six of them", "nine of them",
     "A seven hole one third tubular plate on the left fibula, ___ filled."),
    ("listed_count", "two holes stay empty", "four holes stay empty",
     "Right wrist. Plate with nine holes, four distal screws and three in the shaft, together seven screws, ___."),
    ("listed_count", "four loose bodies", "six loose bodies",
     "Right elbow. Anteriorly three loose bodies out, posteriorly one, ___ in total."),
    ("listed_count", "three portals", "five portals",
     "Right elbow arthroscopy. Proximal medial, anterolateral and posterior, ___."),
    ("listed_count", "one five in the flank", "two fives in the flank",
     "Five trocars, one twelve umbilical, two eights across, one ten, ___."),
    ("listed_count", "four anchors", "six anchors",
     "Right hip. Anchors, at eleven, twelve, one and two o'clock, so ___ total."),
    ("listed_count", "six screws", "eight screws",
     "Left tibia nail: two proximal and two distal locking screws plus two poller screws, ___."),
    ("listed_count", "(2 implants)", "(3 implants)",
     "Left elbow. Fixed with one button and one 7 x 10 mm tenodesis screw ___."),
    ("draw_total", "sixty mils", "eighty mils", "Right crest, I pulled twelve times five mils so ___ in the bag."),
    ("stated_sums", "8 x 8 = 64 mL", "8 x 8 = 84 mL", "Left crest, marrow: ___ drawn."),
    ("device_udi", "three one zero K four one two", "three one zero K four two one",
     "The tibial baseplate is lot K four one two and the label reads zero one zero nine five zero one one zero one "
     "five three zero zero zero ___."),
)
_HARVESTED = "where they went was not said"  # the rows tell of a part of a narration only


def _said(text: str) -> list[tuple[str, str]]:
    return [(one.check, one.message) for one in run.note_from_text(text).findings
            if one.severity != "note" and not one.check.startswith(("completeness", "family_elements"))
            and _HARVESTED not in one.message and "without a unit" not in one.message]  # fmt: skip


@pytest.mark.parametrize(("check", "right", "wrong", "sentence"), TOLD, ids=[f"{row[0]}-{row[2]}" for row in TOLD])
def test_wrong_amounts_are_told_and_right_ones_are_not(check: str, right: str, wrong: str, sentence: str) -> None:
    assert not _said(sentence.replace("___", right))
    assert check in {one for one, _ in _said(sentence.replace("___", wrong))}


@pytest.mark.parametrize("text", [
    "27 mL of marrow on 3 mL of ACD-A in each of two syringes, 60 mL total.",
    "27 mL of marrow on 3 mL of ACD-A in each of two syringes, 54 mL of marrow total.",
    "27 mL of marrow into 3 mL ACD-A x 2, 60 in all.",
    "Three syringes each with 18 mL of marrow and 2 mL of heparin saline, 60 mL altogether.",
    "Cup UDI (01)09501101530003(10)C77. Head lot H88.",
    "A 10 French drain went under the flap and a 15 French drain in the axilla. The 15 French drain was sutured.",
    "14 Fr chest tube, later changed for a 20 Fr. The 20 Fr drain was stitched.",
    "Six ports in all three robotic eights one twelve one five and one assistant.",
    "Seven ports in all, four robotic eights, one twelve, two fives.",
    "Left hip. Blood loss: 80 in the suction and 40 in the swabs, 120 mL.",
    "Left foot, four mils of lidocaine drawn up with two of water, six mils of that went in.",
    "Left crest. Marrow twenty mils mixed with ten mils of allograft chips so thirty mils of graft laid in gutters.",
    "Right ankle, so that is six laterally and two medially, eight screws altogether.",
    "Emergency caesarean, 3.1 kg baby boy, mother 80 kg, cefazolin 2 g.",
])  # fmt: skip
def test_what_agrees_raises_nothing(text: str) -> None:
    assert not _said(text)


@pytest.mark.parametrize("said", [
    "three screws on either side of the fracture", "two screws on both sides of the cut",
    "four cortices each side of the old nonunion", "a stitch on either side of the rupture",
])  # fmt: skip
def test_beyond_and_before_one_thing_is_no_side(said: str) -> None:
    note = run.note_from_text(f"Right tibia, osteotomy, {said}.")
    assert "bilateral" not in {fact.laterality for fact in note.facts}


@pytest.mark.parametrize(("text", "doubted"), [
    ("Botox 200 units reconstituted; she got 100 and the rest was binned.", "200"),
    ("Dysport 500 units dissolved, we only used 300, leftover to waste.", "500"),
    ("Kenalog 80 mg was made up, he received 40, the remainder was thrown away, left knee.", "80"),
])
def test_what_was_made_ready_is_not_what_was_given(text: str, doubted: str) -> None:
    doses = [fact for fact in run.note_from_text(text).of("medication_dose") if str(fact.value) == doubted]
    assert doses
    assert all(fact.status == "planned" or fact.doubts for fact in doses)


def test_blood_is_no_amount_of_what_keeps_it_from_clotting() -> None:
    note = run.note_from_text("6 mL ACD-A + 54 mL blood = 60 mL, right arm.")
    assert [str(fact.value) for fact in note.of("medication_volume")] == ["6"]


def test_what_was_washed_with_because_as_much_came_out_is_in_doubt() -> None:
    note = run.note_from_text("Left knee washed, ninety mils of fluid out so ninety mils washed.")
    assert all(fact.doubts for fact in note.of("irrigation_in"))


def test_irrigation_without_units_is_balanced() -> None:
    def wrong(deficit: str) -> bool:
        note = run.note_from_text(f"Hysteroscopy. Saline in 6000, out 5400, deficit {deficit}.")
        return any(one.check == "irrigation_deficit" for one in note.findings)

    assert wrong("800")
    assert not wrong("600")


@pytest.mark.parametrize(("text", "kind", "wanted"), [
    ("Pt: Jory Penhallow, 3 y & 2 mo, 14 kg.", "patient_age", [("38", "mo")]),
    ("Caesarean. Delivered a 3.1 kg baby boy.", "patient_weight", []),
    ("Pyloromyotomy, 3.4 kg boy, 5 weeks old.", "patient_weight", [("3.4", "kg")]),
    ("Burns to 18% TBSA, debrided.", "measurement", [("18", "%")]),
    ("This is Thaddeus Brook forty four left ankle for marrow concentrate.", "product_volume", []),
    ("We bled her, left arm, six mils of citrate in the syringe.", "blood_loss", []),
    ("Urine five hundred mils one drain size ten.", "fluid_out", [("500", "mL")]),
])  # fmt: skip
def test_numbers_are_of_whom_and_what_they_were_said(text: str, kind: str, wanted: list[tuple[str, str]]) -> None:
    assert [(str(fact.value), fact.unit) for fact in run.note_from_text(text).of(kind)] == wanted


@pytest.mark.parametrize("text", [
    "Preop range of motion 10 to 95, post 0 to 125.", "ROM pre 10-95, post 0-125.",
    "Range of motion before 10 to 95, afterwards 0 to 125.",
])
def test_how_far_a_joint_moves_before_and_after(text: str) -> None:
    told = [(str(fact.low), str(fact.high)) for fact in run.note_from_text(f"Right knee. {text}").of("measurement")]
    assert told == [("10", "95"), ("0", "125")]


def test_what_we_had_done_is_no_condition() -> None:
    note = run.note_from_text("I'd already given two grams of cefazolin. Next time I'd give her one gram of kefzol.")
    assert [fact.status for fact in note.of("medication_dose")] == ["performed", "conditional"]


@pytest.mark.parametrize("said", ["Tibial nail removal, right.", "Right femoral nail extraction."])
def test_a_nail_that_is_named_by_its_removal_is_none_of_today(said: str) -> None:
    note = run.note_from_text(f"{said} Six locking screws, four retrieved.")
    assert "implanted" not in {fact.role for fact in note.of("device", "device_count")}
    assert all(fact.doubts for fact in note.of("device_count"))
