"""Device identifiers as read aloud: check digits, dates, and what does not parse."""

from __future__ import annotations

from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.udi import read

MEANING = "A UDI that was read aloud does not hold: its GS1 check digit is wrong, or it cannot be parsed."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for fact in note.of("device_udi"):
        said = fact.text or ""
        udi = read(said)
        if udi.problem:
            found.append(
                finding(
                    "device_udi",
                    "warning",
                    f"The device identifier {said} does not hold: {udi.problem}.",
                    [fact],
                    arithmetic=udi.arithmetic,
                    ask="Read it again from the label, digit by digit.",
                )
            )
            continue
        for other in note.group(fact):
            pairs = {"device_lot": udi.lot, "device_serial": udi.serial}
            wanted = pairs.get(other.kind)
            if wanted and _plain(other.text or "") != _plain(wanted):
                found.append(
                    finding(
                        "device_udi",
                        "warning",
                        f"The label's identifier holds {wanted}, but {other.text} was said.",
                        [fact, other],
                        ask="Read both again from the label.",
                        about="differs",
                    )
                )
    return found


def _plain(text: str) -> str:
    return "".join(letter for letter in text.upper() if letter.isalnum())
