"""A side or a "no" that was hardly heard makes the facts that rest on it as unsure as itself.

The evidence of a fact is the thing that was named; its side and its denial often stand beside it ("left knee
arthroscopy", "no drain"). Without this a side heard with little confidence would look as sure as the operation.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from pipeline.lexicon import NEGATIONS
from pipeline.records import Fact, Reading, Word

_SIDES = {"left": "left", "right": "right", "bilateral": "bilateral", "bilaterally": "bilateral", "both": "bilateral"}
_MATTER = _SIDES.keys() | NEGATIONS
_REACH = 8  # words between a "no" and what it denies


def lend(facts: Iterable[Fact], reading: Reading) -> list[Fact]:
    """The facts, each with the confidence of its side and its denial in its evidence where that is lower. Pure."""
    found = list(facts)
    spans = [
        (sentence.tokens[0].first, sentence.tokens[-1].last) for sentence in reading.sentences if sentence.tokens
    ]
    heard = [word for word in reading.words if word.confidence is not None and _plain(word) in _MATTER]
    if not heard:
        return found
    return [_lowered(fact, heard, spans) for fact in found]


def _plain(word: Word) -> str:
    return word.text.lower().strip(".,;:()")


def _lowered(fact: Fact, heard: Sequence[Word], spans: Sequence[tuple[int, int]]) -> Fact:
    here = next(((first, last) for first, last in spans if first <= fact.evidence.first <= last), None)
    if here is None or not (fact.laterality or fact.certainty == "negated"):
        return fact
    near = [word for word in heard if here[0] <= word.id <= here[1]]
    rests = [word for word in near if fact.laterality and _SIDES.get(_plain(word)) == fact.laterality]
    used = [_nearest(fact, rests)] if rests else []
    if fact.certainty == "negated":
        ahead = [word for word in near if _plain(word) in NEGATIONS and abs(fact.evidence.first - word.id) <= _REACH]
        used += [_nearest(fact, ahead)] if ahead else []
    known = [word.confidence for word in used if word.confidence is not None]
    own = fact.evidence.confidence
    if not known or (own is not None and own <= min(known)):
        return fact
    return replace(fact, evidence=replace(fact.evidence, confidence=min(known)))


def _nearest(fact: Fact, words: Sequence[Word]) -> Word:
    return min(
        words,
        key=lambda word: max(fact.evidence.first - word.last, word.id - fact.evidence.last, 0),
    )
