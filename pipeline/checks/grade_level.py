"""A grade that its system does not have."""

from __future__ import annotations

from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.rows import Grade

MEANING = "A grade was said that the named grading system does not have (an Outerbridge grade of six)."

_ROMAN = {"0": "0", "1": "I", "2": "II", "3": "III", "4": "IV", "5": "V", "6": "VI"}


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    systems = grammar.table("grades", Grade)
    found: list[Finding] = []
    for fact in note.of("grade"):
        system = systems.get(fact.name or "")
        said = fact.text or (str(fact.value) if fact.value is not None else "")
        if system is None or not said or _has(system, said):
            continue
        found.append(
            finding(
                "grade_level",
                "warning",
                f"{system.name} has no grade {said}; it has {', '.join(system.levels)}.",
                [fact],
                ask="Say the grade again.",
            )
        )
    return found


def _has(system: Grade, said: str) -> bool:
    wanted = {_plain(said), _plain(_ROMAN.get(said, said))}
    return any(_plain(level) in wanted or _plain(_ROMAN.get(level, level)) in wanted for level in system.levels)


def _plain(level: str) -> str:
    return level.lower().replace("grade", "").replace("stage", "").replace("type", "").strip()
