"""Numbers whose unit stands before them or is made of two parts: "day 7", "5 x 10^6/mL", "39 2/7 weeks"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from pipeline import numerals
from pipeline.records import Quantity, Token
from pipeline.units import read_unit

_POWER = re.compile(r"^10[\^*](\d{1,2})$")
NUMBERED = {"day": "d", "week": "wk", "month": "mo"}
_SEVENTHS = re.compile(r"^([1-6])/7$")


def numbered(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[Quantity, int] | None:
    """ "day 7", "week six": a point in time, counted in that unit."""
    if start + 1 >= len(norms) or norms[start + 1] in ("a", "an", "half", "quarter", "point"):
        return None
    numeral = numerals.read(norms, start + 1)
    if numeral is None or numeral.value is None or numeral.shape != "cardinal":
        return None
    if read_unit(tokens, numeral.end, not numeral.spoken) is not None:
        return None
    unit = NUMBERED[norms[start]]
    return Quantity(value=numeral.value, unit=unit, said_unit=tokens[start].text, dimension="time"), numeral.end


def millions(tokens: Sequence[Token], norms: Sequence[str], numeral: numerals.Numeral) -> tuple[Quantity, int] | None:
    """ "five million per millilitre", "5 x 10^6/mL": so many 10*6/mL."""
    value, end, exponent = numeral.value, numeral.end, 6
    if value is None:
        return None
    power = _POWER.match(norms[end + 1]) if end + 1 < len(norms) and norms[end] in ("x", "×") else None
    if power is not None:
        exponent, end = int(power[1]), end + 2
    elif numeral.scale != 1_000_000:
        return None
    else:
        value = value.scaleb(-6).normalize()
        while end < len(norms) and norms[end] in ("cells", "nucleated", "total", "mononuclear"):
            end += 1
    if end >= len(norms) or norms[end] not in ("per", "/"):
        return None
    under = read_unit(tokens, end + 1, True)
    if under is None:
        return None
    words = " ".join(token.text for token in tokens[numeral.end : under.end])
    return Quantity(
        value=value, unit=f"10*{exponent}/{under.ucum}", said_unit=words, dimension="concentration"
    ), under.end


def weeks_and_days(norms: Sequence[str], numeral: numerals.Numeral) -> tuple[Quantity, int] | None:
    """ "39 2/7 weeks", the way in which obstetricians write weeks and days: exact in days."""
    end = numeral.end
    if numeral.value is None or end + 1 >= len(norms) or norms[end + 1] not in ("weeks", "wk", "wks", "week"):
        return None
    days = _SEVENTHS.match(norms[end])
    if days is None or numeral.value != int(numeral.value):
        return None
    value = numeral.value * 7 + Decimal(days[1])
    return Quantity(value=value, unit="d", said_unit=norms[end + 1], dimension="time"), end + 2
