"""Facts that are unsure: the recogniser was, two readings differ, or the words leave it open."""

from __future__ import annotations

from pipeline.checks.base import called, finding, shown
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Kind

MEANING = "A number, side, drug or count is unsure: low confidence, two readings of the sound, or doubtful words."

_CRITICAL_KINDS = frozenset({"medication", "count", "specimen", "complication", "clock_time", "device_lot",
                             "device_serial", "device_udi", "spinal_level", "procedure"})  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    row = limit(grammar, note.profile, "confidence")
    least = float(row.value) if row is not None and row.value is not None else 0.0
    return [
        _told(fact, grammar, reasons, critical)
        for fact in note.facts
        if (critical := _critical(fact)) is not None and (reasons := _reasons(fact, least, critical))
    ]


def _critical(fact: Fact) -> bool:
    number = fact.value is not None or fact.low is not None
    return number or fact.laterality is not None or fact.kind in _CRITICAL_KINDS


def _reasons(fact: Fact, least: float, critical: bool) -> list[str]:
    reasons = list(fact.doubts)
    reasons += [f"also heard as {other}" for other in fact.alternatives]
    sure = fact.evidence.confidence
    if critical and sure is not None and sure < least:
        reasons.append(f"heard with a confidence of {sure:.2f}")
    return reasons


def _told(fact: Fact, grammar: Grammar, reasons: list[str], critical: bool) -> Finding:
    kinds = grammar.table("kinds", Kind)
    label = kinds[fact.kind].name if fact.kind in kinds else fact.kind
    value = " ".join(dict.fromkeys(part for part in (fact.laterality, called(fact, grammar), shown(fact)) if part))
    return finding(
        "doubtful",
        "warning" if critical else "note",
        f"{label}: {value} is unsure: {'; '.join(reasons).rstrip('.')}.",
        [fact],
        ask="Listen to it, and say it again if it is wrong.",
    )
