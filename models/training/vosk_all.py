"""From recordings to a measured model for Vosk: the steps of README.md in one command.

Run: python models/training/vosk_all.py --speech FOLDER --out FOLDER [--minutes 4] [--from STEP]

`--speech`: LibriSpeech or more in its form. `--out` gets prepared/, net/ and model/; the last is what Vosk loads.
`--from` goes on with a later step (prepare, train, export, parity, evaluate) from what lies in `--out`. The step
`train` wants a GPU; without one it takes hours for what a GPU does in minutes. `--sentences`: how many are spoken by
synthetic voices. `--limit`: how many utterances and sentences the evaluation hears.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent


def steps(given: argparse.Namespace) -> dict[str, list[str]]:
    """Step -> its arguments, in order."""
    prepared, net, model = (str(given.out / name) for name in ("prepared", "net", "model"))
    speech = str(given.speech)
    return {
        "prepare": ["--speech", speech, "--out", prepared, "--count", str(given.sentences)],
        "train": ["--speech", speech, "--prepared", prepared, "--out", net, "--minutes", str(given.minutes)],
        "export": ["--net", net, "--prepared", prepared, "--out", model],
        "parity": ["--net", net, "--model", model],
        "evaluate": ["--model", model, "--prepared", prepared, "--speech", speech, "--net", net, "--voice",
                     "--limit", str(given.limit)],
    }  # fmt: skip


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("speech", "out"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--minutes", type=float, default=4.0)
    take.add_argument("--sentences", type=int, default=2600)
    take.add_argument("--limit", type=int, default=60)
    take.add_argument("--from", dest="first", default="prepare", choices=list(steps(
        argparse.Namespace(speech="", out=Path(), minutes=0, sentences=0, limit=0))))  # fmt: skip
    given = take.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    todo = steps(given)
    for name in list(todo)[list(todo).index(given.first) :]:
        began = time.time()
        print(f"== {name}", flush=True)
        done = subprocess.run([sys.executable, str(HERE / f"{name}.py"), *todo[name]], check=False)
        if done.returncode:
            raise SystemExit(f"{name} failed; mend it and go on with --from {name}")
        print(f"== {name}: {time.time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
