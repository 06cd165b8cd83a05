"""Specimens: what was sent, where it went, how many, or that there was none."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("specimen", "specimen_count")

_WHERE = ("pathology", "frozen-section", "microbiology", "cytology", "laboratory")
_LABEL = {
    "pathology": "pathology", "frozen-section": "frozen section", "microbiology": "microbiology",
    "cytology": "cytology", "laboratory": "laboratory",
}  # fmt: skip
_THINGS = ("sites", "findings", "diagnoses", "specimens", "injectates", "devices")
_REACH = 60


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        facts += _none(reading, sentence, grammar) or _sent(reading, sentence, grammar)
    return facts


def _none(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    for hit in cues.hits(sentence, grammar, "specimen"):
        for word in cues.hits(sentence, grammar, "none"):
            price = cues.gap(sentence, min(hit.last, word.last), max(hit.first, word.first))
            if price <= (3 if word.first > hit.last else 4):
                first, last = min(hit.first, word.first), max(hit.last, word.last)
                return [
                    base.make("specimen", reading, sentence, first, last, text="none", certainty="negated")
                ]
    return []


def _sent(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for hit in cues.hits(sentence, grammar, "specimen"):
        for index, quantity in base.quantities(sentence, "", "count"):
            if quantity.form == "number" and hit.first > index and cues.cost(sentence, index, hit.first, hit.last) <= 8:
                facts.append(
                    base.claim("specimen_count", reading, sentence, index, hit.first, hit.last,
                               cues.cost(sentence, index, hit.first, hit.last))
                )  # fmt: skip
    places = [hit for hit in cues.hits(sentence, grammar, *_WHERE)]
    sent = cues.hits(sentence, grammar, "sent")
    if not places or not sent:
        return facts
    for place in places:
        things = [
            mention for mention in base.mentions(sentence, *_THINGS)
            if mention.last < place.first and cues.gap(sentence, mention.last, place.first) <= _REACH
        ]  # fmt: skip
        if not things:
            continue
        thing = things[-1]
        what = " ".join(token.text for token in sentence.tokens[thing.first : thing.last + 1])
        facts.append(
            base.make("specimen", reading, sentence, thing.first, place.last, text=f"{what} to {_LABEL[place.id]}")
        )
        break
    return facts
