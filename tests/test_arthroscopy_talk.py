"""Talk of joint operations: what a number, a "no" or an "if" is of where another thing stands as near."""

from __future__ import annotations

from cases_runner import facts_of


def _told(text: str, kind: str) -> list[tuple[str | None, str | None, str, str]]:
    return [
        (fact.name or fact.text, None if fact.value is None else str(fact.value), fact.status, fact.certainty)
        for fact in facts_of(text) if fact.kind == kind
    ]  # fmt: skip


def test_a_type_of_fracture_is_no_vertebra() -> None:
    text = "Right distal radius ORIF. Fracture AO C1, reduced."
    assert not _told(text, "spinal_level")
    assert [fact.text for fact in facts_of(text) if fact.kind == "grade"] == ["C1"]


def test_two_threads_to_each_portal_are_no_size() -> None:
    sutures = [fact for fact in facts_of("Four portals, two nylon each.") if fact.kind == "suture"]
    assert [(fact.name, fact.text) for fact in sutures] == [("nylon", None)]


def test_what_was_dealt_with_is_not_denied_by_the_without_before_it() -> None:
    text = "Disc anteriorly displaced without reduction, adhesions lysed with the probe."
    assert ("adhesions", None, "performed", "affirmed") in _told(text, "finding")
    assert ("adhesiolysis", None, "performed", "affirmed") in _told(text, "act")


def test_a_thing_is_denied_over_what_is_told_by_the_way() -> None:
    assert _told("The third anchor, which we had opened, wasn't needed.", "device")[0][3] == "negated"


def test_an_hour_and_minutes_before_a_pressure() -> None:
    times = [fact for fact in facts_of("Tourniquet one hour ten at three hundred.") if fact.kind == "tourniquet_time"]
    assert [(str(fact.value), fact.unit) for fact in times] == [("70", "min")]


def test_a_course_or_a_ban_with_its_length_hangs_on_no_if_behind_it() -> None:
    text = "no contact sport six months if the graft does not unite on ct at four months he waits"
    talk = f"right shoulder latarjet sling four weeks no lifting over two kilos for three months {text}"
    assert [one[2] for one in _told(talk, "aftercare") if one[0] == "return-to-sport"] == ["planned"]


def test_no_rotation_takes_back_no_time() -> None:
    assert not any(fact.taken_back for fact in facts_of("Muenster splint four weeks no rotation six weeks."))


def test_a_share_behind_an_act_is_not_of_the_next_ligament() -> None:
    text = "Radial tear of the lateral meniscus trimmed back about twenty percent acl torn off the femur."
    assert not [fact for fact in facts_of(text) if fact.kind == "measurement" and fact.text == "torn"]


def test_hours_of_the_clock_are_no_sizes_of_anchors() -> None:
    sizes = [fact for fact in facts_of("Right hip arthroscopy. Anchors at 12, 1 and 2.30.")
             if fact.kind == "device_size"]  # fmt: skip
    assert not sizes


def test_screws_counted_behind_a_harvest_are_no_draws() -> None:
    text = "coracoid two and a half centimetres harvested two four point oh partially threaded screws"
    assert not [fact for fact in facts_of(text) if fact.kind == "draw"]


def test_a_screw_removed_on_the_way_does_not_take_out_the_graft() -> None:
    text = ("Right knee, revision of the ligament. Old tibial screw removed. BTB autograft 10 mm. "
            "Extra-articular strip with one 4.75 mm anchor.")  # fmt: skip
    roles = {fact.name: fact.role for fact in facts_of(text) if fact.kind == "device"}
    assert (roles["autograft"], roles["suture-anchor"]) == ("implanted", "implanted")


def test_one_hour_behind_a_pressure_is_one_hour() -> None:
    for text, minutes in (("tourniquet two fifty one hour ten.", "70"),):
        found = {fact.kind: str(fact.value) for fact in facts_of(text) if fact.kind.startswith("tourniquet_")}
        assert found == {"tourniquet_pressure": "250", "tourniquet_time": minutes}


def test_a_course_of_dozens_of_weeks_without_its_dose_is_two_numbers_and_in_doubt() -> None:
    course = next(fact for fact in facts_of("Postop: full weight bearing. Clexane forty six weeks.")
                  if fact.kind == "aftercare" and fact.name == "enoxaparin")  # fmt: skip
    assert (str(course.value), course.unit) == ("6", "wk")
    assert any("46" in doubt for doubt in course.doubts)


def test_how_the_next_thing_is_is_not_denied() -> None:
    text = "the opening wedge was ten millimetres no graft in the gap hinge intact"
    assert ("intact", None, "performed", "affirmed") in _told(text, "finding")
    assert not _told(text, "act")


def test_what_was_chosen_behind_a_no_and_an_arrow_is_not_denied() -> None:
    assert all(one[3] != "negated" for one in _told("L hip resurfacing? no -> THR.", "procedure"))


def test_a_locked_brace_is_no_screw() -> None:
    assert not _told("Plate with two cortical screws. One plus after, brace locked six weeks.", "device_count")[1:]


def test_what_was_tried_does_not_deny_the_size_before_it() -> None:
    text = "Glenosphere thirty six, we tried a thirty nine but couldn't close, so thirty six plus two."
    assert [one[3] for one in _told(text, "device")] == ["affirmed"]


def test_numbers_above_the_count_are_lengths() -> None:
    text = "Two peripheral locking screws, twenty four superior and eighteen inferior."
    assert [one[1] for one in _told(text, "device_count")] == ["2"]
    assert [one[1] for one in _told(text, "device_size")] == ["24", "18"]


def test_a_failed_replacement_was_made_before_and_its_cement_is_no_implant() -> None:
    text = "L knee: failed UKR -> TKR. Old implants all out, cement cleared."
    assert {one[0]: one[2] for one in _told(text, "procedure")} == {
        "unicompartmental-knee-arthroplasty": "historical", "total-knee-arthroplasty": "performed",
    }  # fmt: skip
    assert "bone-cement" not in {one[0] for one in _told(text, "device")}


def test_a_strength_is_no_electrolyte_and_each_side_of_a_tendon_is_no_side() -> None:
    assert not _told("Lidocaine with 1 mL bicarb 8.4%.", "measurement")
    text = "scope right ankle two portals either side of the achilles nylon two each side bupivacaine half percent"
    assert [fact.scale for fact in facts_of(text) if fact.kind == "medication_concentration"] == [None]
    assert [fact.laterality for fact in facts_of(text) if fact.kind == "approach"] in ([None], ["right"])


def test_a_drug_that_is_refused_for_a_reason_and_weeks_of_a_movement() -> None:
    text = "No active hip flexion for six, indometacin no because of the ulcer."
    assert [one[3] for one in _told(text, "medication")] == ["negated"]
    assert not _told(text, "measurement")


def test_units_behind_a_threshold_of_haemoglobin_are_no_dose() -> None:
    facts = facts_of("If hb under seventy two units heparin forty at night.")
    assert [(fact.kind, str(fact.value)) for fact in facts if fact.value is not None] == [
        ("measurement", "70"), ("fluid_in", "2"), ("medication_dose", "40"),
    ]  # fmt: skip


def test_screws_that_stay_are_not_taken_out_with_the_plate() -> None:
    facts = facts_of("Left shoulder. Removal of hardware: plate out, two screws stay.")
    assert {fact.name: (fact.role, fact.status) for fact in facts if fact.kind in ("device", "device_count")} == {
        "plate": ("explanted", "performed"), "screw": ("implanted", "historical"),
    }  # fmt: skip


def test_what_follows_a_stage_without_a_time_is_told_of_that_stage() -> None:
    for text, said in (
        ("Aftercare: sling four weeks, ER 30 till week six, then free.", "ER, then free"),
        ("Postop: brace locked for walking two weeks, 0-30 two weeks, then off.", "brace locked, then off"),
    ):
        assert (said, None, "planned", "affirmed") in _told(text, "aftercare")
    assert not _told("Clamp left for two minutes then off.", "aftercare")


def test_a_limit_of_movement_and_how_long_it_holds_are_two_numbers() -> None:
    facts = facts_of("Postop: no squats below ninety four months, cpm zero to sixty six hours daily.")
    told = {(str(fact.value) if fact.value is not None else f"{fact.low}-{fact.high}", fact.unit): fact.doubts
            for fact in facts if fact.kind == "aftercare"}  # fmt: skip
    assert set(told) == {("4", "mo"), ("0-60", None), ("6", "h/d")}
    assert all(told.values())


def test_no_drain_forbids_no_brace() -> None:
    facts = facts_of("left hip revision no drain abduction brace six weeks full weight bearing")
    assert [(fact.role, fact.certainty) for fact in facts if fact.kind == "aftercare" and fact.value is not None] == [
        (None, "affirmed")
    ]  # fmt: skip


def test_what_a_revision_leaves_in_is_of_before() -> None:
    facts = facts_of("Left hip revision for dislocation. Liner out. Stem left in.")
    assert {fact.name: fact.status for fact in facts if fact.kind == "device"}["prosthetic-stem"] == "historical"


def test_a_length_before_interference_screws_does_not_count_them() -> None:
    text = "acl tunnels tibial thirty eight interference screws seven by twenty three"
    assert not _told(text, "device_count")


def test_a_size_of_a_screw_is_no_thread() -> None:
    facts = facts_of("prophylactic screw four oh by forty, skin nylon")
    assert [(fact.name, fact.text) for fact in facts if fact.kind == "suture"] == [("nylon", None)]


def test_a_dose_with_days_behind_it_is_a_course_and_days_before_are_none() -> None:
    facts = facts_of("right knee arthroscopy clinic in six weeks rivaroxaban ten milligrams fourteen days")
    assert {fact.status for fact in facts if fact.name == "rivaroxaban"} == {"planned"}
    assert [(str(fact.value), fact.unit) for fact in facts if fact.kind == "aftercare"] == [("14", "d")]
    assert [fact.status for fact in facts_of("Cefazolin 2 g 3 days after admission.") if fact.kind == "medication"] == [
        "performed"
    ]  # fmt: skip


def test_a_joint_that_gave_way_was_not_opened_and_tunnels_may_be_counted() -> None:
    assert not _told("Syndesmosis tested, it opened four millimetres.", "act")
    sizes = [fact for fact in facts_of("Patellar tendon reattached 3 x 2 mm tunnels.") if fact.kind == "measurement"]
    assert [bool(fact.doubts) for fact in sizes] == [True, False]
