"""Device identifiers as read aloud: check digits, dates, and what does not parse."""

from __future__ import annotations

import re

from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding
from pipeline.timespan import day
from pipeline.udi import read

MEANING = (
    "A UDI that was read aloud does not hold: its GS1 check digit is wrong, it cannot be parsed, or another lot, "
    "serial number or expiry was said."
)


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
        pairs = {"device_lot": udi.lot, "device_serial": udi.serial,
                 "device_expiry": udi.expiry.isoformat() if udi.expiry is not None else ""}  # fmt: skip
        for other in (one for kind in pairs for one in _beside(note, fact, kind)):
            wanted = pairs[other.kind]
            if wanted and not _is_same(other, wanted):
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


def _beside(note: OperativeNote, udi: Fact, kind: str) -> list[Fact]:
    """What was said of the same thing: told with it, else the only one of its sentence and those next to it, where no
    other identifier stands between and it is of no thing of another name."""
    own = [other for other in note.group(udi) if other.kind == kind and other.certainty != "negated"]
    if own:
        return own
    passages = note.sections.description
    at = next((place for place, passage in enumerate(passages) if passage.holds(udi)), None)
    if at is None:
        return []
    near = [passages[at], *(one for one in passages[max(0, at - 1) : at + 2]
                            if one is not passages[at] and _goes_on(max(one, passages[at], key=_place)))]  # fmt: skip
    others, told = (
        [one for one in note.of(sort) if one is not udi and any(passage.holds(one) for passage in near)]
        for sort in ("device_udi", kind)
    )
    like = [one for one in told if one.certainty != "negated" and (one.name or udi.name) == (udi.name or one.name)]
    return like if len(like) == len(told) == 1 and not others else []


def _place(passage: Passage) -> int:
    return passage.evidence.first


def _goes_on(later: Passage) -> bool:
    """Whether the later of two sentences is of the thing of the earlier one: it begins with the word for what is read,
    and names nothing."""
    first = later.text.split()[0].lower().strip(".,:;(") if later.text.split() else ""
    return first in _READ or first[:2] == "01"


_READ = frozenset("udi barcode sticker label lot serial batch sn expiry expires exp gs1 di it the its scan scanned "
                  "reads code ref".split())  # fmt: skip


def _is_same(other: Fact, wanted: str) -> bool:
    """Whether what was said is what the identifier holds; of an expiry as much as was said of it (a month or a day)."""
    if other.kind != "device_expiry":
        return _plain(other.text or "") == _plain(wanted)
    said = day(other.text or "")
    return said is None or said.isoformat() == wanted or (
        not _DATE.fullmatch(other.text or "") and said.isoformat()[:_MONTH] == wanted[:_MONTH]
    )


_DATE, _MONTH = re.compile(r"\d{4}-\d{2}-\d{2}"), 7


def _plain(text: str) -> str:
    return "".join(letter for letter in text.upper() if letter.isalnum())
