"""Unique device identifiers as said: GS1 element strings (by biip), digit by digit or in one piece, and HIBCC.

Sources: GS1 General Specifications (mod 10: weights 3, 1, 3, ... from the right; worked example 09501101530003);
ANSI/HIBC 2.6 (mod 43 check character).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from biip import ParseError
from biip.gs1_messages import GS1Message

from pipeline.spelled import DIGITS

_REPEAT = {"double": 2, "triple": 3}
_BRACKETS = {"bracket", "brackets", "parenthesis", "parentheses", "paren"}
_OPENING, _CLOSING = {"open", "opening", "(", "["}, {"close", "closing", "closed", ")", "]"}
_HIBC = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
_GTIN = re.compile(r"^\d{8}$|^\d{12,14}$")


@dataclass(frozen=True, slots=True)
class Udi:
    """What an identifier holds. `device`: its fixed part; `problem`: why it does not hold, "" if it does."""

    device: str = ""
    lot: str = ""
    serial: str = ""
    expiry: date | None = None
    made: date | None = None
    problem: str = ""
    arithmetic: str = ""


def as_written(said: str) -> str:
    """The identifier as printed: spoken digits in figures, "double"/"triple" unfolded, spaces dropped."""
    parts: list[str] = []
    times = 1
    for word in re.findall(r"\(|\)|\[|\]|[^\s()\[\]]+", said):
        low = word.lower().strip(",;:")
        if low in _REPEAT:
            times = _REPEAT[low]
            continue
        if low in _OPENING or low in _CLOSING:
            parts.append("(" if low in _OPENING else ")")
        elif low in _BRACKETS:
            # "open bracket" is one mark; a bare "bracket" opens, and closes what is open.
            if not (parts and parts[-1] in "()"):
                parts.append(")" if parts.count("(") > parts.count(")") else "(")
        else:
            parts.append(DIGITS.get(low, low.upper()) * times)
        times = 1
    return "".join(parts)


def check_digit(digits: str) -> int:
    """GS1 mod 10 check digit of a number without its check digit. Raises ValueError if it is no number."""
    if not digits.isdigit():
        raise ValueError("a check digit is worked out of digits only")
    total = sum(int(digit) * (3 if index % 2 == 0 else 1) for index, digit in enumerate(reversed(digits)))
    return (10 - total % 10) % 10


def read(said: str) -> Udi:
    """The parts of an identifier, or what is wrong with it. Never guesses a digit."""
    text = as_written(said)
    if not text:
        return Udi(problem="nothing was read")
    if text.startswith("+"):
        return _hibc(text)
    if _GTIN.match(text):
        return _gtin(text) or Udi(device=text)
    return _message(text)


def _gtin(text: str) -> Udi | None:
    """What is wrong with a GTIN, or None."""
    wanted = check_digit(text[:-1])
    if wanted == int(text[-1]):
        return None
    return Udi(
        device=text,
        problem=f"the check digit of {text} should be {wanted}, not {text[-1]}",
        arithmetic=f"GS1 mod 10 of {text[:-1]} = {wanted}, said: {text[-1]}",
    )


def _message(text: str) -> Udi:
    fixed = re.match(r"^\(?01\)?(\d{14})", text)
    if fixed:
        wrong = _gtin(fixed[1])
        if wrong is not None:
            return wrong
    try:
        message = GS1Message.parse_hri(text) if text.startswith("(") else GS1Message.parse(text)
    except ParseError as problem:
        return Udi(problem=f"it is no GS1 identifier ({str(problem).rstrip('.')})")
    values = {element.ai.ai: element for element in message.element_strings}
    return Udi(
        device=values["01"].value if "01" in values else "",
        lot=values["10"].value if "10" in values else "",
        serial=values["21"].value if "21" in values else "",
        expiry=values["17"].date if "17" in values else None,
        made=values["11"].date if "11" in values else None,
    )


def _hibc(text: str) -> Udi:
    if len(text) < 6 or any(letter not in _HIBC for letter in text):
        return Udi(problem="it is no HIBC identifier")
    wanted = _HIBC[sum(_HIBC.index(letter) for letter in text[:-1]) % 43]
    if wanted != text[-1]:
        return Udi(
            device=text,
            problem=f"the check character of the HIBC identifier should be {wanted}, not {text[-1]}",
            arithmetic=f"mod 43 of {text[:-1]} = {wanted}, said: {text[-1]}",
        )
    return Udi(device=text[:-1])
