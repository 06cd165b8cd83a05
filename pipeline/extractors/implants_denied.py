"""That there were no implants: "Implants: none", "no implants were used"."""

from __future__ import annotations

from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("device",)

_WORDS = frozenset({"implant", "implants", "prosthesis", "prostheses", "prosthetics"})
_NONE = frozenset({"none", "nil", "no"})
_DENY = frozenset({"no", "without"})
_BETWEEN = frozenset({":", "-", "used", "inserted", "placed", "were", "was"})
# "No implant loosening" denies something else; these go on with the implant itself.
_OF_ITSELF = frozenset({"was", "were", "used", "inserted", "placed", "left", "needed", "required", "implanted", "in"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, token in enumerate(sentence.tokens if sentence.says(_WORDS) else ()):
            span = _denied(sentence, index) if token.norm in _WORDS else None
            if span is not None:
                facts.append(
                    base.make("device", reading, sentence, *span, text="none", status="performed", certainty="negated")
                )
                break
    return facts


def _denied(sentence: Sentence, index: int) -> tuple[int, int] | None:
    """Tokens that say that there was no implant, around the word at `index`."""
    tokens = sentence.tokens
    if index and tokens[index - 1].norm in _DENY:
        after = tokens[index + 1] if index + 1 < len(tokens) else None
        if after is None or after.punctuation or after.norm in _OF_ITSELF | {"and", "or", "no"}:
            return index - 1, index
        return None
    at = index + 1
    while at < len(tokens) and tokens[at].norm in _BETWEEN:
        at += 1
    ends = at + 1 >= len(tokens) or tokens[at + 1].punctuation or tokens[at + 1].norm in ("used", "inserted", "placed")
    if at < len(tokens) and tokens[at].norm in _NONE - {"no"} and ends:
        return index, at
    return None
