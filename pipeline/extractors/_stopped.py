"""Whether a time behind a drug is how long it was not taken: "off warfarin for five days"."""

from __future__ import annotations

from pipeline.extractors import base
from pipeline.records import Mention, Sentence

_STOPPED = frozenset("stopped held withheld paused discontinued ceased omitted suspended interrupted off".split())


def is_stopped(sentence: Sentence, drug: Mention, index: int, ahead: bool) -> bool:
    """ "Off warfarin for five days", "rivaroxaban held for three days": how long it was not taken."""
    if drug.table != "drugs" or ahead:
        return False
    if base.scope_at(sentence, "status", drug.first, "") == "planned":
        return False  # how long it is not to be taken
    return says_stopped(sentence, drug, index)


def says_stopped(sentence: Sentence, drug: Mention, index: int) -> bool:
    """Whether a word for stopping stands beside a drug and a time behind it."""
    near = (*sentence.tokens[max(0, drug.first - 1) : drug.first], *sentence.tokens[drug.last + 1 : index])
    return any(token.norm in _STOPPED for token in near)
