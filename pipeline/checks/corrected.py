"""What a spoken correction changed, shown once more."""

from __future__ import annotations

from pipeline.checks.base import called, finding, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, heard
from pipeline.records import Finding
from pipeline.rows import Kind

MEANING = "A value, side or drug replaced another by a spoken correction; both are shown."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    kinds = grammar.table("kinds", Kind)
    found: list[Finding] = []
    shown_before: set[tuple[int, int]] = set()
    for fact in note.facts:
        places = {(piece.first, piece.last) for piece in fact.taken_back}
        if not places or places <= shown_before:
            continue
        shown_before |= places
        label = kinds[fact.kind].name if fact.kind in kinds else fact.kind
        now = " ".join(part for part in (fact.laterality, called(fact, grammar), shown(fact)) if part)
        struck = heard(fact.taken_back).rstrip(",.;: ")
        found.append(
            finding(
                "corrected",
                "note",
                f"Corrected while speaking: {label} is now {now}; taken back: {struck}.",
                [fact],
                ask="Nothing, if that is right.",
            )
        )
    return found
