"""Control words heard from the sound itself, by a closed list of them on an engine that takes lists (Vosk).

They are told half a second after they were said, while the text still waits for its recogniser. What is heard here
moves the screen only; what counts for the note are the words of the text (`controls.py`), and where the two differ
`missed` says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from pipeline import controls
from pipeline.grammar import Grammar
from pipeline.records import Word
from pipeline.rows import Control
from pipeline.sound import Samples

# Rows of these kinds are listened for. What confirms a read-back is ordinary speech, and is left to the text.
WHEN = ("always", "screen")
# A phrase counts when each of its words is at least so sure.
SURE = 0.5
# A phrase of the text is the one that was spotted when they lie within so many seconds of each other.
TOGETHER = 2.0


class Listening(Protocol):
    """One closed list under way (`engines/vosk.py`): words with times in seconds of the sound fed, after each pause."""

    def feed(self, samples: Samples) -> Sequence[Word]: ...
    def finish(self) -> Sequence[Word]: ...


class Lists(Protocol):
    """An engine that takes closed lists."""

    def knows(self, word: str) -> bool: ...
    def listening(self, phrases: Sequence[str]) -> Listening: ...


@dataclass(frozen=True, slots=True)
class Spotted:
    """A control phrase in the sound, as the grammar writes it. `start`, `end`: seconds from where the spotter began, of
    the words that tell which it is."""

    action: str
    phrase: str
    start: float
    end: float

    def later(self, seconds: float) -> Spotted:
        """The same in sound that has so many seconds more before it."""
        return replace(self, start=self.start + seconds, end=self.end + seconds)

    def told(self) -> str:
        """What the note says where the text does not have it."""
        at = f"{int(self.start // 60):02d}:{self.start % 60:04.1f}"
        return (f"'{self.phrase}' was heard at {at} by the ear for control words and is not in the text: nothing was "
                "done for it.")


def phrases(rules: Grammar, engine: Lists) -> tuple[str, ...]:
    """The control phrases that are listened for: those of which the engine knows every word."""
    return tuple(dict.fromkeys(
        phrase for row in rules.table("control", Control).values() if row.when in WHEN
        for phrase in row.say if all(engine.knows(part) for part in phrase.split())
    ))  # fmt: skip


class Spotter:
    """Sound in pieces -> control phrases. Raises EngineUnavailable for an engine that takes no lists."""

    def __init__(self, engine: Lists, rules: Grammar) -> None:
        listened = phrases(rules, engine)
        self._heads = _heads(listened, rules)
        self._listening = engine.listening(listened)

    def feed(self, samples: Samples) -> tuple[Spotted, ...]:
        """Takes in sound, shape (samples,), float32, 16 kHz mono."""
        return self._found(self._listening.feed(samples))

    def finish(self) -> tuple[Spotted, ...]:
        """Ends the sound."""
        return self._found(self._listening.finish())

    def _found(self, words: Sequence[Word]) -> tuple[Spotted, ...]:
        told = []
        for first in range(len(words)):
            for head, (action, phrase) in self._heads.items():
                said = words[first : first + len(head)]
                if tuple(word.text for word in said) == head and all(
                    word.confidence is None or word.confidence >= SURE for word in said
                ):  # fmt: skip
                    told.append(Spotted(action, phrase, said[0].start or 0.0, said[-1].end or 0.0))
        return tuple(told)


def _heads(listened: Sequence[str], rules: Grammar) -> dict[tuple[str, ...], tuple[str, str]]:
    """The first words that tell which action it is -> the action, and its phrase as it is written first in the grammar.
    The rest of a phrase is often swallowed."""
    actions = {tuple(phrase.split()): (row.action, row.say[0]) for row in rules.table("control", Control).values()
               for phrase in row.say if phrase in listened}  # fmt: skip
    heads: dict[tuple[str, ...], tuple[str, str]] = {}
    for phrase, (action, shown) in actions.items():
        for size in range(1, len(phrase) + 1):
            if {other for words, (other, _) in actions.items() if words[:size] == phrase[:size]} == {action}:
                heads[phrase[:size]] = (action, shown)
                break
    return heads


def missed(spotted: Iterable[Spotted], words: Sequence[Word], rules: Grammar) -> tuple[Spotted, ...]:
    """Those that the text does not have at that time, so that nothing was done for the note."""
    had = [(one.action, one.at) for when in WHEN for one in controls.find(words, rules, when) if one.at is not None]
    return tuple(
        one for one in spotted
        if not any(action == one.action and one.start - TOGETHER <= at <= one.end + TOGETHER for action, at in had)
    )  # fmt: skip

