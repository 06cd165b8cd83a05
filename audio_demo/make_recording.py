"""Speaks script.txt into dictation.flac (16 kHz mono) with the voice that hibari-tts carries (Apache-2.0).

Run: .venv/bin/python audio_demo/make_recording.py. A line is a stretch of dictation; lines are parted by a
pause, sentences by a short one, "..." by a hesitation. The same script gives the same samples (fixed seeds).
"""

from __future__ import annotations

import re
from pathlib import Path

import av
import numpy as np
import soxr
from hibari import Hibari

HERE = Path(__file__).resolve().parent
RATE = 24_000
PAUSE_LINE, PAUSE_SENTENCE, PAUSE_HESITATION = 0.8, 0.33, 0.7


def main() -> None:
    voice = Hibari(threads=1)
    pieces: list[np.ndarray] = [silence(0.3)]
    for number, line in enumerate((HERE / "script.txt").read_text(encoding="utf-8").splitlines()):
        for part in line.split(" ... "):
            for index, sentence in enumerate(re.split(r"(?<=\.)\s+", part.strip())):
                pieces += [voice(sentence, seed=1000 * number + index), silence(PAUSE_SENTENCE)]
            pieces.append(silence(PAUSE_HESITATION if " ... " in line else 0.0))
        pieces.append(silence(PAUSE_LINE))
    sound = soxr.resample(np.concatenate(pieces), RATE, 16_000)
    # A faint room: a recording with digital silence would be kinder to the recogniser than a theatre is.
    sound = sound + np.random.default_rng(7).normal(0, 0.0008, len(sound)).astype(np.float32)
    write(HERE / "dictation.flac", (np.clip(sound, -1, 1) * 32767).astype(np.int16))
    print(f"{len(sound) / 16_000:.1f} s of sound")


def silence(seconds: float) -> np.ndarray:
    return np.zeros(int(RATE * seconds), dtype=np.float32)


def write(path: Path, samples: np.ndarray) -> None:
    with av.open(str(path), "w", format="flac") as container:
        stream = container.add_stream("flac", rate=16_000, layout="mono")
        for start in range(0, len(samples), 4096):
            frame = av.AudioFrame.from_ndarray(samples[None, start : start + 4096], format="s16", layout="mono")
            frame.sample_rate = 16_000
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


if __name__ == "__main__":
    main()
