"""Sentences of operative dictation of this project's own, to be spoken by synthetic voices for training.

Run: python models/training/operative_text.py --out sentences.json [--count 24000] [--leave-out FILE ...]

One style throughout, which is what the number reader takes best and what sounds as it is written: numbers as words
with hyphens ("forty-eight", "zero point two five percent", "three oh Vicryl"), units spelt out, American spelling.
Only levels of the spine are written as everybody writes them ("L4-L5"). Sentences come from templates over every row
of grammars/, dealt like cards, over `operative_words.toml` (common speech of theatres), and from `operative_lines.toml`
(by hand; contrasts that a recogniser confuses). What shares five running words with an evaluation dictation is left out.
"""

# A template reads best on one line.
# ruff: noqa: E501
from __future__ import annotations

import argparse
import json
import random
import re
import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
LINES = Path(__file__).with_name("operative_lines.toml")
COMMON = Path(__file__).with_name("operative_words.toml")
EVALUATION = ("benchmarks/dictations/*.toml", "audio_demo/*.txt", "audio_demo/*.toml")
RUN = 5
ONES = "zero one two three four five six seven eight nine".split()
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = ["", "", *"twenty thirty forty fifty sixty seventy eighty ninety".split()]
# British spellings of grammars/ -> American; the voices say both alike.
SPELLING = (
    (r"litre", "liter"), (r"metre", "meter"), (r"haem", "hem"), (r"anaesth", "anesth"), (r"oedema", "edema"),
    (r"oesoph", "esoph"), (r"tumour", "tumor"), (r"fibre(?!d)", "fiber"), (r"orthopaed", "orthoped"),
    (r"caesar", "cesar"), (r"paed", "ped"), (r"gynaec", "gynec"), (r"catheteris", "catheteriz"), (r"colour", "color"),
)  # fmt: skip
_SAYABLE = re.compile(r"[a-z][a-z' ]*[a-z]")
_ALONE = re.compile(r"\b(?!a\b|i\b)[a-z]\b|\b(?![aeiouy])[b-df-hj-np-tv-xz]{2,5}\b|\b([a-z])\1+\b")


@dataclass(frozen=True)
class Sentence:
    """`text`: as written, the target of training; `spoken`: what the voice is given; `terms`: words for a bias list."""

    text: str
    spoken: str
    terms: tuple[str, ...]


def number(value: int) -> str:
    """A whole number below a million in words, as dictated in American English without "and"."""
    if value < 20:
        return (ONES + TEENS)[value]
    if value < 100:
        return TENS[value // 10] + (f"-{ONES[value % 10]}" if value % 10 else "")
    for size, name in ((1000, "thousand"), (100, "hundred")):
        if value >= size:
            rest = f" {number(value % size)}" if value % size else ""
            return f"{number(value // size)} {name}{rest}"
    raise AssertionError("unreachable")


def decimal(whole: int, digits: str) -> str:
    return f"{number(whole)} point {' '.join(ONES[int(digit)] for digit in digits)}"


def american(phrase: str) -> str:
    for pattern, to in SPELLING:
        phrase = re.sub(pattern, to, phrase)
    return phrase


def phrases(table: str) -> list[list[str]]:
    """What each row of a grammar table says, in American spelling; phrases with bare letters are left out."""
    rows = tomllib.loads((ROOT / "grammars" / f"{table}.toml").read_text(encoding="utf-8"))
    found = []
    for row in rows.values():
        said = [american(phrase) for phrase in row.get("say", ()) if isinstance(row, dict)]
        said = [phrase for phrase in said if _SAYABLE.fullmatch(phrase) and not _ALONE.search(phrase)]
        if said:
            found.append(list(dict.fromkeys(said)))
    return found


class Writer:
    """Makes sentences; the same seed makes the same ones."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self._terms: list[str] = []
        self._tables: dict[str, list[list[str]]] = {}
        self._decks: dict[str, list[Any]] = {}
        self._common = {name: re.split(r";\s*", " ".join(held.split())) if ";" in held else held.split()
                        for name, held in tomllib.loads(COMMON.read_text(encoding="utf-8")).items()}  # fmt: skip

    def dealt(self, name: str, cards: Sequence[Any]) -> Any:
        """The next of a shuffled deck: all come equally often."""
        if not self._decks.get(name):
            self._decks[name] = self.chance.sample(cards, len(cards))
        return self._decks[name].pop()

    def pick(self, table: str) -> str:
        """A phrase of the table, noted as a term; every row comes up before any comes again."""
        if table not in self._tables:
            self._tables[table] = phrases(table)
        if table == "drugs" and self.chance.random() < 0.4:
            said = self.common("drugs")
        else:
            row = self.dealt(table, self._tables[table])
            said = row[0] if self.chance.random() < 0.4 else self.chance.choice(row)
        self._terms.append(said)
        return str(said)

    def common(self, name: str) -> str:
        return str(self.dealt(f"common {name}", self._common[name]))

    def one(self, *choices: str) -> str:
        return self.chance.choice(choices)

    def whole(self) -> str:
        """Small counts, teens against tens, and rounder numbers, as theatre speech has them."""
        kind = self.chance.random()
        if kind < 0.25:
            return number(self.chance.randint(2, 12))
        if kind < 0.5:
            return self.chance.choice([number(value) for teen in range(13, 20) for value in (teen, (teen - 10) * 10)])
        if kind < 0.75:
            return number(self.chance.randint(20, 99))
        if kind < 0.9:
            value = self.chance.choice(range(100, 1000, 5))
            joined = number(value)
            return joined.replace("hundred ", "hundred and ") if self.chance.random() < 0.4 else joined
        return number(self.chance.choice(range(1000, 9000, 100)))

    def fraction(self) -> str:
        kind = self.chance.random()
        if kind < 0.6:
            return decimal(self.chance.randint(1, 12), str(self.chance.choice([5, 5, 2, 3, 4, 6, 7, 8, 9, 1])))
        if kind < 0.8:
            return decimal(0, self.chance.choice(["5", "25", "75", "3", "2", "1", "125", "4", "05", "035"]))
        return self.one("one and a half", "two and a half", "a half", "half a", "three and a half", "a quarter of a")

    def amount(self) -> str:
        return self.fraction() if self.chance.random() < 0.25 else self.whole()

    def small(self) -> str:
        return number(self.chance.randint(2, 8))

    def percent(self) -> str:
        return self.one("zero point two five", "zero point five", "zero point seven five", "zero point one two five",
                        "zero point two", "one", "two", "one point five", "five", "ten", "four", "zero point nine",
                        "point five", "point two five") + " percent"  # fmt: skip

    def dose(self) -> str:
        unit = self.one("milligrams", "milligrams", "micrograms", "grams", "units", "milliliters",
                        "international units", "milligrams per kilogram", "micrograms per kilogram", "milliequivalents")
        if unit == "grams":
            return self.one("one gram", "two grams", "three grams", "one point five grams", "half a gram")
        return f"{self.amount()} {unit}".replace("half a ", "half a ").replace("a half ", "half a ")

    def length(self) -> str:
        return f"{self.amount()} {self.one('millimeters', 'millimeters', 'centimeters')}"

    def sized(self) -> str:
        """A size before its thing: "five millimeter"."""
        value = decimal(self.chance.randint(1, 12), "5") if self.chance.random() < 0.3 else self.whole()
        return f"{value} {self.one('millimeter', 'millimeter', 'centimeter')}"

    def volume(self) -> str:
        return f"{self.amount()} {self.one('milliliters', 'milliliters', 'milliliters', 'cc', 'liters')}"

    def clock(self) -> str:
        hour, minute = self.chance.randint(6, 21), self.chance.choice([*range(0, 60, 5), *range(60)])
        tail = "hundred" if not minute else f"oh {ONES[minute]}" if minute < 10 else number(minute)
        return f"{number(hour)} {tail}"

    def code(self) -> str:
        """A lot or serial number, said sign by sign: digits, with letters before, between or behind more often than not."""
        signs = [self.chance.choice([*ONES[1:], "oh"]) for _ in range(self.chance.randint(2, 6))]
        letter = "A B C D E F G H J K L M N P Q R S T U V W X Y Z".split()
        for _ in range(self.chance.choice((0, 1, 1, 1, 2))):
            signs.insert(self.chance.choice((0, len(signs), len(signs), self.chance.randrange(len(signs)))),
                         self.chance.choice(letter))  # fmt: skip
        return " ".join(signs)

    def side(self) -> str:
        return self.one("left", "right")

    def way(self) -> str:
        return self.one("medial", "lateral", "anterior", "posterior", "proximal", "distal", "superior", "inferior",
                        "dorsal", "volar", "ulnar", "radial")  # fmt: skip

    def number_of_years(self) -> str:
        return number(self.chance.randint(2, 95))

    def site(self) -> str:
        return f"{self.one('', self.side() + ' ', self.way() + ' ')}{self.pick('sites')}"

    def suture(self) -> str:
        size = self.one("zero", "two oh", "three oh", "four oh", "five oh", "six oh", "seven oh", "eight oh", "ten oh",
                        "number one", "number two", "number five", "two oh", "three oh", "four oh")  # fmt: skip
        return f"{size} {self.pick('sutures')}"

    def level(self) -> str:
        return self.one("L3-L4", "L4-L5", "L5-S1", "L2-L3", "C5-C6", "C6-C7", "C4-C5", "T11-T12", "T12-L1")

    def templates(self) -> list[Callable[[], str]]:
        """Templates of every shape of number and of every table."""
        w = self
        return [
            lambda: f"{w.dose()} of {w.pick('drugs')} {w.one('was given', 'were given', 'intravenously', 'at induction', 'before tourniquet release')}.",
            lambda: f"{w.pick('drugs')} {w.dose()} {w.pick('routes')} at {w.clock()}.",
            lambda: f"We gave {w.pick('drugs')}, {w.dose()}, then {w.pick('drugs')}, {w.dose()}.",
            lambda: f"{w.volume()} of {w.percent()} {w.pick('drugs')} went into the {w.site()}.",
            lambda: f"I infiltrated the {w.site()} with {w.volume()} of {w.percent()} {w.pick('drugs')} with epinephrine one to {w.one('one hundred thousand', 'two hundred thousand')}.",
            lambda: f"{w.pick('drugs')} {w.one('was not given', 'was held', 'is to be continued', 'was repeated')}{w.one('', ' because of an allergy', ' after ' + w.whole() + ' minutes')}.",
            lambda: f"The {w.side()} {w.pick('sites')} {w.one('was exposed', 'was explored', 'looked normal', 'was protected', 'was identified and preserved', 'was intact', 'was released')}.",
            lambda: f"{w.way()} to the {w.pick('sites')} there was {w.pick('findings')}.",
            lambda: f"The {w.pick('sites')} and the {w.pick('sites')} were {w.one('retracted', 'mobilized', 'divided', 'debrided', 'inspected', 'spared')}.",
            lambda: f"{w.pick('findings')} of the {w.site()}, {w.length()} {w.one('across', 'long', 'deep', 'wide')}.",
            lambda: f"{w.one('No', 'There was no', 'I saw no')} {w.pick('findings')} in the {w.site()}.",
            lambda: f"A {w.sized()} {w.pick('devices')} was {w.one('placed', 'inserted', 'seated', 'passed', 'used')} in the {w.site()}.",
            lambda: f"{w.small()} {w.sized()} {w.one('ports', 'screws', 'anchors', 'trocars', 'portals', 'pins', 'wires', 'staples')} were {w.one('placed', 'used', 'put in')} {w.way()}ly.",
            lambda: f"A {w.small()} hole {w.pick('devices')} with {w.small()} {w.sized()} screws.",
            lambda: f"The {w.pick('devices')} {w.one('was opened', 'was checked', 'was removed', 'was locked', 'held well')} and the {w.pick('devices')} {w.one('came out', 'stayed in place', 'was exchanged')}.",
            lambda: f"The {w.pick('sites')} was closed with {w.suture()}{w.one('', ' in ' + w.small() + ' layers', ' as a running stitch', ' interrupted')}.",
            lambda: f"{w.suture()} to the {w.pick('sites')}, then {w.suture()} for skin.",
            lambda: f"{w.side()} {w.pick('procedures')}.",
            lambda: f"Today we do a {w.pick('procedures')} {w.one('on the ' + w.side(), 'on the ' + w.side() + ' for a ' + w.pick('findings'), 'under ' + w.pick('anaesthesia'), 'for ' + w.pick('diagnoses'))}.",
            lambda: f"{w.pick('procedures')} and {w.pick('procedures')}.",
            lambda: f"{w.one('Diagnosis', 'Indication', 'Postoperative diagnosis', 'The patient has')} {w.pick('diagnoses')} of the {w.side()} side.",
            lambda: f"{w.pick('diagnoses')} with {w.pick('diagnoses')}.",
            lambda: f"{w.one('History of', 'No', 'Known', 'Suspected')} {w.pick('diagnoses')}{w.one('', ' and ' + w.pick('conditions'))}.",
            lambda: f"{w.pick('acts')} of the {w.site()} {w.one('was carried out', 'followed', 'was done next', 'was not needed')}.",
            lambda: f"{w.pick('approaches')} {w.one('on the ' + w.side(), 'over ' + w.length(), '')}.",
            lambda: f"{w.one('The patient was put', 'Position is', 'We start')} {w.pick('positions')}, {w.pick('anaesthesia')}.",
            lambda: f"{w.volume()} of {w.pick('injectates')} {w.one('was injected into', 'was drawn from', 'went to')} the {w.site()}.",
            lambda: f"{w.pick('complications')} {w.one('did not occur', 'was excluded', 'was seen and treated', 'is possible')}.",
            lambda: f"Specimen is {w.pick('specimens')} from the {w.site()}, {w.whole()} grams.",
            lambda: f"{w.pick('drains')}, {w.one('ten', 'twelve', 'fourteen', 'fifteen', 'nineteen', 'sixteen', 'six')} French, on the {w.side()}; {w.pick('dressings')}.",
            lambda: f"{w.pick('closures')} {w.one('with', 'using')} {w.suture()}.",
            lambda: f"{w.pick('aftercare')} for {w.whole()} {w.one('days', 'weeks', 'hours')}, {w.pick('drugs')} {w.dose()} daily.",
            lambda: f"Tourniquet {w.one('up', 'inflated', 'on')} at {w.clock()}, {w.one('two hundred and fifty', 'three hundred', 'two hundred and eighty', 'three hundred and fifty')} millimeters of mercury, {w.one('down', 'released')} after {w.whole()} minutes.",
            lambda: f"Blood loss {w.one('is', 'about', 'came to', 'not more than')} {w.whole()} milliliters, urine {w.whole()}.",
            lambda: f"{w.pick('fluids')} {w.whole()} milliliters {w.one('were infused', 'over ' + w.small() + ' hours', 'for irrigation')}.",
            lambda: f"It measures {w.amount()} by {w.amount()} {w.one('millimeters', 'centimeters')}{w.one('', ' by ' + w.small())}.",
            lambda: f"{w.amount()} to {w.amount()} {w.one('millimeters', 'milliliters', 'minutes', 'degrees', 'milligrams', 'weeks')} {w.one('at most', 'in all', 'from the edge', 'as planned')}.",
            lambda: f"{w.level()}, {w.pick('procedures')} with {w.small()} {w.one('screws', 'cages', 'rods')} of {w.length()}.",
            lambda: f"{w.whole()} degrees of {w.one('flexion', 'extension', 'abduction', 'external rotation', 'valgus', 'varus', 'dorsiflexion')}, {w.pick('findings')} grade {w.one('one', 'two', 'three', 'four')}.",
            lambda: f"{w.one('An eleven', 'An eighteen', 'A sixteen', 'A fourteen', 'A thirteen', 'A twenty-two', 'A thirty')} gauge needle went into the {w.site()}, {w.small()} draws of {w.whole()} milliliters.",
            lambda: f"{w.one('Sponge', 'Needle', 'Instrument', 'Swab')} count {w.one('correct', 'is right', 'was correct twice')}, {w.whole()} {w.one('sponges', 'needles', 'swabs', 'clips')}.",
            lambda: f"{w.one('Lot', 'Lot number', 'With lot')} {w.code()}, {w.one('', 'were ', 'was ')}{w.common('done')} {w.one('and', 'with the', 'beside the')} {w.pick('devices')} size {w.whole()}.",
            lambda: f"{w.pick('sites')}, {w.pick('drugs')}, {w.pick('devices')}, {w.pick('findings')}.",
            lambda: f"{w.pick('drugs')} {w.dose()} and {w.pick('drugs')} {w.dose()} {w.one('were given', 'were given before incision', 'went in')} at {w.clock()}.",
            lambda: f"{w.pick('drugs')}, {w.pick('drugs')} and {w.pick('drugs')} {w.one('were given', 'are on the chart', 'were stopped', 'to continue')}.",
            lambda: f"{w.one('Allergic to', 'No allergy to', 'Stop', 'Start', 'Avoid', 'Restart', 'Hold')} {w.pick('drugs')}{w.one('', ', continue ' + w.pick('drugs'))} for {w.small()} {w.one('days', 'weeks')}.",
            lambda: f"The patient received {w.dose()} of {w.pick('drugs')} {w.one('', 'at ' + w.clock(), w.pick('routes'))}.",
            lambda: f"{w.volume()} of {w.percent()} {w.pick('drugs')} {w.one('were infiltrated', 'were injected', 'were used for a block')}{w.one('', ' with ' + w.pick('drugs'))}.",
            lambda: f"The {w.site()} was {w.common('done')} and {w.common('done')}.",
            lambda: f"The {w.pick('sites')} was {w.common('looks')}, the {w.common('steps')} {w.one('was', 'looked', 'is')} {w.common('looks')}.",
            lambda: f"The {w.common('steps')} was {w.common('done')} {w.one('with a', 'through the', 'above the', 'beside the', 'from the', 'to the', 'until the')} {w.one(w.common('steps'), w.pick('devices'))}.",
            lambda: f"{w.one('It was', 'They were', 'All were', 'Each was', 'Both were')} {w.common('done')}, {w.common('done')} and {w.common('done')}{w.one('', ' under ' + w.pick('guidance'))}.",
            lambda: f"The {w.common('measured')} {w.one('was', 'is', 'came to', 'about', 'reached')} {w.amount()} {w.common('units')}{w.one('', ', then ' + w.amount())}.",
            lambda: f"{w.pick('measures')} {w.amount()} {w.common('units')}, {w.common('measured')} {w.amount()} {w.common('units')}.",
            lambda: f"A {w.number_of_years()} year old {w.common('people')} {w.one('of ' + number(w.chance.randint(40, 130)) + ' kilograms', 'with ' + w.pick('diagnoses'), 'for ' + w.pick('procedures'))}.",
            lambda: f"{w.small()} of {w.small()} {w.common('steps')}s, {w.whole()} {w.one('counted', 'in all', 'left', 'used')}.",
            lambda: f"{w.one('Plus', 'Minus')} {w.one(w.whole(), w.fraction())} {w.one('diopters', 'degrees', 'millimeters')}, {w.whole()} plus {w.fraction()}.",
            lambda: f"{w.pick('findings')} and {w.pick('diagnoses')}, {w.pick('diagnoses')} {w.one('on the left', 'on the right', 'excluded', 'suspected')}.",
            lambda: f"{w.pick('procedures')} through {w.pick('approaches')} under {w.pick('anaesthesia')}, {w.pick('positions')}.",
            lambda: f"{w.one('Serial number', 'Lot number', 'Batch')} {' '.join(w.chance.choice([*ONES, 'oh']) for _ in range(w.chance.randint(3, 6)))} {w.one('', *'A B C D E F G H K M N P R S T X Z'.split())}.",
            lambda: f"The {w.pick('sites')} {w.one('and', 'to', 'over')} the {w.pick('sites')} {w.one('measured', 'was', 'gave')} {w.amount()} by {w.amount()} {w.one('', 'by ' + w.small())} {w.one('millimeters', 'centimeters')}.",
            lambda: f"{w.pick('devices')}, {w.one('lot', 'lot number', 'serial number', 'batch', 'reference')} {w.code()}, {w.one('was placed', 'were placed', 'was opened', 'were put in', 'was used')} {w.way()}ly.",
            lambda: f"{w.one('Lot', 'Serial', 'Reference', 'Tray', 'Room')} {w.code()} {w.one('was checked', 'is entered', 'was read aloud', 'for the ' + w.pick('devices'))}, {w.whole()} {w.one('used', 'left', 'in all')}.",
            lambda: f"{w.one('At', 'From')} {w.clock()} {w.one('to', 'until')} {w.clock()}, {w.whole()} minutes{w.one('', ', ' + w.whole() + ' in all')}.",
            lambda: f"{w.one('Pressure', 'Flow', 'Setting', 'Dose', 'Length')} {w.whole()}, then {w.whole()}. {w.one('A', 'One', 'Another', 'The')} {w.sized()} {w.pick('devices')} {w.one('followed', 'was next', 'came after')}.",
            lambda: f"{w.one(w.pick('procedures'), w.pick('acts'), 'Done', 'A scope')} {w.one('on the ' + w.side(), 'on both sides', 'from below', 'here')} for {w.one('a', 'a', 'a', 'the first', '')} {w.one(w.pick('diagnoses'), w.pick('findings'), w.pick('devices'), w.common('steps'))} of the {w.site()}, {w.length()}.",
            lambda: f"{w.one('Left', 'Right')}, not {w.one('left', 'right')}, {w.pick('sites')}; correction, {w.amount()} {w.one('millimeters', 'milliliters', 'milligrams')}.",
        ]  # fmt: skip

    def covering(self, table: str, said: str) -> str:
        """A sentence around one phrase, so that every row is spoken at least once."""
        self._terms.append(said)
        forms = {
            "drugs": (f"{said}, {self.dose()}, {self.one('was given', 'is due', 'went in slowly')}.",
                      f"{self.volume()} of {said} at {self.clock()}."),
            "sites": (f"{self.side()} {said} {self.one('exposed', 'seen', 'palpated', 'marked', 'freed')}.",
                      f"{self.length()} from the {said}."),
            "devices": (f"One {self.sized()} {said}.", f"The {said} was {self.one('ready', 'tested', 'in place')}."),
            "sutures": (f"{self.suture().rsplit(' ', 1)[0].split(' ')[0]} oh {said} for the {self.pick('sites')}.",
                        f"{said} to the {self.pick('sites')}."),
            "procedures": (f"{said}, {self.side()} side.", f"Planned was {said}."),
        }  # fmt: skip
        return self.chance.choice(forms.get(table, (f"{said} {self.one('on the', 'of the')} {self.side()} side.",
                                                    f"{self.one('There was', 'I note', 'We saw')} {said}.")))

    def finished(self, text: str) -> Sentence:
        """One sentence in the one style, with its terms."""
        text = re.sub(r"\b(no|was|left|right)((?: \1)+)\b", r"\1", " ".join(text.split()), flags=re.IGNORECASE)
        text = text.replace(" ,", ",").replace(" .", ".")
        text = re.sub(r"\ba ((?:eight|eleven|eighteen|[aeiou](?!ne|n[ei]|ni|s[ei]|ter|re))\w*)", r"an \1", text)
        for brand in self._common["brands"]:
            name = "PDS" if brand == "pds" else " ".join(part.capitalize() for part in brand.split())
            text = re.sub(rf"\b{brand}\b", name, text, flags=re.IGNORECASE)
        text = text[0].upper() + text[1:]
        terms, self._terms = tuple(dict.fromkeys(one for one in self._terms if len(one) > 3 and one in text.lower())), []
        return Sentence(text, spoken(text), terms)


def spoken(text: str) -> str:
    """Text as a voice needs it: levels letter by letter, hyphens of numbers kept."""
    text = re.sub(r"\b([CLTS])(\d+)-([CLTS])(\d+)\b",
                  lambda at: f"{at[1]} {number(int(at[2]))} {at[3]} {number(int(at[4]))}", text)  # fmt: skip
    return re.sub(r"\bPDS\b", "P D S", re.sub(r"\bcc\b", "c c", text))


def runs(text: str, length: int = RUN) -> set[tuple[str, ...]]:
    """All runs of that many words, lower case without marks."""
    words = re.findall(r"[a-z0-9']+", text.lower())
    return {tuple(words[at : at + length]) for at in range(len(words) - length + 1)}


def evaluation(others: Iterable[Path] = ()) -> set[tuple[str, ...]]:
    """Runs of words of everything that the ear is measured on, and that lies in the project; and of other files."""
    found: set[tuple[str, ...]] = set()
    for path in others:
        for line in path.read_text(encoding="utf-8").splitlines():
            found |= runs(str(json.loads(line)["text"]) if path.suffix == ".jsonl" else line)
    for pattern in EVALUATION:
        for path in sorted(ROOT.glob(pattern)):
            found |= runs(path.read_text(encoding="utf-8"))
    return found


def by_hand() -> list[str]:
    rows = tomllib.loads(LINES.read_text(encoding="utf-8"))
    return [line.strip() for row in rows.values() for line in row["lines"].splitlines() if line.strip()]


def contrasts(writer: Writer) -> Iterable[str]:
    """Both sides of each contrast in the same sentence frame."""
    rows = tomllib.loads((ROOT / "grammars" / "confusions.toml").read_text(encoding="utf-8"))
    frames = ("The value was {} and then checked.", "It was {} today.", "{} as said before.", "Note {} here.")
    for row in rows.values():
        for said in row["pair"]:
            if _SAYABLE.fullmatch(said):
                yield from (frame.format(american(said)) for frame in frames)
    for teen in range(13, 20):
        for value in (teen, (teen - 10) * 10):
            for unit in ("milliliters", "millimeters", "milligrams", "micrograms", "minutes", "degrees", "units"):
                yield f"{writer.one('Exactly', 'Only', 'About', 'Another', 'Then')} {number(value)} {unit}."


def compose(count: int, seed: int = 20, leave_out: Iterable[Path] = ()) -> list[Sentence]:
    """`count` different sentences: those written by hand, the contrasts, one for every row, then templates.

    What shares five running words with an evaluation dictation or with a text of `leave_out` is left out (lines of
    text, or *.jsonl with a "text" in each line).
    """
    writer = Writer(seed)
    blocked = evaluation(leave_out)
    made: dict[str, Sentence] = {}

    def add(text: str) -> None:
        sentence = writer.finished(text)
        if not runs(sentence.text) & blocked:
            made.setdefault(sentence.text.lower(), sentence)

    for line in by_hand():
        add(line)
    for line in contrasts(writer):
        add(line)
    for table in ("drugs", "sites", "devices", "sutures", "procedures", "diagnoses", "findings", "acts", "injectates",
                  "complications", "approaches", "positions", "anaesthesia", "fluids", "drains", "dressings"):  # fmt: skip
        for row in phrases(table):
            for said in row[:2]:
                add(writer.covering(table, said))
    templates = writer.templates()
    while len(made) < count:
        add(writer.chance.choice(templates)())
    found = list(made.values())[:count]
    writer.chance.shuffle(found)
    return found


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("--out", type=Path, required=True)
    take.add_argument("--count", type=int, default=24_000)
    take.add_argument("--leave-out", type=Path, nargs="*", default=[], help="texts that no sentence may share a run with")
    given = take.parse_args()
    found = compose(given.count, leave_out=given.leave_out)
    given.out.write_text(json.dumps([asdict(one) for one in found], indent=0), encoding="utf-8")
    print(f"{len(found)} sentences, {sum(len(one.text.split()) for one in found)} words")


if __name__ == "__main__":
    main()
