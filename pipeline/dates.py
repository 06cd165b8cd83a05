"""Dates as said or written: ISO text where day, month and year are said and cannot be read two ways."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline import compounds, numerals
from pipeline.clocks import word_at
from pipeline.levels import is_unit_like
from pipeline.records import Quantity, Token

Found = tuple[Quantity, int]

MONTHS = {
    name: number
    for number, names in enumerate(
        ("january jan", "february feb", "march mar", "april apr", "may", "june jun", "july jul", "august aug",
         "september sept sep", "october oct", "november nov", "december dec"), start=1)
    for name in names.split()
}  # fmt: skip
_ISO = re.compile(r"^(\d{4})-(\d{2})-(\d{2})$")
_SLASHED = re.compile(
    r"^\d{1,2}[/.]\d{1,2}[/.](?:\d{2}|\d{4})$|^(?:0[1-9]|1[0-2])/(?:0[1-9]|[12]\d|3[01])$|^\d{1,2}-\d{1,2}-\d{4}$"
)

def date(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """Dates: ISO text when day, month and year are said and cannot be read two ways, else the words as said."""
    norm = norms[start]
    iso = _ISO.match(norm)
    if iso:
        return Quantity(form="date", text=norm), start + 1
    if _SLASHED.match(norm):
        part = numerals.read(norms, start)
        if (part is None or part.value is None or norm[0] == "0") and not compounds.lasts(norms, start):
            return _slashed(norm), start + 1
        return None
    if norm == "twenty" and word_at(norms, start - 1) in ("in", "since"):
        return _spoken_year(norms, start)
    if norm in MONTHS:
        return _month_first(tokens, norms, start)
    return _day_first(tokens, norms, start)


_FIRST_YEAR, _LAST_YEAR = 2010, 2040  # as they are said in two


def _spoken_year(norms: Sequence[str], start: int) -> Found | None:
    """ "Replaced in twenty eighteen": no count of eighteen follows, and no unit."""
    said = _year(norms, start)
    if said is None or not _FIRST_YEAR <= said[0] <= _LAST_YEAR or is_unit_like(word_at(norms, said[1])):
        return None
    after = word_at(norms, said[1])
    if after in numerals.SMALL or after in numerals.TENS or after in numerals.SCALES or after in ("point", "x", "by"):
        return None
    return Quantity(form="year", text=str(said[0])), said[1]


def _slashed(norm: str) -> Quantity:
    parts = re.split(r"[/.-]", norm)
    if len(parts) == 3 and len(parts[2]) == 4:
        first, second, year = (int(part) for part in parts)
        if first == second or first > 12 >= second:
            return Quantity(form="date", text=f"{year}-{second:02d}-{first:02d}")
        if second > 12 >= first:
            return Quantity(form="date", text=f"{year}-{first:02d}-{second:02d}")
        return Quantity(form="date", text=norm, doubts=("day and month could be either way round",))
    return Quantity(form="date", text=norm)


def _day(norms: Sequence[str], start: int) -> tuple[int, int] | None:
    if start >= len(norms):
        return None
    found = numerals.read_ordinal(norms, start, glued=True)
    if found is None:
        norm = norms[start]
        found = (int(norm), start + 1) if norm.isdigit() and len(norm) <= 2 else numerals._below_hundred(norms, start)
    return found if found is not None and 1 <= found[0] <= 31 else None


def _year(norms: Sequence[str], start: int) -> tuple[int, int] | None:
    norm = word_at(norms, start)
    if norm.isdigit() and len(norm) == 4 and norm[:2] in ("19", "20"):
        return int(norm), start + 1
    if norm in ("nineteen", "twenty"):
        pair = numerals._below_hundred(norms, start + 1)
        if norm == "twenty" and word_at(norms, start + 1) in ("oh", "o"):
            digit = numerals.SMALL.get(word_at(norms, start + 2), 10)
            return (2000 + digit, start + 3) if digit < 10 else None
        if pair is not None and pair[0] >= 10:
            return (19 if norm == "nineteen" else 20) * 100 + pair[0], pair[1]
        return None
    if norm == "two" and word_at(norms, start + 1) == "thousand":
        numeral = numerals.read(norms, start)
        if numeral is not None and numeral.value is not None and 2000 <= numeral.value < 2100:
            return int(numeral.value), numeral.end
    return None


def _written_out(day: int | None, month: int, year: int | None, said: str) -> Quantity:
    if day is not None and year is not None:
        return Quantity(form="date", text=f"{year}-{month:02d}-{day:02d}")
    return Quantity(form="date", text=said)


def _said(tokens: Sequence[Token], start: int, end: int) -> str:
    return " ".join(token.text for token in tokens[start:end] if token.norm != ",")


def _month_first(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    month = MONTHS[norms[start]]
    index = start + 1 + (word_at(norms, start + 1) == "the")
    year = _year(norms, index)
    if year is not None:
        return _written_out(None, month, year[0], _said(tokens, start, year[1])), year[1]
    day = _day(norms, index)
    if (
        day is None
        or norms[start] in ("may", "march", "mar")
        and not (tokens[start].text[0].isupper() or numerals.read_ordinal(norms, index, glued=True))
    ):
        return None
    end = day[1]
    year = _year(norms, end + (word_at(norms, end) == ","))
    end = year[1] if year else end
    return _written_out(day[0], month, year[0] if year else None, _said(tokens, start, end)), end


def _day_first(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    day = _day(norms, start)
    if day is None:
        return None
    index = day[1] + (word_at(norms, day[1]) == "of")
    if word_at(norms, index) not in MONTHS or (norms[index] in ("may", "mar") and index == day[1]
                                            and not tokens[index].text[0].isupper()):  # fmt: skip
        return None
    month, end = MONTHS[norms[index]], index + 1
    year = _year(norms, end + (word_at(norms, end) == ","))
    end = year[1] if year else end
    return _written_out(day[0], month, year[0] if year else None, _said(tokens, start, end)), end
