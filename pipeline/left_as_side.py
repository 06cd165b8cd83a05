"""Whether "left" before a state is a side after all ("LT intact", "left intact, right perforated"), and whether a
"right" is none but said to begin with."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

from pipeline.records import Mention, Sentence

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


_TALK = frozenset("so we i now then let lets ok okay well next that's that this the good there it here and".split())


def is_talk(sentence: Sentence, sided: Mapping[Mention, bool]) -> bool:
    """ "Right, so the knee was opened", "Right, elective section for twins,": said to begin with, and no side.

    `sided`: operations, diagnoses and parts of the sentence -> whether they have a left and a right.
    """
    norms = [token.norm for token in sentence.tokens]
    if norms[:2] != ["right", ","] or len(norms) < 3:
        return False
    end = next((at for at in range(2, len(norms)) if sentence.tokens[at].punctuation), len(norms))
    named = {mention.table: paired for mention, paired in sided.items() if mention.first < end}
    return norms[2] in _TALK or ("procedures" in named and not any(named.values()) and "#level" not in norms)
