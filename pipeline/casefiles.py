"""The files of a case: its sound, its words. One folder a case, readable by the owner only.

    FOLDER/<case id>/recording.flac   the recording as it was handed in (none for live dictation)
    FOLDER/<case id>/sound.pcm        the same as 16 kHz mono, 16 bit little-endian, so that any piece is at hand
    FOLDER/<case id>/words.json       what was heard (`wordlist`)
"""

from __future__ import annotations

import re
import struct
from pathlib import Path

import numpy as np

from pipeline import audio, wordlist
from pipeline.errors import OutputUnwritable, SourceNotFound
from pipeline.sound import RATE, Samples
from pipeline.wordlist import WordList

WIDTH = 2  # bytes a sample
LONGEST_PIECE = 60.0
BEFORE, AFTER = 0.5, 0.35
_CASE = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


class CaseFiles:
    """The files of one case. `root`: folder of all cases."""

    def __init__(self, root: Path, case: str) -> None:
        if not _CASE.fullmatch(case):
            raise SourceNotFound("There is no such case.", "Open one from the list of cases.")
        self.folder = root / case

    @property
    def sound(self) -> Path:
        return self.folder / "sound.pcm"

    @property
    def words_path(self) -> Path:
        return self.folder / "words.json"

    def make(self) -> None:
        """Makes the folder. Raises OutputUnwritable."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as problem:
            raise OutputUnwritable(
                f"cannot be made ({problem.strerror}).", "Set VOXOP_DATA to a folder that can be written.",
                where=str(self.folder),
            ) from problem  # fmt: skip

    def words(self) -> WordList | None:
        """The stored words, None before any were heard."""
        return wordlist.read(self.words_path) if self.words_path.exists() else None

    def has_sound(self) -> bool:
        return self.sound.exists() and self.sound.stat().st_size >= WIDTH

    def seconds(self) -> float:
        """Length of the stored sound."""
        return self.sound.stat().st_size / WIDTH / RATE if self.sound.exists() else 0.0

    def convert(self, recording: Path) -> None:
        """Writes `sound.pcm` from a recording. Raises the InputErrors of `audio.inspect`."""
        part = self.sound.with_suffix(".part")
        sound = audio.inspect(recording)
        with part.open("wb") as stream:
            for piece in audio.pieces(sound):
                stream.write(to_pcm(piece))
        part.replace(self.sound)

    def piece(self, start: float, end: float) -> bytes:
        """A WAV of `start`..`end` seconds, at most a minute. Raises SourceNotFound when there is no sound there."""
        if not self.has_sound():
            raise SourceNotFound("This case has no sound.", "It was typed, or its sound was not kept.")
        first = max(0, int(start * RATE))
        count = max(0, int(min(end - start, LONGEST_PIECE) * RATE))
        with self.sound.open("rb") as stream:
            stream.seek(first * WIDTH)
            data = stream.read(count * WIDTH)
        if not data:
            raise SourceNotFound("The recording has no sound there.", "Choose a place inside the recording.")
        return wav(data)


def to_pcm(samples: Samples) -> bytes:
    """float32 -1..1 -> 16 bit little-endian."""
    data: bytes = np.clip(np.rint(samples * 32767.0), -32768, 32767).astype("<i2").tobytes()
    return data


def from_pcm(data: bytes) -> Samples:
    """16 bit little-endian -> float32 -1..1, shape (samples,)."""
    return np.frombuffer(data, dtype="<i2").astype(np.float32) / np.float32(32768.0)


def wav(data: bytes) -> bytes:
    """A RIFF/WAVE file of 16 kHz mono 16 bit sound."""
    return struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", 36 + len(data), b"WAVE", b"fmt ", 16, 1, 1, RATE, RATE * WIDTH,
                       WIDTH, 8 * WIDTH, b"data", len(data)) + data  # fmt: skip
