"""Times of day in four digits: "0805", "Ancef 2 g 1012", "TQ 1407-1445", "timeout 1310"."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline import owners
from pipeline.clocks import EVENTS, GOVERNS, MARKED, ON_OFF, Found, counts, cued, finish, word_at
from pipeline.records import Token

_DIGITS = re.compile(r"^([01]\d|2[0-3])([0-5]\d)$")
_FIRST = re.compile(r"^(?:0\d[0-5]\d|(?:[01]?\d|2[0-3]):[0-5]\d)$")
_GLUED = re.compile(r"^[\d.]+(?:g|gm|mg|mcg)$")
_TO = frozenset({"-", "–", "to", "until", "till"})
_DOSED = frozenset("abx antibiotic antibiotics g gm gram grams mg mcg units ml iv im po".split())
_MASS = frozenset("g gm gram grams mg mcg".split())
_ACTIVITY = frozenset("units unit u iu".split())
_BEFORE_EARLY = frozenset("bypass sternotomy laparotomy thoracotomy pump ecmo flow docked undocked abx".split())
_LOGGED = GOVERNS | frozenset("knife baby skin antibiotic antibiotics patient kts cefazolin cuff in wheels".split())
_CUFFED = frozenset({"inflated", "deflated", "released"})
_HOURS = frozenset({"hours", "hrs", "h"})
_GOES_ON = frozenset({"x", "by", "-", "–", "/", "to", "or"})  # part of another number


def read(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """The time of day that four digits are, where what stands around them tells that they are one."""
    norm = norms[start]
    digits = _DIGITS.match(norm)
    if digits is None:
        return None
    hour, minute, early = int(digits[1]), int(digits[2]), norm[0] == "0"
    before, after = word_at(norms, start - 1), word_at(norms, start + 1)
    if after in _HOURS and not _ends_span(norms, start):
        return finish(hour, minute, norms, start, start + 2, sure=True)
    told = _ends_span(norms, start) or _begins_span(norms, start) or _logged(norms, start) or _dosed(norms, start)
    if early:  # no amount is written with a nought before it
        told = told or before in GOVERNS | _BEFORE_EARLY | _DOSED or owners.ends_drug(before) or cued(norms, start)
        told = told or (before == ")" or _one_of_several(norms, start)) and not _names(norms, start)
    elif before == "timeout":  # "TO 1310 L shoulder": the letter is a side
        told = True
    elif before in _CUFFED and not counts(norms, start + 1):  # no cuff is blown up to four digits
        told = True
    elif not norm.endswith("00") and not counts(norms, start + 1):
        told = told or (cued(norms, start) and _led(norms, start))
    return finish(hour, minute, norms, start, start + 1, sure=True) if told else None


_CODES = frozenset("lot serial sn ref batch number no no. # exp expiry expires mrn id bleep ext tel phone pin ward "
                   "room model".split())  # fmt: skip


def _names(norms: Sequence[str], start: int) -> bool:
    """Four digits of a lot, an expiry or a telephone."""
    return not _CODES.isdisjoint(norms[max(0, start - 4) : start]) or counts(norms, start + 1)


def _one_of_several(norms: Sequence[str], start: int) -> bool:
    """ "Perfused 1614, out of ice 0334": behind another time in the same breath."""
    return any(_DIGITS.match(norm) or _FIRST.match(norm) for norm in norms[max(0, start - 8) : start])


def is_span(first: str, second: str) -> bool:
    """ "1407", "1445": two times of day, where "1000-1200" and "1150-1200" may be amounts."""
    both = _DIGITS.match(first) and _DIGITS.match(second)
    return bool(both) and first < second and not (first.endswith("0") and second.endswith("0"))


def _begins_span(norms: Sequence[str], start: int) -> bool:
    """The first of two: "TQ 1407-1445"."""
    spans = word_at(norms, start + 1) in ("-", "–") and is_span(norms[start], word_at(norms, start + 2))
    return spans and not counts(norms, start + 3)


def _ends_span(norms: Sequence[str], start: int) -> bool:
    """ "0910-1025", "08:10 to 0905", "1407-1445": the second of two times."""
    joint, first = word_at(norms, start - 1), word_at(norms, start - 2)
    if joint in _TO and _FIRST.match(first):
        return True
    return joint in ("-", "–") and is_span(first, norms[start]) and not counts(norms, start + 1)


def _logged(norms: Sequence[str], start: int) -> bool:
    """ "0912 knife to skin 1004 baby out": a line of a log, in which the event follows the time."""
    before = word_at(norms, start - 1)
    led = not start or before in (",", ";", ".", "at", ":") or before in EVENTS or before in GOVERNS
    return led and word_at(norms, start + 1) in _LOGGED


def _dosed(norms: Sequence[str], start: int) -> bool:
    """ "Ancef 2 g 1012": right behind a dose, with no unit of its own."""
    unit = start - 1
    marks = (",", "(") if norms[start][0] == "0" else ()  # "cefazolin 2g, 0715"
    while word_at(norms, unit) in ("iv", "at", *marks):
        unit -= 1
    said = word_at(norms, unit)
    if marks and _GLUED.match(said):
        return not counts(norms, start + 1) and word_at(norms, start + 1) not in _GOES_ON
    dosed = said in _MASS or (said in _ACTIVITY and not norms[start].endswith("00"))  # "heparin 5000 units 1008"
    dose = dosed and word_at(norms, unit - 1)[:1].isdigit()
    return dose and not counts(norms, start + 1) and word_at(norms, start + 1) not in _GOES_ON


def _led(norms: Sequence[str], start: int) -> bool:
    """Whether the word right before it names the event: "incision 1034", "traction on 1031"."""
    before = word_at(norms, start - 1 - (word_at(norms, start - 1) == "again"))  # "up again 1012"
    return before in MARKED or (before in ("on", "off") and bool(ON_OFF & set(norms[max(0, start - 12) : start + 5])))
