"""Numbers with units, and number-like strings that are none.

Unit codes are checked by an independent UCUM parser; equal values in words and digits by a property.
"""

from __future__ import annotations

import json
import tomllib
from decimal import Decimal
from pathlib import Path

import num2words
import pytest
import ucumvert
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import grammar, paths
from pipeline.quantities import merge
from pipeline.records import Quantity, Token
from pipeline.rows import Kind, Unit
from pipeline.tokens import tokenize, words_from_text
from pipeline.utterances import read

POOL = Path(__file__).resolve().parents[2] / "shared" / "notes_pool.jsonl"
UCUM = ucumvert.get_ucum_parser()
UNITS = grammar.load().table("units", Unit)
DERIVED = {  # what a unit per another may measure, beside the rows of units.toml
    "mass_concentration", "concentration", "mass_per_mass", "amount_per_mass", "volume_per_mass", "mass_per_area",
    "energy_per_area", "length_per_turn", "rate", "other", "ratio", "none",
}  # fmt: skip


def tokens_of(text: str) -> list[Token]:
    return merge(tokenize(words_from_text(text)))


def quantities_of(text: str) -> list[Quantity]:
    return [token.quantity for token in tokens_of(text) if token.quantity is not None]


def shown(quantity: Quantity) -> str:
    number = f"{quantity.low}..{quantity.high}" if quantity.low is not None else str(quantity.value)
    return f"{quantity.comparator or ''}{number} {quantity.unit}"


# (text, value and UCUM unit). UCUM codes: The Unified Code for Units of Measure, 2.1. Sizes and doses are those that
# are said in theatre [common practice, no source]; values of the percent and ratio rows: standards of the labels.
MEASURED = [
    ("a hundred and five millilitres", ["105 mL"]),
    ("one oh five mL", ["105 mL"]),
    ("zero point two five percent bupivacaine", ["0.25 %"]),
    ("quarter percent bupivacaine", ["0.25 %"]),
    ("0.25% Marcaine", ["0.25 %"]),
    ("half a percent", ["0.5 %"]),
    ("half a centimetre", ["0.5 cm"]),
    ("another gram", ["1 g"]), ("another five millilitres", ["5 mL"]),
    ("an inch and a half", ["1.5 [in_i]"]),
    ("two inches and a quarter", ["2.25 [in_i]"]),
    ("two and a half millilitres", ["2.5 mL"]),
    ("a litre of saline", ["1 L"]),
    ("half a litre", ["0.5 L"]),
    ("half a dozen clips", ["6 None"]),
    ("half a dozen millilitres", ["6 mL"]),
    ("and a further gram at closure", ["1 g"]),
    ("a second gram at closure", ["1 g"]),
    ("then a full turn", ["1 {turn}"]),
    ("give a", []),
    ("a full litre of saline", ["1 L"]),
    ("half an hour", ["0.5 h"]),
    ("three quarters of an hour", ["0.75 h"]),
    ("a quarter of an inch", ["0.25 [in_i]"]),
    ("three eighths inch", ["0.375 [in_i]"]),
    ("five sixteenths of an inch", ["0.3125 [in_i]"]),
    ("3-1/2-inch", ["3.5 [in_i]"]),
    ("II grams of cefazolin", ["2 g"]),
    ("Kefzol I g IV", ["1 g"]),
    ("three half turns", ["1.5 {turn}"]),
    ("then a half turn", ["0.5 {turn}"]),
    ("ten cc", ["10 mL"]),
    ("10 ccs", ["10 mL"]),
    ("5mL", ["5 mL"]),
    ("two hundred mics of fentanyl", ["200 ug"]),
    ("125 mcg of digoxin", ["125 ug"]),
    ("five thousand units of heparin", ["5000 [USP'U]"]),
    ("five hundred international units", ["500 [iU]"]),
    ("one thousand units per millilitre", ["1000 [USP'U]/mL"]),
    ("1000 units/mL", ["1000 [USP'U]/mL"]),
    ("two units of packed cells", ["2 {unit}"]),
    ("five milligrams per millilitre", ["5 mg/mL"]),
    ("5mg/mL", ["5 mg/mL"]),
    ("4.5 mg/kg", ["4.5 mg/kg"]),
    ("5 mcg/kg/min", ["5 ug/kg/min"]),
    ("ten millilitres per hour", ["10 mL/h"]),
    ("ten litres per minute", ["10 L/min"]),
    ("five million per millilitre", ["5 10*6/mL"]),
    ("seventy beats per minute", ["70 /min"]),
    ("two hundred and fifty millimetres of mercury", ["250 mm[Hg]"]),
    ("250 mmHg", ["250 mm[Hg]"]),
    ("two fifty millimetres of mercury", ["250 mm[Hg]"]),
    ("twenty centimetres of water", ["20 cm[H2O]"]),
    ("sixteen French", ["16 [Ch]"]),
    ("6-French", ["6 [Ch]"]),
    ("an eighteen gauge needle", ["18 {gauge}"]),
    ("#25 gauge needle", ["25 {gauge}"]),
    ("three full turns", ["3 {turn}"]),
    ("half a turn", ["0.5 {turn}"]),
    ("two and a half turns", ["2.5 {turn}"]),
    ("thirty degrees", ["30 deg"]),
    ("minus five degrees", ["-5 deg"]),
    ("thirty six point five degrees Celsius", ["36.5 Cel"]),
    ("37.5°C", ["37.5 Cel"]),
    ("a thirty-four year old", ["34 a"]),
    ("48-year-old", ["48 a"]),
    ("sixty seconds", ["60 s"]),
    ("a ten second soak", ["10 s"]),
    ("two joules", ["2 J"]),
    ("thirty watts", ["30 W"]),
    ("four newton metres", ["4 N.m"]),
    ("seventy kilovolts", ["70 kV"]),
    ("forty milliequivalents", ["40 meq"]),
    ("twenty one dioptres", ["21 [diop]"]),
    ("39 2/7 weeks", ["275 d"]),
    ("at forty plus three weeks", ["283 d"]),
    ("six plus three weeks", ["6 wk", "3 wk"]),
    ("five more days", ["5 d"]),
    ("sutures out day 7", ["7 d"]),
    ("flat in bed 48 h", ["48 h"]),
    ("No lifting >20 lb", [">20 [lb_av]"]),
    ("temp >100.4", [">100.4 None"]),
    ("Hb 13.2 -> 11.9 g/dL", ["13.2 g/dL", "11.9 g/dL"]),
    ("forty milligrams a day", ["40 mg"]),
    ("rest for a day or two", ["1..2 d"]),
    ("the same four turn the needle half a turn", ["4 None", "0.5 {turn}"]),
    ("drawing one two three four mils", ["4 mL"]),  # counted aloud
    ("phaco time one minute twelve bottle height", ["72 s"]),
    ("one minute twenty screws", ["1 min", "20 None"]),
    ("two grams q6h", ["2 g", "6 h"]),
    ("one three point five millimetre lag screw", ["1 None", "3.5 mm"]),
    ("one twelve millimetre port", ["1 None", "12 mm"]),
    ("two five millimetre", ["2 None", "5 mm"]),
    ("one twenty mils", ["120 mL"]),
    # ranges are never their mean
    ("twenty to thirty millilitres", ["20..30 mL"]),
    ("between ten and fifteen mL", ["10..15 mL"]),
    ("from ten to fifteen mL", ["10..15 mL"]),
    ("five or six millilitres", ["5..6 mL"]),
    ("5-10 mL", ["5..10 mL"]),
    ("10- to 11-mm spacer", ["10..11 mm"]),
    ("40% to 50%", ["40..50 %"]),
    ("40-60% stenosis", ["40..60 %"]),
    ("500 mL to 1 L", ["0.5..1 L"]),
    ("1-200 cc", ["100..200 mL"]),
    ("one to two hundred cc", ["100..200 mL"]),
    ("2 to 300 mL", ["200..300 mL"]),
    ("one to two weeks", ["1..2 wk"]),
    ("increased from 250 to 280 mmHg", ["250 mm[Hg]", "280 mm[Hg]"]),
    # comparators
    ("less than ten mL", ["<10 mL"]),
    ("about five centimetres", ["~5 cm"]),
    ("approximately 90 minutes", ["~90 min"]),
    ("at least 5 cm", [">=5 cm"]),
    ("up to ninety degrees", ["<=90 deg"]),
    ("more than two litres", [">2 L"]),
    ("over five minutes", ["5 min"]),
    # one unit for a list
    ("5 and 10 mL", ["5 mL", "10 mL"]),
    ("ten, five and five millilitres", ["10 mL", "5 mL", "5 mL"]),
    ("5 x 3 x 2 cm", ["5 cm", "3 cm", "2 cm"]),
    ("ten by eight millimetres", ["10 mm", "8 mm"]),
    ("2.7x16mm", ["2.7 mm", "16 mm"]),
    ("three, 5 mm ports", ["3 None", "5 mm"]),
    ("two 5-mm ports", ["2 None", "5 mm"]),
    # compound values
    ("1 g 500 mg", ["1500 mg"]),
    ("one gram and five hundred milligrams", ["1 g", "500 mg"]),
    ("five foot two", ["62 [in_i]"]),
    ("1 hour and 20 minutes", ["80 min"]),
    ("one hour twenty", ["80 min"]),
    ("two minutes thirty seconds", ["150 s"]),
    ("two hours", ["2 h"]),
    # a count beside a size is not swallowed by it
    ("two five millimetre ports", ["2 None", "5 mm"]),
    ("six three point five millimetre screws", ["6 None", "3.5 mm"]),
    ("two twenty millimetre screws", ["2 None", "20 mm"]),
    ("fifteen fifty", ["15 None", "50 None"]),
    # no unit said, none given
    ("blood loss 300", ["300 None"]),
    ("the blood loss was two hundred and fifty", ["250 None"]),
]

# (text, form, canonical text)
SHAPES = [
    ("L4-L5", "level", "L4-L5"),
    ("L four five", "level", "L4-L5"),
    ("L four L five", "level", "L4-L5"),
    ("L five S one", "level", "L5-S1"),
    ("C5-6", "level", "C5-C6"),
    ("c five six", "level", "C5-C6"),
    ("T12", "level", "T12"),
    ("L3-L4-L5", "level", "L3-L4-L5"),
    ("gauze 4x4s", "size", "4x4"),
    ("four by four gauze", "size", "4x4"),
    ("Adaptic, 4 x 4's", "size", "4x4"),
    ("at the 3 o'clock position", "clock_face", "3 o'clock"),
    ("at approximately 2 o'clock", "clock_face", "2 o'clock"),
    ("in the room at eight o'clock", "clock", "08:00"),
    ("fourteen hundred hours", "clock", "14:00"),
    ("oh nine fifteen", "clock", "09:15"),
    ("thirteen hundred thirty hours", "clock", "13:30"),
    ("time out twelve hundred", "clock", "12:00"),
    ("cuff inflated 1102", "clock", "11:02"),
    ("two thirds of a litre", "fraction", "2/3 L"),
    ("at 14:05", "clock", "14:05"),
    ("0915 hours", "clock", "09:15"),
    ("ten thirty a.m.", "clock", "10:30"),
    ("two thirty p.m.", "clock", "14:30"),
    ("half past eight", "clock", "08:30"),
    ("incision at eight fifty-five", "clock", "08:55"),
    ("tourniquet up at nine oh five", "clock", "09:05"),
    ("twelve oh five in the afternoon", "clock", "12:05"),
    ("knife to skin twelve minutes past nine", "clock", "09:12"),
    ("removed at 5 past 3", "clock", "03:05"),
    ("started at a quarter to eight", "clock", "07:45"),
    ("finished at half nine", "clock", "09:30"),
    ("closure at noon", "clock", "12:00"),
    ("finished just after midnight", "clock", "00:00"),
    ("called at two in the morning", "clock", "02:00"),
    ("up at 09.12 h", "clock", "09:12"),
    ("clamp on nine thirty one", "clock", "09:31"),
    ("start sixteen hundred", "clock", "16:00"),
    ("knife to skin at nine o'clock", "clock", "09:00"),
    ("corneal incision at ten o'clock", "clock_face", "10 o'clock"),
    ("three oh Vicryl", "suture", "3-0"),
    ("three zero silk", "suture", "3-0"),
    ("4-0", "suture", "4-0"),
    ("#2-0 silk", "suture", "2-0"),
    ("double oh nylon", "suture", "2-0"),
    ("0 Vicryl", "suture", "0"),
    ("oh Vicryl", "suture", "0"),
    ("number one PDS", "suture", "1"),
    ("#1 Ethibond", "suture", "1"),
    ("a #15 blade", "label", "15"),
    ("an eleven blade", "label", "11"),
    ("number ten blade", "label", "10"),
    ("zone 2", "label", "2"),
    ("grade two", "label", "2"),
    ("room number four", "label", "4"),
    ("tooth #29", "label", "29"),
    ("stage III", "roman", "III"),
    ("grade II to III", "roman", "II-III"),
    ("type II-III", "roman", "II-III"),
    ("drains times two", "times", "2"),
    ("Hemovac x1", "times", "1"),
    ("G2P1", "parity", "G2P1"),
    ("lot number four five A seven two", "code", "45A72"),
    ("serial number double oh seven three", "code", "0073"),
    ("serial number AB12345", "code", "AB12345"),
    ("phone 555-1234", "code", "555-1234"),
    ("zero one zero nine five zero one", "code", "0109501"),
    ("with adrenaline one to two hundred thousand", "ratio", "1:200000"),
    ("one in two hundred thousand", "ratio", "1:200000"),
    ("1:200,000", "ratio", "1:200000"),
    ("a 50:50 mixture", "ratio", "50:50"),
    ("March third twenty twenty-four", "date", "2024-03-03"),
    ("the third of March 2024", "date", "2024-03-03"),
    ("08/26/2003", "date", "2003-08-26"),
    ("January 2007", "date", "January 2007"),
    ("pressure 120/80", "pair", "120/80"),
    ("a hundred and twenty over eighty", "pair", "120/80"),
    ("two thirds of the tendon", "fraction", "2/3"),
]
PLAIN = [  # no quantity at all
    "one of the screws",
    "the right one was taken",
    "at that point it was closed",
    "the left foot",
    "figure of eight",
    "a minute amount",
    "I was present",
    "IV antibiotics",
    "half of the dose",
    "the distal half",
    "A1 pulley",
    "a GIA-80 stapler",
]


@pytest.mark.parametrize(("text", "expected"), MEASURED, ids=lambda item: str(item))
def test_measured(text: str, expected: list[str]) -> None:
    assert [shown(quantity) for quantity in quantities_of(text)] == expected


@pytest.mark.parametrize(("text", "form", "canonical"), SHAPES, ids=lambda item: str(item))
def test_shapes_are_no_plain_numbers(text: str, form: str, canonical: str) -> None:
    found = quantities_of(text)
    assert [(quantity.form, quantity.text) for quantity in found] == [(form, canonical)]


@pytest.mark.parametrize("text", PLAIN)
def test_words_that_are_no_numbers(text: str) -> None:
    assert quantities_of(text) == []


def test_ratio_has_its_second_term_as_value() -> None:
    assert quantities_of("1:200,000")[0].value == Decimal(200000)
    assert quantities_of("one to two hundred thousand units")[0].form == "range"


def test_what_was_said_of_the_unit_is_kept() -> None:
    quantity = quantities_of("ten cc of saline")[0]
    assert (quantity.unit, quantity.said_unit, quantity.dimension) == ("mL", "cc", "volume")


def test_ambiguous_numbers_carry_a_doubt() -> None:
    assert quantities_of("tourniquet set at two fifty")[0].doubts
    assert quantities_of("closed at two thirty")[0].doubts  # morning or afternoon
    assert not quantities_of("two hundred and fifty")[0].doubts


def test_ordinals_keep_their_word_for_phrases() -> None:
    token = tokens_of("second metatarsal")[0]
    assert (token.norm, token.quantity and token.quantity.form) == ("second", "ordinal")


@pytest.mark.parametrize("row", UNITS.values(), ids=lambda row: row.id)
def test_every_unit_row(row: Unit) -> None:
    UCUM.parse(row.ucum)
    assert row.examples, "a row needs an example"
    for text in row.examples:
        found = quantities_of(text)
        codes = " ".join(quantity.unit or "" for quantity in found)
        smaller = {"[ft_i]": "[in_i]", "h": "min"}
        assert row.ucum in codes or smaller.get(row.ucum, row.ucum) in codes, (text, found)
    for text in row.not_examples:
        assert all(quantity.unit != row.ucum for quantity in quantities_of(text)), text


def refused(code: str) -> bool:
    try:
        UCUM.parse(code)
    except Exception:  # the parser has errors of several kinds
        return True
    return False


def test_every_code_parses_as_ucum() -> None:
    codes = {quantity.unit for text, _ in MEASURED for quantity in quantities_of(text) if quantity.unit is not None}
    assert {"mL", "mg", "mm[Hg]"} <= codes
    assert [code for code in sorted(codes) if refused(code)] == []
    assert refused("cc")


def test_dimensions_of_kinds_exist() -> None:
    known = {row.dimension for row in UNITS.values()} | DERIVED
    with (paths.grammars() / "kinds.toml").open("rb") as file:
        rows = tomllib.load(file)
    for ident, fields in rows.items():
        kind = Kind.model_validate({"id": ident, **fields})
        assert set(kind.dimensions) - {"catalytic"} <= known, ident


SPOKEN_UNITS = ["millilitres", "milligrams", "millimetres", "percent", "minutes", "millimetres of mercury", "units"]


@settings(deadline=None, max_examples=300)
@given(st.integers(min_value=1, max_value=99_999), st.sampled_from(SPOKEN_UNITS))
def test_words_and_digits_are_the_same_quantity(value: int, unit: str) -> None:
    spelled = num2words.num2words(value).replace(",", "")
    in_words, in_digits = quantities_of(f"{spelled} {unit} of it"), quantities_of(f"{value} {unit} of it")
    assert [shown(quantity) for quantity in in_words] == [shown(quantity) for quantity in in_digits]
    assert in_words[0].value == value


@settings(deadline=None, max_examples=200)
@given(st.text(alphabet="0123456789.,:/-#x%½ aehinorstuwy", max_size=40))
def test_odd_strings_do_not_crash_and_keep_their_words(text: str) -> None:
    words = words_from_text(text)
    covered = {ident for token in tokens_of(text) for ident in range(token.first, token.last + 1)}
    assert {word.id for word in words if any(letter.isalnum() for letter in word.text)} <= covered


def test_no_quantity_of_the_pool_is_made_up() -> None:
    if not POOL.exists():
        pytest.skip("the pool of notes is not beside this checkout")
    for line in POOL.read_text(encoding="utf-8").splitlines():
        note = json.loads(line)
        words = words_from_text(note["text"])
        for sentence in read(words):
            for token in sentence.tokens:
                if token.quantity is None or sentence.strikes:
                    continue
                source = " ".join(word.text for word in words if token.first <= word.id <= token.last)
                bare = "".join(letter for letter in source.lower() if letter.isalnum() or letter in "½¼¾%")
                said = "".join(letter for letter in token.text.lower() if letter.isalnum() or letter in "½¼¾%")
                assert said in bare, (token, source)
