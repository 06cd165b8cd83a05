"""A grade that its system does not have."""

from __future__ import annotations

import re

from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.rows import Grade

MEANING = "A grade was said that the named grading system does not have (an Outerbridge grade of six)."

_FIGURES = {"i": "1", "ii": "2", "iii": "3", "iv": "4", "v": "5", "vi": "6", "vii": "7"}
_ROMAN = re.compile(r"^(iv|vii|vi|v|iii|ii|i)([a-d]?\d?)$")


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    systems = grammar.table("grades", Grade)
    found: list[Finding] = []
    for fact in note.of("grade"):
        system = systems.get(fact.name or "")
        said = fact.text or (str(fact.value) if fact.value is not None else "")
        if system is None or not said or all(_has(system, part) for part in _ends(said)):
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


def _ends(said: str) -> list[str]:
    """The two ends of a range ("3-4", "II to III"), else the grade itself."""
    return [part.strip() for part in re.split(r"-|–|\bto\b", said) if part.strip()] or [said]


def _has(system: Grade, said: str) -> bool:
    """Whether a level is one of the system; "2" is enough where the system has 2A and 2B."""
    wanted = _plain(said)
    levels = [_plain(level) for level in system.levels]
    parts = any(level.startswith(wanted) and level[len(wanted) :].isalpha() for level in levels)
    return wanted in levels or (wanted.isdigit() and parts)


def _plain(level: str) -> str:
    """Lower case, Roman numerals as figures: "IIA" and "2a" are the same."""
    text = level.lower().replace("grade", "").replace("stage", "").replace("type", "").replace(" ", "")
    match = _ROMAN.match(text)
    return _FIGURES[match[1]] + match[2] if match else text
