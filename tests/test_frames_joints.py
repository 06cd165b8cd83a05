"""Frames of the checks on joints and limbs: sentences with a thing, tried with several things each, once as they are
right and once with the error planted. How people tell these things: common English usage, no source; what sizes go
together: grammars/limits.toml.
"""

from __future__ import annotations

import pytest

from pipeline import run

_MADE_AT = "2026-03-02T18:00:00+00:00"
_COUNTS = frozenset({"listed_count", "parts_and_total", "count_sums", "stated_sums"})
_THINGS = (("anchor", "anchors"), ("plate", "plates"), ("screw", "screws"), ("staple", "staples"), ("pin", "pins"))


def _loud(text: str, checks: frozenset[str]) -> list[str]:
    note = run.note_from_text(text, made_at=_MADE_AT)
    return [one.message for one in note.findings if one.check in checks and one.severity != "note"]


# (sentence: {a} a thing, {b} several; the right number, a wrong one)
COUNTED = (
    ("one {a} at two o'clock, one at four and one at five, so {n} {b}", "three", "four"),
    ("one {a} at eleven one at twelve one at one and one at two so {n} {b}", "four", "five"),
    ("two {b} in the glenoid and then two in the tuberosity and one for the biceps so {n} {b}", "five", "six"),
    ("one {a} medially, another one laterally, and a third in front, so {n} {b}", "three", "five"),
    ("a {a} on the tip then another {a} at the base so {n} {b}", "two", "three"),
    ("two {b} proximally forty five and fifty millimetres and two distal thirty two and thirty four so {n} {b}", "four",
     "six"),
    ("Two {b} went into the head, three into the shaft. {n} {b} in total.", "Five", "Six"),
    ("two {b} in the radius, one in the ulna. So {n} {b}.", "three", "four"),
    ("{n} {b} were used, two proximal, two distal and one in the middle", "five", "six"),
    ("{a} x2 proximal, {a} x3 distal ({n} {b})", "5", "6"),
    ("2 medial {b} + 2 lateral {b} = {n}", "4", "5"),
)


@pytest.mark.parametrize(("frame", "right", "wrong"), COUNTED, ids=[one[0] for one in COUNTED])
def test_things_told_place_by_place_are_counted(frame: str, right: str, wrong: str) -> None:
    for one, several in _THINGS:
        said = "Operation on the left side. " + frame
        assert _loud(said.format(a=one, b=several, n=right), _COUNTS) == [], one
        assert _loud(said.format(a=one, b=several, n=wrong), _COUNTS), one


# (the sentence, what is right in it, what is not): sizes that belong together
FITS = (
    ("quad tendon graft came out at nine millimetres femoral tunnel nine millimetres tibial tunnel ___ millimetres",
     "nine", "seven"),
    ("Gracilis doubled, 5.5 mm. Femoral tunnel ___ mm, graft fixed at 30 degrees.", "6", "9"),
    ("Graft 70 mm long, 9 mm wide. Femoral tunnel 9 x 25 mm, tibial tunnel ___ mm.", "9", "6"),
    ("reamed up to eleven and a half then nail ___ by three forty", "ten", "thirteen"),
    ("Acetabulum reamed to 51 mm, cup ___ mm pressed in.", "52", "58"),
    ("Cup 52 mm. Liner for a 36 mm head. Stem size 4, head ___ mm ceramic.", "36", "32"),
    ("right hemiarthroplasty head out measured forty six stem cemented so a ___ head on reduced", "forty six",
     "fifty four"),
    ("Trial with 10 mm, stable throughout, definitive insert ___ mm.", "10", "14"),
    ("Reverse shoulder. Implants: 38 mm glenosphere, lot G1. The ___ mm glenosphere was seated.", "38", "42"),
)


@pytest.mark.parametrize(("frame", "right", "wrong"), FITS, ids=[one[0][:40] for one in FITS])
def test_sizes_that_belong_together(frame: str, right: str, wrong: str) -> None:
    fit = frozenset({"implant_fit"})
    assert _loud(frame.replace("___", right), fit) == []
    assert _loud(frame.replace("___", wrong), fit)


# Sizes that differ on purpose.
CHANGED = (
    "Trial with 10 mm, loose, then 12 mm. Definitive insert 12 mm.",
    "Cup 52 mm, trial with a 32 mm head, exchanged for a 36 mm head.",
    "The old 28 mm head was removed. Cup 56 mm. New head 36 mm.",
    "Graft 8 mm. The old tunnel was 11 mm wide, a new tunnel of 8 mm was drilled.",
    "Head measured 46 mm. Cup 52 mm, head 32 mm.",
)


@pytest.mark.parametrize("said", CHANGED)
def test_sizes_that_were_changed(said: str) -> None:
    assert _loud(said, frozenset({"implant_fit"})) == []


WORN = (
    ("ankle", "Brace on the ___ for six weeks."), ("shoulder", "Sling ___ arm for four weeks."),
    ("knee", "weight as tolerated on the ___ with crutches"), ("ankle", "non weight bearing on the ___ for six weeks"),
    ("ankle", "Boot on the ___ for two weeks"), ("wrist", "Splint on the ___ for two weeks."),
)  # fmt: skip


@pytest.mark.parametrize(("joint", "frame"), WORN)
def test_what_is_worn_is_worn_on_the_operated_limb(joint: str, frame: str) -> None:
    sides = frozenset({"side_conflict", "side_unplaced"})
    for title in (f"Procedure: left {joint} arthroscopy. No complications.", f"Left {joint} arthroscopy."):
        assert _loud(f"{title} {frame.replace('___', 'left')}", sides) == []
        assert _loud(f"{title} {frame.replace('___', 'right')}", sides)


def test_orders_for_both_limbs_are_no_slip() -> None:
    said = "Procedure: left knee arthroscopy. Weight as tolerated on the left, brace on the right as before."
    assert _loud(said, frozenset({"side_conflict", "side_unplaced"})) == []


@pytest.mark.parametrize(("said", "loud"), [
    ("seven hole third tubular plate with seven screws", False),
    ("seven hole third tubular plate with eight screws", True),
    ("four hole volar plate with eight screws", False), ("7-hole LC-DCP, 8 cortical screws", True),
    ("3 screws of 6.5 mm (25 mm and 30 mm)", True), ("four screws of 14 and 16 mm", False),
])  # fmt: skip
def test_screws_and_holes(said: str, loud: bool) -> None:
    assert bool(_loud(f"Left ankle fracture. {said}.", _COUNTS)) is loud


@pytest.mark.parametrize("said", [
    "Femoral head 320 mm.", "Cup 520 mm.", "Polyethylene insert 100 mm.", "Glenosphere 380 mm.", "K-wire 16 mm.",
    "Tibial nail 10 by 34 mm.", "Suture button 120 mm.",
])  # fmt: skip
def test_sizes_that_no_implant_has(said: str) -> None:
    assert _loud(f"Left side. {said}", frozenset({"plausible"}))


@pytest.mark.parametrize("said", [
    "Femoral head 32 mm.", "Cup 52 mm.", "Polyethylene insert 10 mm.", "Glenosphere 38 mm.", "K-wire 1.6 mm.",
    "K-wire 1.6 by 150 mm.", "Tibial nail 10 by 340 mm.", "Suture button 12 mm.",
])  # fmt: skip
def test_sizes_that_implants_have(said: str) -> None:
    assert _loud(f"Left side. {said}", frozenset({"plausible"})) == []


def test_a_count_before_a_length_is_no_size() -> None:
    note = run.note_from_text("1 x 30 mm 2.7 screw and 2 x 45 mm 4.0 mm screws.")
    assert [str(fact.value) for fact in note.of("device_count")] == ["1", "2"]
    assert [str(fact.value) for fact in note.of("device_size")] == ["30", "2.7", "45", "4.0"]


def test_a_whole_number_before_a_length_may_count() -> None:
    note = run.note_from_text("3 x 16 mm screws were placed.")
    assert [fact.doubts != () for fact in note.of("device_size") if fact.value == 3] == [True]


@pytest.mark.parametrize("said", [
    "Bupivacaine 0.25% 10 mL into the wound and 5 mL into the portals, total ___ mL.",
    "bupivacaine quarter percent ten mils in the wound and five mils around the portals so ___ mils in all",
])  # fmt: skip
def test_a_volume_for_a_second_place(said: str) -> None:
    right, wrong = ("15", "25") if "mL" in said else ("fifteen", "twenty five")
    note = run.note_from_text(said.replace("___", right))
    assert [str(fact.value) for fact in note.of("medication_volume")] == ["10", "5", "15"]
    assert _loud(said.replace("___", right), frozenset({"parts_and_total", "unplaced_number", "stated_sums"})) == []
    assert _loud(said.replace("___", wrong), frozenset({"parts_and_total", "stated_sums", "dose_arithmetic"}))


def test_an_operation_behind_same_is_kept() -> None:
    for said in ("right carpal tunnel syndrome post op same carpal tunnel release right surgeon Miss Low",
                 "right carpal tunnel syndrome same diagnosis post op carpal tunnel release right surgeon Miss Low"):
        assert [fact.name for fact in run.note_from_text(said).of("procedure")] == ["carpal-tunnel-release"]


def test_a_heading_alone_is_no_diagnosis() -> None:
    note = run.note_from_text("Post-op diagnosis: same. Procedure: left knee arthroscopy.")
    assert not [fact for fact in note.of("diagnosis", "preop_diagnosis") if fact.text and "post" in fact.text.lower()]


@pytest.mark.parametrize("heading", ["TIME OUT: Done", "Surgical timeout: completed", "Time-out: done"])
def test_what_a_heading_says_is_done_is_no_end_of_the_operation(heading: str) -> None:
    note = run.note_from_text(f"{heading} at 9:05. Skin closed at 10:50.")
    assert "operation_end" not in {fact.name for fact in note.of("clock_time")}


@pytest.mark.parametrize(("said", "block", "other"), [
    ("ipack no posterior capsule injected by me", "ipack-block", None),
    ("spinal yes femoral block no periarticular injection done with sixty mils of ropivacaine point two percent",
     "femoral-nerve-block", "periarticular-injection"),
])  # fmt: skip
def test_a_no_answers_the_block_before_it(said: str, block: str, other: str | None) -> None:
    told = {fact.name: fact.certainty for fact in run.note_from_text(said).of("anaesthesia")}
    assert told[block] == "negated"
    assert other is None or told[other] == "affirmed"


# (check, right, wrong, the sentence): more of what is told of joints and limbs
TOLD = (
    ("listed_count", "two", "three", "Fixed with ___ 4.0 mm partially threaded screws, 34 and 36 mm."),
    ("listed_count", "2", "3", "6.5 mm cannulated screws 80 and 70 mm, ___ screws in all."),
    ("stated_sums", "110", "140", "TOURNIQUET: Right thigh 300 mmHg; up 08:12, down 09:32 (80 min); up 09:50, "
     "down 10:20 (30 min); total ___ min"),
    ("stated_sums", "18", "28", "Aspirated R 12 mL clear, L 6 mL clear (___ mL), discarded."),
    ("two_values", "four", "nine", "a gap of four centimeters. So with the ___ centimeter gap closed it was tight."),
    ("implant_fit", "22", "32", "Measured 24 mm, ___ mm headless compression screw, central."),
    ("implant_fit", "four", "seven", "medial unicompartmental knee right trial with a four bearing tracked nicely not "
     "loose so a ___ bearing in for good"),
    ("count_result", "mop count tallied", "one mop is missing", "No drain. ___. No complication."),
    ("site_conflict", "ring", "index", "left hand dupuytren contracture of the ring and little fingers fasciectomy "
     "left ring and little finger. time out left hand. so ___ finger from sixty to ten degrees"),
    ("listed_count", "5", "7", "Anterior: 3 out, spur burred. Posterior: 2 out. ___ loose bodies, largest 9 mm."),
    ("listed_count", "4", "5", "2.9 mm anchors at 5:30, 4:30, 3:30 and 2:30, ___ anchors total."),
    ("device_identity", "AF662", "AF626", "Two anchors, lot AF662. The sticker says ___."),
    ("none_but_said", "discarded", "to pathology", "Loose bodies ___, no specimens sent."),
    ("side_conflict", "right", "left", "Right knee arthroscopy. Findings ___ knee: trochlea normal."),
    ("side_conflict", "left", "right", "Left olecranon fracture. Tourniquet ___ arm 250 mmHg. No complications."),
    ("listed_count", "four", "six", "Two five point five anchors proximally, two knotless ones distally, and so we "
     "used ___ anchors."),
    ("listed_count", "three", "five", "one anchor medial one central and one lateral so ___ anchors"),
    ("parts_and_total", "4", "6", "1 x 4.0 mm screw, 1 x 3.5 mm screw, 2 x 3.5 mm screws; ___ screws total"),
)  # fmt: skip


@pytest.mark.parametrize(("check", "right", "wrong", "told"), TOLD, ids=[f"{one[0]} {one[2]}" for one in TOLD])
def test_an_error_of_a_joint_is_caught(check: str, right: str, wrong: str, told: str) -> None:
    assert _loud(told.replace("___", right), frozenset({check})) == []
    assert _loud(told.replace("___", wrong), frozenset({check}))


@pytest.mark.parametrize(("said", "time"), [
    ("Tourniquet released at three five PM.", "15:05"), ("skin closed at eleven five am", "11:05"),
    ("Cefazolin two grams given at nine eight AM.", "09:08"), ("Time out at seven two.", "07:02"),
])  # fmt: skip
def test_a_minute_is_said_without_its_nought(said: str, time: str) -> None:
    assert [fact.text for fact in run.note_from_text(said).of("clock_time")] == [time]


@pytest.mark.parametrize("said", ["fusion at four five and five six", "anchors at three, five and seven o'clock",
                                  "clips at three five and seven"])
def test_numbers_behind_at_are_no_times(said: str) -> None:
    assert not [fact for fact in run.note_from_text(said).of("clock_time")]


def test_minimal_in_short_is_a_loss() -> None:
    assert [fact.text for fact in run.note_from_text("EBL min. No drain.").of("blood_loss")] == ["minimal"]


def test_the_first_day_is_possible() -> None:
    assert _loud("Left knee arthroscopy. Physio from day 0.", frozenset({"plausible"})) == []


@pytest.mark.parametrize("said", [
    "Interference screws seven by twenty femur nine by twenty eight tibia.", "Screws 7 x 20 femur, 9 x 28 tibia.",
])  # fmt: skip
def test_a_further_screw_is_told_by_its_bone(said: str) -> None:
    note = run.note_from_text(said)
    assert [str(fact.value) for fact in note.of("device_size")] == ["7", "20", "9", "28"]


def test_what_was_not_sent_is_no_count() -> None:
    note = run.note_from_text("no drain the bone not sent counts right no complications")
    assert [fact.text for fact in note.of("count")] == ["correct"]


def test_fx_is_a_fracture() -> None:
    note = run.note_from_text("R femoral neck fx, postop same. CRPP R hip.")
    assert [fact.name for fact in note.of("diagnosis")] == ["femoral-neck-fracture"]


def test_a_side_before_weeks_is_no_level() -> None:
    assert not run.note_from_text("R hip pinning. NWB L 6 wk.").of("spinal_level")


def test_pre_and_post_same_is_the_diagnosis_after() -> None:
    note = run.note_from_text("R distal biceps rupture, 9 d. Pre/post same. Proc: R distal biceps repair.")
    assert [fact.text for fact in note.of("postop_diagnosis")] == ["same"]


def test_a_title_begins_another_name() -> None:
    note = run.note_from_text("right ankle surgeon Doctor Farrant Doctor Bly held the leg")
    assert [fact.text for fact in note.of("team_member") if fact.name == "surgeon"] == ["Farrant"]
