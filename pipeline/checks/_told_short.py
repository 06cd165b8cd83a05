"""Counts as they are written in short: "3 x 4.75 mm, lateral 2 x 4.75 mm; 5 anchors", "8 loads (5 purple, 3 tan)",
"all-inside x4, inside-out x3, 7 sutures total", "CABG x3: LIMA-LAD, SVG-OM1, SVG-PDA", "3 x 7.3 mm screws (90, 85,
85)".

Each reader gives (number said, its noun, arithmetic) where the parts cannot come to the number.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.checks._spoken_counts import count, says_total
from pipeline.records import Token

Told = tuple[int, str, str]

_TIMES = frozenset({"x", "\u00d7"})
_CROSS = frozenset({"x", "X", "\u00d7"})
_WHOLE = re.compile(r"^\d{1,2}$")
_TIMES_SO_MANY = re.compile(r"^[x\u00d7] ?(\d{1,2})$")  # "x 4" may be one token
_TENTHS = re.compile(r"^\d{1,2}\.\d")
_LED = frozenset({"total", "=", "altogether", "together", "sum"})
_ENDS = frozenset({".", ";", ":"})
_MOST, _WIDE = 12, 13  # things of one width; mm
_NOUN, _INNER = 4, 24  # tokens from a count to its bracket, and in the bracket
_LISTED = 3  # sizes in a bracket are one for each from three on
_GRAFTED = frozenset({"cabg", "opcab", "grafts", "bypass", "bypasses"})


def told(read: Sequence[Token]) -> Told | None:
    """The first thing that is told in short and does not come to what was said of it. Pure."""
    short = _sized(read) or _widths(read) or _brackets(read) or _times(read)
    return short or _grafts(read) or _both(read) or _all_of_them(read)


def _sized(read: Sequence[Token]) -> Told | None:
    """ "6.5 mm cannulated screws 80 and 70 mm, 3 screws in all": one size for each, and their number behind them."""
    for at in range(len(read) - 3):
        noun = read[at].norm
        if not noun.endswith("s") or not noun.isalpha() or len(noun) < _LONG or count(read[at - 1]) is not None:
            continue
        end, sizes = at + 1, 0
        while end < len(read) and (read[end].norm in _AND or _is_length(read[end])):
            sizes += _is_length(read[end])
            end += 1
        said = count(read[end]) if end + 1 < len(read) else None
        crossed = {token.norm for token in read[at:end]} & _TIMES
        if said is None or sizes < 2 or crossed or read[end + 1].norm != noun or not says_total(read, end):
            continue
        if said != sizes and said % sizes:
            return said, noun, f"{sizes} sizes, said: {said}"
    return None


_LONG = 5  # letters of "pins" and more
_AND = frozenset({",", "and", "of", ":", "&", "+"})


def _is_length(token: Token) -> bool:
    return token.quantity is not None and token.quantity.dimension == "length" and token.quantity.form == "number"


def _both(read: Sequence[Token]) -> Told | None:
    """ "Three drains, both thirty two French": both are two."""
    for at in range(len(read) - 3):
        said, noun = count(read[at]), read[at + 1].norm
        if said is None or said < _MORE or not noun.isalpha() or not noun.endswith("s"):
            continue
        behind = at + 2 + (read[at + 2].norm == ",")
        if behind + 1 < len(read) and read[behind].norm == "both" and read[behind + 1].quantity is not None:
            return said, noun, f"both: 2, said: {said}"
    return None


def _all_of_them(read: Sequence[Token]) -> Told | None:
    """ "Three packs in, ..., and all four of them stay in": as many as were told before."""
    for at in range(1, len(read) - 2):
        said = count(read[at])
        behind = [one.norm for one in read[at + 1 : at + 3]]
        named = read[at - 1].norm == "all" and behind in (["of", "them"], ["of", "these"])
        if said is None or said < _MORE or not named:
            continue
        before = [one for token in read[: at - 1] if (one := count(token)) is not None]
        sums = {sum(before[first:last]) for first in range(len(before)) for last in range(first + 1, len(before) + 1)}
        if before and said not in sums:
            return said, "of them", f"told before: {', '.join(map(str, before))}; said: {said}"
    return None


_MORE = 3  # than both


def so_many(read: Sequence[Token], at: int) -> int | None:
    """The N of "N x D mm", where D is a width with a decimal, so that N can be no width."""
    if at + 2 >= len(read) or read[at + 1].norm not in _TIMES or not _WHOLE.match(read[at].text):
        return None
    if at and read[at - 1].norm in _TIMES:
        return None
    width, number = read[at + 2].quantity, int(read[at].text)
    if width is None or width.value is None or width.value >= _WIDE:
        return None
    if not width.value % 1 and not _TENTHS.match(read[at + 2].text):
        return None  # "2 x 4 mm"; "1 x 4.0 mm" is as wide as that
    further = read[at + 3].norm if at + 3 < len(read) else ""
    counts = 0 < number <= _MOST and width.dimension in ("", "length") and further not in _TIMES
    return number if counts else None


def _is_total(read: Sequence[Token], at: int) -> bool:
    return bool(at) and read[at - 1].norm in _LED or says_total(read, at)


def _widths(read: Sequence[Token]) -> Told | None:
    parts = [(at, number) for at in range(len(read)) if (number := so_many(read, at)) is not None]
    if len(parts) < 2:
        return None
    for at in range(parts[-1][0] + 3, len(read)):
        said = count(read[at])
        noun = read[at + 1].norm if at + 1 < len(read) else ""
        named = noun.endswith(("anchors", "screws", "implants")) and bool(at) and read[at - 1].norm in (";", ",", ":")
        if said is None or not (named or _is_total(read, at)):
            continue
        numbers = [number for _, number in parts]
        spare = sum(token.norm in ("one", "another", "single") for token in read)  # "... with one for the biceps"
        if not sum(numbers) <= said <= sum(numbers) + spare and said not in numbers:
            return said, noun if noun.isalpha() else "in all", _sum(numbers, said)
        return None
    return None


def _sum(numbers: Sequence[int], said: int) -> str:
    return f"{' + '.join(map(str, numbers))} = {sum(numbers)}, said: {said}"


def _brackets(read: Sequence[Token]) -> Told | None:
    """Counts, or at least three lengths, in a bracket right behind a count and its noun."""
    for at in range(len(read) - 2):
        said = so_many(read, at) or count(read[at])
        if said is None or said < 2 or (at and read[at - 1].norm in _TIMES):
            continue
        opened = _next(read, at + 1, _NOUN + 1, "(")
        nouns = [token.norm for token in read[at + 1 : opened]] if opened is not None else []
        if opened is None or not any(noun.isalpha() and len(noun) > 3 and noun.endswith("s") for noun in nouns):
            continue
        if any(token.norm in _ENDS | {","} or count(token) is not None for token in read[at + 1 : opened]):
            continue
        shut = _next(read, opened, _INNER, ")")
        items = _items(read[opened + 1 : shut]) if shut is not None else []
        counts = [_heads(item) for item in items]
        known = [one for one in counts if one is not None]
        noun = next(noun for noun in nouns if noun.endswith("s") and len(noun) > 3)
        if len(known) == len(items) > 1 and sum(known) != said:
            return said, noun, _sum(known, said)
        lengths = all(len(item) == 1 and (one := item[0].quantity) is not None and one.dimension == "length"
                      and one.form == "number" for item in items)  # fmt: skip
        if lengths and len(items) >= _LISTED and len(items) != said:
            return said, noun, f"{len(items)} sizes, said: {said}"
    return None


def _next(read: Sequence[Token], start: int, reach: int, mark: str) -> int | None:
    return next((place for place in range(start, min(len(read), start + reach)) if read[place].norm == mark), None)


def _items(inner: Sequence[Token]) -> list[list[Token]]:
    items: list[list[Token]] = [[]]
    for token in inner:
        if token.norm in (",", "and", "+", "&", ";"):
            items.append([])
        else:
            items[-1].append(token)
    return [item for item in items if item]


def _heads(item: Sequence[Token]) -> int | None:
    """The count at the head of a part ("2 mediastinal", "1 L pleural" where the letter is a side)."""
    number = count(item[0])
    if number is None and re.match(r"^\d{1,2} L$", item[0].text):
        number = int(item[0].text.split()[0])
    return number if len(item) > 1 and item[1].norm.isalpha() and item[1].quantity is None else None


def _times(read: Sequence[Token]) -> Told | None:
    """ "All-inside x4, inside-out x3, 7 sutures total"; "3 plates x 4 screws = 12 screws" is so many of each."""
    numbers: list[int] = []
    each = 0
    for at, token in enumerate(read):
        said = count(token)
        if token.norm in _ENDS:
            numbers = []
        elif token.text[:1] in _CROSS and (number := _TIMES_SO_MANY.match(token.text.lower())) is not None:
            numbers.append(int(number[1]))
            each = int(number[1]) * (count(read[at - 2]) or 0) if at > 1 else 0
        elif at and read[at - 1].norm in _TIMES and said is not None:
            numbers.append(said)
            each = said * (count(read[at - 3]) or 0) if at > _NOUN else 0
        elif said is not None and numbers and (_is_total(read, at) or (len(numbers) > 1 and _in_bracket(read, at))):
            noun = read[at + 1].norm if at + 1 < len(read) and read[at + 1].norm.isalpha() else "in all"
            if said not in (sum(numbers), *numbers, each):
                return said, noun, _sum(numbers, said)
            return None
    return None


def _in_bracket(read: Sequence[Token], at: int) -> bool:
    """ "Screw x2 proximal, screw x3 distal (5 screws)"."""
    shut = _next(read, at, _NOUN, ")") if at > 0 and read[at - 1].norm == "(" else None
    return shut is not None and read[shut - 1].norm.isalpha() and read[shut - 1].norm.endswith("s")


def _grafts(read: Sequence[Token]) -> Told | None:
    """ "CABG x3: LIMA-LAD, SVG-OM1, SVG-PDA"."""
    for at in range(1, len(read) - 2):
        if read[at - 1].norm not in _GRAFTED or read[at + 1].norm != ":":
            continue
        number = _TIMES_SO_MANY.match(read[at].text.lower())
        if number is None:
            continue
        end = next((place for place in range(at + 2, len(read)) if read[place].norm in (".", ";", ":")), len(read))
        items = _items(read[at + 2 : end])
        if len(items) > 1 and all(2 <= len(item) <= 4 for item in items) and len(items) != int(number[1]):
            return int(number[1]), "grafts", f"{len(items)} named, said: {number[1]}"
    return None
