"""Numbers in digits to exact Decimals: "1,000", "0.25", "2½", "3/8", "5k"."""

from __future__ import annotations

import re
from decimal import Decimal

GLYPHS = {"½": "0.5", "¼": "0.25", "¾": "0.75", "⅛": "0.125", "⅜": "0.375", "⅝": "0.625", "⅞": "0.875"}
_PLAIN = re.compile(r"^[-+]?(?:\d{1,3}(?:,\d{3})+|\d+)?(?:\.\d+)?$")
_COMMA = re.compile(r"^\d+,\d{1,2}$")
_POINTED = re.compile(r"^[1-9]\d{0,2}\.\d\d0$")
_IN_THOUSANDS = re.compile(r"^(\d{1,3}(?:\.\d)?)k$")
_GLYPH = re.compile(r"^(\d*)([½¼¾⅛⅜⅝⅞])$")
WRITTEN_PART = re.compile(r"^(?:(\d{1,2})-)?(\d{1,2})/(\d{1,2})(?:th|ths|rd|rds|nd)?$")
DENOMINATORS = frozenset({2, 3, 4, 8, 16, 32, 64})


def written(norm: str) -> Decimal | None:
    """The value of a number in digits: "1,000", "0.25", ".5", "2½", "3/8", "2-1/2". None if it is not one
    number, or has no finite decimal."""
    if _PLAIN.match(norm):
        digits = norm.replace(",", "").lstrip("+")
        return Decimal(digits) if digits.strip("-.") else None
    glyph = _GLYPH.match(norm)
    if glyph:
        return Decimal(glyph[1] or "0") + Decimal(GLYPHS[glyph[2]])
    part = WRITTEN_PART.match(norm)
    if part and int(part[3]) in DENOMINATORS:
        return divide(int(part[2]), int(part[3]), int(part[1] or 0))
    return None


def whole(value: Decimal) -> Decimal:
    """1500000 for 1.5 million, which has no decimals to keep."""
    return value.quantize(Decimal(1)) if value == value.to_integral_value() else value.normalize()


def divide(numerator: int, denominator: int, whole: int = 0) -> Decimal | None:
    if numerator >= denominator or (denominator % 3 == 0 and numerator * 8 % denominator):
        return None
    return Decimal(whole) + Decimal(numerator) / Decimal(denominator)


def with_comma(norm: str) -> Decimal | None:
    """The value of "2,5"; None if it is not one number with a decimal comma."""
    return Decimal(norm.replace(",", ".")) if _COMMA.match(norm) else None


def in_thousands(norm: str) -> Decimal | None:
    """5000 for "5k"; None if it is no such number."""
    match = _IN_THOUSANDS.match(norm)
    return whole(Decimal(match[1]) * 1000) if match else None


def may_part_thousands(norm: str) -> bool:
    """Whether the point of a number may part thousands ("5.000", "2.500"), as it does in much of Europe: nobody ends
    a measured number on a nought in the third place."""
    return _POINTED.match(norm) is not None
