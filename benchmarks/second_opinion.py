"""The second opinion with the shipped model for Vosk: how many planted errors and how many right words are flagged.

Run: python benchmarks/second_opinion.py   (make bench-second-opinion)

Made-up sentences with one critical word each are spoken by voices; the recogniser's text is taken to be right but for
the planted error: the word is replaced by what it is taken for (grammars/confusions.toml). Word times come from
Vosk itself, given the sentence. The margin is set on half of the sentences (at most 3 % false flags) and reported on
the other half. The voice "heart" was never heard in training; the others were, with other sentences.

Then the errors that Whisper made by itself: every recording of the dictations that `make bench-listening` heard and
kept in benchmarks/work/heard (nothing is printed where there is none). Numbers, units, sides and negations are told
right or wrong by the script; the margin is set on the tuning dictations and reported on the test dictations. `--model`
asks another model.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from dataclasses import replace

import listening
import numpy as np
import words as scoring
from listening_corpus import CONDITIONS, dictations, recording, say, voices

from pipeline import agreement, audio, grammar, repair
from pipeline.engines import vosk
from pipeline.records import Word
from pipeline.rows import Confusion
from pipeline.sound import RATE

CARRIERS = {
    "number": ["a dose of {} milligrams", "tourniquet time was {} minutes", "{} millilitres of saline",
               "the pressure was {} millimetres", "blood loss was {} millilitres", "we used {} sutures"],
    "unit": ["five {} of saline", "twelve {} in the left ankle", "a dose of two {}", "ten {} of heparin"],
    "side": ["the {} ankle was prepared", "the {} femoral neck", "in the {} shoulder joint", "on the {} side"],
    "negation": ["{} fracture of the femur", "there was {} blood loss", "with {} drain", "{} injury was present"],
}
MOST_FALSE = 0.03


def times(ear: vosk.Vosk, sound: np.ndarray, text: str) -> list[Word] | None:
    """The words of the text with their times, or None where Vosk does not place them all."""
    listed = [word if ear.knows(word) else vosk.UNKNOWN for word in text.split()]
    recogniser = ear.recogniser([" ".join(listed)])
    recogniser.SetWords(True)
    recogniser.AcceptWaveform((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    found = json.loads(recogniser.FinalResult()).get("result", [])
    if [one["word"] for one in found] != listed:
        return None
    return [Word(number, one["word"], start=one["start"], end=one["end"]) for number, one in enumerate(found)]


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--model", default="vosk-small")
    given.add_argument("--natural", action="store_true", help="only the errors that a recogniser made by itself")
    options = given.parse_args()
    ear = vosk.load(options.model)
    if not options.natural:
        planted(ear)
    natural(ear)


def natural(ear: vosk.Vosk) -> None:
    """The stored words of the listening benchmark against their scripts."""
    rules = grammar.load()
    taken_for = agreement.pairs(rules.table("confusions", Confusion).values())
    hearer = listening.Hearer("whisper", None, rules, again=False)
    cases: dict[str, list[tuple[bool, float | None]]] = {"tuning": [], "test": []}
    recordings: Counter[str] = Counter()
    for dictation in dictations():
        family = rules.family(dictation.family)
        for voice in voices():
            for condition in CONDITIONS:
                run = hearer.kept(dictation, voice, condition)
                if run is None:
                    continue
                recordings[dictation.half] += 1
                pieces = list(audio.pieces(audio.inspect(recording(dictation, voice, condition))))
                heard = repair.repair(tuple(replace(word, others=()) for word in run.words), rules, family.bias)
                said = agreement.opinions(heard, agreement.cut(np.concatenate(pieces)), ear, taken_for)
                best: dict[int, float] = {}
                for one in said:
                    if one.margin is not None:
                        best[one.word] = max(best.get(one.word, -np.inf), one.margin)
                for item, right, of in scoring.judged(dictation.text, heard, rules):
                    if item.kind in agreement.ASKED:
                        asked = [best[word.id] for word in of if word.id in best]
                        cases[dictation.half].append((right, max(asked) if asked else None))
    if not recordings:
        print("no words of a recogniser are kept: run `make bench-listening` first")
        return
    tuning = sorted((margin for right, margin in cases["tuning"] if right and margin is not None), reverse=True)
    allowed = int(MOST_FALSE * sum(right for right, _ in cases["tuning"]))
    margin = max(0.0, tuning[allowed]) if len(tuning) > allowed else 0.0
    print(f"errors of Whisper itself, margin {margin:.1f} set on {recordings['tuning']} recordings:")
    for half in ("tuning", "test"):
        for name, wanted in (("wrong", False), ("right", True)):
            these = [value for right, value in cases[half] if right is wanted]
            flagged = sum(value is not None and value > margin for value in these)
            asked = sum(value is not None for value in these)
            print(f"  {half:6} {recordings[half]:3} recordings: {flagged} of {len(these)} {name} critical words "
                  f"flagged ({asked} could be asked)", flush=True)  # fmt: skip


def planted(ear: vosk.Vosk) -> None:
    """Errors planted into made-up sentences."""
    rows = list(grammar.load().tables["confusions"].values())
    taken_for = agreement.pairs(rows)
    for voice in voices():
        right: list[tuple[int, float | None]] = []
        wrong: list[tuple[int, float | None]] = []
        unplaced = number = 0
        for row in rows:
            if row.what not in agreement.ASKED:
                continue
            for said, other in (row.pair, row.pair[::-1]):
                plural = "s" if row.what == "unit" else ""
                for carrier in CARRIERS[row.what]:
                    text = carrier.format(said + plural)
                    sound = np.concatenate([np.zeros(RATE // 4, np.float32), say(text, voice) * 0.5,
                                            np.zeros(RATE // 2, np.float32)])  # fmt: skip
                    number += 1
                    words = times(ear, sound, text)
                    if words is None:
                        unplaced += 1
                        continue
                    changed = [
                        replace(one, text=other + plural) if one.text == said + plural else one for one in words
                    ]
                    for into, told in ((right, words), (wrong, changed)):
                        at = next(one.id for one in told if one.text in (said + plural, other + plural))
                        for one in agreement.opinions(told, agreement.cut(sound), ear, taken_for):
                            if one.word == at:
                                into.append((number % 2, one.margin))
        report(voice, right, wrong, unplaced, number)


def report(
    voice: str, right: list[tuple[int, float | None]], wrong: list[tuple[int, float | None]], unplaced: int, number: int
) -> None:
    """Sets the margin on the odd sentences and prints what it does on the even ones."""
    tuning = sorted((margin for half, margin in right if half and margin is not None), reverse=True)
    allowed = int(MOST_FALSE * len(tuning))
    margin = max(0.0, tuning[allowed]) if tuning else 0.0
    figures = []
    for cases in (wrong, right):
        there = [value for half, value in cases if not half]
        figures.append((sum(value is not None and value > margin for value in there), len(there)))
    (caught, errors), (false, words) = figures
    print(
        f"{voice:7} margin {margin:5.1f}: {caught} of {errors} planted errors flagged, {false} of {words} right words "
        f"flagged; {unplaced} of {number} sentences were not placed", flush=True,
    )  # fmt: skip


if __name__ == "__main__":
    main()
