"""Turns of plain talk at the table, each in several wordings: what must be read of them, and what must not.
[common English usage, no source]"""

from __future__ import annotations

from decimal import Decimal

import pytest
from cases_runner import facts_of

from pipeline import run
from pipeline.records import Fact


def named(text: str, *kinds: str) -> list[Fact]:
    return [fact for fact in facts_of(text) if fact.kind in kinds]


NAMES = """
Surgeon: Dr. Ines Prout. Assistant: Tomas Weil, PA-C. Left shoulder arthroscopy.
Surgeon: A. Hohmann, MD. Assistants: Joan Akin, RN, Tim Foley, PA and L. Hohmann. Right knee arthroscopy.
Patient: Ana Graft. Surgeon: P. Lapidus. Left knee arthroscopy.
surgeon doctor weil assistant doctor foley left knee arthroscopy
""".strip().splitlines()


@pytest.mark.parametrize("text", NAMES)
def test_a_name_is_no_operation_and_no_device(text: str) -> None:
    assert [fact.name for fact in named(text, "procedure", "device", "drain")] == [
        "shoulder-arthroscopy" if "shoulder" in text else "knee-arthroscopy"
    ]


def test_an_operation_beside_a_name_stays() -> None:
    text = "Surgeon: Weil. Left hallux valgus, Weil osteotomy of the second metatarsal."
    assert [fact.name for fact in named(text, "procedure")] == ["metatarsal-osteotomy"]


MORE_EXACTLY = """
Marrow from the left crest. The kit is giving us two, two and a half millilitres of concentrate.|product_volume|2.5
Right knee arthroscopy. Blood loss thirty, thirty and a half millilitres.|blood_loss|30.5
""".strip().splitlines()


@pytest.mark.parametrize("row", MORE_EXACTLY)
def test_what_is_said_more_exactly_holds_in_doubt(row: str) -> None:
    text, kind, value = row.split("|")
    facts = named(text, kind)
    assert [fact.value for fact in facts] == [Decimal(value)]
    assert facts[0].doubts


def test_a_row_of_draws_keeps_its_halves() -> None:
    draws = named("Right iliac crest marrow. Three draws of five, five and a half and six millilitres.", "draw")
    assert [fact.value for fact in draws] == [Decimal("5"), Decimal("5.5"), Decimal("6")]


ROUND = """
Forty mls of quarter percent bupivacaine round the portals and ten into the joint.
Forty mls of quarter percent bupivacaine around the portals and ten mls into the joint.
Forty ml of quarter percent bupivacaine round the wound, ten into the joint.
""".strip().splitlines()


@pytest.mark.parametrize("text", ROUND)
def test_a_second_volume_of_one_drug_is_read(text: str) -> None:
    volumes = named(f"Right hip arthroscopy. {text}", "medication_volume")
    assert [(fact.name, fact.value) for fact in volumes] == [("bupivacaine", 40), ("bupivacaine", 10)]


PASSES = ("3.2 mm drill x 3 passes", "drill x 4 holes", "a 2 mm wire x 5 passes")


@pytest.mark.parametrize("said", PASSES)
def test_passes_are_no_things(said: str) -> None:
    assert not named(f"Right hip core decompression, {said}.", "device_count")


LEFT = ("There's a small defect left, maybe five millimetres deep", "There is a bit of a ridge left, burred",
        "That's about half the meniscus left", "Leaving a rim of six millimetres left, so it is stable")  # fmt: skip


@pytest.mark.parametrize("said", LEFT)
def test_what_remains_is_no_side(said: str) -> None:
    sides = {fact.laterality for fact in facts_of(f"Right shoulder arthroscopy. {said}.")}
    assert "left" not in sides
    assert "right" in sides


LITRES = {"Four litres went in": 4, "We've used nine litres": 9, "Pumped in three litres": 3,
          "We got through about six litres": 6, "Total of nine litres through the joint": 9}  # fmt: skip


@pytest.mark.parametrize("said", LITRES)
def test_litres_that_ran_in(said: str) -> None:
    facts = named(f"Right shoulder arthroscopy. {said}.", "irrigation_in")
    assert [fact.value for fact in facts] == [LITRES[said]]
    assert facts[0].doubts  # what ran in was not said


@pytest.mark.parametrize("said", ["Two litres went in through the drip", "Lost two litres", "Two litres of blood used"])
def test_litres_that_rinsed_nothing(said: str) -> None:
    assert not named(f"Caesarean section. {said}.", "irrigation_in")


VISITS = {"Splint two weeks, six weeks review": 6, "Sling, physio from tomorrow, six weeks clinic with an x-ray": 6,
          "Crutches, six weeks clinic two weeks": 2}  # fmt: skip


@pytest.mark.parametrize("said", VISITS)
def test_the_clinic_behind_its_time(said: str) -> None:
    facts = named(f"Left knee arthroscopy. {said}.", "follow_up")
    assert [(fact.value, fact.unit) for fact in facts] == [(VISITS[said], "wk")]


OUT = {"Stitches at twelve days": ("d", 12), "Clips at two weeks": ("wk", 2), "Sutures after two weeks": ("wk", 2)}


@pytest.mark.parametrize("said", OUT)
def test_stitches_come_out(said: str) -> None:
    text = f"Left elbow release. {said}."
    unit, value = OUT[said]
    facts = named(text, "aftercare")
    assert [(fact.name, fact.value, fact.unit) for fact in facts] == [("suture-removal", value, unit)]
    assert not named(text, "device")


BEFORE = ("No NSAIDs for 7 days prior", "No NSAIDs for two weeks before the injection",
          "Not settled after physio and shockwave elsewhere", "Physio has been unhelpful")  # fmt: skip


@pytest.mark.parametrize("said", BEFORE)
def test_what_was_before_is_no_instruction(said: str) -> None:
    assert not [fact for fact in named(f"Right knee. {said}. PRP injected.", "aftercare")
                if fact.certainty == "affirmed" and fact.status != "historical"]  # fmt: skip


TAKEN_BACK = ("no what am I saying", "listen to me", "silly me", "I got that wrong")


@pytest.mark.parametrize("cue", TAKEN_BACK)
def test_further_words_that_take_back(cue: str) -> None:
    doses = named(f"Right shoulder. Eighty milligrams of triamcinolone, {cue}, forty milligrams.", "medication_dose")
    assert [fact.value for fact in doses] == [40]
    assert doses[0].taken_back


def test_a_medicine_joined_to_one_for_later_is_for_later() -> None:
    text = "Right hip arthroscopy. Naproxen 500 mg twice a day for three weeks, and omeprazole 20 mg."
    told = {fact.name: fact.status for fact in named(text, "medication_dose")}
    assert told == {"naproxen": "planned", "omeprazole": "planned"}


def test_the_rest_of_the_cartilage_is_no_rest() -> None:
    text = "Left knee arthroscopy. Cartilage: MFC ICRS 1, rest 0."
    assert not named(text, "aftercare")


def test_minutes_past_an_unsaid_hour_count_nothing() -> None:
    assert not named("Right hand. Local at five past tourniquet not used.", "device_count")


@pytest.mark.parametrize("said", ["Forty, forty milligrams of triamcinolone", "Triamcinolone, forty, forty milligrams"])
def test_a_dose_said_again_with_its_unit_is_one(said: str) -> None:
    doses = named(f"Right shoulder. {said} into the bursa.", "medication_dose")
    assert [(fact.value, fact.unit) for fact in doses] == [(40, "mg")]


def test_two_draws_of_the_same_stay_two() -> None:
    assert len(named("Right iliac crest marrow. Draws of five, five millilitres.", "draw")) == 2


def test_a_steri_strip_has_no_size_of_a_filter() -> None:
    text = "Right hip marrow. Skin closed with a steri strip filter two hundred micron spun fifteen minutes."
    assert not [fact for fact in named(text, "device_size") if fact.text == "strip"]


def test_turns_after_each_draw_leave_no_way_below_nothing() -> None:
    """Ten draws, nine turns of 0.5 cm between them: 4.5 cm of 3 cm. [worked example of our own arithmetic]"""
    told = "Right hip core decompression. Marrow from the right crest, depth 3 cm, {} draws of 3 mL, {} after each."
    turn = "one full turn of 0.5 cm back"
    assert "needle_depth" in {one.check for one in run.note_from_text(told.format(10, turn), name="a").findings}
    assert "needle_depth" not in {one.check for one in run.note_from_text(told.format(6, turn), name="b").findings}
