"""An implant that had expired before the operation."""

from __future__ import annotations

from datetime import date

from pipeline.checks.base import finding
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
        if fact.certainty != "negated" and _expiry(fact) is None and any(map(str.isdigit, fact.text or ""))
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
            "blocking",
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
    return day(fact.text or "") if fact.kind == "device_expiry" else read(fact.text or "").expiry
