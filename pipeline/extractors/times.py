"""Times of day with their events, how long things took, and the date of the operation."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence
from pipeline.rows import Concept

KINDS = ("clock_time", "duration", "date")

_CLOCK_REACH, _SPAN_REACH, _DATE_REACH = 60, 30, 20


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("events", Concept)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, quantity in base.quantities(sentence):
            if quantity.form == "clock":
                facts += _clock(reading, sentence, index, quantity, rows)
            elif quantity.form == "date":
                facts += _date(reading, sentence, grammar, index, quantity)
            elif quantity.dimension == "time":
                facts += _duration(reading, sentence, index, rows)
    return facts


def _nearest(
    sentence: Sentence, index: int, rows: Mapping[str, Concept], group: str, prefix: int
) -> tuple[int, Mention] | None:
    ranked = [
        (cues.cost(sentence, index, mention.first, mention.last, prefix=prefix), mention.first, mention)
        for mention in base.mentions(sentence, "events")
        if rows[mention.id].group == group
    ]
    if not ranked:
        return None
    price, _, mention = min(ranked, key=lambda item: item[:2])
    return price, mention


def _clock(
    reading: Reading, sentence: Sentence, index: int, quantity: Quantity, rows: Mapping[str, Concept]
) -> list[Fact]:
    near = _nearest(sentence, index, rows, "moment", 3)
    if near is None or near[0] > _CLOCK_REACH:
        return []
    price, mention = near
    return [
        base.claim("clock_time", reading, sentence, index, mention.first, mention.last, price, name=mention.id,
                   text=quantity.text, value=None, unit=None)
    ]  # fmt: skip


def _duration(reading: Reading, sentence: Sentence, index: int, rows: Mapping[str, Concept]) -> list[Fact]:
    near = _nearest(sentence, index, rows, "span", 3)
    if near is None or near[0] > _SPAN_REACH:
        return []
    price, mention = near
    return [
        base.claim("duration", reading, sentence, index, mention.first, mention.last, price, name=mention.id)
    ]


def _date(reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity) -> list[Fact]:
    near = cues.nearest(sentence, grammar, index, "operation-date")
    if near is None or near[0] > _DATE_REACH:
        return []
    price, hit = near
    return [
        base.claim("date", reading, sentence, index, hit.first, hit.last, price, text=quantity.text, value=None,
                   unit=None)
    ]  # fmt: skip
