"""Anchors and stitches told by where they sit on the clock face: "three anchors at five, four and three o'clock"."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.checks._spoken_counts import Head, count
from pipeline.records import Token

_SET = frozenset({"anchors", "stitches", "sutures", "knots", "loops", "tacks", "screws"})
_TO_PLACES = 8  # tokens from the noun to "at"
_BETWEEN = frozenset({",", "and", "then", "&", "at", "the"})
_HOURS = 12
_FACE = re.compile(r"(?:[1-9]|1[0-2]):[03]0")  # on a clock face, as typed


def told(read: Sequence[Token], head: Head) -> str | None:
    """The places that were told, where there are more or fewer than things."""
    if head.noun not in _SET:
        return None
    ahead = range(head.last + 1, min(head.last + 1 + _TO_PLACES, len(read)))
    start = next((at for at in ahead if read[at].norm == "at"), None)
    if start is None or any(read[at].norm in (".", ";") or count(read[at]) for at in range(head.last + 1, start)):
        return None
    places = _places(read, start)[0]
    return None if len(places) < 2 or len(places) == head.number else _arithmetic(places, head.number)


def _arithmetic(places: Sequence[str], said: int) -> str:
    return f"{len(places)} places ({', '.join(places)} o'clock), said: {said}"


def totalled(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """ "Anchors at 5:30, 4:30 and 2:30, 3 anchors total": (number, noun, arithmetic) of places and a total of them."""
    for at in range(len(read) - 2):
        led = at + 1 + (read[at + 1].norm == ",")
        if read[at].norm not in _SET or read[led].norm != "at" or (at and count(read[at - 1])):
            continue
        places, end = _places(read, led)
        behind = range(end, min(len(read) - 1, end + _TO_TOTAL))
        total = next((place for place in behind if count(read[place]) and read[place + 1].norm == read[at].norm), None)
        if total is None or len(places) < 2 or any(read[place].norm in (".", ";") for place in range(end, total)):
            continue
        said = count(read[total])
        if said is not None and said != len(places):
            return said, read[at].norm, _arithmetic(places, said)
    return None


_TO_TOTAL = 4  # tokens


def hour(read: Sequence[Token], at: int) -> bool:
    """ "One at eleven": whether a number is a place on the clock face and counts nothing."""
    number = count(read[at]) if 0 < at < len(read) else None
    return number is not None and number <= _HOURS and read[at - 1].norm == "at"


def _places(read: Sequence[Token], start: int) -> tuple[list[str], int]:
    """(the places on the clock face behind "at", the token behind them)."""
    places: list[str] = []
    last, end = 0, start + 1  # up to the last that is called one: "at eleven and at one o'clock, and one more"
    for at, token in enumerate(read[start + 1 :], start + 1):
        quantity = token.quantity
        if quantity is not None and quantity.form == "clock_face":
            places.append((quantity.text or "").removesuffix(" o'clock"))
            last, end = len(places), at + 1
        elif (hour := count(token)) is not None and hour <= _HOURS:
            places.append(str(hour))
        elif quantity is not None and quantity.form == "clock" and _FACE.fullmatch(token.text.strip(",.;()")):
            places.append(token.text.strip(",.;()"))  # "at 5:30, 4:30, 3:30 and 2:30"
            last, end = len(places), at + 1
        elif token.norm not in _BETWEEN:
            if quantity is not None and quantity.form == "clock":
                return [], end  # "one thirty three and five": where one ends and the next begins is not clear
            break
    return places[:last], end
