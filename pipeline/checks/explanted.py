"""What was taken out against what was put in."""

from __future__ import annotations

from pipeline.checks.base import called, finding, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "The same device (by its number) was taken out and put in, or fewer pieces came out than were said to be in."

_NUMBERS = ("device_serial", "device_udi", "device_lot")


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    return _same_number(note, grammar) + _fewer(note, grammar)


def _role(note: OperativeNote, fact: Fact) -> str:
    return fact.role or next((other.role for other in note.group(fact) if other.kind == "device" and other.role), "")


def _same_number(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    numbers = [fact for fact in note.of(*_NUMBERS, given=True) if fact.text]
    out = {(fact.kind, fact.text): fact for fact in numbers if _role(note, fact) == "explanted"}
    return [
        finding(
            "explanted",
            "blocking",
            f"The number {fact.text} was said for what was taken out and for what was put in.",
            [out[fact.kind, fact.text], fact],
            ask="Read the number of the new device again.",
        )
        for fact in numbers
        if _role(note, fact) != "explanted" and (fact.kind, fact.text) in out
    ]


def _fewer(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    counts = [fact for fact in note.of("device_count", given=True) if fact.value is not None]
    out = [fact for fact in counts if _role(note, fact) == "explanted"]
    found: list[Finding] = []
    for fact in out:
        before = [one for one in note.of("device_count") if one.status == "historical" and one.value]
        there = [one for one in before if one.name == fact.name]
        if there and there[0].value != fact.value and fact.name is not None:
            found.append(
                finding(
                    "explanted",
                    "warning",
                    f"{shown(there[0])} of {called(fact, grammar)} were in, {shown(fact)} came out.",
                    [there[0], fact],
                    arithmetic=f"{shown(there[0])} - {shown(fact)} = {(there[0].value or 0) - (fact.value or 0)} left",
                    ask="Say what stayed in.",
                    about="number",
                )
            )
    return found
