"""An operation that has a side, and no side was said."""

from __future__ import annotations

from pipeline.checks.base import called, finding, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Concept

MEANING = "An operation that has a left and a right was said without a side anywhere in the note."

_TELL = ("procedure", "diagnosis", "preop_diagnosis", "postop_diagnosis", "time_out", "site_marking", "consent",
         "act", "approach", "preparation", "injection", "injection_volume", "device", "finding",
         "tourniquet")  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    told = any(fact.laterality for fact in note.of(*_TELL) if fact.certainty != "negated" and fact.role != "harvest")
    if told:
        return []
    if any("side" in doubt for fact in note.of("procedure") for doubt in fact.doubts):
        return []  # sides were said, which belongs to what is asked by doubtful
    open_ones = [
        fact
        for fact in note.of("procedure")
        if fact.certainty == "affirmed" and fact.status in ("performed", "planned") and _sided(fact, grammar)
    ]
    if not open_ones:
        return []
    return [
        finding(
            "side_missing",
            "warning",
            f"No side was said for {called(open_ones[0], grammar)}.",
            open_ones,
            ask="Say left, right or both.",
        )
    ]


def _sided(fact: Fact, grammar: Grammar) -> bool:
    row = grammar.table("procedures", Concept).get(fact.name or "")
    if row is not None and (row.side is not None or row.name.lower().startswith("bilateral")):
        return False
    if row is None or row.sided or row.site:
        return row is not None and row.sided
    site = site_of(fact, grammar)  # "excision of a lipoma": the place decides
    return site is not None and site.sided
