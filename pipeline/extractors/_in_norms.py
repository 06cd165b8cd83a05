"""Shapes of words in a sentence: a pattern over its folded words, and the tokens that it takes."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator

from pipeline.records import Sentence


def found(sentence: Sentence, pattern: re.Pattern[str]) -> Iterator[tuple[int, int]]:
    """(first token, last token) of every match of a pattern in the words of a sentence, one blank between two. A number
    of several words is one token, and stands as it was folded."""
    text, starts = _text(sentence)
    for match in pattern.finditer(text):
        if match.end() > match.start():
            yield bisect_right(starts, match.start()) - 1, bisect_right(starts, match.end() - 1) - 1


def _text(sentence: Sentence) -> tuple[str, list[int]]:
    held: tuple[str, list[int]] | None = sentence.memo.get("in norms")
    if held is None:
        starts, at = [], 0
        for token in sentence.tokens:
            starts.append(at)
            at += len(token.norm) + 1
        held = sentence.memo["in norms"] = (" ".join([token.norm for token in sentence.tokens]), starts)
    return held
