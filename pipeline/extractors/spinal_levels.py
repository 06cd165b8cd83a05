"""Levels of the spine ("L4-L5") and digits ("ring finger") that an operation, diagnosis or act names."""

from __future__ import annotations

from pipeline import laterality
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Concept

KINDS = ("spinal_level",)

_ABOUT = frozenset({"procedures", "diagnoses", "acts"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    sites = grammar.table("sites", Concept)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, token in enumerate(sentence.tokens):
            if token.quantity is not None and token.quantity.form == "level":
                facts.append(_fact(reading, sentence, index, index, token.quantity.text, None, grammar))
        if not any(mention.table in _ABOUT for mention in sentence.mentions):
            continue
        for mention in base.mentions(sentence, "sites"):
            row = sites[mention.id]
            if row.group == "digit" and mention.last > mention.first:
                facts.append(
                    _fact(reading, sentence, mention.first, mention.last, row.name.lower(), mention.id, grammar)
                )
    return facts


def _fact(
    reading: Reading, sentence: Sentence, first: int, last: int, text: str, site: str | None, grammar: Grammar
) -> Fact:
    side, doubt = laterality.side_for(sentence, first, last, grammar, own_only=True)
    return base.make("spinal_level", reading, sentence, first, last, text=text, laterality=side, body_site=site,
                     doubts=(doubt,) if doubt else ())  # fmt: skip
