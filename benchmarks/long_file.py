"""Peak memory and time for a recording of three hours (`make bench-long-file`; options in ARGS="...").

Two files are made, each noted by the way of `voxop note` in a process of its own, and its peak memory printed:

    dense    the demo again and again, a pause between; the recogniser stands in (it gives the stored words of the
             demo at their places), since three hours of speech would take it most of an hour. Decoding, voice
             activity, repair, note and exports are the product's.
    sparse   a still theatre (hiss, monitor beeps) with one sentence each ten minutes, heard by Whisper

`--hours` (default 3); `--only dense|sparse`. The size of the process before it hears anything is printed beside the
peak: what is above it is what the length of the file costs.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from listening_corpus import beeps
from long_session import DEMO, PAUSE, WORDS, Replayed, memory

from pipeline import audio, grammar, listen, plugins, run, wordlist
from pipeline.engines.base import Engine
from pipeline.site import Site
from pipeline.sound import RATE, Samples
from pipeline.soundstore import SoundFile

# Seconds of the demo that hold its first sentences.
SENTENCE = (0.0, 9.5)
EVERY = 600.0
KINDS = ("dense", "sparse")


def pieces(kind: str) -> tuple[Iterator[Samples], float]:
    """Sound without end in pieces, and the seconds after which it comes again."""
    demo = audio.load(DEMO)
    noise = np.random.default_rng(5)
    if kind == "dense":
        still = noise.normal(0, 0.0008, round(PAUSE * RATE)).astype(np.float32)
        parts = [np.concatenate([demo, still])]
    else:
        first, last = (round(at * RATE) for at in SENTENCE)
        still = np.zeros(round(EVERY * RATE) - (last - first), np.float32)
        still += noise.normal(0, 0.002, len(still)).astype(np.float32)
        still += 0.05 * beeps(np.arange(len(still)) / RATE)
        parts = [demo[first:last], still]

    def again() -> Iterator[Samples]:
        while True:
            yield from parts

    return again(), sum(len(part) for part in parts) / RATE


def made(path: Path, kind: str, hours: float) -> None:
    endless, _ = pieces(kind)
    file, wanted = SoundFile(path), round(hours * 3600 * RATE)
    for piece in endless:
        file.append(piece[: wanted - file.samples])
        if file.samples >= wanted:
            break
    file.close()


def note(path: Path, kind: str) -> None:
    """The work of `voxop note`, with what it took."""
    rules = grammar.load()
    engine: Engine = (
        Replayed(wordlist.read(WORDS).words, pieces(kind)[1]) if kind == "dense"
        else plugins.find(listen.ENGINES, listen.DEFAULT_ENGINE).load(None)
    )  # fmt: skip
    run.prepare(rules)
    before, began, used = memory(), time.perf_counter(), time.process_time()
    heard = run.listen_to(str(path), rules, loaded=engine)
    hearing, began_note = time.perf_counter() - began, time.perf_counter()
    result = run.make_note(heard, rules)
    files = {"words.json": run.words_file(heard)} | run.export(result, run.OUTPUTS, rules, Site())
    noting = time.perf_counter() - began_note
    used = time.process_time() - used
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    seconds = heard.source.seconds or 0.0
    print(f"{kind:7} {seconds / 3600:.2f} h, {path.stat().st_size / 1e6:.0f} MB; {len(heard.segments)} stretches, "
          f"{len(heard.words)} words by {engine.name}, {len(result.facts)} facts, {len(result.findings)} findings; "
          f"heard and repaired in {hearing / 60:.1f} min (factor {hearing / seconds:.3f}), noted and written in "
          f"{noting:.1f} s ({sum(map(len, files.values())) / 1e6:.1f} MB); {used / seconds:.3f} processor seconds for "
          f"a second; peak {peak:.0f} MB, {before:.0f} MB before it heard", flush=True)  # fmt: skip


def main() -> int:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("--hours", type=float, default=3.0)
    take.add_argument("--only", choices=KINDS)
    take.add_argument("--note", nargs=2, metavar=("KIND", "FILE"), help=argparse.SUPPRESS)
    given = take.parse_args()
    if given.note:
        note(Path(given.note[1]), given.note[0])
        return 0
    for kind in [given.only] if given.only else KINDS:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "long.wav"
            made(path, kind, given.hours)
            subprocess.run([sys.executable, __file__, "--note", kind, str(path)], check=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
