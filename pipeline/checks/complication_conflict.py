"""A complication told in the description while complications were said to be none."""

from __future__ import annotations

from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "Complications were said to be none, but one was told; or one was suspected and never settled."

_GENERAL = frozenset({"", "none", "any", "uneventful", "complication", "complications"})

# Words for complications that are also said of what is usual in an operation ("bleeding was seen from the holes").
_EVERYDAY = frozenset({"bleeding", "numbness", "stiffness", "persistent-pain", "recurrence", "hypotension"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    known = grammar.tables.get("complications", {})
    none = [fact for fact in note.of("complication") if fact.certainty == "negated" and _general(fact)]
    told = [
        fact
        for fact in note.of("complication", "finding")
        if fact.status == "performed"
        and fact.certainty == "affirmed"
        and not _general(fact)
        and (fact.kind == "complication" or fact.name in known)
    ]
    if not none or not told:
        return []
    return [
        finding(
            "complication_conflict",
            "note" if fact.name in _EVERYDAY else "warning",
            f"Complications were said to be none, but {called(fact, grammar)} was told.",
            [none[0], fact],
            ask="Say whether it is a complication, or that it was there before.",
        )
        for fact in told
    ]


def _general(fact: Fact) -> bool:
    return (fact.name or "") in _GENERAL and (fact.text or "none").lower() in ("none", "nil", "no complications", "")
