"""A drug given without a word on how much."""

from __future__ import annotations

from pipeline.checks._mixed import mixtures_of
from pipeline.checks.base import called, finding, given
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.rows import Drug

MEANING = "A local anaesthetic, antibiotic or anticoagulant was given and no dose or volume was said."

_ASKED = frozenset({"local_anaesthetic", "antibiotic", "anticoagulant", "antifibrinolytic"})
_UNASKED = ("aftercare", "prime")  # what a needle was rinsed with was not given
_AMOUNTS = ("medication_dose", "medication_volume", "medication_rate")


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    drugs = grammar.table("drugs", Drug)
    told = {fact.name for fact in note.of(*_AMOUNTS)}
    told |= {fact.name for mixture in mixtures_of(note, grammar) for fact in mixture.drugs}
    found: list[Finding] = []
    asked: set[str] = set()
    for fact in given(note, "medication"):
        drug = drugs.get(fact.name or "")
        if drug is None or drug.id in told | asked or not _ASKED & set(drug.classes) or fact.role in _UNASKED:
            continue
        asked.add(drug.id)
        found.append(
            finding("missing_amount", "note", f"{called(fact, grammar)} was given; how much was not said.", [fact],
                    ask="Say the dose, or the strength and the volume.")
        )
    return found
