"""A second opinion on words that must not be wrong: was it what was heard, or what that is commonly taken for?

The stretch of sound is decoded with a closed list of both readings, and their likelihoods are compared. Nothing is
overwritten: where the other reading wins by a margin it is noted in `Word.opinions`, so that a finding asks.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from pipeline.records import Word
from pipeline.rows import Confusion
from pipeline.sound import RATE, Samples

ASKED = frozenset({"number", "unit", "side", "negation"})
# Sound taken before and after the words, seconds: word times are right to about this much.
AROUND = 0.1
# The other reading must win by more than this, in log-likelihood.
MARGIN = 0.0
UNKNOWN = "[unk]"
FAR = float("inf")
_MARKS = ".,;:!?"
_WRITTEN = re.compile(r"(?P<digits>\d{1,3})?-?(?P<unit>[a-zµμ]{2,3})?")
_UNITS = {"ml": "millilitres", "mm": "millimetres", "mg": "milligrams", "mcg": "micrograms", "ug": "micrograms",
          "µg": "micrograms", "μg": "micrograms"}  # fmt: skip
_SMALL = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
          "seventeen eighteen nineteen").split()  # fmt: skip
_TENS = "- - twenty thirty forty fifty sixty seventy eighty ninety".split()


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
                    _add_units(found, one, other)
    return {word: tuple(others) for word, others in found.items()}


def _add_units(found: dict[str, list[str]], one: str, other: str) -> None:
    """Plurals, and the spelling of America: a recogniser writes either."""
    for old, new in (("", ""), ("tre", "ter")):
        form, its = one.replace(old, new), other.replace(old, new)
        for ending in ("", "s"):
            others = found.setdefault(form + ending, [])
            if its + ending not in others:
                others.append(its + ending)


def opinions(
    words: Sequence[Word], sound: Callable[[float, float], Samples], ear: Chooser, taken_for: dict[str, tuple[str, ...]]
) -> list[Opinion]:
    """Asks every word that may be taken for another. `sound(start, end)`: samples of that time, seconds, 16 kHz."""
    found = []
    for at, word in enumerate(words):
        parts = spoken(word.text)
        asked = [(place, other) for place, part in enumerate(parts) for other in taken_for.get(part, ())
                 if ear.knows(other)]  # fmt: skip
        if not asked or word.start is None or word.end is None or not all(ear.knows(part) for part in parts):
            continue
        before, after = _beside(words, at, -1), _beside(words, at, 1)
        start = before.start if before and before.start is not None else word.start
        end = after.end if after and after.end is not None else word.end
        piece = sound(max(0.0, start - AROUND), end + AROUND)
        left, right = _said(before, ear), _said(after, ear)
        ways = [parts, *((*parts[:place], other, *parts[place + 1 :]) for place, other in asked)]
        phrases = [" ".join([*left, *way, *right]) for way in ways]
        scores = {one.text: one.score for one in ear.choose(piece, list(dict.fromkeys(phrases)))}
        mine = scores.get(phrases[0])
        for way, phrase in zip(ways[1:], phrases[1:], strict=True):
            its = scores.get(phrase)
            # A reading that fits far worse falls out of the search altogether.
            if mine is not None and its is not None:
                margin: float | None = its - mine
            else:
                margin = None if mine is its else (FAR if mine is None else -FAR)
            found.append(Opinion(word.id, " ".join(parts), " ".join(way), margin))
    return found


def noted(words: Sequence[Word], said: Iterable[Opinion], margin: float) -> tuple[Word, ...]:
    """The words with the other readings that won by more than `margin` in `Word.opinions`."""
    better: dict[int, list[str]] = {}
    for one in said:
        if one.margin is not None and one.margin > margin:
            better.setdefault(one.word, []).append(one.other)
    return tuple(
        replace(word, opinions=tuple(dict.fromkeys((*word.opinions, *better[word.id])))) if word.id in better else word
        for word in words
    )


def cut(sound: Samples) -> Callable[[float, float], Samples]:
    """`sound(start, end)` of a recording in memory, shape (samples,)."""
    return lambda start, end: sound[round(start * RATE) : round(end * RATE)]


def spoken(text: str) -> tuple[str, ...]:
    """A word as it may have been said: "15mL" is fifteen millilitres; numbers from 0 to 99, else as it stands."""
    plain = text.casefold().strip(_MARKS)
    found = _WRITTEN.fullmatch(plain)
    if found is None:
        return (plain,)
    digits, unit = found["digits"], found["unit"]
    number = int(digits) if digits else -1
    if number > 99 or (unit and unit not in _UNITS) or (not digits and unit not in _UNITS):
        return (plain,)
    said: list[str] = []
    if digits:
        said = [_SMALL[number]] if number < 20 else [_TENS[number // 10]] + [_SMALL[number % 10]] * bool(number % 10)
    return (*said, *([_UNITS[unit]] if unit else []))


def _beside(words: Sequence[Word], at: int, step: int) -> Word | None:
    """The neighbour in the same segment, if it has times."""
    place = at + step
    if 0 <= place < len(words) and words[place].segment == words[at].segment and words[place].start is not None:
        return words[place]
    return None


def _said(word: Word | None, ear: Chooser) -> tuple[str, ...]:
    if word is None:
        return ()
    parts = spoken(word.text)
    return parts if all(ear.knows(part) for part in parts) else (UNKNOWN,)
