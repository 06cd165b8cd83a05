"""Conversion, drug arithmetic, times of day and device identifiers against published values."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.conversion import convert, convertible
from pipeline.dosing import adrenaline, allowable_loss, blood_volume, in_solution, maximum, strength
from pipeline.timespan import day, minutes_between
from pipeline.udi import as_written, check_digit, read


@pytest.mark.parametrize(
    ("value", "unit", "other", "result"),
    [
        ("250", "mm[Hg]", "kPa", "33.3305"),  # UCUM: m[Hg] = 133.322 kPa
        ("2", "g", "mg", "2000"),
        ("1.5", "L", "mL", "1500"),
        ("1", "cm3", "mL", "1"),  # SI Brochure: 1 L = 1 dm3
        ("1", "[in_i]", "mm", "25.4"),  # UCUM: [in_i] = 2.54 cm
        ("1", "[lb_av]", "g", "453.59237"),  # UCUM: [lb_av] = 453.59237 g
        ("2", "wk", "d", "14"),
        ("1000", "[USP'U]/mL", "[iU]/mL", "1000"),  # FDA: since October 2009 one USP unit is one international unit
        ("1", "{turn}", "deg", "360"),
        ("7", "mL/kg", "mL/g", "0.007"),
    ],
)
def test_conversion(value: str, unit: str, other: str, result: str) -> None:
    assert convert(D(value), unit, other) == D(result)


@pytest.mark.parametrize(
    ("unit", "other"),
    [("mg", "mL"), ("%", "mg/mL"), ("[USP'U]", "%"), ("mg/kg", "%"), ("[Ch]", "mm"), ("{gauge}", "mm"), ("?", "mL"),
     ("10^9/L", "/L"), ("mg", "[iU]")],
)  # fmt: skip
def test_what_is_not_the_same_measure_is_never_converted(unit: str, other: str) -> None:
    assert not convertible(unit, other)
    with pytest.raises(ValueError, match="cannot convert"):
        convert(D(1), unit, other)


@settings(deadline=None)
@given(st.decimals(min_value="0.001", max_value="10000", places=3), st.sampled_from(["mL", "L", "dL", "uL", "cm3"]))
def test_there_and_back(value: D, unit: str) -> None:
    assert convert(convert(value, unit, "mL"), "mL", unit) == value


@pytest.mark.parametrize(
    ("value", "unit", "per_ml", "of"),
    [
        ("1", "%", "10", "mg"),  # drug labels; Medscape
        ("0.25", "%", "2.5", "mg"),
        ("0.2", "%", "2", "mg"),
        ("2.5", "mg/mL", "2.5", "mg"),
        ("2000", "[USP'U]/mL", "2000", "[USP'U]"),
        ("40", "mg/dL", "0.4", "mg"),
    ],
)
def test_strength(value: str, unit: str, per_ml: str, of: str) -> None:
    assert strength(D(value), unit) == (D(per_ml), of)


def test_amounts() -> None:
    assert in_solution(D("0.25"), "%", D(20), "mL") == (D(50), "mg")
    assert in_solution(D("1"), "%", D(27), "mL") == (D(270), "mg")  # US label: 60 kg, 4.5 mg/kg
    assert in_solution(D("2000"), "[USP'U]/mL", D(2), "mL") == (D(4000), "[USP'U]")
    assert in_solution(D(1), "%", D(5), "mg") is None


def test_adrenaline_ratio() -> None:
    assert adrenaline(D(100000), D(1)) == 10  # 1:100,000 = 10 ug/mL (Medscape)
    assert adrenaline(D(200000), D(1)) == 5


def test_maximum() -> None:
    assert maximum(D("4.5"), D(300), D(70)) == 300  # US label: not 315
    assert maximum(D("4.5"), D(300), D(60)) == 270
    assert maximum(D(7), D(500), D(70)) == 490
    assert maximum(D(7), None, None) is None


def test_blood_volume_and_allowable_loss() -> None:
    # Nadler's formula; perioperative manuals: 50 kg woman at 65 mL/kg, 45 to 30; 80 kg man at 75 mL/kg, 40 to 21
    assert round(blood_volume("male", D("1.75"), D(70)), 3) == D("4.824")
    assert round(blood_volume("female", D("1.65"), D(60)), 3) == D("3.768")
    assert round(allowable_loss(D(50 * 65), D(45), D(30))) == 1083
    assert round(allowable_loss(D(80 * 75), D(40), D(21))) == 2850


@pytest.mark.parametrize(
    ("early", "late", "minutes"),
    [("08:50", "09:38", 48), ("23:50", "00:40", 50), ("09:30", "08:30", -60), ("08:50", "01:10", 260),
     ("12:30", "01:15", 45), ("22:00", "06:00", 480), ("14:12", "02:48", 36), ("01:50", "14:20", 30)],
)  # fmt: skip
def test_minutes_between(early: str, late: str, minutes: int) -> None:
    assert minutes_between(early, late) == minutes


def test_days() -> None:
    assert day("2026-02") == date(2026, 2, 28)
    assert day("2027-12-00") == date(2027, 12, 31)  # GS1: day 00 is the end of the month
    assert day("2026-02-30") is None
    assert day("March") is None
    assert minutes_between("25:00", "08:00") is None


def test_gs1_check_digit_of_the_specification() -> None:
    assert check_digit("0950110153000") == 3  # GS1 General Specifications: 09501101530003
    assert read("09501101530003").problem == ""


@settings(deadline=None)
@given(st.text("0123456789", min_size=13, max_size=13), st.integers(0, 12), st.integers(1, 9))
def test_one_wrong_digit_is_always_seen(digits: str, place: int, step: int) -> None:
    # GS1: mod 10 with weights 3 and 1 finds every single wrong digit
    right = digits + str(check_digit(digits))
    wrong = right[:place] + str((int(right[place]) + step) % 10) + right[place + 1 :]
    assert read(right).problem == ""
    assert "check digit" in read(wrong).problem


@pytest.mark.parametrize(
    "said",
    [
        "(01)09501101530003(17)270331(10)AB12",
        "01095011015300031727033110AB12",
        "bracket zero one bracket zero nine five zero one one zero one five three triple zero three bracket one seven "
        "bracket two seven zero three three one bracket one zero bracket A B one two",
        "open bracket 01 close bracket 0 9 5 0 1 1 0 1 5 3 0 0 0 3 (17) 270331 (10) AB12",
    ],
)
def test_a_udi_said_or_typed(said: str) -> None:
    udi = read(said)
    assert (udi.device, udi.expiry, udi.lot, udi.problem) == ("09501101530003", date(2027, 3, 31), "AB12", "")


def test_hibc_check_character() -> None:
    # ANSI/HIBC 2.6, worked example of the supplier labelling standard [from memory]: +A123BJC5D6E71G
    assert read("+A123BJC5D6E71G").problem == ""
    assert "check character" in read("+A123BJC5D6E71H").problem


def test_nothing_is_guessed() -> None:
    assert read("").problem
    assert read("one two three").problem
    assert as_written("double oh seven") == "007"
