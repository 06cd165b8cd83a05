"""What a note of this procedure family usually says, and this one does not."""

from __future__ import annotations

from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.limits import elements
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.signout import answered

MEANING = "An element that the procedure family expects was never said."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    if note.family is None:
        return []
    family = grammar.family(note.family)
    asked = {element.id for element in elements(grammar, note.profile)}
    return [
        finding(
            "family_elements",
            element.severity,
            f"Never said: {element.label} (usual for {family.name}).",
            about=element.id,
            ask=element.ask or f"Say the {element.label}, or that there is none.",
        )
        for element in family.elements
        if element.id not in asked and not element.if_any and answered(note, element)[0] == "not said"
    ]
