"""Blood loss: a volume, "minimal", or none. A count without a unit stays without a unit."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("blood_loss",)

_REACH = 40  # a word of amount stands near the cue
_BARE = 16  # a number without a unit must stand right beside it


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if cues.has(sentence, grammar, "blood-loss"):
            facts += _sentence(reading, sentence, grammar)
        else:
            facts += _bleeding(reading, sentence, grammar)
    return facts


def _sentence(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for index, _ in base.quantities(sentence, "volume", ""):
        quantity = cues.unit_of(sentence, index)
        near = cues.nearest(sentence, grammar, index, "blood-loss", prefix=4)
        if near is None or quantity is None or quantity.form not in ("number", "range", "fraction"):
            continue
        price, hit = near
        if quantity.dimension == "" and (price > _BARE or index < hit.first):
            continue
        facts.append(
            base.claim("blood_loss", reading, sentence, index, hit.first, hit.last, price, unit=quantity.unit,
                       status="performed", certainty="affirmed")
        )  # fmt: skip
    if facts:
        return facts
    words = [
        (abs(word.first - hit.first), word, hit)
        for hit in cues.hits(sentence, grammar, "blood-loss")
        for word in cues.hits(sentence, grammar, "minimal", "none")
        if cues.gap(sentence, min(hit.last, word.last), max(hit.first, word.first)) <= _REACH
    ]
    if words:
        _, word, hit = min(words, key=lambda item: item[0])
        said = " ".join(token.norm for token in sentence.tokens[word.first : word.last + 1])
        text = "none" if word.id == "none" else said
        facts.append(
            base.make("blood_loss", reading, sentence, min(hit.first, word.first), max(hit.last, word.last),
                      text=text, status="performed", certainty="affirmed")
        )  # fmt: skip
    return facts


def _bleeding(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Bleeding minimal", "bleeding none": the amount right behind the word; "no bleeding" is a finding."""
    words = cues.hits(sentence, grammar, "minimal", "none")
    for hit in cues.hits(sentence, grammar, "bleeding"):
        for word in words:
            if word.first == hit.last + 1 and sentence.tokens[word.first].norm not in ("no", "nothing"):
                text = "none" if word.id == "none" else sentence.tokens[word.first].norm
                return [
                    base.make("blood_loss", reading, sentence, hit.first, word.last, text=text, status="performed",
                              certainty="affirmed")
                ]  # fmt: skip
    return []
