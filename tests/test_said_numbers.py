"""Ways of saying an amount or a time that stand between the plain number and none, tried in whole sentences.

The ways are common English usage, no source. Of points that part thousands: ISO 80000-1, 7.3.1 (from memory), forbids
them, and much of Europe writes them all the same.
"""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline.records import Fact


def _shown(fact: Fact) -> str:
    number = f"{fact.low}..{fact.high}" if fact.low is not None else fact.text or str(fact.value)
    return " ".join(part for part in (f"{fact.comparator or ''}{number}", fact.unit) if part)


@pytest.mark.parametrize(
    ("said", "kind", "shown"),
    [
        ("Blood loss ten-ish mils.", "blood_loss", "~10 mL"),
        ("Blood loss fifty ish.", "blood_loss", "~50"),
        ("Blood loss 50ish.", "blood_loss", "~50"),
        ("Blood loss a couple of mils.", "blood_loss", "~2 mL"),
        ("Blood loss a couple hundred mils.", "blood_loss", "~200 mL"),
        ("He bled about two hundred mils.", "blood_loss", "~200 mL"),
        ("We gave a couple of grams of cefazolin.", "medication_dose", "~2 g"),
        ("Ketorolac, from ten up to fifteen milligrams, given.", "medication_dose", "10..15 mg"),
        ("Heparin 5k units given.", "medication_dose", "5000 [USP'U]"),
        ("Heparin 2.5k units given.", "medication_dose", "2500 [USP'U]"),
        ("Heparin five k units given.", "medication_dose", "5000 [USP'U]"),
        ("Two k wires placed.", "device_count", "2"),
        ("Tourniquet time 1h12.", "tourniquet_time", "72 min"),
        ("Tourniquet time 1hr12.", "tourniquet_time", "72 min"),
        ("Tourniquet time was 1:12.", "tourniquet_time", "72 min"),
        ("Tourniquet time 0:45.", "tourniquet_time", "45 min"),
    ],
)
def test_an_amount_is_read_as_it_is_said(said: str, kind: str, shown: str) -> None:
    facts = [fact for fact in facts_of(f"Right wrist. {said}") if fact.kind == kind]
    assert [_shown(fact) for fact in facts] == [shown]
    assert facts[0].doubts == ()


def test_a_time_with_its_end_is_no_length() -> None:
    facts = facts_of("Right knee arthroscopy. Tourniquet time 9:15 to 10:05.")
    assert [fact for fact in facts if fact.kind == "tourniquet_time"] == []


@pytest.mark.parametrize(
    ("said", "times"),
    [
        ("Tourniquet up at ten past ten, off at five to eleven.", ["10:10", "10:55"]),
        ("Traction on at 10:10, off at five to eleven.", ["10:10", "10:55"]),
        ("Clamp on 10.10 off 10.55.", ["10:10", "10:55"]),
        ("Tourniquet up at nine twelve. Incision at nine fourteen. Down at nine fifty seven.",
         ["09:12", "09:14", "09:57"]),
        ("Tourniquet up 0912, down 0957, up again 1012, down 1042.", ["09:12", "09:57", "10:12", "10:42"]),
        ("Tourniquet up 09:12, down 09:57, up 10:12, down 10:42.", ["09:12", "09:57", "10:12", "10:42"]),
        ("Inflated the tourniquet at 09:12, deflated at 09:57, inflated a second time at 10:12 and deflated at 10:42.",
         ["09:12", "09:57", "10:12", "10:42"]),
    ],
)
def test_what_is_on_and_off_has_both_its_times(said: str, times: list[str]) -> None:
    facts = [fact for fact in facts_of(f"Left hip. {said}") if fact.kind == "clock_time"]
    assert sorted(str(fact.text) for fact in facts) == times
    assert all(fact.name and not any("different value" in doubt for doubt in fact.doubts) for fact in facts)


@pytest.mark.parametrize(
    ("said", "times"),
    [
        ("Tourniquet up at nine, down at ten.", ["09:00", "10:00"]),
        ("Tourniquet up at 9, down at 10.", ["09:00", "10:00"]),
        ("Skin closed by ten.", ["10:00"]),
        ("Time out at nine.", ["09:00"]),
        ("Incision at nine sharp.", ["09:00"]),
        ("Cefazolin given at eight.", ["08:00"]),
        ("First draw at one centimetre, second at two.", []),
        ("Anchors at nine, ten and eleven.", []),
        ("Portal at nine.", []),
    ],
)
def test_a_whole_hour_is_a_time_only_of_an_event(said: str, times: list[str]) -> None:
    facts = [fact for fact in facts_of(f"Left hip arthroscopy. {said}") if fact.kind == "clock_time"]
    assert sorted(str(fact.text) for fact in facts) == times
    assert all("only the hour was said" in fact.doubts for fact in facts)


def test_two_times_for_one_inflation_stay_in_doubt() -> None:
    facts = facts_of("Left knee arthroscopy. Tourniquet up 09:12, down 09:57. Tourniquet up 09:12, down 10:07.")
    assert [bool(fact.doubts) for fact in facts if fact.name == "tourniquet_down"] == [True, True]


@pytest.mark.parametrize(
    ("said", "doubted"),
    [
        ("Heparin 5.000 IU given.", True),
        ("Irrigated with 2.500 ml saline.", True),
        ("Cefazolin 1,000 mg given.", False),
        ("Digoxin 0.125 mg given.", False),
        ("Levothyroxine 1.25 mg given.", False),
    ],
)
def test_a_point_that_may_part_thousands_is_in_doubt(said: str, doubted: bool) -> None:
    numbers = [fact for fact in facts_of(f"Right knee. {said}") if fact.value is not None]
    assert numbers
    assert [bool(fact.doubts) for fact in numbers] == [doubted] * len(numbers)
