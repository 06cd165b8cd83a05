"""The second opinion (pipeline/agreement.py): how many wrong and how many right critical words are flagged.

Run: python benchmarks/second_opinion.py   (make bench-second-opinion, ARGS="--part natural --detail")

Critical words are numbers, units, sides and negations. Four parts:

natural  The dictations that `make bench-listening` heard and kept in benchmarks/work/heard, as Whisper wrote them, with
         its word times. The script tells which critical words are right. A wrong one whose sound is right (9.13 for a
         clock time of nine thirteen: only written otherwise) is counted apart: no ear can tell it.
swapped  The same recordings: each right critical word that has another reading is replaced by it, in the text only.
         These are the planted errors, at the places, times and noises of real recognition.
spoken   Made-up sentences of one critical word each by the voice "heart", never heard in training, and "slt", which
         was (`--voices`); word times by Vosk; the word is replaced as above. Two numbers written as one are spoken so.
people   Read speech of the four real speakers that no training heard (../shared/speech; skipped without it): every
         critical word in it, swapped too; word times by Vosk, given the words around it.

The margins, one a kind (sayings.KINDS), are set on one half (tuning dictations; odd sentences or words) so that at most
3 % of the right words of that kind are flagged there, never below LEAST, and reported on the other half; a kind of
which less than half of the wrong words would be flagged in the tuning half is not asked. "As used": with
agreement.MARGINS. `--model` asks another model; `--detail` prints each wrong word and each right word that is flagged.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import words as scoring
from listening_corpus import CONDITIONS, dictations, recording, say, voices
from listening_hearer import Hearer

from pipeline import agreement, audio, grammar, repair, sayings
from pipeline.engines import vosk
from pipeline.records import Word
from pipeline.rows import Confusion
from pipeline.sound import RATE, Samples

ROOT = Path(__file__).resolve().parent.parent
SPEECH = ROOT.parent / "shared" / "speech"
CARRIERS = {
    "number": ["a dose of {} milligrams", "tourniquet time was {} minutes", "{} millilitres of saline",
               "the pressure was {} millimetres", "blood loss was {} millilitres", "we used {} sutures"],
    "unit": ["five {} of saline", "twelve {} in the left ankle", "a dose of two {}", "ten {} of heparin"],
    "side": ["the {} ankle was prepared", "the {} femoral neck", "in the {} shoulder joint", "on the {} side"],
    "negation": ["{} fracture of the femur", "there was {} blood loss", "with {} drain", "{} injury was present"],
}
MOST_FALSE = 0.03
LEAST = 1.25
COMPETENT = 0.5


@dataclass(frozen=True)
class Case:
    """A critical word asked about. `tuning`: of that half; `right`: whether it is what was said; `margins`: kind ->
    the best margin of its other readings; `kind`: of the planted error, "" for none; `told`: what to print of it."""

    tuning: bool
    right: bool
    margins: Mapping[str, float]
    kind: str
    told: str


class Asker:
    def __init__(self, model: str) -> None:
        self.rules = grammar.load()
        self.ear = vosk.load(model)
        self.known = sayings.pairs(self.rules.table("confusions", Confusion).values())

    def ask(self, words: Sequence[Word], sound: Samples, at: int) -> dict[str, tuple[float, str]]:
        """Kind -> margin and text of the best other reading of the word at that place."""
        best: dict[str, tuple[float, str]] = {}
        for one in agreement.opinions(words, agreement.cut(sound), self.ear, self.known, {words[at].id}):
            if one.margin is not None:
                best[one.kind] = max(best.get(one.kind, (-math.inf, "")), (one.margin, one.other))
        return best

    def others(self, word: Word, after: str) -> Iterator[sayings.Other]:
        """The other readings that the model knows and that are words in the place of words: one a kind."""
        given = set()
        for other in sayings.taken_for(word.text, after, self.known):
            fits = other.kind in sayings.ASKED and other.kind not in given
            if fits and all(self.ear.knows(part) for part in other.words):
                given.add(other.kind)
                yield other

    def cases(
        self, words: Sequence[Word], sound: Samples, at: int, right: bool, tuning: bool, where: str
    ) -> list[Case]:
        """The word as it was written, and where it is right, the same with another reading in its place."""
        found = [self.case(words, sound, at, right, tuning, where)]
        after = words[at + 1].text if at + 1 < len(words) else ""
        for other in self.others(words[at], after) if right else ():
            changed = [*words[:at], replace(words[at], text=" ".join(other.words)), *words[at + 1 :]]
            found.append(self.case(changed, sound, at, False, tuning, where + ", swapped", other.kind))
        return found

    def case(self, words: Sequence[Word], sound: Samples, at: int, right: bool, tuning: bool, where: str,
             kind: str = "") -> Case:  # fmt: skip
        asked = self.ask(words, sound, at)
        around = " ".join(word.text for word in words[max(0, at - 3) : at + 4])
        told = "; ".join(f"{name} {margin:.1f} '{other}'" for name, (margin, other) in asked.items())
        return Case(tuning, right, {name: margin for name, (margin, _) in asked.items()}, kind,
                    f"{words[at].text} in '{around}' ({where}): {told or 'not asked'}")

    def times(self, sound: Samples, text: str) -> list[Word] | None:
        """The words of the text with their times, a run of words that the model does not know as one; None where Vosk
        does not place them all."""
        listed = one_filler([word if self.ear.knows(word) else vosk.UNKNOWN for word in text.split()])
        recogniser = self.ear.recogniser([" ".join(listed)])
        recogniser.SetWords(True)
        recogniser.AcceptWaveform((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
        found: list[dict[str, Any]] = []
        for one in json.loads(recogniser.FinalResult()).get("result", []):
            if found and one["word"] == found[-1]["word"] == vosk.UNKNOWN:
                found[-1]["end"] = one["end"]
            else:
                found.append(one)
        if [one["word"] for one in found] != listed:
            return None
        return [Word(number, one["word"], start=one["start"], end=one["end"]) for number, one in enumerate(found)]


def one_filler(words: Sequence[str]) -> list[str]:
    return [word for at, word in enumerate(words) if word != vosk.UNKNOWN or at == 0 or words[at - 1] != vosk.UNKNOWN]


def recognised(asker: Asker) -> tuple[dict[str, list[Case]], int, int]:
    """The parts natural and swapped, how many recordings there were, and how many wrong words are only written
    otherwise than they were said."""
    hearer = Hearer("whisper", None, asker.rules, again=False)
    parts: dict[str, list[Case]] = {"natural": [], "swapped": []}
    recordings = same_sound = 0
    for dictation in dictations():
        bias = asker.rules.family(dictation.family).bias
        for voice in voices():
            for condition in CONDITIONS:
                run = hearer.kept(dictation, voice, condition)
                if run is None:
                    continue
                recordings += 1
                where = f"{dictation.name} {voice} {condition}"
                sound = np.concatenate(list(audio.pieces(audio.inspect(recording(dictation, voice, condition)))))
                heard = repair.repair(tuple(replace(word, others=()) for word in run.words), asker.rules, bias)
                places = {word.id: at for at, word in enumerate(heard)}
                judged: dict[int, bool] = {}
                for item, right, of in scoring.judged(dictation.text, heard, asker.rules):
                    if item.kind in sayings.ASKED:
                        for word in of:
                            judged[word.id] = judged.get(word.id, True) and right
                script = [part for line in dictation.lines for part in spoken_words(line)]
                for ident, right in judged.items():
                    at = places[ident]
                    if not right and said_so(heard, at, script):
                        same_sound += 1
                        continue
                    tuning = dictation.half == "tuning"
                    for case in asker.cases(heard, sound, at, right, tuning, where):
                        parts["swapped" if case.kind else "natural"].append(case)
                        if case.right:
                            parts["swapped"].append(case)
                print(f"  {where}", file=sys.stderr, flush=True)
    return parts, recordings, same_sound


def spoken_words(text: str) -> list[str]:
    return [part for word in text.replace("-", " ").split() for part in sayings.said(word)[0]]


def said_so(heard: Sequence[Word], at: int, script: Sequence[str]) -> bool:
    """Whether what was written may be read aloud as the script has it there: after the same word, and before the
    same one, so that the error is one of writing. Clock times, lot numbers and sizes are read in every usual way."""
    before = [part for word in heard[max(0, at - 2) : at] for part in sayings.said(word.text)[0]][-1:]
    after = [part for word in heard[at + 1 : at + 3] for part in sayings.said(word.text)[0]][:1]
    for way in aloud(heard[at].text):
        wanted = [*before, *way, *after]
        if any(list(script[place : place + len(wanted)]) == wanted for place in range(len(script))):
            return True
    return False


def aloud(text: str) -> list[list[str]]:
    """Every usual way to read digits aloud: as a number, digit by digit, in pairs, zero also as "oh"."""
    plain = text.casefold().strip(".,;:")
    ways = [list(way) for way in sayings.said(text)]
    digits = [part for part in plain.replace(":", ".").replace("-", ".").split(".") if part]
    if all(part.isdigit() for part in digits) and digits:
        parts = [[list(way) for way in (*sayings.said(part), *single(part), *paired(part))] for part in digits]
        joined: list[list[str]] = [[]]
        for some in parts:
            joined = [[*begun, *one] for begun in joined for one in some]
        ways += joined
    return ways


def single(digits: str) -> list[tuple[str, ...]]:
    spelt = tuple(sayings.said(digit)[0][0] for digit in digits)
    return [spelt, tuple("oh" if word == "zero" else word for word in spelt)]


def paired(digits: str) -> list[tuple[str, ...]]:
    """"1530" as fifteen thirty, "905" as nine oh five, "850" as eight fifty; a part "05" as oh five."""
    head, tail = digits[:-2], digits[-2:]
    if len(tail) < 2:
        return []
    last = single(tail)[1] if tail[0] == "0" else sayings.said(tail)[0]
    return [(*(sayings.said(head)[0] if head else ()), *last)]


def spoken(asker: Asker, voice: str) -> tuple[list[Case], int, int]:
    """The part spoken: cases, sentences, and how many of them Vosk did not place."""
    cases: list[Case] = []
    number = unplaced = 0

    def sentence(text: str) -> tuple[list[Word] | None, Samples]:
        nonlocal number, unplaced
        sound = np.concatenate([np.zeros(RATE // 4, np.float32), say(text, voice) * 0.5,
                                np.zeros(RATE // 2, np.float32)])  # fmt: skip
        words = asker.times(sound, text)
        number += 1
        unplaced += words is None
        return words, sound

    for row in asker.rules.table("confusions", Confusion).values():
        for word in row.pair if row.what in sayings.ASKED else ():
            plural = "s" if row.what == "unit" else ""
            for carrier in CARRIERS[row.what]:
                words, sound = sentence(carrier.format(word + plural))
                if words is not None:
                    at = next(place for place, one in enumerate(words) if one.text == word + plural)
                    cases += asker.cases(words, sound, at, True, bool(number % 2), voice)
    for said, written, right in JOINED:
        for carrier in ("we used {} screws", "{} trocars were placed"):
            words, sound = sentence(carrier.format(f"{said} millimetre"))
            if words is None:
                continue
            begin = 2 if carrier.startswith("we") else 0
            end = begin + len(said.split())
            one = replace(words[begin], text=written, end=words[end - 1].end)
            changed = [*words[:begin], one, *words[end:]]
            cases.append(asker.case(changed, sound, begin, right, bool(number % 2), voice, "" if right else "joined"))
    return cases, number, unplaced


# (said, written, whether that is right)
JOINED = (
    *((said, written, False) for said, written in (
        ("three five", "35"), ("two five", "25"), ("one six", "16"), ("two three", "23"), ("four eight", "48"),
        ("one ten", "110"), ("two twelve", "212"), ("two four point five", "24.5"), ("three six point five", "36.5"))),
    *((said, written, True) for said, written in (
        ("thirty five", "35"), ("twenty five", "25"), ("sixteen", "16"), ("twenty three", "23"), ("forty eight", "48"),
        ("one hundred ten", "110"), ("two hundred twelve", "212"), ("twenty four point five", "24.5"),
        ("thirty six point five", "36.5"))),
)  # fmt: skip


def people(asker: Asker) -> tuple[list[Case], int, int]:
    """The part people: cases, critical words, and how many of them Vosk did not place."""
    sys.path.append(str(ROOT / "models" / "training"))
    from held_out import SPEAKERS

    cases: list[Case] = []
    number = unplaced = 0
    for speaker in SPEAKERS:
        for path in sorted(SPEECH.rglob(f"{speaker}-*.trans.txt")):
            for line in path.read_text(encoding="utf-8").lower().splitlines():
                name, *said = line.split()
                placed = one_filler([word if asker.ear.knows(word) else vosk.UNKNOWN for word in said])
                wanted = [at for at, word in enumerate(placed) if word in asker.known]
                if not wanted or not (path.parent / f"{name}.wav").is_file():
                    continue
                sound = np.concatenate(list(audio.pieces(audio.inspect(path.parent / f"{name}.wav"))))
                words = asker.times(np.concatenate([sound, np.zeros(RATE // 2, np.float32)]), " ".join(said))
                number += len(wanted)
                unplaced += len(wanted) * (words is None)
                for at in wanted if words else ():
                    assert words is not None
                    cases += asker.cases(words, sound, at, True, bool(number % 2), f"speaker {speaker}")
    return cases, number, unplaced


def margins(tuning: Sequence[Case]) -> dict[str, float]:
    """Kind -> margin. A kind that is not competent has none."""
    found = {}
    for kind in sayings.KINDS:
        right = sorted((case.margins[kind] for case in tuning if case.right and kind in case.margins), reverse=True)
        wrong = [case.margins[kind] for case in tuning if not case.right and kind in case.margins
                 and case.kind in ("", kind)]  # fmt: skip
        allowed = int(MOST_FALSE * len(right))
        margin = max(LEAST, right[allowed] if len(right) > allowed else LEAST)
        margin = math.ceil(margin * 20) / 20
        if wrong and sum(value > margin for value in wrong) < COMPETENT * len(wrong):
            continue
        found[kind] = margin
    return found


def flagged(case: Case, limits: Mapping[str, float]) -> bool:
    return any(value > limits.get(kind, math.inf) for kind, value in case.margins.items())


def report(name: str, cases: Sequence[Case], limits: Mapping[str, float], detail: bool) -> None:
    """Rates over the half that was not tuned on, all and by kind of the planted error."""
    there = [case for case in cases if not case.tuning]
    wrong, right = [case for case in there if not case.right], [case for case in there if case.right]
    for title, these in (("wrong", wrong), ("right", right)):
        hits = sum(flagged(case, limits) for case in these)
        asked = sum(bool(case.margins) for case in these)
        share = f" = {100 * hits / len(these):.1f} %" if these else ""
        print(f"  {name:8} {title}: {hits} of {len(these)} flagged{share} ({asked} could be asked)", flush=True)
    by_kind: dict[str, list[bool]] = defaultdict(list)
    for case in wrong:
        if case.kind:
            by_kind[case.kind].append(flagged(case, limits))
    if by_kind:
        print("    " + ", ".join(f"{kind} {sum(hits)} of {len(hits)}" for kind, hits in by_kind.items()))
    if detail:
        for case in there:
            if (case.right and flagged(case, limits)) or not (case.right or case.kind):
                print(f"    {'right' if case.right else 'wrong'}, {'' if flagged(case, limits) else 'not '}flagged: "
                      f"{case.told}")  # fmt: skip


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--model", default="vosk-small")
    given.add_argument("--part", nargs="+", choices=("natural", "spoken", "people"),
                       default=("natural", "spoken", "people"))  # fmt: skip
    given.add_argument("--voices", nargs="+", default=("heart", "slt"))
    given.add_argument("--detail", action="store_true")
    options = given.parse_args()
    asker = Asker(options.model)
    if "natural" in options.part:
        parts, recordings, same = recognised(asker)
        if not recordings:
            print("no words of a recogniser are kept: run `make bench-listening` first")
        else:
            limits = margins([case for case in (*parts["natural"], *parts["swapped"]) if case.tuning])
            print(f"{recordings} recordings; {same} wrong critical words are only written otherwise than they were "
                  f"said, and are left out; margins {limits}")  # fmt: skip
            for name, cases in parts.items():
                report(name, cases, limits, options.detail)
    for voice in options.voices if "spoken" in options.part else ():
        cases, number, unplaced = spoken(asker, voice)
        limits = margins([case for case in cases if case.tuning])
        print(f"voice {voice}, {number} sentences, {unplaced} not placed; margins {limits}")
        report("spoken", cases, limits, options.detail)
        report("(as used)", cases, agreement.MARGINS, False)
    if "people" in options.part and not SPEECH.is_dir():
        print("people: skipped, ../shared/speech is not there")
    elif "people" in options.part:
        cases, number, unplaced = people(asker)
        limits = margins([case for case in cases if case.tuning])
        print(f"people, {number} critical words, {unplaced} not placed; margins {limits}")
        report("people", cases, limits, options.detail)
        report("(as used)", cases, agreement.MARGINS, False)


if __name__ == "__main__":
    main()
