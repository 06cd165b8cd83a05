"""Sizes and counts of implants that are told again in the implant log ("on the implant sheet: screw 4.0 x 46 mm")."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact

_LOG = re.compile(
    r"\b(?:(?:implant|device|prosthesis|sticker|theatre)s? (?:sheet|list|log|record|form|sticker|label|register)s?|"
    r"implants (?:used|recorded|logged|on the (?:sheet|log|list))|(?:on|in|into|for) the (?:sheet|log|register|implant "
    r"book|chart)|(?:on|from) the (?:sticker|label|packet|box)e?s?|stickers? (?:for|read|say|show|head|cup|stem|screw|"
    r"anchor|femur|tibia|liner|insert)\w*)\b", re.I,
)  # fmt: skip
_CHANGED = re.compile(r"\b(?:trial\w*|changed|exchang\w+|swap\w*|instead|too (?:long|short|big|small|tight|loose)|"
                      r"replac\w+|upsized?|downsized?|back to|went (?:up|down))\b", re.I)  # fmt: skip


def others(note: OperativeNote) -> Iterator[tuple[list[Fact], str, Passage]]:
    """(facts of the implant told before, what the log says, where) where it was not told so before. Pure."""
    facts = [fact for fact in note.of("device_size", "device_count", given=True)
             if fact.value is not None and fact.role in ("implanted", "used")]  # fmt: skip
    if any(_CHANGED.search(passage.text) for passage in note.sections.description):
        return
    for passage in note.sections.description:
        match = _LOG.search(passage.text)
        if match is None:
            continue
        word = passage.evidence.first + len(passage.text[: match.start()].split())
        ends = not any(fact.evidence.first > word and passage.holds(fact) for fact in facts)
        log = [fact for fact in facts if passage.holds(fact) and (ends or fact.evidence.first >= word)]
        first = passage.evidence.first if ends else word
        before = [fact for fact in facts if fact.evidence.last < first]
        for fact in log:
            own = [one for one in before if one.kind == fact.kind and _noun(one) == _noun(fact) and _alike(one, fact)]
            again = [one for one in log if one.kind == fact.kind and _noun(one) == _noun(fact)]
            enough = len(again) <= len(own) or fact.kind == "device_count"
            if own and enough and fact.value not in _told(own, fact.kind):
                yield own, f"{match[0]}: {fact.value}", passage


def _alike(one: Fact, other: Fact) -> bool:
    return one.unit == other.unit or one.unit is None or other.unit is None


def _told(own: Sequence[Fact], kind: str) -> set[Decimal]:
    """The sizes, or what the counts may come to."""
    values = [fact.value for fact in own if fact.value is not None]
    if kind == "device_size":
        return set(values)
    ends = range(1, len(values) + 1)
    return {sum(values[first:end], Decimal(0)) for end in ends for first in range(end)}


def _noun(fact: Fact) -> str:
    return re.split(r"[ -]", fact.name or fact.text or "")[-1].removesuffix("s")
