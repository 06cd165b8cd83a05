"""A "right" that is said to begin with or to agree, and no side: "Right. Synovitis seen.", "Right, meniscectomy done.",
"Is the camera white balanced? Right."

By itself such a word may be a heading as well ("Right. Forty milligrams. Left. Twenty."). What the rest of the
narration says decides: where the left alone is worked on, it is talk; where both are, a "Right" alone in its sentence
is a heading, and one before a comma only where a "Left" stands in the same way; else nothing that follows has a side.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import clauses, donor_sides, laterality, sideshare, sidewords
from pipeline.grammar import Grammar
from pipeline.records import Sentence
from pipeline.sidewords import Side

_MARKS = frozenset({",", ".", "!", "-", "—", "–"})
_ASKED = frozenset({"side", "sides", "left", "laterality", "which", "one"})


def mark(sentences: Sequence[Sentence], grammar: Grammar) -> tuple[Sentence, ...]:
    """The same sentences; a "right" that is talk is no side of theirs from here on."""
    doubtful = [(at, side) for at, sentence in enumerate(sentences) if (side := _begins(sentence, grammar, "right"))]
    if not doubtful or any(_begins(sentence, grammar, "left") for sentence in sentences):
        return tuple(sentences)
    worked = {
        side.value for at, sentence in enumerate(sentences) for side in sidewords.sides(sentence, grammar)
        if (at, side) not in doubtful and _is_of_work(sentence, side)
    } - {None}  # fmt: skip
    for at, side in doubtful:
        sentence = sentences[at]
        answers = at > 0 and _asks_else(sentences[at - 1]) and len(sentence.tokens) <= _ALONE
        turns = at + 1 < len(sentences) and len(sentence.tokens) <= _ALONE and any(
            side.value is None and is_other(sentences[at + 1], side)
            for side in sidewords.sides(sentences[at + 1], grammar)
        )  # "Right. Over to the other side."
        if worked == {"left"} or answers or turns:
            sidewords.drop(sentence, grammar, side)
        elif {"left", "right"} <= worked and len(sentence.tokens) > _ALONE:
            sidewords.drop(sentence, grammar, side)
            sentence.memo["may-turn"] = True
    return tuple(sentences)


def may_turn(sentence: Sentence) -> bool:
    """Whether a sentence begins with a word that may be talk or the turn to the other side."""
    return bool(sentence.memo.get("may-turn"))


def _is_of_work(sentence: Sentence, side: Side) -> bool:
    """Whether a side is of what is done in this operation: not of the crest or the vein that something came from, of
    another day, of what was well or asked."""
    part = laterality.own_noun(sentence, side)
    away = donor_sides.leads_crest(sentence, side) or donor_sides.of_other_tissue(sentence, side.first)
    told = any(scope.first <= side.first <= scope.last and (scope.axis == "status" or scope.value == "negated")
               for scope in sentence.scopes)  # fmt: skip
    past = any(clauses.is_year(token) for token in sentence.tokens)
    well = sideshare.is_well(sentence, part, len(sentence.tokens))
    return not (away or told or past or well or sentence.tokens[-1].norm == "?")


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


def is_other(sentence: Sentence, side: Side) -> bool:
    """Whether a relative side is the other one ("contralateral") and not the same ("ipsilateral")."""
    said = {token.norm for token in sentence.tokens[side.first : side.last + 1]}
    return said.isdisjoint(("ipsilateral", "same", "operated", "operative", "affected", "operation"))
