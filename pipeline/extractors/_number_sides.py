"""The side of a number: its own where like numbers are told of both sides, else that of the thing that it is of."""

from __future__ import annotations

from pipeline import laterality, sidewise
from pipeline.grammar import Grammar
from pipeline.records import Laterality, Sentence

_SIDES = frozenset({"left", "right", "l", "r"})


def of_measure(sentence: Sentence, index: int, noun: tuple[int, int], grammar: Grammar) -> Laterality | None:
    """ "ABPI right 0.92 left 0.88": the side said right beside a number; else that of what it measures."""
    beside = (*sentence.tokens[max(0, index - 2) : index], *sentence.tokens[index + 1 : index + 4])
    if any(token.norm in _SIDES for token in beside) and sidewise.numbered(sentence, index, grammar):
        return sidewise.side_of(sentence, index, grammar)
    return laterality.side_for(sentence, *noun, grammar, own_only=True)[0]


def of_device(sentence: Sentence, index: int, thing: tuple[int, int], grammar: Grammar) -> Laterality | None:
    """ "R: 18 Fr sheath, L: 14 Fr sheath": the side that heads a part of a list; else that of the thing."""
    return sidewise.labelled(sentence, index, grammar) or laterality.own_side(sentence, *thing, grammar)


def of_grade(sentence: Sentence, first: int, last: int, grammar: Grammar) -> tuple[Laterality | None, str | None]:
    """ "(KL 3 L, KL 2 R)": the side that ends the item of a list, right behind a grade; else that of the grade."""
    tokens = sentence.tokens
    for side in laterality.sides(sentence, grammar):
        if side.first == last + 1 and (side.last + 1 >= len(tokens) or tokens[side.last + 1].punctuation):
            return side.value, None
    return laterality.side_for(sentence, first, last, grammar)
