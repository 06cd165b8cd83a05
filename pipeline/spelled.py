"""Numbers said and then spelled, as pilots do: "thirty, three zero, milligrams" is one number, said twice.

Where the digits do not spell what was said, both stand as they were said, and the reader of numbers sees two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from pipeline import numerals
from pipeline.records import Token

# Digits as they are said one by one.
DIGITS = {"zero": "0", "oh": "0", "o": "0", "one": "1", "two": "2", "three": "3", "four": "4", "five": "5", "six": "6",
          "seven": "7", "eight": "8", "nine": "9"}  # fmt: skip
_LEAST = 2  # digits; "five, five" may be two numbers


def fold(tokens: Sequence[Token]) -> list[Token]:
    """The tokens without the spelling; the last word of the number then reaches over it. Pure."""
    norms = [token.norm for token in tokens]
    said = [at for at, norm in enumerate(norms) if norm in DIGITS]
    if not any(after == at + 1 for at, after in pairwise(said)):
        return list(tokens)
    out: list[Token] = []
    index = 0
    while index < len(tokens):
        end = _said(norms, index)
        spelled = _spelling(norms, end[1], end[0]) if end is not None else None
        if end is None or spelled is None:
            out.append(tokens[index])
            index += 1
            continue
        out += tokens[index : end[1] - 1]
        out.append(replace(tokens[end[1] - 1], last=tokens[spelled - 1].last))
        index = spelled + (spelled < len(norms) and norms[spelled] == ",")
    return out


def _said(norms: Sequence[str], index: int) -> tuple[str, int] | None:
    """(digits, end) of a whole number said as such at `index`; None where it is itself spelled or none."""
    if norms[index] not in numerals.STARTS and not norms[index].isdigit():
        return None
    if norms[index].isdigit():
        return norms[index], index + 1
    read = numerals.read(norms, index)
    if read is None or read.value is None or read.value != int(read.value) or read.value < 10:
        return None
    return str(int(read.value)), read.end


def _spelling(norms: Sequence[str], at: int, digits: str) -> int | None:
    """The end of the digits that spell `digits`, one by one, behind a comma or "that is"."""
    if len(digits) < _LEAST:
        return None
    while at < len(norms) and norms[at] in (",", "that", "is", "-"):
        at += 1
    end = at + len(digits)
    if [DIGITS.get(norm) for norm in norms[at:end]] != list(digits):
        return None
    return end if end >= len(norms) or norms[end] not in DIGITS else None


_LEAST_COUNTED = 3


def counted(norms: Sequence[str], index: int) -> int:
    """Index of the last number of one counted aloud from one on ("one two three four mils"); `index` if there is none.
    """
    at = index
    if norms[index] != "one":
        return index
    while at + 1 < len(norms) and numerals.SMALL.get(norms[at + 1]) == numerals.SMALL[norms[at]] + 1:
        at += 1
    return at if at - index + 1 >= _LEAST_COUNTED else index
