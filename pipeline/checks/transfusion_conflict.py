"""No transfusion said, and blood products among the fluids that were given."""

from __future__ import annotations

import re

from pipeline.checks.base import beside, called, finding, given
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding

MEANING = "No transfusion or no blood products were said, and blood products were given elsewhere in the note."

_NO_BLOOD = re.compile(
    r"\bno (?:transfusions?|blood products?)\b|\bno blood (?:was|were|had|given|transfused|required|needed|used)\b|"
    r"\bno blood from the (?:blood )?bank\b|"
    r"\b(?:transfusions?|blood products?)(?: given| used)?:? ?(?:was |were )?(?:none|nil)\b|\bnot transfused\b", re.I,
)  # fmt: skip
_REST = re.compile(r"\b(?:further|other|more|additional|reaction|before|pre-?operativ\w+|home)\b", re.I)
_NEAR = 40  # characters: a stretch of speech without marks is long
_BLOOD = frozenset({"packed-cells", "fresh-frozen-plasma", "platelets", "cryoprecipitate", "whole-blood"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    against = [fact for fact in given(note, "fluid_in") if fact.name in _BLOOD]
    for passage in note.sections.description if against else ():
        said = _NO_BLOOD.search(passage.text)
        if said is None or _REST.search(passage.text[max(0, said.start() - _NEAR) : said.end() + _NEAR]):
            continue
        made = finding(
            "transfusion_conflict", "warning", f"“{said[0]}” was said, but also: {called(against[0], grammar)}.",
            against, ask="Say which is right.",
        )  # fmt: skip
        return [beside(made, passage.evidence)]
    return []
