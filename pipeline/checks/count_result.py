"""Swab, needle and instrument counts that are not right."""

from __future__ import annotations

from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "A count was said to be incorrect, or was said as correct and as incorrect."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    said = [fact for fact in note.of("count") if fact.status == "performed"]
    wrong = [fact for fact in said if _wrong(fact)]
    if not wrong:
        return []
    last = said[-1]
    settled = not _wrong(last) and last.evidence.first > wrong[-1].evidence.first
    return [
        finding(
            "count_result",
            "warning" if settled else "blocking",
            f"The count ({called(wrong[-1], grammar, 'count')}) was said to be incorrect"
            + (", later to be correct." if settled else "."),
            [*wrong, last] if settled else wrong,
            ask="Say what was found, and how the count ended." if settled else "Count again and say the result.",
        )
    ]


def _wrong(fact: Fact) -> bool:
    result = (fact.text or "").lower()
    negated = fact.certainty == "negated"
    if fact.name in ("incorrect", "missing") or result in ("incorrect", "missing", "wrong"):
        return not negated
    return negated and result in ("correct", "")
