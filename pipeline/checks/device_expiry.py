"""An implant that had expired before the operation."""

from __future__ import annotations

import re
from datetime import date

from pipeline.checks.base import finding, tokenized
from pipeline.dates import MONTHS
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.timespan import day
from pipeline.udi import read

MEANING = "A device had expired before the day of the operation."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    said = next((one for fact in note.of("date") if (one := day(fact.text or "")) is not None), None)
    operated = said or day(note.made_at[:10])
    if operated is None:
        return []
    unread = [
        fact for fact in note.of("device_expiry")
        if fact.certainty != "negated" and day(fact.text or "") is None and any(map(str.isdigit, fact.text or ""))
        and not ((short := _short(fact.text or "")) is not None and short < operated)
    ]  # fmt: skip
    found = [
        finding(
            "device_expiry",
            "note",
            f"The expiry “{fact.text or fact.evidence.heard}” cannot be read as a day or a month of one year.",
            [fact],
            ask="Say the month and the year of the expiry.",
            about="unread",
        )
        for fact in unread
    ]
    return found + [
        finding(
            "device_expiry",
            "blocking" if fact.kind != "device_expiry" or day(fact.text or "") is not None else "warning",
            f"The device had expired on {expiry.isoformat()}; the {'operation was' if said else 'note was made'} on "
            f"{operated.isoformat()}.",
            [fact],
            arithmetic=f"{expiry.isoformat()} is {(operated - expiry).days} days before {operated.isoformat()}",
            ask="Read the label again; if it is right, say what was done.",
        )
        for fact in note.of("device_expiry", "device_udi")
        if fact.certainty != "negated" and (expiry := _expiry(fact)) is not None and expiry < operated
    ]


def _expiry(fact: Fact) -> date | None:
    if fact.kind != "device_expiry":
        return read(fact.text or "").expiry
    return day(fact.text or "") or _short(fact.text or "")


# "August twenty five", "03/26": on a label a month and the year without its century. A number that no label can have as
# a year (below 20) is left unread.
_FIGURES = re.compile(r"(\d{1,2}) ?[/.-] ?(\d{2})")
_EARLIEST, _LATEST, _MONTHS = 20, 60, 12


def _short(text: str) -> date | None:
    words = re.sub(r"[.,-]", " ", text.lower()).split()
    figures = _FIGURES.fullmatch(text.strip(" .,"))
    if figures:
        month, year = int(figures[1]), int(figures[2])
    elif len(words) > 1 and words[0] in MONTHS:
        tail = [token.quantity.value for token in tokenized(" ".join(words[1:])) if token.quantity is not None]
        month, year = MONTHS[words[0]], int(tail[0]) if len(tail) == 1 and tail[0] is not None else 0
    else:
        return None
    if not (1 <= month <= _MONTHS and _EARLIEST <= year <= _LATEST):
        return None
    return day(f"{2000 + year}-{month:02d}")
