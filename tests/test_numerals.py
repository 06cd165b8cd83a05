"""Spoken and written numbers. The spelling out of numbers is checked against num2words, an independent speller."""

from __future__ import annotations

from decimal import Decimal

import num2words
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline import numerals

# English number words, common usage; trailing zeros are kept because they were said.
SAID = [
    ("five", "5"),
    ("zero", "0"),
    ("a hundred and five", "105"),
    ("one hundred five", "105"),
    ("one oh five", "105"),
    ("one zero five", "105"),
    ("two five zero", "250"),
    ("two point oh", "2.0"),
    ("two point zero", "2.0"),
    ("point two five", "0.25"),
    ("zero point two five", "0.25"),
    ("oh point five", "0.5"),
    ("nought point one two five", "0.125"),
    ("point oh five", "0.05"),
    ("two point five zero", "2.50"),
    ("two point twenty five", "2.25"),
    ("thirty seven point five", "37.5"),
    ("nine nine point five", "99.5"),
    ("two and a half", "2.5"),
    ("two and three quarters", "2.75"),
    ("one and a quarter", "1.25"),
    ("three and five eighths", "3.625"),
    ("four and a half thousand", "4500"),
    ("two and a half million", "2500000"),
    ("half", "0.5"),
    ("a quarter", "0.25"),
    ("three eighths", "0.375"),
    ("five sixteenths", "0.3125"),
    ("twenty five hundred", "2500"),
    ("fourteen hundred", "1400"),
    ("two hundred fifty thousand", "250000"),
    ("two hundred thousand", "200000"),
    ("two thousand and seven", "2007"),
    ("one point five million", "1500000"),
    ("a dozen", "12"),
    ("two dozen", "24"),
    ("minus five", "-5"),
    ("two fifty", "250"),
]
WRITTEN = [
    ("5", "5"),
    ("1,000", "1000"),
    ("10,000", "10000"),
    ("0.25", "0.25"),
    (".5", "0.5"),
    ("2.50", "2.50"),
    ("½", "0.5"),
    ("2½", "2.5"),
    ("2 ½", "2.5"),
    ("1/2", "0.5"),
    ("3/8", "0.375"),
    ("2-1/2", "2.5"),
    ("2 1/2", "2.5"),
    ("-5", "-5"),
    ("200 000", "200000"),
    ("5 hundred", "500"),
    ("1.5 million", "1500000"),
    ("4 point 5", "4.5"),
]
NO_NUMBER = [
    "fifteen fifty",
    "L4",
    "1:200,000",
    "five to six",
    "the",
    "point",
    "a third",
    "120/80",
    "8/10",
    "and",
    "3-0",
]


@pytest.mark.parametrize(("text", "value"), SAID + WRITTEN, ids=lambda item: str(item))
def test_is_read_exactly(text: str, value: str) -> None:
    read = numerals.parse(text)
    assert read is not None
    assert str(read) == value


@pytest.mark.parametrize("text", NO_NUMBER)
def test_is_no_single_number(text: str) -> None:
    assert numerals.parse(text) is None


def test_fraction_without_finite_decimal_keeps_its_text() -> None:
    numeral = numerals.read(["two", "thirds"], 0)
    assert numeral is not None
    assert (numeral.value, numeral.text) == (None, "2/3")


@pytest.mark.parametrize("text", ["two fifty", "nine nine point five"])
def test_two_readings_come_with_a_doubt(text: str) -> None:
    numeral = numerals.read(text.split(), 0)
    assert numeral is not None
    assert "could be" in numeral.doubt


@settings(deadline=None, max_examples=400)
@given(st.integers(min_value=0, max_value=10**9 - 1))
@example(100)
@example(1_000_001)
@example(200_000)
@example(10_010)
def test_spelled_integers_come_back(value: int) -> None:
    spelled = num2words.num2words(value).replace(",", "")
    assert numerals.parse(spelled) == value
    assert numerals.parse(str(value)) == value
    assert numerals.parse(f"{value:,}") == value


@settings(deadline=None, max_examples=300)
@given(st.integers(min_value=0, max_value=99_999), st.integers(min_value=1, max_value=3))
def test_spelled_decimals_come_back(digits: int, places: int) -> None:
    value = Decimal(digits).scaleb(-places)
    whole, _, rest = f"{value:f}".partition(".")
    words = "zero one two three four five six seven eight nine".split()
    spelled = f"{num2words.num2words(int(whole)).replace(',', '')} point {' '.join(words[int(d)] for d in rest)}"
    read = numerals.parse(spelled)
    assert read == value
    assert str(read) == f"{whole}.{rest}" == str(numerals.parse(f"{whole}.{rest}"))


@settings(deadline=None)
@given(st.integers(min_value=1, max_value=100))
def test_ordinals_come_back(value: int) -> None:
    spelled = num2words.num2words(value, to="ordinal")
    words = spelled.replace("-", " ").replace("one hundredth", "hundredth").split()
    found = numerals.read_ordinal(words, 0, glued=True)
    assert found == (value, len(words))
    digits = num2words.num2words(value, to="ordinal_num")
    assert numerals.read_ordinal([digits], 0, glued=False) == (value, 1)
