"""The diagnosis after the operation against the one before."""

from __future__ import annotations

import re

from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "The post-operative diagnosis is said to be the same, though the diagnosis was ruled out in the note."

_SAME = frozenset({"same", "the same", "as above", "unchanged"})

# "No other lesion", "no evidence of any residual tumour": what was there is not denied.
_REST = re.compile(r"\b(?:other|further|residual|remaining|additional|more|recurrent|remained)\b", re.IGNORECASE)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    before = [fact for fact in note.of("preop_diagnosis", "diagnosis") if fact.certainty != "negated" and fact.name]
    after = [fact for fact in note.of("postop_diagnosis") if fact.status == "performed"]
    seen = {fact.name for fact in note.of("finding") if fact.status == "performed" and fact.certainty == "affirmed"}
    denied = [
        fact
        for fact in note.of("finding", "diagnosis")
        if fact.certainty == "negated" and fact.name and fact.name not in seen and not _of_the_rest(note, fact)
    ]
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


def _of_the_rest(note: OperativeNote, fact: Fact) -> bool:
    """Whether the sentence speaks of what is left, or of one place ("no tear on the articular side"), not of the
    disease itself."""
    for passage in note.sections.description:
        if passage.holds(fact):
            after = passage.text.lower().split()[fact.evidence.last - passage.evidence.first + 1 :]
            return bool(_REST.search(passage.text)) or after[:1] in (["on"], ["in"], ["at"], ["within"], ["along"])
    return False
