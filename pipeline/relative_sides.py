"""Sides said in relation to one before: "of the contralateral testis", "the other knee got twenty milligrams"."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pipeline import laterality
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, Sentence, Token, replace
from pipeline.standing import is_other, opposite

_INTO = frozenset({"into", "in", "to", "on", "for"})
_PARTS = frozenset({",", ";", ".", "but", "while", "because"})


def tell(
    facts: Sequence[Fact], reading: Reading, grammar: Grammar, operation: Laterality | None,
    given: Callable[[Fact], bool],
) -> list[Fact]:  # fmt: skip
    """The facts, those of "the other side" with the other one than the only one that was said before, and a doubt that
    tells so. `operation`: the side of "the operated side"; `given`: whether a fact is an amount given at one place,
    which may have a side. Pure; order kept."""
    before: dict[int, tuple[Laterality | None, bool]] = {}
    said: set[Laterality | None] = set()
    words: set[Laterality | None] = set()  # "from the left", "left side stripped": said of the way in
    for sentence in reading.sentences:
        for side in laterality.sides(sentence, grammar):
            if side.value is not None:
                said.add(side.value)
                continue
            only = next(iter(said)) if len(said) == 1 else None
            if only is None and not is_other(sentence, side):  # "ipsilateral": of the way in
                near = _plain(sentence.tokens[: side.first]) or words
                only = next(iter(near)) if len(near) == 1 else None
            before[sentence.tokens[side.first].first] = only, is_other(sentence, side)
        words |= _plain(sentence.tokens)
    if not before:
        return list(facts)
    return [_told(fact, reading, grammar, before, operation, given) for fact in facts]


def _plain(tokens: Sequence[Token]) -> set[Laterality | None]:
    """The sides that words alone tell."""
    norms = {token.norm for token in tokens}
    return {side for side in ("left", "right") if side in norms}


def _told(
    fact: Fact, reading: Reading, grammar: Grammar, before: dict[int, tuple[Laterality | None, bool]],
    operation: Laterality | None, given: Callable[[Fact], bool],
) -> Fact:  # fmt: skip
    led = laterality.RELATIVE not in fact.doubts  # "the other hip is observed" says nothing of a crest on the left
    if led and not (fact.laterality is None and given(fact) and _is_given_there(fact, reading, grammar)):
        return fact
    near = min(before, key=lambda word: abs(word - fact.evidence.first))
    only, other = before[near]
    value = opposite(only) if other else only or operation
    if value not in ("left", "right"):
        return fact
    rest = tuple(doubt for doubt in fact.doubts if doubt != laterality.RELATIVE)
    return replace(fact, laterality=value, doubts=(*rest, laterality.OTHER_SIDE) if other else rest)


def _is_given_there(fact: Fact, reading: Reading, grammar: Grammar) -> bool:
    """ "The other knee got twenty milligrams", "twenty milligrams into the other knee": whether an amount went to the
    only side that its sentence says, the other one."""
    sentence = reading.sentence_at(fact.evidence.first)
    sides = laterality.sides(sentence, grammar) if sentence is not None else []
    if sentence is None or fact.scale is not None or len(sides) != 1 or not is_other(sentence, sides[0]):
        return False
    inner = [at for at, token in enumerate(sentence.tokens) if fact.evidence.first <= token.first
             and token.last <= fact.evidence.last]  # fmt: skip
    if not inner or sides[0].value is not None:
        return False
    side, tokens = sides[0], sentence.tokens
    if side.last < inner[0]:
        return not _parted(sentence, side.last + 1, inner[0])
    led = {token.norm for token in tokens[max(0, side.first - 2) : side.first]}
    return side.first > inner[-1] and bool(led & _INTO) and not _parted(sentence, inner[-1] + 1, side.first)


def _parted(sentence: Sentence, first: int, last: int) -> bool:
    return any(token.norm in _PARTS for token in sentence.tokens[first:last])
