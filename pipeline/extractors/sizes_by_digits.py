"""Sizes of implants called out digit by digit, without "point": "one five five anchor", "a three five cortical screw",
"two four seven five knotless anchors". Such a number counts nothing. The reading is doubtful, and its unit is not said.
"""

from __future__ import annotations

from decimal import Decimal

from pipeline import laterality
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence
from pipeline.rows import Device
from pipeline.spelled import DIGITS

KINDS = ("device_size", "device_count")

# Diameters in millimetres of screws, pins, drills and anchors as digits (4.75 is "475"); common practice, no source.
_SIZES = frozenset(
    "10 11 12 13 14 15 16 18 20 22 23 24 25 26 27 28 29 30 31 32 35 37 39 40 43 45 50 55 60 65 70 73 75 80 475 625 "
    "155".split()
)
_LOADED = frozenset("knotless loaded double triple single all suture soft titanium peek bio absorbable metal locking "
                    "headless partially fully threaded biocomposite".split())  # fmt: skip
_UNIT, _COST = "its unit was not said", -2
_TOOLS = frozenset({"drill", "drill-bit", "k-wire", "guide-wire", "awl", "reamer"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    for sentence in reading.sentences if reading.speaks_of("devices") else ():
        for mention in base.mentions(sentence, "devices"):
            if rows[mention.id].implant or mention.id in _TOOLS:
                facts += _of(reading, sentence, mention, grammar, "implanted" if rows[mention.id].implant else "used")
    return facts


def _of(reading: Reading, sentence: Sentence, thing: Mention, grammar: Grammar, role: str) -> list[Fact]:
    run = _run(sentence, thing)
    digits = "".join(digit for _, digits in run for digit in digits)
    if len(digits) < 2 or _of_a_code(sentence, run[0][0]):
        return []
    first, last = run[0][0], run[-1][0]
    said = " ".join(sentence.tokens[at].text for at, _ in run).lower()
    side, _ = laterality.side_for(sentence, thing.first, thing.last, grammar)
    shared = {"name": thing.id, "laterality": side, "role": role, "unit": None,
              "group": f"d{base.group_of(sentence, thing.first)}"}  # fmt: skip
    size, count = (digits, "") if digits in _SIZES else (digits[1:], digits[0])
    rest = tuple((sentence.tokens[at].first, sentence.tokens[at].last) for at, _ in run[:-1])
    if size not in _SIZES or count == "0":
        if len(run) < 2:
            return []
        return [base.claim("device_count", reading, sentence, last, thing.first, thing.last, _COST, rest=rest,
                           doubts=(f"said as '{said}': which of it counts was not clear",), **shared)]  # fmt: skip
    value = Decimal(size) / 10 ** (len(size) - 1)
    read = f"said as '{said}': read as {count + ' of ' if count else ''}{value}"
    facts: list[Fact] = [
        base.claim("device_size", reading, sentence, last, first, thing.last, _COST, rest=rest, value=value,
                   doubts=(read, _UNIT), places=(thing.first,), **shared)
    ]  # fmt: skip
    if count:
        facts.append(base.make("device_count", reading, sentence, first, last, value=Decimal(count), doubts=(read,),
                               places=(thing.first,), **shared))  # fmt: skip
    return facts


def _of_a_code(sentence: Sentence, first: int) -> bool:
    """Whether the digits go on a lot or serial number ("lot alpha one two three liner lot bravo ...")."""
    before = [token.norm for token in sentence.tokens[max(0, first - 5) : first]]
    return bool({"lot", "serial", "batch", "udi", "sn", "reference", "ref"} & set(before))


def _run(sentence: Sentence, thing: Mention) -> list[tuple[int, str]]:
    """(token, its digits) of the single digits right before a thing, in order."""
    at = thing.first - 1
    while at >= 0 and sentence.tokens[at].norm in _LOADED and thing.first - at <= 3:
        at -= 1
    found: list[tuple[int, str]] = []
    while at >= 0 and sentence.tokens[at].quantity is not None:
        words = sentence.tokens[at].text.lower().strip(",.").split()
        if not all(word in DIGITS for word in words) or (found and sentence.tokens[at].text.endswith(",")):
            break
        found.append((at, "".join(DIGITS[word] for word in words)))
        at -= 1
    return found[::-1]
