"""A case of the desk while it is dictated: its sound file, its dictation, and the note at the end.

    live = LiveCase(desk, case_id, user, engine)   # opens or goes on with the case's sound file
    live.received                                  # samples on disk: where the sender must go on
    live.take(position, pcm)                       # 16 kHz mono 16 bit little-endian; returns when it is on the disk
    live.finish()                                  # no more sound
    for event in live.events(): ...                # `dictation.Event`s; the last one is Ended or Failed
    note = live.store(ended)                       # the words and version 1 of the note

`position` counts samples from the start of the case: what lies before `received` was sent twice and is left out; a
hole is filled with silence, and the note says so. A case whose process was killed goes on from its sound file.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pipeline.casefiles import WIDTH
from pipeline.desk import Desk
from pipeline.dictation import Dictation, Ended, Event
from pipeline.engines.base import Engine
from pipeline.errors import BadDecision, NoSpeech
from pipeline.note import OperativeNote
from pipeline.review.accounts import User
from pipeline.review.store import now
from pipeline.soundstore import SoundFile


class LiveCase:
    """One case under way. `user`: who dictates. Raises BadDecision when the case has a note or recording already."""

    def __init__(self, desk: Desk, case: str, user: User, engine: Engine, *, family: str | None = None) -> None:
        known = desk.case(case)
        if known.version or known.recording:
            raise BadDecision("This case has been dictated already.", "Open a new case.")
        self.case, self.user = case, user
        self._desk, self._family = desk, family
        files = desk.files(case)
        files.make()
        desk.progress(case, "dictating")
        self._dictation = Dictation(SoundFile(files.sound), desk.rules, engine, family=family, profile=desk.profile,
                                    name="dictation", made_at=now(), second=desk.second,
                                    early=desk.early, spots=desk.spots, reader=desk.reader)  # fmt: skip

    @property
    def received(self) -> int:
        """Samples that lie on the disk."""
        return self._dictation.received

    @property
    def lag(self) -> float:
        """Seconds of sound on the disk that are not recognised yet."""
        return self._dictation.lag

    def take(self, position: int, pcm: bytes) -> None:
        """Takes in a piece of sound that begins at sample `position`. Raises OutputUnwritable."""
        samples = np.frombuffer(pcm[: len(pcm) - len(pcm) % WIDTH], dtype="<i2").astype(np.float32)
        # By 32767, as the sound file multiplies: what comes to lie on the disk is bit for bit what was sent.
        self._dictation.take(samples / np.float32(32767.0), position)

    def events(self, timeout: float | None = None) -> Iterator[Event]:
        """Events as they come; from one thread."""
        return self._dictation.events(timeout)

    def finish(self) -> None:
        """No more sound comes; the events go on to `Ended`."""
        self._dictation.finish()

    def store(self, ended: Ended) -> OperativeNote:
        """Stores words and note as version 1. Raises NoSpeech when nobody was heard, BadDecision."""
        if ended.note is None:
            self._desk.progress(self.case, "new")
            raise NoSpeech("Nobody was heard speaking.", "Check the microphone; the sound so far is kept.")
        return self._desk.make_note(self.case, self.user, ended.heard, family=self._family)

    def abandon(self) -> None:
        """Stops at once, for a program that closes; the sound is whole on the disk."""
        self._dictation.abandon()
