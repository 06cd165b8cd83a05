"""A sound file of any usual kind -> pieces of 16 kHz mono sound.

The kind is told by the content, never by the file's name. A file is read twice: `inspect` walks through it once
(length, damage, which channels carry sound), then `pieces` streams it, so that a file of hours needs no more memory
than one of seconds.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

from pipeline.errors import EmptyAudio, InputError, NotAudio, SourceNotFound, SourceUnreadable
from pipeline.sound import RATE, Samples

PIECE_SECONDS = 1.0
# A channel this much weaker than the strongest (20 dB) is left out of the mix: it would only halve the sound.
SILENT_CHANNEL = 0.1
# Two channels this opposed cancel each other when mixed (one wired the wrong way round): take the stronger.
OPPOSED = -0.5
# A recording whose largest sample is below QUIET is brought to LOUD, by at most MOST_GAIN (40 dB).
QUIET, LOUD, MOST_GAIN = 0.05, 0.5, 100.0
# A header that promises this many seconds more than could be read means that the file was cut off.
SHORT_SECONDS = 0.1
# Formats that state no length: what the library gives is a guess from the bit rate.
NO_LENGTH = frozenset({"mp3", "aac", "adts", "amr", "amrnb", "amrwb", "gsm", "ac3", "eac3", "mpeg", "mpegts"})

# Container formats of sound and of video with sound. Others (playlists, subtitles, pictures) could make the library
# open further files, or take a text for a recording.
FORMATS = (
    "wav,w64,rf64,aiff,au,caf,flac,mp3,mp2,aac,adts,ac3,eac3,amr,amrnb,amrwb,ogg,opus,oga,"
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,asf,wma,avi,mpegts,mpeg,wv,ape,dsf,tta,gsm,voc"
)
KINDS = "wav, flac, mp3, m4a or ogg"


@dataclass(frozen=True, slots=True)
class Sound:
    """What is in a sound file. `seconds`: length that can be read; `rate`: samples a second in the file.

    `weights`: share of each channel in the mono mix (sums to 1). `peak`: largest sample of the mix, 0..1 or more.
    `gain`: what a very quiet recording is multiplied by, since the voice detector misses speech below about -50 dB.
    `notices`: plain sentences about damage and channels left out. `sha256`: of the file.
    """

    path: Path
    seconds: float
    rate: int
    channels: int
    weights: tuple[float, ...]
    peak: float
    gain: float
    notices: tuple[str, ...]
    sha256: str


def inspect(path: Path | str) -> Sound:
    """Reads the file through once and says what is in it.

    Raises SourceNotFound, SourceUnreadable (a folder, no permission), NotAudio, EmptyAudio. A file that is cut off or
    damaged in places is read as far as it goes, and `notices` says so.
    """
    path = Path(path)
    digest = _sha256(path)
    tally = _Tally()
    with _opened(path) as (container, stream):
        promised = _promised(path, container, stream)
        rate, damage = int(stream.rate or 0), _Damage()
        for block in _decoded(container, stream, damage):
            tally.add(block)
    if tally.samples == 0:
        if damage.packets:
            raise NotAudio("Nothing in the file could be decoded.", f"Hand in a {KINDS} recording.", where=str(path))
        raise EmptyAudio("The recording holds no sound (0 seconds).", "Check the recorder.", where=str(path))
    if damage.packets and damage.packets >= damage.good:
        raise NotAudio("Hardly anything in the file decodes as sound.", f"Hand in a {KINDS} recording.",
                       where=str(path))
    seconds = tally.samples / RATE
    weights, notices = tally.weights()
    if promised - seconds > SHORT_SECONDS:
        notices.insert(0, f"The recording is cut off or damaged: its header promises {promised:.1f} s, "
                          f"{seconds:.1f} s can be read. What was said in the rest is lost.")
    if damage.packets:
        notices.insert(0, f"The recording is damaged: {damage.packets} places could not be decoded.")
    peak = tally.peak()
    gain = min(MOST_GAIN, LOUD / peak) if 0 < peak < QUIET else 1.0
    if gain > 1:
        notices.append(f"The recording is very quiet and was made {gain:.0f} times louder.")
    return Sound(
        path=path, seconds=seconds, rate=rate, channels=len(weights), weights=weights,
        peak=peak, gain=gain, notices=tuple(notices), sha256=digest,
    )


def pieces(sound: Sound, seconds: float = PIECE_SECONDS) -> Iterator[Samples]:
    """The mono sound of an inspected file, in order, in pieces of `seconds` (the last one shorter).

    Raises SourceUnreadable when the file can no longer be opened.
    """
    size = max(1, int(seconds * RATE))
    held: list[Samples] = []
    count = 0
    with _opened(sound.path) as (container, stream):
        for block in _decoded(container, stream, _Damage()):
            mono = mix(block * np.float32(sound.gain), sound.weights)
            held.append(mono)
            count += len(mono)
            if count >= size:
                whole = np.concatenate(held)
                cut = count - count % size
                yield from np.split(whole[:cut], range(size, cut, size))
                held, count = [whole[cut:]], count - cut
    if count:
        yield np.concatenate(held)


def load(path: Path | str) -> Samples:
    """A whole short file as one array, shape (samples,). Raises as `inspect` does."""
    return np.concatenate(list(pieces(inspect(path))))


def mix(block: npt.NDArray[np.float32], weights: tuple[float, ...]) -> Samples:
    """(channels, samples) -> (samples,), clipped to -1..1. Channels beyond the known ones are averaged."""
    if block.shape[0] != len(weights):
        mono = block.mean(axis=0)
    else:
        mono = np.asarray(weights, dtype=np.float32) @ block
    clipped: Samples = np.clip(mono, -1.0, 1.0).astype(np.float32, copy=False)
    return clipped


class _Damage:
    """Packets that did and did not decode."""

    def __init__(self) -> None:
        self.packets = 0
        self.good = 0


class _Tally:
    """Energy of each channel, how the first two go together, and the peak."""

    def __init__(self) -> None:
        self.samples = 0
        self.energy: npt.NDArray[np.float64] = np.zeros(0)
        self.cross = 0.0
        self.peaks: npt.NDArray[np.float64] = np.zeros(0)

    def add(self, block: npt.NDArray[np.float32]) -> None:
        self.samples += block.shape[1]
        if not block.shape[1]:
            return
        energy = np.einsum("cs,cs->c", block, block, dtype=np.float64)
        peaks = np.abs(block).max(axis=1).astype(np.float64)
        if self.energy.size == 0:
            self.energy, self.peaks = np.zeros_like(energy), np.zeros_like(peaks)
        if energy.size == self.energy.size:
            self.energy += energy
            self.peaks = np.maximum(self.peaks, peaks)
            if energy.size == 2:
                self.cross += float(np.dot(block[0], block[1]))

    def weights(self) -> tuple[tuple[float, ...], list[str]]:
        loudest = self.energy.max(initial=0.0)
        if self.energy.size < 2 or loudest == 0.0:
            return tuple(float(value) for value in np.full(max(1, self.energy.size), 1 / max(1, self.energy.size))), []
        used = self.energy >= loudest * SILENT_CHANNEL**2
        notices = []
        if self.energy.size == 2 and used.all() and self.cross / float(np.sqrt(self.energy.prod())) < OPPOSED:
            used = np.arange(2) == int(self.energy.argmax())
            notices.append("The two channels cancel each other; only the stronger one was used.")
        elif not used.all():
            left_out = ", ".join(str(int(index) + 1) for index in np.flatnonzero(~used))
            notices.append(f"Channel {left_out} of {self.energy.size} is silent or nearly so and was left out.")
        return tuple(float(value) for value in used / used.sum()), notices

    def peak(self) -> float:
        return float(self.peaks.max(initial=0.0))


def look(path: Path | str) -> None:
    """Opens a file as `inspect` does and reads none of its sound: what cannot be heard is told before anything slow.

    Raises SourceNotFound, SourceUnreadable, NotAudio, EmptyAudio (0 bytes).
    """
    with _opened(Path(path)):
        pass


def is_sound(path: Path) -> bool:
    """Whether a file is a recording whatever its name says: no text holds a zero byte."""
    try:
        with path.open("rb") as file:
            if b"\x00" not in file.read(4096):
                return False
        look(path)
    except (OSError, InputError):
        return False
    return True


def _sha256(path: Path) -> str:
    with _reading(path) as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@contextmanager
def _reading(path: Path) -> Iterator[Any]:
    try:
        with path.open("rb") as stream:
            yield stream
    except FileNotFoundError:
        raise SourceNotFound("There is no such file.", "Check the path.", where=str(path)) from None
    except IsADirectoryError:
        raise SourceUnreadable("This is a folder.", "Name the recording in it.", where=str(path)) from None
    except OSError as problem:
        raise SourceUnreadable(f"The file cannot be read ({problem.strerror}).", "Check its permissions.",
                               where=str(path)) from problem


class _Nameless:
    """An open file without its name, so that nothing is guessed from the extension."""

    def __init__(self, stream: Any) -> None:
        self.read, self.seek, self.tell = stream.read, stream.seek, stream.tell


@contextmanager
def _opened(path: Path) -> Iterator[tuple[Any, Any]]:
    with _reading(path) as file:
        if not file.read(1):
            raise EmptyAudio("The file is empty (0 bytes).", "Check the recorder.", where=str(path))
        file.seek(0)
        try:
            container = av.open(_Nameless(file), metadata_errors="ignore", options={"format_whitelist": FORMATS})
        except (av.error.FFmpegError, ValueError) as problem:
            raise NotAudio(
                f"This is not a recording that can be read, or its beginning or end is cut off ({_reason(problem)}).",
                f"Hand in a {KINDS} file.", where=str(path),
            ) from problem
        with container:
            if not container.streams.audio:
                raise NotAudio("There is no sound in this file.", f"Hand in a {KINDS} recording.", where=str(path))
            yield container, container.streams.audio[0]


def _promised(path: Path, container: Any, stream: Any) -> float:
    """Seconds that the file says it holds; 0.0 where it does not say."""
    if container.format.name in NO_LENGTH or not stream.duration or not stream.time_base:
        return 0.0
    length = float(stream.duration * stream.time_base)
    return length * _wav_stretch(path) if container.format.name == "wav" else length


def _wav_stretch(path: Path) -> float:
    """How many times longer the data of a wav file should be than they are (the library trusts the file's size).

    RIFF: chunks of a four-letter name and a 32-bit little-endian size, padded to even length. Sizes 0 and 2^32 - 1
    are what recorders write that do not know the length beforehand.
    """
    with path.open("rb") as file:
        total = file.seek(0, 2)
        file.seek(12)
        while len(head := file.read(8)) == 8:
            name, size = struct.unpack("<4sI", head)
            if name == b"data":
                there = total - file.tell()
                return size / there if 0 < there < size < 0xFFFFFFFF else 1.0
            file.seek(size + size % 2, 1)
    return 1.0


def _reason(problem: BaseException) -> str:
    return str(getattr(problem, "strerror", "") or problem).rstrip(".")


def _decoded(container: Any, stream: Any, damage: _Damage) -> Iterator[npt.NDArray[np.float32]]:
    """Blocks of shape (channels, samples) at 16 kHz; packets that do not decode are counted and left out."""
    resampler: Any = None
    shape: tuple[object, ...] = ()
    for packet in _packets(container, stream, damage):
        try:
            frames = packet.decode()
        except av.error.EOFError:
            break
        except (av.error.FFmpegError, ValueError):
            damage.packets += 1
            continue
        for frame in frames:
            now = (frame.format.name, frame.layout.name, frame.sample_rate)
            if now != shape:
                if resampler is not None:
                    yield from _blocks(resampler.resample(None))
                resampler = av.AudioResampler(format="fltp", layout=frame.layout, rate=RATE)
                shape = now
            frame.pts = None
            damage.good += 1
            yield from _blocks(resampler.resample(frame))
    if resampler is not None:
        yield from _blocks(resampler.resample(None))


def _packets(container: Any, stream: Any, damage: _Damage) -> Iterator[Any]:
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            return
        except (av.error.FFmpegError, ValueError):
            damage.packets += 1
            return
        yield packet


def _blocks(frames: Any) -> Iterator[npt.NDArray[np.float32]]:
    for frame in frames:
        block = np.nan_to_num(frame.to_ndarray().astype(np.float32, copy=False), posinf=1.0, neginf=-1.0)
        yield block
