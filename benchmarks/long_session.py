"""Memory and time over a two-hour dictation, faster than real time (`python benchmarks/long_session.py`).

The demo recording is dictated again and again through `Dictation` (the class behind `voxop listen`), with pauses,
until `--hours` of sound are through: real voice detection, real storing and reading back, real notes, real repair.
The recogniser stands in unless `--engine whisper`: it gives the words that were heard in the recording once
(`--words`, made by `voxop transcribe`), so that two hours take minutes. Memory is read from /proc/self (Linux).
Printed at each tenth of the session: memory, as a ratio to that after the first round, and the seconds of processor
time that the newest note took; at the end, memory and the real-time factor of the whole.
"""

from __future__ import annotations

import argparse
import gc
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from pipeline import audio, grammar, plugins, wordlist
from pipeline.dictation import Dictation, Ended, Failed, Noted
from pipeline.engines.base import Engine, Options, Result
from pipeline.listen import ENGINES
from pipeline.records import Segment, Word
from pipeline.sound import RATE, Samples
from pipeline.soundstore import SoundFile

DEMO = Path(__file__).resolve().parent.parent / "audio_demo" / "dictation.flac"
WORDS = DEMO.with_name("words.json")
PAUSE = 20.0
WAITING = 60.0


class Replayed:
    """Gives the words of a stored list at their places, round after round."""

    name, model, sha256, streams = "replayed", "", "", False

    def __init__(self, words: tuple[Word, ...], round_seconds: float) -> None:
        self.words, self.round = words, round_seconds

    def open(self, options: Options) -> Replayed:
        return self

    def feed(self, samples: Samples) -> Result | None:
        return None

    def end(self, segment: Segment) -> Result:
        shift = segment.start // self.round * self.round
        inside = [word for word in self.words if word.start is not None and word.end is not None
                  and segment.start <= word.start + shift < segment.end]  # fmt: skip
        return Result(tuple(
            Word(n, word.text, start=(word.start or 0) + shift, end=(word.end or 0) + shift,
                 confidence=word.confidence, heard_by=self.name) for n, word in enumerate(inside)
        ))  # fmt: skip

    def finish(self) -> Result:
        return Result(())


class Timed(Dictation):
    """`took`: seconds of processor time of each note."""

    def __init__(self, *given: Any, **options: Any) -> None:
        self.took = [0.0]
        super().__init__(*given, **options)

    def _note(self, *given: Any) -> Any:
        began = time.thread_time()
        made = super()._note(*given)
        self.took.append(time.thread_time() - began)
        return made


def memory() -> float:
    """Resident megabytes."""
    gc.collect()
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1]) / 1024


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--hours", type=float, default=2.0)
    options.add_argument("--engine", default="")
    options.add_argument("--words", type=Path, default=WORDS)
    chosen = options.parse_args()
    sound = audio.load(DEMO)
    silence = np.random.default_rng(5).normal(0, 0.0008, round(PAUSE * RATE)).astype(np.float32)
    once = np.concatenate([sound, silence])
    seconds = len(once) / RATE
    engine: Engine = (
        plugins.find(ENGINES, chosen.engine).load(None)
        if chosen.engine
        else Replayed(wordlist.read(chosen.words).words, seconds)
    )
    rounds = max(1, round(chosen.hours * 3600 / seconds))
    print(f"{rounds} x {seconds:.0f} s = {rounds * seconds / 3600:.2f} h of sound; recogniser: {engine.name}")
    with tempfile.TemporaryDirectory() as folder:
        dictation = Timed(SoundFile(Path(folder) / "recording.wav"), grammar.load(), engine)
        began, at_first = time.perf_counter(), 0.0
        notes = words = 0
        for number in range(rounds):
            for start in range(0, len(once), RATE):
                dictation.take(once[start : start + RATE])
                while dictation.lag > WAITING:
                    time.sleep(0.02)
            while dictation.lag > 1:
                time.sleep(0.02)
            for event in dictation.events(timeout=2.0):
                if isinstance(event, Noted):
                    notes += 1
                    words = len(event.words)
                elif isinstance(event, Failed):
                    raise event.problem
            if number % max(1, rounds // 10) == 0:
                now = memory()
                at_first = at_first or now
                print(f"{(number + 1) * seconds / 60:6.0f} min  memory x{now / at_first:.2f} of {at_first:.0f} MB  "
                      f"{words} words, {notes} notes, the newest took {dictation.took[-1]:.1f} s of processor",
                      flush=True)  # fmt: skip
        dictation.finish()
        last = list(dictation.events())[-1]
        assert isinstance(last, Ended)
        took = time.perf_counter() - began
        print(f"end: memory x{memory() / at_first:.2f}, {len(last.heard.words)} words, "
              f"{len(last.note.facts) if last.note else 0} facts, factor {took / (rounds * seconds):.3f}")  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
