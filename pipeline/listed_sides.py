"""The one side of a list that a name stands in: "left excision and node biopsy, right reduction"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.records import Laterality, Mention, Sentence
from pipeline.side_names import BREAKS
from pipeline.sidewords import Side


def of_list(sentence: Sentence, found: Sequence[Side], first: int, last: int) -> Laterality | None:
    """The one side of a list that a name stands in: "left excision and node biopsy, right reduction"."""
    before, after = _along(sentence, found, first, -1), _along(sentence, found, last, 1)
    return before if after is None else after if before is None else None


def joined_to(sentence: Sentence, first: int, last: int) -> Mention | None:
    """The operation that another one is joined to by "with": "right shoulder scope with a decompression"."""
    at = first - 1 - (sentence.tokens[first - 1].norm in ("a", "an", "the"))
    if at < 1 or sentence.tokens[at].norm != "with":
        return None
    named = [m for m in sentence.mentions if m.table == "procedures"]
    if not any(m.first <= first and last <= m.last for m in named):
        return None
    return next((m for m in named if m.last == at - 1), None)


def _along(sentence: Sentence, found: Sequence[Side], start: int, step: int) -> Laterality | None:
    """The side at which a list of names ends, from one of its names on."""
    sides = {index: side for side in found for index in range(side.first, side.last + 1)}
    named = {index for m in sentence.mentions if m.table in ("procedures", "acts", "sites", "diagnoses")
             for index in range(m.first, m.last + 1)}  # fmt: skip
    index, spare, listed = start + step, 1, False
    while 0 <= index < len(sentence.tokens):
        if index in sides:
            return sides[index].value if listed else None
        norm = sentence.tokens[index].norm
        listed = listed or norm in ("and", "with", "plus")
        if index not in named and norm not in ("and", "with", "plus", "of"):
            spare -= 1
            if spare < 0 or sentence.tokens[index].punctuation or norm in BREAKS:
                return None
        index += step
    return None


def chosen(sentence: Sentence, sides: Sequence[Side], first: int) -> Laterality | None:
    """ "Arthritis of both knees but today only the left, the osteotomy": the one side that an operation at a token is
    said to be only on."""
    only = {side.value for side in sides if any(
        token.norm == "only" for token in sentence.tokens[max(0, side.first - 2) : side.first]
    )}  # fmt: skip
    done = any(m.table in ("procedures", "acts") and m.first <= first <= m.last for m in sentence.mentions)
    return only.pop() if len(only) == 1 and done else None
