"""Vertebral levels: L4, L4-L5, "C five six"."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline import numerals
from pipeline.clocks import word_at
from pipeline.records import Quantity, Token

Found = tuple[Quantity, int]

_LEVEL = re.compile(r"^([ctls])([1-9]\d?)$")
_LEVELS = re.compile(r"^[ctls]\d{1,2}(?:[-/][ctls]?\d{1,2})+$")
_UNIT_LIKE = frozenset(
    "mm cm ml cc mg millimetre millimeter millilitre milliliter millimetres millimeters millilitres milliliters "
    "centimetre centimetres centimeter centimeters gauge point "
    "wk wks week weeks d day days mo month months min mins minute minutes hours hrs deg degrees fr kg g".split()
)
_NAILS = frozenset({"tibial", "femoral", "humeral", "retrograde", "antegrade", "nail", "recon", "supracondylar"})
_MOST = {"c": 8, "t": 12, "l": 6, "s": 5}


def levels(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """L4, L4-L5, L4-5, "L four five", "L four L five": text "L4" or "L4-L5"."""
    if norms[start][0] == "t" and word_at(norms, start + 1) in _NAILS:
        return None  # "a T2 tibial nail"
    if word_at(norms, start - 1) in ("ao", "ota"):
        return None  # "a fracture AO C1"
    if _LEVELS.match(norms[start]):
        return _written_levels(norms[start], start)
    one = _one_level(norms, start)
    if one is None:
        return None
    letter, number, end = one
    alone = len(norms[start]) == 1
    if alone and (is_unit_like(word_at(norms, end)) or word_at(norms, end) in ("x", "\u00d7", *numerals.SCALES)):
        return None  # "tear L 1 cm": on the left; "vitamin C five hundred milligrams"
    if alone and (word_at(norms, start - 1) in _LETTERED or word_at(norms, end) in _DRAWS):
        return None
    if alone and norms[start] == "l" and _other_initial(tokens, norms, start, end):
        return None  # "splints R 1, L 2": sides
    follows = end
    if word_at(norms, follows) in ("-", "/", "slash") and not (word_at(norms, follows) == "slash" and letter == ""):
        follows += 1
    other = _one_level(norms, follows)
    if other is not None and follows == end and _one_by_one(norms, start, other[2]):
        return _level_quantity((letter, number), None), end
    if other is not None and _adjacent((letter, number), other[:2]) and tokens[follows].text != "a":
        return _level_quantity((letter, number), other[:2]), other[2]
    bare = small(norms, follows)
    if bare is not None and bare == number + 1 and _valid(letter, bare):
        nothing_more = not word_at(norms, follows + 1) or not is_unit_like(word_at(norms, follows + 1))
        if nothing_more and (len(norms[start]) == 1 or follows > end):
            return _level_quantity((letter, number), (letter, bare)), follows + 1
    return _level_quantity((letter, number), None), end


_DRAWS = frozenset("draws pulls aspirations aspirates passes syringes".split())  # "L 4 pulls of 8 mL": on the left
_LETTERED = frozenset("k vitamin hepatitis mitomycin protein syringe tube pot bag bottle specimen".split())


def _other_initial(tokens: Sequence[Token], norms: Sequence[str], start: int, end: int) -> bool:
    """Whether a capital R stands before a number right before or behind "L" and its number."""
    for at in (*range(max(0, start - _APART), start - 1), *range(end, end + 2)):
        if 0 <= at < len(tokens) - 1 and tokens[at].text == "R" and (
            word_at(norms, at + 1).isdigit() or tokens[at + 1].quantity is not None
        ):
            return True
    return False


_APART = 5  # tokens


def _one_by_one(norms: Sequence[str], start: int, end: int) -> bool:
    """ "Screws at L four L five and S one", "blocks L3 L4 and L5": vertebrae that are listed, each for itself, and no
    space between two. Between two spaces ("L3 L4 and L4 L5") both are told."""
    third = _one_level(norms, end + 1) if word_at(norms, end) == "and" else None
    if third is None:
        return False
    led = {word_at(norms, at) for at in range(start - 3, start)}
    if led & _IN_VERTEBRAE:
        return True
    behind = third[2] + (word_at(norms, third[2]) in ("-", "/", "slash"))
    last = _one_level(norms, end - 1) or _one_level(norms, end - 2)
    spaced = _one_level(norms, behind) is not None or small(norms, behind) == third[1] + 1
    return not spaced and last is not None and _adjacent(last[:2], third[:2])


_IN_VERTEBRAE = frozenset({"screw", "screws", "pedicle", "pedicles"})


def is_unit_like(norm: str) -> bool:
    """Whether a word makes the number before it a quantity, in the cases that look like something else."""
    return norm in _UNIT_LIKE


def _one_level(norms: Sequence[str], start: int) -> tuple[str, int, int] | None:
    norm = word_at(norms, start)
    match = _LEVEL.match(norm)
    if match and _valid(match[1], int(match[2])):
        return match[1], int(match[2]), start + 1
    if len(norm) == 1 and norm in _MOST:
        number = small(norms, start + 1)
        if number is not None and _valid(norm, number):
            return norm, number, start + 2
    return None


def small(norms: Sequence[str], index: int) -> int | None:
    norm = word_at(norms, index)
    if norm.isdigit() and len(norm) <= 2:
        return int(norm)
    value = numerals.SMALL.get(norm)
    return value if value is not None and 0 < value <= 12 else None


def _valid(letter: str, number: int) -> bool:
    return 1 <= number <= _MOST[letter]


def _adjacent(first: tuple[str, int], second: tuple[str, int]) -> bool:
    if first[0] == second[0]:
        return second[1] == first[1] + 1
    joints = {("c", "t"): (7, 1), ("t", "l"): (12, 1), ("l", "s"): (5, 1)}
    return (first[1], second[1]) == joints.get((first[0], second[0]), (6, 1) if first[0] == "l" else None)


def _level_quantity(first: tuple[str, int], second: tuple[str, int] | None) -> Quantity:
    text = f"{first[0].upper()}{first[1]}"
    if second is not None:
        text += f"-{second[0].upper()}{second[1]}"
    return Quantity(form="level", text=text)


def _written_levels(norm: str, start: int) -> Found | None:
    """ "l4-5", "l3-l4-l5", "c4-c5/c5-c6" with every letter filled in."""
    letter, text = "", ""
    for mark, named, digits in re.findall(r"([-/]?)([ctls]?)(\d{1,2})", norm):
        letter = named or letter
        if not _valid(letter, int(digits)):
            return None
        text += f"{mark}{letter.upper()}{digits}"
    return Quantity(form="level", text=text), start + 1
