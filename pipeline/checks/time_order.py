"""The times of the operation in their order, over midnight too."""

from __future__ import annotations

import re

from pipeline.checks.base import called, finding, same_name
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.timespan import minutes_between, of_day

MEANING = "Two times of the operation are in an impossible order (out of the room before the incision)."

# Each event comes no later than those of the next line. Common practice, no source.
_ORDER = (
    ("in_room",),
    ("sign_in", "anaesthesia_start"),
    ("induction",),
    ("time_out",),
    ("incision",),
    ("closure",),
    ("dressing_on", "operation_end"),
    ("anaesthesia_end",),
    ("out_of_room",),
    ("in_recovery",),
)
_PAIRS = (("antibiotic", "out_of_room"), ("tourniquet_up", "tourniquet_down"), ("clamp_on", "clamp_off"),
          ("bypass_on", "bypass_off"), ("in_room", "antibiotic"), ("uterine_incision", "delivery"),
          ("incision", "uterine_incision"), ("in_room", "tourniquet_up"), ("tourniquet_down", "out_of_room"),
          ("incision", "operation_end"), ("incision", "delivery"), ("delivery", "closure"))  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    first: dict[str, Fact] = {}
    last: dict[str, Fact] = {}
    for fact in note.of("clock_time", given=True):
        if fact.text is not None and of_day(fact.text) is not None:
            first.setdefault(same_name(fact.name), fact)
            last[same_name(fact.name)] = fact
    pairs = [(a, b) for index, line in enumerate(_ORDER) for a in line for later in _ORDER[index + 1 :] for b in later]
    found: list[Finding] = []
    broken: set[str] = set()
    for before, after in (*_neighbours(pairs, first), *_PAIRS):
        if before not in first or after not in last or {before, after} & broken:
            continue
        early, late = first[before], last[after]
        gap = minutes_between(early.text or "", late.text or "")
        if gap is not None and (before, after) in _WORK and _no_way(early, late, gap):
            gap -= _HALF_DAY
        if gap is None or gap >= 0:
            continue
        broken |= {before, after}
        found.append(
            finding(
                "time_order",
                "warning",
                f"{called(late, grammar)} at {late.text} is before {called(early, grammar)} at {early.text}.",
                [early, late],
                arithmetic=f"{late.text} - {early.text} = {gap} min",
                ask="Say which time is right.",
            )
        )
    return found or _births(note)


def _births(note: OperativeNote) -> list[Finding]:
    """ "Twin one at nine forty three ... twin two at nine thirty six": the first was born first."""
    born: dict[int, Fact] = {}
    for fact in note.of("clock_time", given=True):
        passage = next((one for one in note.sections.description if one.holds(fact)), None)
        if passage is None or fact.text is None or of_day(fact.text) is None:
            continue
        ahead = " ".join(passage.text.split()[: fact.evidence.last + 1 - passage.evidence.first])
        named = list(_TWIN.finditer(ahead))
        if named and len(ahead[named[-1].end() :].split()) <= _TO_BIRTH:
            born.setdefault(1 if (named[-1][1] or named[-1][2]).lower() in _FIRST else 2, fact)
    gap = minutes_between(born[1].text or "", born[2].text or "") if len(born) > 1 else None
    if gap is None or gap >= 0:
        return []
    return [
        finding(
            "time_order", "warning",
            f"The second twin was born at {born[2].text}, before the first at {born[1].text}.", [born[1], born[2]],
            arithmetic=f"{born[2].text} - {born[1].text} = {gap} min", ask="Say which time is right.",
        )
    ]  # fmt: skip


_TWIN = re.compile(r"\b(?:twin|baby) (one|two|1|2|a|b)\b|\b(first|second|1st|2nd) (?:twin|baby)\b", re.I)
_FIRST = frozenset({"one", "1", "a", "first", "1st"})
_TO_BIRTH = 16  # words from the name of a twin to its time
_WORK = (("incision", "closure"), ("incision", "operation_end"))
_HALF_DAY, _LONGEST = 720, 480  # minutes; longer than eight hours few operations last (common practice, no source)


def _no_way(early: Fact, late: Fact, gap: int) -> bool:
    """ "Started at five to five in the afternoon and finished at ten past four": half a day later no operation ends,
    and in the afternoon it would have ended before it began."""
    unsure = any("morning or afternoon" in doubt for doubt in late.doubts)
    return unsure and not early.doubts and _LONGEST < gap < _HALF_DAY


def _neighbours(pairs: list[tuple[str, str]], said: dict[str, Fact]) -> list[tuple[str, str]]:
    """The pairs of which both were said, nearest in the order first, so that the nearest conflict is told."""
    place = {name: index for index, line in enumerate(_ORDER) for name in line}
    known = [pair for pair in pairs if pair[0] in said and pair[1] in said]
    return sorted(known, key=lambda pair: place[pair[1]] - place[pair[0]])
