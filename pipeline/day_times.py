"""Times of day in other words: "twelve minutes past nine", "half nine", "midnight", "two in the morning", "09.12 h"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from pipeline import clocks, numerals, owners
from pipeline.clocks import word_at
from pipeline.records import Quantity, Token

Found = tuple[Quantity, int]

STARTS = frozenset({"noon", "midnight", "midday"})
_LED = frozenset({"at", "by", "until", "till", "since", "from", "before", "after", "around", "about", "past", "to"})
_VAGUE = frozenset({"before", "after", "around", "about", "past", "to"})
_DOTTED = re.compile(r"^([01]?\d|2[0-3])[.:]([0-5]\d)$")
_HOURS = frozenset({"h", "hrs", "hours", "uhr"})
_MOVES = frozenset({"up", "down", "on", "off", "in", "out", "-", "–", ",", ":"})


def read(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """The time of day that begins at a token, with the token behind it; None where there is none."""
    if norms[start] in STARTS:
        return _noon(norms, start)
    dotted = _DOTTED.match(norms[start])
    if dotted and word_at(norms, start + 1) in _HOURS:
        before = word_at(norms, start - 1)
        if before in _LED or before in _MOVES or before in clocks.GOVERNS:
            return Quantity(form="clock", text=f"{int(dotted[1]):02d}:{dotted[2]}"), start + 2
        return None
    if norms[start] == "half":
        return _half(norms, start)
    if norms[start] == "a" and word_at(norms, start + 1) == "quarter" and clocks.leads(norms, start):
        return clocks.relative(norms, start + 1)  # "at a quarter to eight"
    return (_minutes_past(norms, start) or _hour_left_out(norms, start) or _part_of_day(norms, start)
            or _bare_hour(norms, start))  # fmt: skip


def _number(norms: Sequence[str], start: int) -> tuple[int, int] | None:
    norm = word_at(norms, start)
    if norm.isdigit() and len(norm) <= 2:
        return int(norm), start + 1
    return numerals._below_hundred(norms, start)


def _noon(norms: Sequence[str], start: int) -> Found | None:
    """ "Closure at noon", "finished just after midnight": the latter with a doubt."""
    before = word_at(norms, start - 1)
    near = norms[max(0, start - 8) : start]
    if before not in _LED or not any(word in clocks.GOVERNS or word in clocks.TIMED or word in _WORK for word in near):
        return None
    text = "00:00" if norms[start] == "midnight" else "12:00"
    doubts = (f"said as {before} {norms[start]}",) if before in _VAGUE else ()
    return Quantity(form="clock", text=text, doubts=doubts), start + 1


_WORK = frozenset({"knife", "skin", "surgery", "operation", "called", "born", "wheels", "up", "down", "on", "off"})


def _half(norms: Sequence[str], start: int) -> Found | None:
    """ "Finished at half nine": half past nine in Britain, half an hour before in other languages, so a doubt."""
    hour = _number(norms, start + 1)
    if hour is None or not 1 <= hour[0] <= 12 or word_at(norms, hour[1]) in ("past", "to", "x", "by", "and", "a"):
        return None
    if clocks.counts(norms, hour[1]) or not clocks.leads(norms, start):
        return None
    found = clocks.finish(hour[0], 30, norms, start, hour[1], sure=False)
    if found is None:
        return None
    said = f"'half {norms[start + 1]}' was taken as half past"
    return replace(found[0], doubts=(*found[0].doubts, said)), found[1]


def _minutes_past(norms: Sequence[str], start: int) -> Found | None:
    """ "Twelve minutes past nine", "5 past 3", "eight minutes to ten"."""
    minutes = _number(norms, start)
    if minutes is None or not 1 <= minutes[0] <= 59:
        return None
    link = minutes[1] + (word_at(norms, minutes[1]) in ("minutes", "minute", "mins", "min"))
    told = link > minutes[1]
    said = word_at(norms, link)
    if said in ("past", "to") and word_at(norms, link + 1) in ("midnight", "noon") and clocks.leads(norms, start):
        whole = 12 * 60 * (norms[link + 1] == "noon") + minutes[0] * (1 if said == "past" else -1)
        return Quantity(form="clock", text=f"{whole // 60 % 24:02d}:{whole % 60:02d}"), link + 2
    hour = _number(norms, link + 1) if said in ("past", "to", "after", "before") else None
    if hour is None or not 1 <= hour[0] <= 12 or clocks.counts(norms, hour[1]) or minutes[0] > 30 - (said == "to"):
        return None
    if said != "past" and not told:
        return None
    if said in ("after", "before", "to") and not clocks.leads(norms, start):
        return None
    if said == "past" and not (told or word_at(norms, start - 1) in _LED or clocks.leads(norms, start)):
        return None
    if said in ("past", "after"):
        return clocks.finish(hour[0], minutes[0], norms, start, hour[1], sure=False)
    return clocks.finish((hour[0] - 1) or 12, 60 - minutes[0], norms, start, hour[1], sure=False)


_BACK = 40  # words to the time before
_SHUT = frozenset({"", ".", ",", ";", "and", "then", "so"})


def _hour_left_out(norms: Sequence[str], start: int) -> Found | None:
    """ "Time out at five past eight, knife to skin at ten past": the next one after the time that was said before in
    the same way, with a doubt."""
    quarter = norms[start] == "quarter" or (norms[start] == "half" and word_at(norms, start + 1) == "past")
    minutes = (30 if norms[start] == "half" else 15, start + 1) if quarter else _number(norms, start)
    if minutes is None or not 1 <= minutes[0] <= 30 or word_at(norms, start - 1) not in ("at", "by"):
        return None
    said = word_at(norms, minutes[1])
    after = word_at(norms, minutes[1] + 1)
    if said not in ("past", "to") or not (after in _SHUT or after in clocks.GOVERNS):
        return None
    for at in range(start - 2, max(1, start - _BACK), -1):
        hour = _number(norms, at + 1) if norms[at] in ("past", "to") else None
        if hour is None or not 1 <= hour[0] <= 12:
            continue
        first = next((one for back in (2, 1) if (one := _minute(norms, at - back, at)) is not None), None)
        if first is None:
            return None
        before = hour[0] * 60 + (first if norms[at] == "past" else -first)
        wanted = minutes[0] if said == "past" else 60 - minutes[0]
        now = before + (wanted - before) % 60
        found = clocks.finish((now // 60 - 1) % 12 + 1, now % 60, norms, start, minutes[1] + 1, sure=False)
        if found is None:
            return None
        return replace(found[0], doubts=(*found[0].doubts, "the hour was left out, and taken from the time before")), (
            found[1]
        )  # fmt: skip
    return None


def _minute(norms: Sequence[str], start: int, end: int) -> int | None:
    """The minutes that words up to `end` say: "five", "quarter", "twenty five"."""
    if start < 0:
        return None
    if norms[start] in ("quarter", "half") and start + 1 == end:
        return 15 if norms[start] == "quarter" else 30
    number = _number(norms, start)
    return number[0] if number is not None and number[1] == end else None


def _part_of_day(norms: Sequence[str], start: int) -> Found | None:
    """ "Two in the morning", "nine at night"."""
    hour = _number(norms, start)
    if hour is None or not 1 <= hour[0] <= 12 or word_at(norms, start - 1) not in _LED:
        return None
    words = tuple(norms[hour[1] : hour[1] + 3])
    if words[:2] == ("at", "night"):
        value = hour[0] % 12 + (12 if hour[0] >= 6 and hour[0] != 12 else 0)
        return Quantity(form="clock", text=f"{value:02d}:00"), hour[1] + 2
    if words[:2] == ("in", "the") and words[2:] in (("morning",), ("afternoon",), ("evening",)):
        return clocks.finish(hour[0], 0, norms, start, hour[1], sure=False)
    return None


_HAPPENED = frozenset(
    "room incision closure closed induction theatre theater started began ended finished table delivered born".split()
)
_ENDED = frozenset({"closed", "finished", "done", "ended", "completed", "out"})
_SWITCHED = frozenset({"up", "down", "on", "off", "inflated", "deflated", "released"})
_WAS = frozenset({"was", "is", "were", "made", "done", "given"})


def _bare_hour(norms: Sequence[str], start: int) -> Found | None:
    """ "Out of the room at eleven", "incision at nine and closure at ten": with a doubt, since no minutes were said."""
    by = word_at(norms, start - 1) == "by"
    if word_at(norms, start - 1) != "at" and not by:
        return None
    before = [norm for norm in norms[max(0, start - 4) : start - 1] if norm not in _WAS]
    hour = _number(norms, start)
    if not before or hour is None or not (before[-1] in (_ENDED if by else _HAPPENED) or (not by and (
        (before[-1] in _SWITCHED and clocks.of_on_off(norms, start)) or before[-1] == "timeout"
        or before[-2:] == ["time", "out"] or owners.is_antibiotic(before[-1])
    ))):  # fmt: skip
        return None
    end = hour[1] + (word_at(norms, hour[1]) in ("sharp", "prompt", "exactly"))
    hour = hour[0], end
    after = word_at(norms, end)
    goes_on = after in ("", ".", ",", ";", "and", "then", "patient", "skin", "out") or after in clocks.GOVERNS
    if not 1 <= hour[0] <= 12 or not goes_on or clocks.is_round(norms, start):
        return None
    found = clocks.finish(hour[0], 0, norms, start, hour[1], sure=False)
    if found is None:
        return None
    return replace(found[0], doubts=(*found[0].doubts, "only the hour was said")), found[1]
