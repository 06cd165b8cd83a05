"""Irrigation: as an act, what ran in, what came back, and the deficit."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("irrigation", "irrigation_in", "irrigation_out", "irrigation_deficit")

_WORDS = ("irrigation", "irrigation-out", "deficit")
_KIND = {"irrigation": "irrigation_in", "irrigation-out": "irrigation_out", "deficit": "irrigation_deficit"}


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        cue = cues.hits(sentence, grammar, "irrigation")
        if not cue and not cues.has(sentence, grammar, "deficit"):
            continue
        for index, _ in base.quantities(sentence, "volume"):
            facts += _volume(reading, sentence, grammar, index)
        if cue:
            facts.append(
                base.make("irrigation", reading, sentence, cue[0].first, cue[0].last, name=_name(sentence))
            )
    return facts


def _name(sentence: Sentence) -> str | None:
    return next((mention.id for mention in base.mentions(sentence, "irrigation")), None)


def _volume(reading: Reading, sentence: Sentence, grammar: Grammar, index: int) -> list[Fact]:
    near = cues.nearest(sentence, grammar, index, *_WORDS)
    if near is None:
        return []
    price, hit = near
    return [base.claim(_KIND[hit.id], reading, sentence, index, hit.first, hit.last, price)]
