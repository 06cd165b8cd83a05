"""Amounts of platelets or marrow concentrate in short: "PRP yield 5 mL", "PRP 3.5 mL to tendon, 1 mL around"."""

from __future__ import annotations

from typing import Any

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence

KINDS = ("product_volume", "injection_volume", "injection")

_PRODUCTS = ("platelet-rich-plasma", "bone-marrow-concentrate")
_YIELD = frozenset({"yield", "yielded", "yields", "yielding", "obtained", "product", "volume"})
_GOES = frozenset({"to", "into", "around", "in", "at", "onto", "under"})
_BETWEEN = frozenset({":", "-", "of", "was", ",", "a"})
_COST = 5


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if cues.has(sentence, grammar, "injected", "discarded"):
            continue  # told in a sentence, and read there
        for mention in base.mentions(sentence, "injectates"):
            if mention.id in _PRODUCTS:
                facts += _yield(reading, sentence, mention)
                facts += _given(reading, sentence, mention)
    return facts


def _yield(reading: Reading, sentence: Sentence, mention: Mention) -> list[Fact]:
    """ "PRP yield 5 mL", "yielded 5 mL of PRP"."""
    tokens = sentence.tokens
    for index, quantity in base.quantities(sentence, "volume"):
        low, high = (mention.last, index) if index > mention.last else (index, mention.first)
        between = [token.norm for token in tokens[low + 1 : high]]
        before = [token.norm for token in tokens[max(0, index - 3) : index]]
        named = bool(set(between) & _YIELD) and set(between) <= _YIELD | _BETWEEN
        ahead = index < mention.first and set(between) <= {"of"} and bool(set(before) & _YIELD)
        told = (index > mention.last and named) or ahead
        if told and quantity.form in ("number", "range"):
            return [base.claim("product_volume", reading, sentence, index, mention.first, mention.last, _COST,
                               unit=quantity.unit, name=None)]  # fmt: skip
    return []


def _given(reading: Reading, sentence: Sentence, mention: Mention) -> list[Fact]:
    """ "PRP 3.5 mL to tendon, 1 mL around": each amount that a place follows."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    last = mention.last
    shared: dict[str, Any] = {"name": mention.id, "group": f"i{base.group_of(sentence, mention.first)}"}
    for index, quantity in base.quantities(sentence, "volume"):
        if index <= mention.last or quantity.form not in ("number", "range"):
            continue
        between = [token.norm for token in tokens[last + 1 : index]]
        after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
        if after not in _GOES or (not facts and not set(between) <= _BETWEEN) or len(between) > 6 or ";" in between:
            break
        facts.append(base.claim("injection_volume", reading, sentence, index, mention.first, mention.last, _COST,
                                unit=quantity.unit, **shared))  # fmt: skip
        last = index
    if facts:
        facts.append(base.make("injection", reading, sentence, mention.first, mention.last, **shared))
    return facts
