"""Drawn up, filtered or harvested, and never said to be given."""

from __future__ import annotations

import re

from pipeline.checks.base import called, finding, given, prepared, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "Marrow was harvested or a drug prepared, and the note does not say that it was given or thrown away."

_KEPT = re.compile(
    r"\bnot (?:been )?(?:added|used|given|injected|needed|required|administered|instilled)\b|\bdiscarded\b|"
    r"\bthrown away\b|\bwasted\b",
    re.IGNORECASE,
)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    return _marrow(note) + _drugs(note, grammar)


def _marrow(note: OperativeNote) -> list[Finding]:
    taken = given(note, "product_volume") or given(note, "harvest_total") or given(note, "draw")
    used = note.of("injection", "injection_volume", "injection_total", "discarded_volume", "specimen", "processing")
    used = [fact for fact in used if fact.kind != "processing" or fact.name == "mixing"]
    if not taken or any(fact.certainty != "suspected" and fact.status == "performed" for fact in used):
        return []
    return [
        finding(
            "prepared_not_given",
            "warning",
            f"{' + '.join(shown(fact) for fact in taken)} were harvested; where they went was not said.",
            taken,
            ask="Say where how much was injected, or that it was thrown away.",
            about="harvest",
        )
    ]


def _drugs(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    told: set[str] = set()
    for fact in note.of("medication"):
        name = fact.name or ""
        if not prepared(fact) or fact.certainty != "affirmed" or name in told:
            continue
        if _spent(note, name) or _kept(note, fact):
            continue
        told.add(name)
        found.append(
            finding(
                "prepared_not_given",
                "warning",
                f"{called(fact, grammar)} was prepared; that it was given was not said.",
                [fact],
                ask="Say that it was given, or that it was thrown away.",
                about=name,
            )
        )
    return found


def _spent(note: OperativeNote, drug: str) -> bool:
    """Whether the drug was given, said not to be given, or thrown away elsewhere."""
    told = note.of("medication", "medication_dose", "medication_volume")
    same: list[Fact] = [fact for fact in told if fact.name == drug]
    return any(fact.certainty == "negated" or not prepared(fact) for fact in same)


def _kept(note: OperativeNote, fact: Fact) -> bool:
    """Whether the sentence with one drug says that it was not given: "had been drawn up but was not added"."""
    return any(
        passage.holds(fact)
        and _KEPT.search(passage.text)
        and not any(other.name != fact.name and passage.holds(other) for other in note.of("medication"))
        for passage in note.sections.description
    )
