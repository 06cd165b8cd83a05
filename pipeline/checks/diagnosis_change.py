"""The diagnosis after the operation against the one before."""

from __future__ import annotations

from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding

MEANING = "The post-operative diagnosis is said to be the same, though the diagnosis was ruled out in the note."

_SAME = frozenset({"same", "the same", "as above", "unchanged"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    before = [fact for fact in note.of("preop_diagnosis", "diagnosis") if fact.certainty != "negated" and fact.name]
    after = [fact for fact in note.of("postop_diagnosis") if fact.status == "performed"]
    denied = [fact for fact in note.of("finding", "diagnosis") if fact.certainty == "negated" and fact.name]
    ruled_out = {fact.name: fact for fact in denied}
    found: list[Finding] = []
    for fact in after:
        same = fact.name == "same" or (fact.text or "").lower() in _SAME
        for first in before:
            against = ruled_out.get(first.name or "")
            if against is None or fact.certainty == "negated" or not (same or fact.name == first.name):
                continue
            found.append(
                finding(
                    "diagnosis_change",
                    "warning",
                    f"{called(first, grammar)} stands as the post-operative diagnosis, but was said not to be there.",
                    [first, against, fact],
                    ask="Say the diagnosis after the operation.",
                )
            )
    negated_after = [fact for fact in after if fact.certainty == "negated" and fact.name]
    affirmed_after = {fact.name for fact in after if fact.certainty == "affirmed"}
    found += [
        finding(
            "diagnosis_change",
            "warning",
            f"{called(fact, grammar)} was said and denied as the diagnosis after the operation.",
            [fact],
            ask="Say the diagnosis after the operation.",
            about="denied",
        )
        for fact in negated_after
        if fact.name in affirmed_after
    ]
    return found
