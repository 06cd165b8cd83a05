"""Spoken control words by a closed list on Vosk: false starts an hour of dictation, and misses.

Run: python benchmarks/control_words.py   (make bench-control-words, ARGS="--model NAME")

The list holds the control phrases of grammars/control.toml and the filler. False starts: phrases found in the
dictations that lie in benchmarks/work/sound (scripts without control words, clean and in noise). Misses:
each phrase spoken twice by each voice, after a sentence and before one. Synthetic voices only.
"""

from __future__ import annotations

import argparse
import json

import numpy as np
from listening_corpus import CONDITIONS, WORK, Sound, dictations, say, voices

from pipeline import audio, controls, grammar, tokens
from pipeline.engines import vosk
from pipeline.rows import Control
from pipeline.sound import RATE

BEFORE, AFTER = "The counts were correct.", "The wound was closed in layers."
PIECE = RATE // 4


def found(ear: vosk.Vosk, sound: Sound, phrases: list[str], rules: grammar.Grammar) -> list[str]:
    """The actions of the control phrases heard in the sound, in their order."""
    recogniser = ear.recogniser([*phrases, vosk.UNKNOWN])
    texts = []
    for at in range(0, len(sound), PIECE):
        if recogniser.AcceptWaveform((np.clip(sound[at : at + PIECE], -1, 1) * 32767).astype("<i2").tobytes()):
            texts.append(json.loads(recogniser.Result())["text"])
    texts.append(json.loads(recogniser.FinalResult())["text"])
    return [one.action for text in texts for one in controls.find(tokens.words_from_text(text), rules)]


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--model", default="vosk-small")
    ear = vosk.load(given.parse_args().model)
    rules = grammar.load()
    rows = [row for row in rules.table("control", Control).values() if row.when == "always"]
    phrases = [phrase for row in rows for phrase in row.say if not ear.unknown([phrase])]
    first = {row.action: next(phrase for phrase in row.say if not ear.unknown([phrase])) for row in rows}
    print(f"{len(phrases)} phrases, {ear.model}")
    starts, seconds = [], 0.0
    for path in sorted((WORK / "sound").glob("*.wav")):
        name = path.name.split(".")
        if not any(path.name.startswith(one.name + "-") for one in dictations()) or name[-2] not in CONDITIONS:
            continue
        sound = np.concatenate(list(audio.pieces(audio.inspect(path))))
        seconds += len(sound) / RATE
        starts += found(ear, sound, phrases, rules)
    print(f"false starts: {len(starts)} in {seconds / 60:.0f} min of dictation = "
          f"{len(starts) / max(1.0, seconds) * 3600:.1f} an hour {starts[:6]}", flush=True)  # fmt: skip
    quiet = np.zeros(RATE * 7 // 10, np.float32)
    for voice in voices():
        missed = [
            phrase for action, phrase in first.items()
            for around in ((say(BEFORE, voice), None), (None, say(AFTER, voice)))
            if action not in found(ear, joined(around, say(phrase, voice), quiet), phrases, rules)
        ]  # fmt: skip
        print(f"misses, {voice}: {len(missed)} of {2 * len(first)} {sorted(set(missed))}", flush=True)


def joined(around: tuple[Sound | None, Sound | None], phrase: Sound, quiet: Sound) -> Sound:
    """The phrase with a sentence before or after it, and pauses."""
    parts = [part for part in (around[0], phrase, around[1]) if part is not None]
    return 0.5 * np.concatenate([quiet, *(piece for part in parts for piece in (part, quiet))])


if __name__ == "__main__":
    main()
