"""A written word as it may have been said, and what else the same stretch of sound may have held. Pure.

"15mL" is fifteen millilitres, and fifty is what it is taken for; "35" is thirty-five, and a recogniser also writes it
for "three five" (three of five millimetres), as it writes "for 1000" for "four thousand". Single words that are taken
for each other stand in grammars/confusions.toml; what is said here of numbers was measured: it is what Whisper base
wrote for synthetic dictation.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from pipeline.rows import Confusion

ASKED = ("number", "unit", "side", "negation")
# Two numbers that the recogniser wrote as one; a hundred or thousand whose number it took for another word ("for").
JOINED, LOST = "joined", "lost"
KINDS = (*ASKED, JOINED, LOST)
Said = tuple[str, ...]

_MARKS = ".,;:!?"
_WRITTEN = re.compile(r"(?:(?P<whole>\d{1,4})(?:\.(?P<part>\d{1,3}))?)?-?(?P<unit>[a-zµμ]{1,3})?")
_UNITS = {
    "ml": ("millilitres", "milliliters"), "mm": ("millimetres", "millimeters"), "cm": ("centimetres", "centimeters"),
    "mg": ("milligrams",), "mcg": ("micrograms",), "ug": ("micrograms",), "µg": ("micrograms",),
    "μg": ("micrograms",), "g": ("grams",), "kg": ("kilograms",), "l": ("litres", "liters"),
}  # fmt: skip
# One letter alone is a word or a letter of a lot number, not a unit.
_NEVER_ALONE = ("g", "l")
_LENGTHS = frozenset(("mm", "cm", "millimetre", "millimetres", "millimeter", "millimeters", "centimetre", "centimetres",
                      "centimeter", "centimeters", "hole", "french", "fr"))  # fmt: skip
_SMALL = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
          "seventeen eighteen nineteen").split()  # fmt: skip
_TENS = "- - twenty thirty forty fifty sixty seventy eighty ninety".split()


@dataclass(frozen=True, slots=True)
class Other:
    """Another reading of a written word. `kind`: one of KINDS."""

    words: Said
    kind: str


@dataclass(frozen=True, slots=True)
class Pair:
    """What one word may be taken for."""

    word: str
    kind: str


def pairs(rows: Iterable[Confusion]) -> dict[str, tuple[Pair, ...]]:
    """Single words -> what each may be taken for, of the rows that are asked of the sound."""
    found: dict[str, list[Pair]] = {}
    for row in rows:
        if row.what in ASKED and not any(" " in form for form in row.pair):
            first, second = row.pair
            for one, other in ((first, second), (second, first)):
                forms = _units(one, other) if row.what == "unit" else [(one, other)]
                for form, its in forms:
                    added = found.setdefault(form, [])
                    if (pair := Pair(its, row.what)) not in added:
                        added.append(pair)
    return {word: tuple(others) for word, others in found.items()}


def said(text: str) -> tuple[Said, ...]:
    """The ways in which a written word may have been said, the usual one first: numbers below 10,000 with decimals
    and a unit; a word as it stands."""
    plain, read = _read(text)
    if read is None:
        return (tuple(plain.split()),)
    whole, part, unit = read
    units: Sequence[Said] = [(form,) for form in _UNITS[unit]] if unit else [()]
    numbers: Sequence[Said] = [()]
    if whole:
        numbers = [(*way, *_decimals(part)) for way in _cardinals(int(whole))]
        if part and int(whole) == 0:
            numbers = [*numbers, _decimals(part), ("oh", *_decimals(part))]
    return tuple((*number, *form) for number in numbers for form in units)


def taken_for(text: str, after: str, known: Mapping[str, Sequence[Pair]]) -> tuple[Other, ...]:
    """Other readings of a written word. `after`: the word that follows it ("" for none); `known`: of `pairs`."""
    found = []
    for way in said(text):
        for place, part in enumerate(way):
            found += [Other((*way[:place], pair.word, *way[place + 1 :]), pair.kind) for pair in known.get(part, ())]
        if way[:2] in (("one", "hundred"), ("one", "thousand")):
            found += [Other((digit, *way[1:]), LOST) for digit in _SMALL[2:10]]
    found += [Other(way, JOINED) for way in _joined(text, after)]
    return tuple(dict.fromkeys(found))


def _joined(text: str, after: str) -> list[Said]:
    """A number of two digits as two numbers; one of three digits as a count and a size."""
    _, read = _read(text)
    if read is None or not read[0]:
        return []
    whole, part, unit = read
    units: Sequence[Said] = [(form,) for form in _UNITS[unit]] if unit else [()]
    parts: Said = ()
    if len(whole) == 2 and "0" not in whole:
        parts = (_SMALL[int(whole[0])], _SMALL[int(whole[1])])
    elif len(whole) == 3 and whole[1] != "0" and {unit, after.casefold().strip(_MARKS)} & _LENGTHS:
        parts = (_SMALL[int(whole[0])], *_below_hundred(int(whole[1:])))
    return [(*parts, *_decimals(part), *form) for form in units] if parts else []


def _read(text: str) -> tuple[str, tuple[str, str, str] | None]:
    """The word without marks; digits before and after the point and unit, None where it is no such word."""
    plain = text.casefold().strip(_MARKS)
    found = _WRITTEN.fullmatch(plain)
    if found is None:
        return plain, None
    whole, part, unit = (found[name] or "" for name in ("whole", "part", "unit"))
    if (unit and unit not in _UNITS) or (not whole and (not unit or unit in _NEVER_ALONE)):
        return plain, None
    return plain, (whole, part, unit)


def _cardinals(number: int) -> list[Said]:
    if number < 100:
        return [_below_hundred(number)]
    if number < 1000:
        head: Said = (_SMALL[number // 100], "hundred")
        rest = number % 100
        if not rest:
            return [head]
        return [(*head, *_below_hundred(rest)), (*head, "and", *_below_hundred(rest))]
    head, rest = (_SMALL[number // 1000], "thousand"), number % 1000
    ways: list[Said] = [head] if not rest else [(*head, *way) for way in _cardinals(rest)]
    if 0 < rest < 100:
        ways.append((*head, "and", *_below_hundred(rest)))
    if number % 100 == 0 and rest:
        ways.append((*_below_hundred(number // 100), "hundred"))
    return ways


def _below_hundred(number: int) -> Said:
    if number < 20:
        return (_SMALL[number],)
    return (_TENS[number // 10], *([_SMALL[number % 10]] if number % 10 else []))


def _decimals(digits: str) -> Said:
    return ("point", *(_SMALL[int(digit)] for digit in digits)) if digits else ()


def _units(one: str, other: str) -> list[tuple[str, str]]:
    """Plurals, and the spelling of America: a recogniser writes either."""
    spelt = [(one, other), (one.replace("tre", "ter"), other.replace("tre", "ter"))]
    return [(form + ending, its + ending) for form, its in spelt for ending in ("", "s")]
