"""Words that could be a number and are none: "the left one", "at the point", "thousands"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import numerals
from pipeline.units import is_unit_word

_PRONOUN_BEFORE = frozenset(
    "the this that each any which no another every some such other single only last next first second third left "
    "right medial lateral upper lower large small good".split()
)
_PRONOUN_AFTER = frozenset(
    "of another is was were are had has have that which who side sided day time point might may can could would "
    "should by another's the in on at to from for and or with . , ; : ) hand more final".split()
)
_PLACED_POINT = frozenset(
    "the this that a which what one starting entry some any insertion pivot pin mid-point puncture to end focal "
    "trigger pressure first second at".split()
)


_DETERMINERS = frozenset("the this that a which what one some any first second".split())


def may_be_decimal(norms: Sequence[str], start: int) -> bool:
    """Whether the number that starts at `start` follows a "point" that may be its own: "the point three centimetres"
    is a place, or 0.3 cm."""
    return start > 1 and norms[start - 1] == "point" and norms[start - 2] in _DETERMINERS


def is_no_number(norms: Sequence[str], start: int, numeral: numerals.Numeral) -> bool:
    """Words that could be a number and are none here."""
    norm = norms[start]
    before = norms[start - 1] if start else ""
    after = norms[numeral.end] if numeral.end < len(norms) else "."
    if norm == "one" and numeral.end == start + 1:
        if after in ".,;:)" and (not start or not before[0].isalnum()):
            return False  # said by itself
        if before in _SYSTEMS:
            return False  # "ARCO one on the left"
        if after == "and" and numeral.end + 2 < len(norms) and is_numeric(norms, numeral.end + 1) and (
            is_unit_word(norms[numeral.end + 2])
        ):
            return False  # "the one and two millimetre Kerrison"
        if after == "of" and before in ("and", "plus", "with") and following(norms, numeral.end) not in _OF_SEVERAL:
            return False  # "four of marcaine and one of kenalog"
        if (is_unit_word(after) and after not in _PRONOUN_AFTER) or _one_more(norms, start, after):
            return False  # "another one gram", "one gram before and one at closure"
        ranged = after in ("to", "or", "in") and numeral.end + 1 < len(norms) and is_numeric(norms, numeral.end + 1)
        return before in _PRONOUN_BEFORE or (
            not ranged and after in _PRONOUN_AFTER and before not in ("total", ":", "#", "times")
        )
    if after == "past" and before in ("at", "by", "since", "from", "until") and not is_numeric(norms, numeral.end + 1):
        return True  # "at five past": minutes of an hour that was not said
    if norm == "point" and before in _PLACED_POINT:
        # "bupivacaine at point five percent" is a decimal; "at the point three centimetres below" is a place
        percent = after in ("percent", "%") or (after == "per" and following(norms, numeral.end) == "cent")
        dose = before in _DETERMINERS and after in _GIVEN_IN  # "the point five milligrams"
        return not (percent or dose or (before in ("at", "to") and is_unit_word(after)))
    if numeral.shape == "fraction" and numeral.end == start + 1 and norm in ("half", "quarter"):
        return False  # decided by the unit
    return norm in numerals.SCALES and norm + "s" == before


_OF_SEVERAL = frozenset("the them these those his her our its their my all a an each which two three four us".split())
_SYSTEMS = frozenset(  # names of grades that end in no word like "grade"
    "arco ficat tonnis steinberg goutallier pfirrmann modic geissler palmer sanders eichenholtz patte fairbank walch "
    "hamada eaton lichtman seinsheimer evans meyers paprosky vancouver mason judet essex tscherne".split()
)


def _one_more(norms: Sequence[str], start: int, after: str) -> bool:
    """ "One gram before and one at closure": an amount as before it, whose unit is left out."""
    if after not in _MOMENTS or not start or norms[start - 1] not in ("and", "then", ",", "plus"):
        return False
    return any(
        norms[at + 1] in _GIVEN_IN and is_numeric(norms, at) for at in range(max(0, start - _ONE_BACK), start - 1)
    )


_MOMENTS, _ONE_BACK = frozenset("at before after during into".split()), 12
_GIVEN_IN = frozenset(
    "gram grams g milligram milligrams mg mil mils ml mls cc ccs millilitre millilitres milliliter milliliters unit "
    "units microgram micrograms mic mics litre litres liter liters".split()
)


def is_numeric(norms: Sequence[str], index: int) -> bool:
    return norms[index][0].isdigit() or norms[index] in numerals.SMALL or norms[index] in numerals.TENS


def following(norms: Sequence[str], index: int) -> str:
    return norms[index + 1] if index + 1 < len(norms) else ""
