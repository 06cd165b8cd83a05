"""Required elements of the profile that were never said."""

from __future__ import annotations

from pipeline.checks import _told_otherwise
from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.limits import elements
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.signout import answered, spoken_of

MEANING = "An element that the chosen profile requires was never said, or was spoken of and not understood."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    seldom = grammar.family(note.family).seldom if note.family is not None else _told_otherwise.of_injection(note)
    found: list[Finding] = []
    for element in elements(grammar, note.profile):
        if element.if_any or answered(note, element, grammar)[0] != "not said":
            continue
        wanted = f" (wanted by {element.source})" if element.source else ""
        passage = spoken_of(note, element)
        message = (
            f"Never said: {element.label}{wanted}."
            if passage is None
            else f"Spoken of but not understood: {element.label}; heard: {passage.text.strip()[:80].rstrip('.')}."
        )
        found.append(
            finding(
                "completeness",
                "note" if (passage is None and element.id in seldom) or _told_otherwise.told(note, element.id)
                else element.severity,
                message,
                about=element.id,
                ask=element.ask or f"Say the {element.label}, or that there is none.",
            )
        )  # fmt: skip
    return found
