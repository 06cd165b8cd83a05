"""Spinal levels across the note."""

from __future__ import annotations

from collections import Counter

from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Evidence, Fact, Finding

MEANING = "A spinal level of the diagnosis, consent or time-out is none of the levels that were operated on."

_BEFORE = frozenset({"preop_diagnosis", "postop_diagnosis", "diagnosis", "consent", "time_out", "site_marking",
                     "procedure"})  # fmt: skip

_NEAR = 6  # words: "microdiscectomy on the left at L4-L5"


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    levels = [
        fact
        for fact in note.of("spinal_level")
        if fact.text and fact.certainty != "negated" and fact.status in ("performed", "planned")
    ]
    if len({_plain(fact) for fact in levels}) < 2:
        return []
    beside = {fact.id: _beside(note, fact) for fact in levels}
    operated = [fact for fact in levels if "procedure" in beside[fact.id]]
    if operated:
        done = {_plain(fact) for fact in operated}
        wrong = [fact for fact in levels if beside[fact.id] & _BEFORE and not _covered(_plain(fact), done)]
        return [_told(operated[0], fact, "blocking") for fact in wrong]
    return _outlier(levels)


def _beside(note: OperativeNote, level: Fact) -> set[str]:
    """Kinds of what a level was said of: of its group, else of the statements within a few words of it.

    A level that was said several times counts at each of its places.
    """
    own = {other.kind for other in note.group(level) if other.kind in _BEFORE}
    if own:
        return own
    found: set[str] = set()
    for place in (level.evidence, *level.also):
        near = [
            (other.evidence.first > place.last, _gap(place, other.evidence), other.kind)
            for other in note.of(*_BEFORE)
            if other.status in ("performed", "planned") and other.certainty != "negated"
            and _gap(place, other.evidence) <= _NEAR
        ]  # what was said before it goes first: "fusion L3 to L5 for stenosis"
        if near:
            found.add(min(near)[2])
    return found


def _gap(first: Evidence, second: Evidence) -> int:
    """Words between two places; 0 where one lies in the other."""
    return max(second.first - first.last, first.first - second.last, 0)


def _plain(fact: Fact) -> str:
    return (fact.text or "").upper().replace(" ", "").replace("/", "-").replace("\u2013", "-")


def _covered(level: str, done: set[str]) -> bool:
    """Whether a level is one of those done, or a part of one ("L4" of "L4-L5")."""
    return any(set(level.split("-")) <= set(other.split("-")) or set(other.split("-")) <= set(level.split("-"))
               for other in done)  # fmt: skip


def _outlier(levels: list[Fact]) -> list[Finding]:
    """Without a procedure beside it: a level said once that has no vertebra in common with the one said often."""
    counted = Counter(_plain(fact) for fact in levels).most_common()
    # Decompression over several levels names many; only one stray level beside a steady one is asked for.
    if counted[0][1] < 2 or len(counted) != 2 or counted[1][1] > 1 or _covered(counted[1][0], {counted[0][0]}):
        return []
    often = next(fact for fact in levels if _plain(fact) == counted[0][0])
    return [
        _told(often, fact, "note")
        for fact in levels
        if _plain(fact) != counted[0][0] and Counter(_plain(one) for one in levels)[_plain(fact)] == 1
    ]


def _told(first: Fact, second: Fact, severity: str) -> Finding:
    return finding(
        "level_conflict",
        "blocking" if severity == "blocking" else "note",
        f"Level {first.text} and level {second.text} were both said.",
        [first, second],
        ask="Say which level is right, or that both were meant.",
    )
