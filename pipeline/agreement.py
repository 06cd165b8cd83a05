"""A second opinion on words that must not be wrong: was it what was heard, or what that is commonly taken for?

The stretch of sound is decoded with a closed list of the readings, and their likelihoods are compared. Nothing is
overwritten: where another reading wins by a margin it is noted in `Word.opinions`, so that a finding asks.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from pipeline import sayings
from pipeline.records import Word
from pipeline.sayings import Said
from pipeline.sound import RATE, Samples

# Sound taken before and after the words, seconds: word times are right to about this much.
AROUND = 0.1
# Another reading must win by more than this, in log-likelihood, by its kind: set on the tuning half of what
# `make bench-second-opinion` measures with models/vosk-small.
MARGINS: Mapping[str, float] = {
    "number": 1.4, "unit": 1.25, "side": 4.4, "negation": 1.25, sayings.JOINED: 1.25, sayings.LOST: 1.25,
}  # fmt: skip
UNKNOWN = "[unk]"


class Fit(Protocol):
    """A log-likelihood; where it is not exact it is lower than `score`."""

    @property
    def score(self) -> float: ...
    @property
    def exact(self) -> bool: ...


class Weigher(Protocol):
    """An engine that takes closed lists (`engines/vosk.py`)."""

    def knows(self, word: str) -> bool: ...
    def weigh(self, sound: Samples, ways: Sequence[Said], left: Said, right: Said) -> Mapping[Said, Fit]: ...


@dataclass(frozen=True, slots=True)
class Opinion:
    """How a word compares with another reading. `kind`: one of `sayings.KINDS`; `margin`: log-likelihood of the other
    minus that of the heard one, above 0 where the other fits better (where one of them fits too badly to be measured,
    the margin that is certain); None where it is not known which fits better."""

    word: int
    heard: str
    other: str
    kind: str
    margin: float | None


def opinions(
    words: Sequence[Word], sound: Callable[[float, float], Samples], ear: Weigher,
    known: Mapping[str, Sequence[sayings.Pair]], only: Collection[int] | None = None,
) -> list[Opinion]:  # fmt: skip
    """Asks every word that may be taken for another. `sound(start, end)`: samples of that time, seconds, 16 kHz;
    `known`: of `sayings.pairs`; `only`: ids of the words that are asked about, None for all. Readings with a word that
    the engine does not know are left out."""
    found = []
    for at, word in enumerate(words):
        if word.start is None or word.end is None or (only is not None and word.id not in only):
            continue
        before, after = _beside(words, at, -1), _beside(words, at, 1)
        mine = [way for way in sayings.said(word.text) if _all_known(way, ear)]
        others = [other for other in sayings.taken_for(word.text, after.text if after else "", known)
                  if _all_known(other.words, ear)]  # fmt: skip
        if not mine or not others:
            continue
        start = before.start if before and before.start is not None else word.start
        end = after.end if after and after.end is not None else word.end
        piece = sound(max(0.0, start - AROUND), end + AROUND)
        ways = list(dict.fromkeys([*mine, *(other.words for other in others)]))
        left, right = _said(before, ear), _said(after, ear)
        scores = dict(ear.weigh(piece, ways, left, right))
        if not any(scores[way].exact for way in mine) and any(scores[other.words].exact for other in others):
            # What was heard fell out of the search: alone it is measured, or bounded more closely.
            scores |= ear.weigh(piece, mine, left, right)
        own = max(mine, key=lambda way: (scores[way].exact, scores[way].score))
        for other in others:
            its = scores[other.words]
            margin: float | None = its.score - scores[own].score
            if not its.exact and (not scores[own].exact or its.score > scores[own].score):
                margin = None
            found.append(Opinion(word.id, " ".join(own), " ".join(other.words), other.kind, margin))
    return found


def noted(words: Sequence[Word], said: Iterable[Opinion], margins: Mapping[str, float] = MARGINS) -> tuple[Word, ...]:
    """The words with the other readings that won by more than the margin of their kind in `Word.opinions`, best first;
    a kind without a margin is not noted."""
    better: dict[int, dict[str, float]] = {}
    for one in said:
        if one.margin is not None and one.margin > margins.get(one.kind, float("inf")):
            better.setdefault(one.word, {})[one.other] = one.margin
    return tuple(
        replace(word, opinions=tuple(dict.fromkeys((*word.opinions, *_best_first(better[word.id])))))
        if word.id in better else word
        for word in words
    )  # fmt: skip


def _best_first(found: Mapping[str, float]) -> list[str]:
    return sorted(found, key=lambda other: -found[other])


def cut(sound: Samples) -> Callable[[float, float], Samples]:
    """`sound(start, end)` of a recording in memory, shape (samples,)."""
    return lambda start, end: sound[round(start * RATE) : round(end * RATE)]


def _beside(words: Sequence[Word], at: int, step: int) -> Word | None:
    """The neighbour in the same segment, if it has times."""
    place = at + step
    if 0 <= place < len(words) and words[place].segment == words[at].segment and words[place].start is not None:
        return words[place]
    return None


def _said(word: Word | None, ear: Weigher) -> Said:
    if word is None:
        return ()
    return next((way for way in sayings.said(word.text) if _all_known(way, ear)), (UNKNOWN,))


def _all_known(way: Said, ear: Weigher) -> bool:
    return all(ear.knows(part) for part in way)
