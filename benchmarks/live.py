"""How soon live dictation answers (`make bench-live`; options in ARGS="...").

The demo recording is dictated at the pace of speech through `Dictation`, the class behind `voxop listen` and the
theatre screen, with the real recogniser. Printed: seconds from the end of an utterance of 3 to 8 s of speech to its
words, to the first note that holds them, and to the note that holds what the second reading says, as median and nine
tenths; how far recognition fell behind at most; processor seconds for a second of sound. The end of an utterance is
its last sound: the pause that tells that it has ended counts in. Other work on the machine counts in too; its load is
printed.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
import time
from pathlib import Path
from statistics import median, quantiles

from pipeline import audio, grammar, listen, plugins, run
from pipeline.dictation import Behind, Dictation, Ended, Failed, Noted, Utterance
from pipeline.ear import Anew
from pipeline.sound import RATE, Samples
from pipeline.soundstore import SoundFile

DEMO = Path(__file__).resolve().parent.parent / "audio_demo" / "dictation.flac"
PIECE = 0.1
SHORT, LONG = 3.0, 8.0


def main() -> int:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("--seconds", type=float, default=120.0, help="of the recording (default 120)")
    take.add_argument("--engine", default=listen.DEFAULT_ENGINE)
    take.add_argument("--model")
    given = take.parse_args()
    sound = audio.load(DEMO)[: round(given.seconds * RATE)]
    engine = plugins.find(listen.ENGINES, given.engine).load(given.model)
    rules = grammar.load()
    with tempfile.TemporaryDirectory() as folder:
        dictation = Dictation(SoundFile(Path(folder) / "recording.wav"), rules, engine, early=run.early_ear(engine),
                              reader=run.second_reader(engine))  # fmt: skip
        used = time.process_time()
        began = time.monotonic()
        feeder = threading.Thread(target=feed, args=(dictation, sound, began))
        feeder.start()
        text, noted, doubted, behind = follow(dictation)
        feeder.join()
        used = time.process_time() - used
    load = os.getloadavg()
    print(f"{len(sound) / RATE:.0f} s of the demo by {engine.name} ({engine.model}) on {os.cpu_count()} processors; "
          f"load of the machine {load[0]:.1f} ({load[1]:.1f} over 5 min)")  # fmt: skip
    for told, waits in (("words", text), ("note", noted), ("note with the second reading", doubted)):
        if waits:
            most = quantiles(waits, n=10)[-1] if len(waits) > 1 else waits[0]
            print(f"end of an utterance of 3 to 8 s to its {told}: median {median(waits):.2f} s, nine of ten within "
                  f"{most:.2f} s ({len(waits)} utterances)")  # fmt: skip
    print(f"behind by at most {behind:.1f} s; {used / (len(sound) / RATE):.2f} processor seconds for a second of sound")
    return 0


def feed(dictation: Dictation, sound: Samples, began: float) -> None:
    size = round(PIECE * RATE)
    for start in range(0, len(sound), size):
        piece = sound[start : start + size]
        time.sleep(max(0.0, began + (start + len(piece)) / RATE - time.monotonic()))
        dictation.take(piece)
    dictation.finish()


def follow(dictation: Dictation) -> tuple[list[float], list[float], list[float], float]:
    """Waits for the words, for the first note with them, and for the last note before the next utterance."""
    text: list[float] = []
    noted: list[float] = []
    doubted: list[float] = []
    behind = 0.0
    ended_at: float | None = None  # when the sound of the utterance that is waited for ended
    heard, waited = -1, False
    for event in dictation.events():
        now = time.monotonic()
        match event:
            case Utterance(_, words, wait):
                first, last = words[0].start, words[-1].end
                length = last - first if first is not None and last is not None else 0.0
                ended_at = now - wait if SHORT <= length <= LONG else None
                heard, waited = words[-1].id, False
                if ended_at is not None:
                    text.append(wait)
            case Noted(_, words) if ended_at is not None and words and words[-1].last >= heard:
                if waited:
                    doubted.append(now - ended_at)
                else:
                    noted.append(now - ended_at)
                waited = True
            case Anew():
                ended_at = None
            case Behind(seconds):
                behind = max(behind, seconds)
            case Failed(problem):
                raise problem
            case Ended():
                break
    return text, noted, doubted, behind


if __name__ == "__main__":
    sys.exit(main())
