"""Numbers and findings beside the wrong noun. The truth is from reading the sentences."""

from __future__ import annotations

from decimal import Decimal

from cases_runner import facts_of


def test_a_number_before_a_tool_is_no_length_of_the_incision() -> None:
    facts = facts_of("Lateral approach, three centimetre incision eight millimetre trephine.")
    assert [fact.value for fact in facts if fact.kind == "incision_length"] == [Decimal(3)]
    assert [fact.value for fact in facts if fact.kind == "device_size"] == [Decimal(8)]


def test_a_role_that_ends_in_a_title_has_the_name_behind_it() -> None:
    told = facts_of("Scrub nurse Lindqvist, anaesthetist doctor Mbeki.")
    assert [(fact.name, fact.text) for fact in told if fact.kind == "team_member"] == [
        ("scrub-nurse", "Lindqvist"), ("anaesthetist", "Mbeki")
    ]  # fmt: skip


def test_a_part_that_no_row_has_is_not_the_part_before() -> None:
    facts = facts_of("Talar dome grade 3, shaved; syndesmotic ligament intact.")
    assert [fact.body_site for fact in facts if fact.name == "intact"] == [None]


def test_touch_weight_bearing_in_a_stream_stays_touch() -> None:
    told = facts_of(
        "portals three oh nylon no complications no drain counts right hinged brace locked in extension for two weeks "
        "then nought to ninety for four touch weight bearing six weeks physio next week clinic in a fortnight"
    )
    assert [fact.name for fact in told if fact.kind == "aftercare" and "weight" in (fact.name or "")] == [
        "touch-weight-bearing"
    ]


def test_how_a_patient_lies_is_no_dressing_and_less_traction_no_reduction() -> None:
    told = facts_of("Right arm over the bolster. Traction twelve pounds, then I reduced it to ten.")
    assert not [fact for fact in told if fact.kind == "dressing" or fact.name == "reduction"]


def test_a_number_before_a_thread_that_has_its_size_behind_it_counts() -> None:
    told = facts_of("Capsule closed with 3 Vicryl 1. Skin 2 nylon 4-0. 2-0 Vicryl.")
    assert [(fact.name, fact.text) for fact in told if fact.kind == "suture"] == [
        ("polyglactin", "1"), ("nylon", "4-0"), ("polyglactin", "2-0")
    ]  # fmt: skip


def test_each_drug_has_the_time_of_its_own_part() -> None:
    told = facts_of("TXA 1 g at 0815, Ancef 2 g 0805, incision 0829.")
    assert [(fact.name, fact.text) for fact in told if fact.kind == "clock_time"] == [
        (None, "08:15"), ("antibiotic", "08:05"), ("incision", "08:29")
    ]  # fmt: skip


def test_how_often_a_medicine_is_taken_in_short() -> None:
    told = facts_of("Etoricoxib 90 mg 1x/d 14 d. Ibuprofen 400 mg 3 x daily. Pantoprazole 40 mg 1-0-0 for 10 days.")
    doses = [fact for fact in told if fact.kind == "medication_dose"]
    assert [str(fact.value) for fact in doses] == ["90", "400", "40"]
    assert {fact.status for fact in doses} == {"planned"}


def test_running_after_weeks_is_no_stitch() -> None:
    told = facts_of("Stitches at ten days, running after six weeks.")
    assert not [fact for fact in told if fact.kind == "closure"]


def test_both_sides_have_their_grade() -> None:
    told = facts_of("ARCO two on the right and ARCO one on the left.")
    assert [(fact.value, fact.laterality) for fact in told if fact.kind == "grade"] == [(2, "right"), (1, "left")]


def test_a_surname_is_no_drain_and_what_is_avoided_stays_avoided() -> None:
    told = facts_of("Patient is mister Kofi Blake. No other problems, no NSAIDs two weeks.")
    assert not [fact for fact in told if fact.kind == "drain"]
    assert [fact.certainty for fact in told if fact.name == "avoid-nsaids"] == ["affirmed"]


def test_what_a_limb_may_carry_is_no_weight_of_the_patient() -> None:
    told = facts_of("Crutches eight weeks, partial weight, twenty kilos. He's ninety kilos.")
    assert [fact.value for fact in told if fact.kind == "patient_weight"] == [Decimal(90)]


def test_w_is_weeks_where_no_power_is_spoken_of() -> None:
    told = facts_of("PWB 15 kg 6 w. Bipolar 30 w.")
    assert [(fact.kind, fact.value, fact.unit) for fact in told if fact.value in (6, 30)] == [
        ("aftercare", Decimal(6), "wk"), ("measurement", Decimal(30), "W")
    ]  # fmt: skip


def test_a_clot_that_is_put_in_is_no_complication() -> None:
    told = facts_of("12 mL of own blood clot injected into the repair.")
    assert not [fact for fact in told if fact.kind in ("fluid_out", "complication")]


def test_the_number_beside_discarded_is_the_one_that_was() -> None:
    told = facts_of("Stopped at point eight mils so point eight in point two discarded.")
    assert not [fact for fact in told if fact.kind == "discarded_volume" and fact.value == Decimal("0.8")]


def test_a_no_that_answers_denies_nothing() -> None:
    told = facts_of("No that was discarded too, splint one week. No we did no drain.")
    assert [fact.certainty for fact in told if fact.kind == "dressing"] == ["affirmed"]
    assert [fact.certainty for fact in told if fact.kind == "drain"] == ["negated"]


def test_a_strength_right_before_its_drug_is_of_no_drug_before() -> None:
    told = facts_of("Forty of methylprednisolone with eight of half percent bupivacaine.")
    assert [fact.name for fact in told if fact.kind == "medication_concentration"] == ["bupivacaine"]


def test_what_will_come_out_is_still_in_and_a_year_is_no_age() -> None:
    told = facts_of("Fixed with two screws. CPM from day two, screws out 1 y.")
    assert not [fact for fact in told if fact.role == "explanted" or fact.kind == "patient_age"]


def test_what_comes_if_it_is_not_better_was_not_done() -> None:
    for text in ("If not better THR.", "If not improved by then, arthroscopy.", "Failing that, knee replacement."):
        assert [fact.status for fact in facts_of(text) if fact.kind == "procedure"] == ["conditional"], text


def test_the_other_part_of_a_pair_is_not_the_one_before() -> None:
    told = facts_of("Lateral meniscus repaired with two all inside medial intact.")
    assert [fact.body_site for fact in told if fact.name == "intact"] == [None]


def test_how_long_physiotherapy_lasts_is_no_length_of_weight_bearing() -> None:
    told = facts_of("Home, WBAT, PT 1 wk, follow-up in two weeks.")
    assert [fact.value for fact in told if fact.kind == "aftercare"] == [None]


def test_marrow_is_taken_from_somewhere_and_is_no_place() -> None:
    told = facts_of("Bone marrow from the left tibia.")
    assert [(fact.name, fact.laterality) for fact in told if fact.kind == "harvest_site"] == [("tibia", "left")]


def test_what_was_done_after_a_denial_was_done() -> None:
    told = facts_of("No implants were used we put in a plate.")
    assert [fact.certainty for fact in told if fact.name == "plate"] == ["affirmed"]
