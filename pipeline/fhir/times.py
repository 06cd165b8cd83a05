"""Dates and times as FHIR wants them, from what was said only.

A FHIR dateTime with a time needs a time zone: it is written only when the day was said in full and the site's
context names the zone. The date of the recording is never taken for the date of the operation.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from pipeline.fhir.base import Book, Resource, absent
from pipeline.records import Fact

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_CLOCK = re.compile(r"([01]\d|2[0-3]):([0-5]\d)")
_STARTS = ("incision",)
_ENDS = ("operation_end", "closure")


def day(book: Book) -> str | None:
    """The ISO date of the operation, None unless exactly one full date was said."""
    said = {fact.text for fact in book.of("date") if fact.text and _DAY.fullmatch(fact.text)}
    if len(said) != 1:
        return None
    only = str(said.pop())
    try:
        datetime.fromisoformat(only)
    except ValueError:
        return None
    return only


def clock(fact: Fact) -> str | None:
    """A FHIR time (HH:MM:SS) of a time of day."""
    return f"{fact.text}:00" if fact.text and _CLOCK.fullmatch(fact.text) else None


def moment(book: Book, fact: Fact) -> str | None:
    """A full dateTime with offset of a time of day; None when day or zone are not known."""
    date, time = day(book), clock(fact)
    if date is None or time is None or not book.site.timezone:
        return None
    return datetime.fromisoformat(f"{date}T{time}").replace(tzinfo=ZoneInfo(book.site.timezone)).isoformat()


def event(book: Book, *names: str) -> Fact | None:
    """The one time said for the first of these events that has exactly one."""
    for name in names:
        found = [fact for fact in book.of("clock_time") if (fact.name or "").replace("-", "_") == name and clock(fact)]
        if len(found) == 1:
            return found[0]
    return None


def performed(book: Book) -> tuple[Resource, list[Fact]]:
    """performed[x] of the operation, and the facts behind it: a period, a date, or data-absent-reason."""
    dates = [fact for fact in book.of("date") if fact.text == day(book)]
    start, end = event(book, *_STARTS), event(book, *_ENDS)
    begun = moment(book, start) if start else None
    ended = moment(book, end) if end else None
    if begun and ended and datetime.fromisoformat(ended) < datetime.fromisoformat(begun):
        begun = ended = None  # past midnight, or a slip: the order is not ours to decide
    if begun or ended:
        period = {"start": begun, "end": ended}
        used = [fact for fact, at in ((start, begun), (end, ended)) if fact is not None and at]
        return {"performedPeriod": {name: at for name, at in period.items() if at}}, [*dates, *used]
    return on_day(book, "performed"), dates


def on_day(book: Book, name: str) -> Resource:
    """`name`DateTime with the day of the operation; when it is not known, a period that says so."""
    date = day(book)
    return {f"{name}DateTime": date} if date else {f"{name}Period": absent()}


def at(book: Book, name: str, facts: Iterable[Fact]) -> Resource:
    """`name`DateTime from a time of day among these facts, else the day, else data-absent-reason."""
    for fact in facts:
        if fact.kind == "clock_time" and (full := moment(book, fact)):
            return {f"{name}DateTime": full}
    return on_day(book, name)
