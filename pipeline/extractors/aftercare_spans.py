"""How long something of the aftercare lasts that no row names: "front slab two weeks, then a boot for six weeks"."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading

KINDS = ("aftercare",)

_SECTIONS = ("aftercare",)
_UNITS = ("h", "d", "wk", "mo")
_COST = 87  # any other claim on the number is better
_WORDS = 4
_NOT_LASTING = frozenset("in after at every within until before ago by from later and".split())
_STOPS = frozenset({"then", "to", "and", "a", "the", "for", "x", "of", "is", "be", "will"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section not in _SECTIONS:
            continue
        for index, quantity in base.quantities(sentence, "time"):
            before = sentence.tokens[index - 1].norm if index else ""
            after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
            if quantity.unit not in _UNITS or before in _NOT_LASTING or after in ("ago", "later", "before", "after"):
                continue
            if base.scope_at(sentence, "status", index, "performed") in ("historical", "other_person"):
                continue
            first = index
            for at in range(index - 1, max(-1, index - 2 - _WORDS), -1):
                token = sentence.tokens[at]
                if token.punctuation or token.quantity is not None:
                    break
                if token.norm not in _STOPS:
                    first = at
            text = cues.words(sentence, first, index - 1)
            if text:
                facts.append(
                    base.claim("aftercare", reading, sentence, index, first, index, _COST, text=text, status="planned")
                )
    return facts
