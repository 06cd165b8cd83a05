"""Numbers whose unit is left out because it was just said. Expected values: how English gaps what repeats."""

from __future__ import annotations

import pytest

from pipeline.tokens import words_from_text
from pipeline.utterances import read


def amounts(text: str) -> list[tuple[str, str | None, bool]]:
    """(value, unit, in doubt) of every number of the first sentence."""
    (sentence,) = read(words_from_text(text))
    return [(str(token.quantity.value), token.quantity.unit, bool(token.quantity.doubts))
            for token in sentence.tokens if token.quantity is not None]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("four mils into the talus and two into the fibula",
         [("4", "mL", False), ("2", "mL", True)]),
        ("three mils of the concentrate into the glenoid, two into the head, and the remaining one into the joint",
         [("3", "mL", False), ("2", "mL", True), ("1", "mL", True)]),
        ("eighty milligrams in the left elbow and forty in the right",
         [("80", "mg", False), ("40", "mg", True)]),
        ("tranexamic acid one gram before and one at closure", [("1", "g", False), ("1", "g", True)]),
        ("fentanyl fifty mics, fifty more at incision", [("50", "ug", False), ("50", "ug", True)]),
        ("eight milligrams, then another eight at the end", [("8", "mg", False), ("8", "mg", True)]),
        ("two grams at eight and two more at twelve",
         [("2", "g", False), ("8", None, False), ("2", "g", True), ("12", None, False)]),
        ("one gram before incision and another one gram at closure", [("1", "g", False), ("1", "g", False)]),
    ],
)  # fmt: skip
def test_a_gapped_unit_is_lent_and_asked_about(text: str, expected: list[tuple[str, str | None, bool]]) -> None:
    assert amounts(text) == expected


@pytest.mark.parametrize(
    "text",
    [
        "four mils into the talus and two anchors",  # another noun
        "four mils into the talus, two in all",  # a total
        "a five millimetre port in the flank and two in the groin",  # two ports
        "four mils into the talus for two to three minutes",
        "four mils of lidocaine, another two portals",
        "two grams of cefazolin and one more suture",
        "we used four mils, two in the morning",  # the first stands before no place
    ],
)
def test_what_is_no_gap_gets_no_unit(text: str) -> None:
    units = [unit for _, unit, _ in amounts(text)[1:] if unit != "min"]
    assert not [unit for unit in units if unit is not None]


@pytest.mark.parametrize(("text", "expected"), [
    ("the point five milligrams of adrenaline", [("0.5", "mg", False)]),
    ("incision at the point three centimetres below the joint", [("3", "cm", True)]),
    ("each trigger point five mils", [("5", "mL", False)]),
])  # fmt: skip
def test_a_point_before_a_number_is_a_decimal_or_a_place(text: str, expected: list[tuple[str, str, bool]]) -> None:
    assert amounts(text) == expected


@pytest.mark.parametrize(("text", "expected"), [
    ("thirty, three zero, milligrams", [("30", "mg", False)]),
    ("fifteen, that is one five mils", [("15", "mL", False)]),
    ("two hundred and forty, two four zero, milligrams", [("240", "mg", False)]),
    ("thirty, one three, milligrams", [("30", None, False), ("1", None, False), ("3", None, False)]),
    ("draws of fifteen, one, five and ten", [(value, None, False) for value in ("15", "1", "5", "10")]),
])  # fmt: skip
def test_a_number_said_and_spelled_is_one(text: str, expected: list[tuple[str, str | None, bool]]) -> None:
    assert amounts(text) == expected


@pytest.mark.parametrize(("text", "expected"), [
    ("epinephrine one to two hundred thousand ten mils", [("200000", None, False), ("10", "mL", False)]),
    ("adrenaline one in ten thousand eight millilitres", [("10000", None, False), ("8", "mL", False)]),
    ("adrenaline one to eighty thousand", [("80000", None, False)]),
])  # fmt: skip
def test_a_ratio_ends_with_its_thousands(text: str, expected: list[tuple[str, str | None, bool]]) -> None:
    assert amounts(text) == expected


@pytest.mark.parametrize(("text", "expected"), [
    ("twenty uh millilitres", [("20", "mL", False)]),
    ("twenty um five millilitres", [("25", "mL", True)]),
    ("a filter of 200 um", [("200", "um", False)]),
    ("EBL 25 um cc", [("25", "mL", False)]),
    ("um ten er milligrams", [("10", "mg", False)]),
    ("ten, um, fifteen", [("10", None, False), ("15", None, False)]),
])  # fmt: skip
def test_hesitations_part_no_number_from_its_unit(text: str, expected: list[tuple[str, str | None, bool]]) -> None:
    assert amounts(text) == expected


def test_every_word_stays_in_a_token_beside_hesitations() -> None:
    words = words_from_text("um the uh left knee, you know, was er opened um")
    covered = {word for sentence in read(words) for token in sentence.tokens
               for word in range(token.first, token.last + 1)}  # fmt: skip
    assert sorted(covered) == [word.id for word in words]


@pytest.mark.parametrize(("text", "expected"), [
    ("weight seventy kilos two grams cefazolin", [("70", "kg", False), ("2", "g", False)]),
    ("cefazolin two grams eight milligrams dexamethasone", [("2", "g", False), ("8", "mg", False)]),
    ("saline one litre five millilitres of lidocaine", [("1", "L", False), ("5", "mL", False)]),
    ("incision four centimetres five millimetre port", [("4", "cm", False), ("5", "mm", False)]),
    ("three kilos two hundred grams", [("3200", "g", False)]),
    ("one gram five hundred milligrams of calcium", [("1500", "mg", False)]),
    ("four centimetres five millimetres long", [("45", "mm", False)]),
])  # fmt: skip
def test_two_amounts_side_by_side_are_one_only_where_the_second_can_be_the_rest(
    text: str, expected: list[tuple[str, str | None, bool]]
) -> None:
    assert amounts(text) == expected
