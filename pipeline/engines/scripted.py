"""Replays a stored word list in place of a recogniser: for tests, and for a note from words.json."""

from __future__ import annotations

from pipeline import wordlist
from pipeline.engines.base import Options, Result
from pipeline.errors import EngineUnavailable, UnknownName
from pipeline.records import Segment, Word
from pipeline.sound import RATE, Samples

MEANING = "Replays the words of a stored word list at their times, instead of listening."


class ScriptedSession:
    """Gives each word once the sound has reached its end, and at the end whatever is left."""

    def __init__(self, words: tuple[Word, ...]) -> None:
        self._left = list(words)
        self._samples = 0

    def feed(self, samples: Samples) -> Result | None:
        """No stretch has a place in time before it ends, so there are no partial words."""
        self._samples += len(samples)
        return None

    def end(self, segment: Segment) -> Result:
        """The words that begin before the end of the stretch (words without times come last, by `finish`)."""
        count = 0
        while count < len(self._left) and self._starts_before(self._left[count], segment.end):
            count += 1
        return self._give(count)

    def finish(self) -> Result:
        return self._give(len(self._left))

    @property
    def seconds(self) -> float:
        """Seconds of speech heard so far."""
        return self._samples / RATE

    def _give(self, count: int) -> Result:
        given, self._left = self._left[:count], self._left[count:]
        return Result(tuple(given))

    @staticmethod
    def _starts_before(word: Word, end: float) -> bool:
        return word.start is not None and word.start < end


class Scripted:
    name = "scripted"
    model = ""
    sha256 = ""
    streams = False

    def open(self, options: Options) -> ScriptedSession:
        """Raises EngineUnavailable without a script; SourceNotFound, SourceUnreadable, BadWordList for a bad one."""
        if options.script is None:
            raise EngineUnavailable("The engine 'scripted' replays a stored word list.", "Hand in a words.json.")
        return ScriptedSession(wordlist.read(options.script).words)


def load(model: str | None = None) -> Scripted:
    """Raises UnknownName if a model is named, since there is none."""
    if model is not None:
        raise UnknownName(f"There is no model '{model}' for engine 'scripted'.", "Leave the model out.")
    return Scripted()
