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
    before = {fact.name for fact in note.of("preop_diagnosis", "postop_diagnosis", "diagnosis", "indication")}
    told = [
        fact
        for fact in note.of("complication", "finding")
        if fact.status == "performed"
        and fact.certainty == "affirmed"
        and not _general(fact)
        and (fact.kind == "complication" or fact.name in known)
        and fact.name not in before
    ]
    if not none or not told:
        return []
    return [
        finding(
            "complication_conflict",
            "note" if fact.name in _EVERYDAY or _may_be_disease(fact, grammar) else "warning",
            f"Complications were said to be none, but {called(fact, grammar)} was told.",
            [none[0], fact],
            ask="Say whether it is a complication, or that it was there before.",
        )
        for fact in told
    ]


def _general(fact: Fact) -> bool:
    return (fact.name or "") in _GENERAL and (fact.text or "none").lower() in ("none", "nil", "no complications", "")


def _may_be_disease(fact: Fact, grammar: Grammar) -> bool:
    """Whether a thing that was seen is one that people also have before an operation (a haematoma of the fracture):
    found is not the same as happened."""
    rows = (grammar.tables.get("findings", {}), grammar.tables.get("diagnoses", {}))
    return fact.kind == "finding" and any(fact.name in row for row in rows)
