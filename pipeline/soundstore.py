"""The sound of a dictation on disk, written before it is recognised: a WAV that may be cut off anywhere."""

from __future__ import annotations

import hashlib
import json
import os
import struct
from pathlib import Path

import numpy as np

from pipeline.errors import OutputUnwritable, SourceUnreadable
from pipeline.sound import RATE, Samples

WIDTH = 2  # bytes a sample
HEADER = 44
UNKNOWN = 0xFFFFFFFF  # RIFF: a length that the recorder does not know yet; readers take all that follows

# A pause in a recording is silence of the same length in the sound, at most this many seconds: the rest of the pause
# has no length here.
LONGEST_GAP = 600.0


def missing(start: float, end: float) -> str:
    """How a gap is told, seconds of the recording."""
    if end - start >= LONGEST_GAP - 1:
        minutes = round((end - start) / 60)
        return (f"The sound is missing from {start:.1f} s on for ten minutes or more; {minutes} minutes of silence "
                "stand for it, and the times after it count on from there.")  # fmt: skip
    return f"The sound is missing from {start:.1f} s to {end:.1f} s."


class SoundFile:
    """Sound that grows on the disk: 16 kHz mono 16 bit, a WAV file (by the suffix .wav) or bare samples.

    While it grows, the WAV header gives its length as unknown, so that a file whose writer was killed is read to its
    end by any player and by `voxop note`. `gaps`: (start, end) seconds that were never received and are silence here;
    they are kept beside it, in <name>.gaps.json. Raises OutputUnwritable, SourceUnreadable (another kind of WAV).
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._head = HEADER if path.suffix.lower() == ".wav" else 0
        self._gaps_path = path.with_suffix(path.suffix + ".gaps.json")
        self.gaps: list[tuple[float, float]] = []
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            if self._gaps_path.exists():
                self.gaps = [(start, end) for start, end in json.loads(self._gaps_path.read_text(encoding="utf-8"))]
            self._stream = path.open("r+b" if path.exists() else "w+b")
            self._open()
        except OSError as problem:
            raise OutputUnwritable(
                f"cannot be written ({problem.strerror or problem}).", "Name a folder that can be written.",
                where=str(path),
            ) from problem  # fmt: skip

    def _open(self) -> None:
        size = self._stream.seek(0, 2)
        if self._head:
            if size >= HEADER:
                if not self._is_ours():
                    self._stream.close()
                    raise SourceUnreadable("is not a recording of this program.", "Name another folder.",
                                           where=str(self.path))  # fmt: skip
            self._write_head(UNKNOWN)
        self._size = max(0, self._stream.seek(0, 2) - self._head) // WIDTH
        self._stream.truncate(self._head + self._size * WIDTH)

    def _is_ours(self) -> bool:
        self._stream.seek(0)
        head = self._stream.read(HEADER)
        return head[:4] == b"RIFF" and head[8:40] == _header(0)[8:40]

    def _write_head(self, length: int) -> None:
        self._stream.seek(0)
        self._stream.write(_header(length))
        self._stream.flush()

    @property
    def samples(self) -> int:
        """Samples on the disk."""
        return self._size

    def append(self, samples: Samples, position: int | None = None) -> None:
        """Puts sound at the end; it is on the disk when this returns. Raises OutputUnwritable.

        `position`: number of its first sample, for senders that may repeat or lose something: what is there already
        is left out, and a hole is filled with silence and told in `gaps`.
        """
        if position is not None and position < self._size:
            samples = samples[self._size - position :]
        if not len(samples):
            return
        data = np.clip(np.rint(samples * 32767.0), -32768, 32767).astype("<i2").tobytes()
        try:
            if position is not None and position > self._size:
                self.gaps.append((self._size / RATE, position / RATE))
                self._gaps_path.write_text(json.dumps(self.gaps), encoding="utf-8")
                data = bytes((position - self._size) * WIDTH) + data
            self._stream.seek(0, 2)
            self._stream.write(data)
            self._stream.flush()
            os.fsync(self._stream.fileno())
        except OSError as problem:
            raise OutputUnwritable(
                f"cannot be written any more ({problem.strerror or problem}).",
                "Free some space; the sound so far is kept.", where=str(self.path),
            ) from problem  # fmt: skip
        self._size += len(data) // WIDTH

    def read(self, start: int, count: int) -> Samples:
        """Up to `count` samples from number `start` on, shape (samples,)."""
        with self.path.open("rb") as stream:
            stream.seek(self._head + start * WIDTH)
            data = stream.read(min(count, self._size - start) * WIDTH)
        return np.frombuffer(data, dtype="<i2").astype(np.float32) / np.float32(32768.0)

    def close(self) -> None:
        """Ends the file with its true length."""
        if not self._stream.closed:
            if self._head:
                self._write_head(self._size * WIDTH)
                os.fsync(self._stream.fileno())
            self._stream.close()

    def sha256(self) -> str:
        with self.path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()


def _header(length: int) -> bytes:
    """RIFF/WAVE, PCM, mono, 16 kHz, 16 bit. `length`: bytes of sound, or UNKNOWN."""
    whole = UNKNOWN if length == UNKNOWN else 36 + length
    return struct.pack("<4sI4s4sIHHIIHH4sI", b"RIFF", whole, b"WAVE", b"fmt ", 16, 1, 1, RATE, RATE * WIDTH, WIDTH,
                       8 * WIDTH, b"data", length)  # fmt: skip
