"""Numbers said together with the one that they are not. The sentences are of our own making; no source."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline.records import Sentence
from pipeline.tokens import words_from_text
from pipeline.utterances import read


def values(sentence: Sentence) -> list[tuple[Decimal | None, str | None]]:
    return [(t.quantity.value, t.quantity.unit) for t in sentence.tokens if t.quantity is not None]


@pytest.mark.parametrize(
    ("text", "value", "unit", "back"),
    [
        ("The screw was thirty millimetres, not forty.", "30", "mm", "forty"),
        ("A length of thirty, not forty, millimetres.", "30", "mm", "forty"),
        ("A 4.0 mm screw, not a 3.5.", "4.0", "mm", "3.5"),
        ("Blood loss was not fifty but one hundred mils.", "100", "mL", "fifty"),
        ("Not forty, thirty millimetres.", "30", "mm", "forty"),
        ("Two screws instead of three.", "2", None, "three"),
        ("Eight rather than ten millilitres went in.", "8", "mL", "ten millilitres"),
    ],
)
def test_the_denied_number_is_no_value(text: str, value: str, unit: str | None, back: str) -> None:
    (sentence,) = read(words_from_text(text))
    assert values(sentence) == [(Decimal(value), unit)]
    assert [strike.taken_back.heard.strip(",.") for strike in sentence.strikes if strike.clear] == [back]


def test_two_numbers_after_a_denial_leave_both_values_in_doubt() -> None:
    (sentence,) = read(words_from_text("The draw was five millilitres not two three millilitres."))
    assert values(sentence) == [(Decimal(5), "mL"), (Decimal(3), "mL")]
    assert [strike.clear for strike in sentence.strikes] == [True, False]


@pytest.mark.parametrize(
    "text",
    ["Five portals, not all of them closed.", "Ten millilitres, not more than fifteen millilitres.",
     "The cuff was not inflated to 250 mmHg."],
)  # fmt: skip
def test_other_denials_take_nothing_back(text: str) -> None:
    assert not [strike for sentence in read(words_from_text(text)) for strike in sentence.strikes]


@pytest.mark.parametrize(
    ("text", "unit"),
    [("The needle was advanced four millimetres, no, centimetres.", "cm"),
     ("Ten of ropivacaine, I mean mils.", "mL"), ("Fifty milligrams, no, micrograms of fentanyl.", "ug")],
)  # fmt: skip
def test_a_correction_of_the_unit_alone(text: str, unit: str) -> None:
    (sentence,) = read(words_from_text(text))
    assert [found for _, found in values(sentence)] == [unit]
    assert [strike.clear for strike in sentence.strikes] == [True]


def test_no_before_a_thing_that_is_measured_corrects_no_unit() -> None:
    (sentence,) = read(words_from_text("The needle was advanced four millimetres, no centimetre scale was used."))
    assert values(sentence) == [(Decimal(4), "mm")]
