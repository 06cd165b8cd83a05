"""Word starts moved to where the word can be heard to begin, for an engine whose times run ahead of the sound.

An alignment gives every pause to the word behind it, and that of Whisper is early even where there is none. A word
therefore begins where the sound rises out of silence nearest to its time plus the engine's lead, or, where nothing
rises, at that time. The numbers below were set on words spoken one by one with pauses of 0 to 0.3 s, clean and at
15 dB, and on whole sentences (`make bench-word-times`), by voices that judge nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from pipeline.records import Word
from pipeline.sound import RATE, Samples

STEP = 0.01  # seconds of a frame
# Seconds behind the engine's time in which a word is looked for, and the silence in front that makes it a beginning:
# far behind, the stop inside a word ("appendix") must not be taken for one.
NEAR, NEAR_SILENCE = 0.15, 0.04
FAR, FAR_SILENCE = 0.40, 0.08
# Silence lies so many dB below the loud frames of the stretch, or no more than so many above its quiet ones.
BELOW, ABOVE, SHARE = 20.0, 8.0, 0.35


def placed(words: Sequence[Word], samples: Samples, begins: float, lead: float) -> list[Word]:
    """The words of one stretch with later starts; the end in front of each moves as far, so that pauses stay as long
    (sentences are cut by them).

    `samples`: the sound of the stretch, shape (samples,), 16 kHz, from second `begins` on; `lead`: seconds that the
    engine's times are early where no silence tells. Words without times are given back as they are.
    """
    times = [(word.start, word.end) for word in words if word.start is not None and word.end is not None]
    if not times or len(times) < len(words) or len(samples) < STEP * RATE:
        return list(words)
    silence = _silence_before(samples)
    starts: list[float] = []
    for at, (start, end) in enumerate(times):
        latest = times[at + 1][0] + lead if at + 1 < len(times) else end
        found = begins + _onset(silence, start - begins, latest - begins, lead)
        starts.append(max(starts[-1] if starts else 0.0, min(found, max(latest, start))))
    moved = [after - start for after, (start, _) in zip(starts, times, strict=True)]
    ends = [max(end + move, start) for (_, end), move, start in zip(times, [*moved[1:], 0.0], starts, strict=True)]
    return [replace(word, start=round(start, 2), end=round(end, 2))
            for word, start, end in zip(words, starts, ends, strict=True)]  # fmt: skip


def _silence_before(samples: Samples) -> npt.NDArray[np.int64]:
    """For each frame that is loud: how many silent ones lie right before it; 0 for a silent one."""
    size = round(STEP * RATE)
    frames = samples[: len(samples) // size * size].reshape(-1, size)
    loudness = 10 * np.log10(np.mean(frames.astype(np.float64) ** 2, axis=1) + 1e-10)
    top, low = np.percentile(loudness, (95, 8))
    loud = loudness >= max(top - BELOW, low + min(ABOVE, SHARE * (top - low)))
    found = np.zeros(len(loud), dtype=np.int64)
    run = 0
    for at, heard in enumerate(loud):
        found[at] = run if heard else 0
        run = 0 if heard else run + 1
    return found


def _onset(silence: npt.NDArray[np.int64], start: float, latest: float, lead: float) -> float:
    """Seconds into the stretch at which a word begins that the engine puts at `start`, `latest` at the latest."""
    first, last = max(0, int(start / STEP)), min(len(silence) - 1, int(min(start + FAR, latest) / STEP))
    rising = [
        at * STEP for at in range(first, last + 1)
        if silence[at] * STEP >= (NEAR_SILENCE if at * STEP <= start + NEAR else FAR_SILENCE) - STEP / 2
    ]  # fmt: skip
    return min(rising, key=lambda at: abs(at - start - lead), default=start + lead)
