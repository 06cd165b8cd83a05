"""A case while it is dictated: sound comes in pieces, the note is made anew after each utterance.

How a page or a microphone of the server uses it:

    live = LiveCase(desk, case_id, user, engine)        # opens or goes on with the case's sound file
    live.received                                       # samples on disk: where the sender must go on
    for update in live.take(position, pcm): ...         # 16 kHz mono 16 bit little-endian; on disk before it is heard
    note = live.finish()                                # ends the case and stores words and note as version 1

`take` is `keep` and then `hear`. A page that must not wait for the recogniser calls `keep` in one thread as the sound
comes, and `hear` in another.
`position` counts samples from the start of the case. What lies before `received` was sent twice and is left out;
a hole before `position` is filled with silence and kept in `gaps`, and the note's source says so in a notice.
`hear`, `take` and `finish` block while an utterance is recognised: run them in a thread, one at a time for a case. A
case whose process was killed goes on from its sound file: `LiveCase` hears again what is there.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace

from pipeline import checking, run
from pipeline.casefiles import WIDTH, CaseFiles, from_pcm
from pipeline.desk import Desk
from pipeline.engines.base import Engine, Options
from pipeline.errors import BadDecision, NoSpeech
from pipeline.listen import Listener
from pipeline.note import OperativeNote, Source
from pipeline.records import Word
from pipeline.review.accounts import User
from pipeline.run import Heard
from pipeline.segments import LIVE
from pipeline.signout import SignOutItem
from pipeline.sound import RATE

_AT_ONCE = RATE * 10


@dataclass(frozen=True)
class Update:
    """What one utterance changed. `heard`: its words; `note`: the whole note so far; `seconds`: sound taken in."""

    seconds: float
    heard: tuple[Word, ...]
    note: OperativeNote
    signout: tuple[SignOutItem, ...]


class LiveCase:
    """One case under way. Raises BadDecision when the case has a note already."""

    def __init__(
        self, desk: Desk, case: str, by: User, engine: Engine, *, family: str | None = None,
        options: Options | None = None,
    ) -> None:  # fmt: skip
        known = desk.case(case)
        if known.version or known.recording:
            raise BadDecision("This case has been dictated already.", "Open a new case.")
        self._desk, self.case, self._by, self._engine, self._family = desk, case, by, engine, family
        self._files: CaseFiles = desk.files(case)
        self._files.make()
        self._listener = Listener(engine, options or Options(), LIVE)
        self._gaps_path = self._files.folder / "gaps.json"
        self.gaps: list[tuple[float, float]] = (
            [tuple(gap) for gap in json.loads(self._gaps_path.read_text())] if self._gaps_path.exists() else []
        )
        self._heard = 0
        desk.progress(case, "dictating")
        for _ in self.hear():
            pass

    @property
    def behind(self) -> float:
        """Seconds of sound that lie on the disk and were not taken in by the recogniser yet."""
        return (self.received - self._heard) / RATE

    @property
    def received(self) -> int:
        """Samples that lie on the disk."""
        return self._files.sound.stat().st_size // WIDTH if self._files.sound.exists() else 0

    def take(self, position: int, pcm: bytes) -> Iterator[Update]:
        """Takes in a piece of sound that begins at sample `position`; an update for each utterance that ended in it.

        The sound is on the disk when the first update comes, and also when none does."""
        self.keep(position, pcm)
        return self.hear()

    def finish(self) -> OperativeNote:
        """Ends the dictation: hears the rest, stores words and note. Raises NoSpeech when nothing was said."""
        for _ in self.hear():
            pass
        for _ in self._listener.finish():
            pass
        if not self._listener.words:
            raise NoSpeech("Nobody was heard speaking.", "Check the microphone; the sound so far is kept.")
        heard = self._as_heard()
        return self._desk.make_note(self.case, self._by, heard, family=self._family)

    def note(self) -> OperativeNote:
        """The note as it stands."""
        return run.make_note(self._as_heard(), self._desk.rules, family=self._family, profile=self._desk.profile)

    def keep(self, position: int, pcm: bytes) -> None:
        """Puts a piece of sound that begins at sample `position` on the disk; it is there when this returns."""
        pcm = pcm[: len(pcm) - len(pcm) % WIDTH]
        there = self.received
        if position < there:
            pcm, position = pcm[(there - position) * WIDTH :], there
        if not pcm:
            return
        if position > there:
            self.gaps.append((there / RATE, position / RATE))
            self._gaps_path.write_text(json.dumps(self.gaps), encoding="utf-8")
            pcm = bytes((position - there) * WIDTH) + pcm
        with self._files.sound.open("ab") as stream:
            stream.write(pcm)
            stream.flush()
            os.fsync(stream.fileno())

    def hear(self) -> Iterator[Update]:
        """Takes in what is on the disk and was not heard yet; an update for each utterance that ended in it."""
        while self._heard < self.received:
            with self._files.sound.open("rb") as stream:
                stream.seek(self._heard * WIDTH)
                data = stream.read(_AT_ONCE * WIDTH)
            data = data[: len(data) - len(data) % WIDTH]
            self._heard += len(data) // WIDTH
            for result in self._listener.feed(from_pcm(data)):
                if result.final and result.words:
                    note = self.note()
                    listed = tuple(checking.signout(note, self._desk.rules))
                    yield Update(self._listener.seconds, result.words, note, listed)

    def _as_heard(self) -> Heard:
        listener = self._listener
        source = Source(
            kind="audio", name="dictation", sha256=hashlib.sha256(self.case.encode()).hexdigest(),
            seconds=listener.seconds, engine=self._engine.name, model=self._engine.model,
            segments=len(listener.segments), dropped_words=listener.dropped_words,
            collapsed_loops=listener.collapsed_loops,
            notices=[f"No sound was recorded from {start:.1f} s to {end:.1f} s."
                     for start, end in self.gaps],
        )  # fmt: skip
        words = tuple(replace(word) for word in listener.words)
        return Heard(words, source, tuple(listener.segments))
