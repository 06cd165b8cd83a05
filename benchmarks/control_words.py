"""Control words heard live by a closed list on Vosk (pipeline/spotting.py): false starts an hour, and misses.

Run: python benchmarks/control_words.py   (make bench-control-words, ARGS="--model NAME --minutes 30")

The list holds the control phrases of grammars/control.toml and the filler. False starts: phrases found where nobody
said one: in the dictations that lie in benchmarks/work/sound (synthetic voices, clean and in noise), in read speech by
the four real speakers that no training heard (skipped without ../shared/speech; at most `--minutes` of it), and in the
ten minutes of non-speech. Misses: each phrase spoken twice by each voice, after a sentence and before one; synthetic
voices only, "heart" never heard in training. Then what listening costs, and how long after its end a phrase is told.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from listening_corpus import CONDITIONS, WORK, Sound, dictations, non_speech, say, voices

from pipeline import audio, grammar, spotting
from pipeline.engines import vosk
from pipeline.rows import Control
from pipeline.sound import RATE

ROOT = Path(__file__).resolve().parent.parent
SPEECH = ROOT.parent / "shared" / "speech"
BEFORE, AFTER = "The counts were correct.", "The wound was closed in layers."
PIECE = RATE // 4


def found(ear: vosk.Vosk, sound: Sound, rules: grammar.Grammar) -> list[tuple[str, float, float]]:
    """(action, end of the phrase, when it was told) of the control phrases heard, in seconds of the sound."""
    spotter = spotting.Spotter(ear, rules)
    told = []
    for at in range(0, len(sound), PIECE):
        told += [(one.action, one.end, (at + PIECE) / RATE) for one in spotter.feed(sound[at : at + PIECE])]
    return told + [(one.action, one.end, len(sound) / RATE) for one in spotter.finish()]


def loaded(paths: Iterable[Path]) -> Iterator[Sound]:
    for path in paths:
        yield np.concatenate(list(audio.pieces(audio.inspect(path))))


def real(minutes: float) -> Iterator[Sound]:
    """Read speech by the held-out speakers, the same share of each."""
    sys.path.append(str(ROOT / "models" / "training"))
    from held_out import SPEAKERS

    for speaker in SPEAKERS:
        given = 0.0
        for sound in loaded(sorted(SPEECH.rglob(f"{speaker}-*.wav"))):
            if given >= minutes * 60 / len(SPEAKERS):
                break
            given += len(sound) / RATE
            yield sound


def false_starts(name: str, ear: vosk.Vosk, sounds: Iterable[Sound], rules: grammar.Grammar) -> None:
    starts, seconds, began = [], 0.0, time.perf_counter()
    for sound in sounds:
        seconds += len(sound) / RATE
        starts += [action for action, _, _ in found(ear, sound, rules)]
    if not seconds:
        print(f"false starts, {name}: no sound", flush=True)
        return
    print(f"false starts, {name}: {len(starts)} in {seconds / 60:.0f} min = {len(starts) / seconds * 3600:.1f} an hour "
          f"{starts[:6]}; {(time.perf_counter() - began) / seconds:.3f} s of work a second", flush=True)  # fmt: skip


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--model", default="vosk-small")
    given.add_argument("--minutes", type=float, default=30.0, help="of real read speech (default 30)")
    options = given.parse_args()
    ear = vosk.load(options.model)
    rules = grammar.load()
    print(f"{len(spotting.phrases(rules, ear))} phrases, {ear.model}", flush=True)
    quiet = np.zeros(RATE * 7 // 10, np.float32)
    known = set(spotting.phrases(rules, ear))
    rows = [row for row in rules.table("control", Control).values() if row.when in spotting.WHEN]
    first = {row.action: next((phrase for phrase in row.say if phrase in known), "") for row in rows}
    if unknown := sorted(action for action, phrase in first.items() if not phrase):
        print(f"not asked, a word is unknown to the model: {unknown}")
    first = {action: phrase for action, phrase in first.items() if phrase}
    waits: list[float] = []
    for voice in voices():
        missed = []
        for action, phrase in first.items():
            for around in ((say(BEFORE, voice), None), (None, say(AFTER, voice))):
                sound = joined(around, say(phrase, voice), quiet)
                heard = [one for one in found(ear, sound, rules) if one[0] == action]
                missed += [] if heard else [phrase]
                waits += [told - end for _, end, told in heard]
        print(f"misses, {voice}: {len(missed)} of {2 * len(first)} {sorted(set(missed))}", flush=True)
    print(f"told {np.median(waits):.2f} s after its end (median; longest {max(waits):.2f} s)", flush=True)
    mine = {one.name for one in dictations()}
    names = {path: path.name.split(".") for path in sorted((WORK / "sound").glob("*.wav"))}
    paths = [path for path, parts in names.items()
             if parts[0].rsplit("-", 1)[0] in mine and parts[-2] in CONDITIONS]  # fmt: skip
    false_starts("dictation by synthetic voices", ear, loaded(paths), rules)
    false_starts("real read speech", ear, real(options.minutes), rules)
    false_starts("non-speech", ear, loaded([non_speech()]), rules)


def joined(around: tuple[Sound | None, Sound | None], phrase: Sound, quiet: Sound) -> Sound:
    """The phrase with a sentence before or after it, and pauses."""
    parts = [part for part in (around[0], phrase, around[1]) if part is not None]
    return 0.5 * np.concatenate([quiet, *(piece for part in parts for piece in (part, quiet))])


if __name__ == "__main__":
    main()
