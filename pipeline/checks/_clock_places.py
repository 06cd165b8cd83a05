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
    places: list[str] = []
    last = 0  # the places up to the last that is called one: "at eleven and at one o'clock, and one for the biceps"
    for token in read[start + 1 :]:
        quantity = token.quantity
        if quantity is not None and quantity.form == "clock_face":
            places.append((quantity.text or "").removesuffix(" o'clock"))
            last = len(places)
        elif (hour := count(token)) is not None and hour <= _HOURS:
            places.append(str(hour))
        elif quantity is not None and quantity.form == "clock" and _FACE.fullmatch(token.text.strip(",.;()")):
            places.append(token.text.strip(",.;()"))  # "at 5:30, 4:30, 3:30 and 2:30"
            last = len(places)
        elif token.norm not in _BETWEEN:
            if quantity is not None and quantity.form == "clock":
                return None  # "one thirty three and five": where one ends and the next begins is not clear
            break
    places = places[:last]
    if len(places) < 2 or len(places) == head.number:
        return None
    return f"{len(places)} places ({', '.join(places)} o'clock), said: {head.number}"
