"""Before a case begins by voice: listens for the control words, keeps nothing but the last seconds in memory."""

from __future__ import annotations

import threading
from collections import deque

import numpy as np

from pipeline import controls, spotting
from pipeline.casefiles import WIDTH, from_pcm
from pipeline.engines.base import Engine, Options
from pipeline.grammar import Grammar
from pipeline.listen import Listener
from pipeline.segments import LIVE
from pipeline.sound import RATE

# A case that the spotter begins starts so many seconds before the word: its times are right to about a tenth of one.
BEFORE = 0.3
# More than the longest stretch of speech and the time that it takes to recognise it.
KEPT_SECONDS = 60.0


class Standby:
    """Takes sound in pieces, 16 kHz mono 16 bit, until somebody says that the note begins.

    `keep` is quick and comes from one thread, `hear` waits for the recogniser and comes from another. `spots`: an
    engine that hears the control words at once; what it does not hear is read in the text.
    """

    def __init__(self, engine: Engine, rules: Grammar, spots: spotting.Lists | None = None) -> None:
        self._listener = Listener(engine, Options(), LIVE)
        self._spotter = spotting.Spotter(spots, rules) if spots is not None else None
        self._rules = rules
        self._lock = threading.Lock()
        self._pieces: deque[tuple[int, bytes]] = deque()
        self._base = 0
        self._kept: int | None = None  # sample after the last that was kept
        self._heard = 0

    @property
    def end(self) -> int:
        """The sample after the last that was kept."""
        return self._kept or 0

    def keep(self, position: int, pcm: bytes) -> int:
        """Takes in a piece that begins at sample `position`; gives the number of the sample after it."""
        with self._lock:
            if self._kept is None:
                self._base = self._heard = self._kept = position
            end = position + len(pcm) // WIDTH
            if end > self._kept:
                self._pieces.append((position, pcm))
                self._kept = end
            while self._pieces and min(self._heard, self._kept) - self._pieces[0][0] > KEPT_SECONDS * RATE:
                self._pieces.popleft()
            return self._kept

    def hear(self) -> int | None:
        """Hears what was kept and not heard yet; gives the sample at which the case begins, None if nobody began."""
        with self._lock:
            fresh = [(start, pcm) for start, pcm in self._pieces if start + len(pcm) // WIDTH > self._heard]
        for start, pcm in fresh:
            silence = np.zeros(max(0, start - self._heard), dtype=np.float32)
            self._heard = start + len(pcm) // WIDTH
            sound = np.concatenate([silence, from_pcm(pcm)])
            for one in self._spotter.feed(sound) if self._spotter is not None else ():
                if one.action == "begin":
                    return self._base + round(max(0.0, one.start - BEFORE) * RATE)
            for result in self._listener.feed(sound):
                if result.final and any(one.action == "begin" for one in controls.find(result.words, self._rules)):
                    return self._base + round(self._listener.segments[-1].start * RATE)
        return None

    def since(self, position: int) -> list[tuple[int, bytes]]:
        """What is kept from sample `position` on, as (position, sound)."""
        with self._lock:
            kept = [(start, max(0, position - start), pcm) for start, pcm in self._pieces
                    if start + len(pcm) // WIDTH > position]  # fmt: skip
        return [(start + skipped, pcm[skipped * WIDTH :]) for start, skipped, pcm in kept]
