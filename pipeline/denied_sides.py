"""Sides that end what was said not to be there, or not to have been done: "nothing was given on the left"."""

from __future__ import annotations

from pipeline import clauses
from pipeline.records import Sentence


def closes_denial(sentence: Sentence, at: int) -> bool:
    """ "No effusion on the right six mils ...": whether the side at a token ends what was said not to be there."""
    return denied_from(sentence, at) is not None


def of_denied(sentence: Sentence, at: int, last: int) -> bool:
    """Whether the side at a token is of something denied behind a phrase: "4 mL of ropivacaine, nothing was given on
    the left"; not "drain none on the left"."""
    denied = denied_from(sentence, at)
    return denied is not None and denied > last + (sentence.tokens[denied].norm == "none")


def denied_from(sentence: Sentence, at: int) -> int | None:
    """The first token of the denial that the side at a token ends, None where it ends none."""
    tokens = sentence.tokens
    led = {tokens[at - 1].norm, tokens[at - 2].norm} if at >= _NOUN else set()
    if at < _NOUN or tokens[at - 1].norm not in _AT or led.isdisjoint(_AT - {"the"}):
        return None
    told = False
    for index in range(at - 2, max(-1, at - 2 - _DENIED), -1):
        norm = tokens[index].norm
        if norm in ("no", "without") and not told or norm in ("nothing", "none"):
            return index
        told = told or norm in clauses.FINITE
        if tokens[index].punctuation or tokens[index].quantity is not None:
            return None
    return None


_AT = frozenset({"on", "in", "into", "to", "the"})
_NOUN = 3  # words from a side to the noun that it leads
_DENIED = 5  # words of what is denied, with "on the"
