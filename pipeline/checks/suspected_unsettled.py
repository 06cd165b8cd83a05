"""Something suspected of which nobody said whether it was there."""

from __future__ import annotations

from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "A finding, diagnosis or complication was suspected, and never confirmed or ruled out."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    kinds = ("finding", "diagnosis", "preop_diagnosis", "postop_diagnosis", "complication")
    said = [fact for fact in note.of(*kinds) if fact.status in ("performed", "planned")]
    # "Same" after the operation confirms what was thought before it.
    confirmed = any(
        fact.name == "same" or (fact.text or "").lower() in ("same", "the same")
        for fact in note.of("postop_diagnosis")
        if fact.certainty == "affirmed"
    )
    found: list[Finding] = []
    told: set[str] = set()
    for fact in said:
        what = fact.name or fact.text or ""
        if fact.certainty != "suspected" or not what or what in told:
            continue
        if _settled(fact, said) or (confirmed and fact.kind == "preop_diagnosis"):
            continue
        told.add(what)
        found.append(
            finding(
                "suspected_unsettled",
                "warning" if fact.kind == "complication" else "note",
                f"{called(fact, grammar)} was suspected; whether it was there was not said.",
                [fact],
                ask="Say whether it was confirmed or not.",
            )
        )
    return found


def _settled(fact: Fact, said: list[Fact]) -> bool:
    what = fact.name or fact.text
    return any((other.name or other.text) == what and other.certainty != "suspected" for other in said)
