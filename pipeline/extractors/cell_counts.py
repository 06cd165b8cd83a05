"""What was counted in marrow, concentrate or platelets: cells or platelets in a volume."""

from __future__ import annotations

from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("measurement",)

_COST = 5


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    return [fact for sentence in reading.sentences for fact in _counts(reading, sentence)]


def _counts(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Count 38 million per mL", "platelets 1.1 million per microlitre"."""
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "concentration"):
        if not (quantity.unit or "").startswith("10*") or quantity.form not in ("number", "range"):
            continue
        said = [token.norm for token in sentence.tokens[max(0, index - _COUNT_REACH) : index + 3]]
        said += sentence.tokens[index].text.lower().split()
        name = "platelet-count" if "platelet" in " ".join(said) else "cell-count" if _CELLS & set(said) else None
        if name is not None:
            facts.append(base.claim("measurement", reading, sentence, index, index, index, _COST, name=name))
    return facts


_COUNT_REACH = 6
_CELLS = frozenset("count counts counted cell cells nucleated mononuclear mnc tnc".split())
