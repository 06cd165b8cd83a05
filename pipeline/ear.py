"""A listener that finds out by itself which operation it hears, and listens with that family's words from then on.

Files and live dictation are heard through it alike. Until the family is known, stretches are heard without bias
words. When it becomes known early, the sound so far is heard once more with them (`Anew` is given first: what was
given before it is void); later, they only help from there on.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from pipeline.engines.base import Engine, Options, Reader, Result, safe_bias
from pipeline.listen import Listener
from pipeline.records import Word
from pipeline.segments import Limits
from pipeline.sound import RATE, Samples

# So much sound is kept to be heard again with bias words, once the family is known.
KEPT_SECONDS = 45.0
# With an unknown family, the words are looked through again when they have grown by this share.
GROWN = 0.1
# So many stretches are heard in that time at most; what was read in them is kept as well.
STRETCHES = 64

Spot = Callable[[Sequence[Word]], str | None]


@dataclass(frozen=True, slots=True)
class Anew:
    """Everything given before is void: the sound is heard again from its start, with the words of `family`."""

    family: str


class _Remembered:
    """A reader that reads no stretch twice: bias words change nothing of what it reads."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._known: dict[bytes, tuple[str, ...]] = {}

    def texts(self, samples: Samples) -> tuple[str, ...]:
        key = hashlib.sha256(samples.tobytes()).digest()
        if key not in self._known:
            self._known[key] = self._reader.texts(samples)
            while len(self._known) > STRETCHES:
                del self._known[next(iter(self._known))]
        return self._known[key]


class Ear:
    """Sound in pieces -> results.

    `spot`: words -> the family that they tell, or None; `bias`: family -> its terms, most useful first; `units`:
    unit words that may not get into the bias; `family`: when known beforehand; `reader`: as of a Listener.
    """

    def __init__(
        self, engine: Engine, spot: Spot, bias: Callable[[str], Sequence[str]], *, units: Sequence[str] = (),
        family: str | None = None, limits: Limits | None = None, options: Options | None = None,
        early: Engine | None = None, reader: Reader | None = None,
    ) -> None:  # fmt: skip
        self._reader = _Remembered(reader) if reader and family is None else reader
        self._engine, self._spot, self._bias, self._units, self._limits = engine, spot, bias, units, limits
        self._options = options or Options()
        self._early = early
        self.family = family
        self._kept: list[Samples] | None = [] if family is None else None
        self._kept_seconds = 0.0
        self._looked_at = 0
        self._listener = Listener(engine, self._with_bias(family), limits, early, self._reader)

    @property
    def listener(self) -> Listener:
        """The one that holds the words now; `Anew` puts another in its place."""
        return self._listener

    def feed(self, samples: Samples) -> Iterator[Result | Anew]:
        """Takes in sound, shape (samples,), 16 kHz mono."""
        if self._kept is not None:
            self._kept.append(samples)
            self._kept_seconds += len(samples) / RATE
            if self._kept_seconds > KEPT_SECONDS:
                self._kept = None
        yield from self._watched(self.listener.feed(samples))

    def finish(self) -> Iterator[Result | Anew]:
        """Ends the sound."""
        yield from self._watched(self.listener.finish(), ending=True)

    def _watched(self, results: Iterator[Result], ending: bool = False) -> Iterator[Result | Anew]:
        for result in results:
            yield result
            if self.family is None and result.final and not result.revised and self._worth_looking():
                self._looked_at = len(self.listener.words)
                self.family = self._spot(self.listener.words)
                if self.family is not None:
                    yield from self._found(results, self.family, ending)
                    return

    def _worth_looking(self) -> bool:
        return self._kept is not None or len(self.listener.words) > self._looked_at * (1 + GROWN)

    def _found(self, results: Iterator[Result], family: str, ending: bool) -> Iterator[Result | Anew]:
        if self._kept is None:
            self.listener.use(self._with_bias(family))
            yield from results
            return
        kept, self._kept = self._kept, None
        self._listener = Listener(self._engine, self._with_bias(family), self._limits, self._early, self._reader)
        yield Anew(family)
        for piece in kept:
            yield from self.listener.feed(piece)
        if ending:
            yield from self.listener.finish()

    def _with_bias(self, family: str | None) -> Options:
        terms = safe_bias(self._bias(family), self._units) if family is not None else ()
        return replace(self._options, bias=terms)
