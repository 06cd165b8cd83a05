"""A "right" that is said to begin with or to agree, and no side: "Right. Synovitis seen.", "Right, meniscectomy done.",
"Is the camera white balanced? Right."

By itself such a word may be a heading as well ("Right. Forty milligrams. Left. Twenty."). What the rest of the
narration says decides: where its sides are the left alone, it is talk; where both are spoken of, it is a heading only
if a "Left" stands in the same way.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import sidewords
from pipeline.grammar import Grammar
from pipeline.records import Sentence
from pipeline.sidewords import Side

_MARKS = frozenset({",", ".", "!", "-", "—", "–"})
_ASKED = frozenset({"side", "sides", "left", "laterality", "which", "one"})


def mark(sentences: Sequence[Sentence], grammar: Grammar) -> tuple[Sentence, ...]:
    """The same sentences; a "right" that is talk is no side of theirs from here on."""
    doubtful = [(at, side) for at, sentence in enumerate(sentences) if (side := _begins(sentence, grammar, "right"))]
    if not doubtful:
        return tuple(sentences)
    loose = {(at, side) for at, side in doubtful}
    firm = {
        side.value for at, sentence in enumerate(sentences) for side in sidewords.sides(sentence, grammar)
        if (at, side) not in loose
    }  # fmt: skip
    paired = any(_begins(sentence, grammar, "left") for sentence in sentences)
    for at, side in doubtful:
        answers = at > 0 and _asks_else(sentences[at - 1]) and len(sentences[at].tokens) <= _ALONE
        if not paired and ("left" in firm and firm <= {"left", None} or answers):
            sidewords.drop(sentences[at], grammar, side)
    return tuple(sentences)


def _begins(sentence: Sentence, grammar: Grammar, value: str) -> Side | None:
    """The side that a sentence begins with, alone or before a comma."""
    tokens = sentence.tokens
    if not tokens or tokens[0].norm != value or (len(tokens) > 1 and tokens[1].norm not in _MARKS):
        return None
    return next((side for side in sidewords.sides(sentence, grammar) if side.first == side.last == 0), None)


_ALONE = 2  # tokens: the word and its mark


def _asks_else(sentence: Sentence) -> bool:
    """Whether a sentence asks for something else than a side."""
    return bool(sentence.tokens) and sentence.tokens[-1].norm == "?" and not sentence.says(_ASKED)
