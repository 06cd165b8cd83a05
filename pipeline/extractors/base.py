"""What every extractor is, and the few things that all of them do alike.

An extractor is a module of this folder with `KINDS` (the kinds of grammars/kinds.toml that it makes) and
`extract(reading, grammar) -> list[Fact]`, a pure function. Ids are given later, by run.py; `group` needs to be
unique only within one reading, so `group_of(sentence, token)` will do.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol

from pipeline.grammar import Grammar
from pipeline.records import Evidence, Fact, Mention, Quantity, Reading, Sentence


class Extractor(Protocol):
    KINDS: tuple[str, ...]

    def extract(self, reading: Reading, grammar: Grammar) -> list[Fact]: ...


def evidence(reading: Reading, first: int, last: int) -> Evidence:
    """Evidence for original word ids first..last (inclusive): times, words as heard, lowest confidence."""
    words = [word for word in reading.words if word.last >= first and word.id <= last]
    starts = [word.start for word in words if word.start is not None]
    ends = [word.end for word in words if word.end is not None]
    sure = [word.confidence for word in words if word.confidence is not None]
    return Evidence(
        first=first,
        last=last,
        start=min(starts, default=None),
        end=max(ends, default=None),
        heard=" ".join(word.heard or word.text for word in words),
        confidence=min(sure, default=None),
    )


def token_evidence(reading: Reading, sentence: Sentence, first: int, last: int) -> Evidence:
    """Evidence for token indexes first..last (inclusive) of a sentence."""
    tokens = sentence.tokens[first : last + 1]
    return evidence(reading, min(token.first for token in tokens), max(token.last for token in tokens))


def scope_at(sentence: Sentence, axis: str, index: int, default: str) -> str:
    """The status or certainty in force at a token; a narrower scope beats a wider one."""
    holding = [scope for scope in sentence.scopes if scope.axis == axis and scope.first <= index <= scope.last]
    if not holding:
        return default
    return min(holding, key=lambda scope: scope.last - scope.first).value


def make(kind: str, reading: Reading, sentence: Sentence, first: int, last: int, **fields: Any) -> Fact:
    """A fact from tokens first..last: evidence, status, certainty and what was taken back are filled in."""
    at = fields.pop("at", first)
    fields.setdefault("status", scope_at(sentence, "status", at, "performed"))
    fields.setdefault("certainty", scope_at(sentence, "certainty", at, "affirmed"))
    fields.setdefault(
        "taken_back",
        tuple(strike.taken_back for strike in sentence.strikes if first <= strike.at <= last),
    )
    return Fact(kind=kind, evidence=token_evidence(reading, sentence, first, last), **fields)


def number(quantity: Quantity) -> dict[str, Any]:
    """The fields of a fact that a quantity fills."""
    return {
        "value": quantity.value,
        "low": quantity.low,
        "high": quantity.high,
        "comparator": quantity.comparator,
        "unit": quantity.unit,
    }


def mentions(sentence: Sentence, *tables: str) -> Iterator[Mention]:
    """Mentions of these tables, in order."""
    return (mention for mention in sentence.mentions if mention.table in tables)


def quantities(sentence: Sentence, *dimensions: str) -> Iterator[tuple[int, Quantity]]:
    """(token index, quantity) of these dimensions ("" = no unit), in order; all when none is named."""
    for index, token in enumerate(sentence.tokens):
        if token.quantity is not None and (not dimensions or token.quantity.dimension in dimensions):
            yield index, token.quantity


def group_of(sentence: Sentence, token: int) -> str:
    """A group id for an event that is anchored at a token."""
    return f"{sentence.index}.{token}"
