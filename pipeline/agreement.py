"""A second opinion on words that must not be wrong: was it what was heard, or what that is commonly taken for?

The stretch of sound is decoded with a closed list of both readings, and their likelihoods are compared. Nothing is
overwritten: where the other reading wins by a margin it is noted in `Word.others`, so that a finding asks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from pipeline.records import Word
from pipeline.rows import Confusion
from pipeline.sound import RATE, Samples

ASKED = frozenset({"number", "unit", "side", "negation"})
# Sound taken before and after the words, seconds: word times are right to about this much.
AROUND = 0.1
UNKNOWN = "[unk]"
FAR = float("inf")
_MARKS = ".,;:!?"


class Scored(Protocol):
    """A phrase of a closed list and its log-likelihood."""

    @property
    def text(self) -> str: ...
    @property
    def score(self) -> float: ...


class Chooser(Protocol):
    """An engine that takes closed lists (`engines/vosk.py`)."""

    def knows(self, word: str) -> bool: ...
    def choose(self, sound: Samples, phrases: Sequence[str]) -> Sequence[Scored]: ...


@dataclass(frozen=True, slots=True)
class Opinion:
    """How a word compares with its other reading. `margin`: log-likelihood of the other minus that of the heard one,
    above 0 where the other fits better, infinite where only the other fits; None where neither does."""

    word: int
    heard: str
    other: str
    margin: float | None


def pairs(rows: Iterable[Confusion]) -> dict[str, tuple[str, ...]]:
    """Single words -> what each may be taken for, of the rows that are asked of the sound."""
    found: dict[str, list[str]] = {}
    for row in rows:
        if row.what in ASKED and not any(" " in form for form in row.pair):
            first, second = row.pair
            for one, other in ((first, second), (second, first)):
                found.setdefault(one, []).append(other)
                if row.what == "unit":
                    found.setdefault(one + "s", []).append(other + "s")
    return {word: tuple(others) for word, others in found.items()}


def opinions(
    words: Sequence[Word], sound: Callable[[float, float], Samples], ear: Chooser, taken_for: dict[str, tuple[str, ...]]
) -> list[Opinion]:
    """Asks every word that may be taken for another. `sound(start, end)`: samples of that time, seconds, 16 kHz."""
    found = []
    for at, word in enumerate(words):
        heard = _plain(word)
        others = [other for other in taken_for.get(heard, ()) if ear.knows(other)]
        if not others or not ear.knows(heard) or word.start is None or word.end is None:
            continue
        before, after = _beside(words, at, -1), _beside(words, at, 1)
        start = before.start if before and before.start is not None else word.start
        end = after.end if after and after.end is not None else word.end
        piece = sound(max(0.0, start - AROUND), end + AROUND)
        left, right = _said(before, ear), _said(after, ear)
        phrases = {one: " ".join(filter(None, (left, one, right))) for one in (heard, *others)}
        scores = {one.text: one.score for one in ear.choose(piece, list(phrases.values()))}
        for other in others:
            mine, its = scores.get(phrases[heard]), scores.get(phrases[other])
            # A reading that fits far worse falls out of the search altogether.
            if mine is not None and its is not None:
                margin: float | None = its - mine
            else:
                margin = None if mine is its else (FAR if mine is None else -FAR)
            found.append(Opinion(word.id, heard, other, margin))
    return found


def noted(words: Sequence[Word], said: Iterable[Opinion], margin: float) -> tuple[Word, ...]:
    """The words with the other readings that won by more than `margin` in `Word.others`."""
    better: dict[int, list[str]] = {}
    for one in said:
        if one.margin is not None and one.margin > margin:
            better.setdefault(one.word, []).append(one.other)
    return tuple(
        replace(word, others=tuple(dict.fromkeys((*word.others, *better[word.id])))) if word.id in better else word
        for word in words
    )


def cut(sound: Samples) -> Callable[[float, float], Samples]:
    """`sound(start, end)` of a recording in memory, shape (samples,)."""
    return lambda start, end: sound[round(start * RATE) : round(end * RATE)]


def _plain(word: Word) -> str:
    return word.text.casefold().strip(_MARKS)


def _beside(words: Sequence[Word], at: int, step: int) -> Word | None:
    """The neighbour in the same segment, if it has times."""
    place = at + step
    if 0 <= place < len(words) and words[place].segment == words[at].segment and words[place].start is not None:
        return words[place]
    return None


def _said(word: Word | None, ear: Chooser) -> str:
    if word is None:
        return ""
    text = _plain(word)
    return text if ear.knows(text) else UNKNOWN
