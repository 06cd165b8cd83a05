"""What a spoken correction changed, shown once more."""

from __future__ import annotations

from dataclasses import replace

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
    return found + _in_words_only(note, shown_before)


def _in_words_only(note: OperativeNote, shown_before: set[tuple[int, int]]) -> list[Finding]:
    """What was taken back and changed no fact's own words: a side said apart from its thing, a statement with nothing
    in its place."""
    found = []
    for passage in note.sections.description:
        for piece in passage.taken_back:
            struck = piece.heard.strip(",.;: ")
            if not struck or any(first <= piece.last and piece.first <= last for first, last in shown_before):
                continue
            told = finding(
                "corrected",
                "note",
                f"Corrected while speaking; taken back: {struck}.",
                ask="See that what was said in its place stands in the note.",
                about=f"words-{piece.first}",
            )
            found.append(replace(told, evidence=(piece,)))
    return found
