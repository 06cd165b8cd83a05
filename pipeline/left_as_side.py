"""Whether "left" before a state is a side after all: "LT intact", "left intact, right perforated"."""

from __future__ import annotations

from itertools import pairwise

from pipeline.records import Sentence

WRITTEN = {"rt": "right", "lt": "left"}  # "rt handed", "lt lateral" are no sides either
_STATES = frozenset({"intact", "untreated", "free", "open"})


def is_side(sentence: Sentence, at: int) -> bool:
    """Whether the "left" at a token leads what is told of that side, and nothing was left so."""
    tokens = sentence.tokens
    if tokens[at].norm == "lt":
        return True
    led = tokens[at].norm == "left" and (at == 0 or tokens[at - 1].norm in (",", ":", ";"))
    if not led or at + 1 >= len(tokens) or tokens[at + 1].norm not in _STATES:
        return False
    return any(
        before.norm in (",", ";", "and") and after.norm == "right"
        for before, after in pairwise(tokens[at + 2 : at + 8])
    )
