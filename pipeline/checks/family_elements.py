"""What a note of this procedure family usually says, and this one does not."""

from __future__ import annotations

import re

from pipeline.checks import _told_otherwise
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
            "note" if _told_otherwise.told(note, element.id) else element.severity,
            f"Never said: {element.label} (usual for {family.name}).",
            about=element.id,
            ask=element.ask or f"Say the {element.label}, or that there is none.",
        )
        for element in family.elements
        if element.id not in asked and not element.if_any and answered(note, element, grammar)[0] == "not said"
        and (element.id not in _OF_BONE or _bone(note))
    ]


# An amputation or the suture of a tendon is told in the family of fractures, and fixes or reduces nothing.
_OF_BONE = frozenset({"fixation", "reduction"})
_BONE = re.compile(
    r"fractur|fixation|nail|osteotomy|fusion|arthrodesis|dislocat|reduction|plate|screw|pinning|nonunion|\bfx\b",
    re.IGNORECASE,
)


def _bone(note: OperativeNote) -> bool:
    told = note.of("procedure", "diagnosis", "preop_diagnosis", "postop_diagnosis", "device")
    return not told or any(_BONE.search(f"{fact.name or ''} {fact.text or ''} {fact.evidence.heard}") for fact in told)
