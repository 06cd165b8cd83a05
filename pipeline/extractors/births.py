"""What is told of a birth: how far the pregnancy was, the Apgar scores, a weight without its unit."""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline.extractors import base
from pipeline.extractors._weights import is_gestation
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence
from pipeline.rows import Concept

KINDS = ("measurement",)

_COST = 1
_BIRTHS = frozenset("baby girl boy infant newborn neonate twin apgar apgars placenta".split())
_WEIGHTS = frozenset({"weight", "weighed", "weighs", "weighing", "wt", "bw"})
_TO_CHILD, _TO_WEIGHT = 6, 3  # tokens
_LIGHTEST, _HEAVIEST = 400, 7000  # grams of a newborn; common practice, no source
_LED = frozenset("at @ after".split())
_BETWEEN = frozenset(
    ": of was were is are score scores and , / then minute minutes min mins respectively the a - to for ( ) at @ after "
    "one one-minute five-minute good excellent fine normal".split()
)
_BEST = 10
_SCORES = re.compile(r"^\d{1,2}(?:/\d{1,2}){1,2}$")
_IN_SHORT = re.compile(r"^(2[2-9]|3\d|4[0-3])\+([0-6])$")  # "38+3": weeks and days
_LATER = ("aftercare", "follow-up", "history")
_EARLIEST, _LATEST = 22, 43  # weeks


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    rows = grammar.table("procedures", Concept)
    pregnant = any(
        (m.table == "procedures" and rows[m.id].group == "obstetrics") or m.id in ("apgar", "gestational-age")
        for sentence in reading.sentences for m in sentence.mentions
    )
    for sentence in reading.sentences:
        facts += _scores(reading, sentence)
        if pregnant and sentence.section not in _LATER:
            facts += _pregnancy(reading, sentence)
            facts += _weight(reading, sentence)
    return facts


def _scores(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Apgars nine at one and ten at five", "8, 9 and 10 at one, five and ten minutes", "Apgar 9/10/10"."""
    facts: list[Fact] = []
    for mention in base.mentions(sentence, "measures"):
        if mention.id == "apgar":
            for at in _score_places(sentence, mention.last + 1):
                facts.append(base.claim("measurement", reading, sentence, at, mention.first, mention.last, _COST,
                                        name="apgar", places=(at,)))  # fmt: skip
            facts += _written(reading, sentence, mention.first, mention.last)
    return facts


def _score_places(sentence: Sentence, start: int) -> list[int]:
    """Where the scores stand: a number behind "at" is the minute, and so is one listed behind it."""
    tokens = sentence.tokens
    found: list[int] = []
    minutes: list[int] = []
    timed = False
    for at in range(start, len(tokens)):
        quantity = tokens[at].quantity
        if quantity is None:
            if tokens[at].norm not in _BETWEEN:
                break
            timed = timed or tokens[at].norm in _LED
            continue
        if quantity.dimension == "time":
            timed = False
            continue
        if not _is_score(quantity):
            break
        behind = tokens[at + 1 : at + 2]
        led = bool(behind) and (behind[0].norm in _LED or behind[0].norm == "(")
        (minutes if timed and not led else found).append(at)
        timed = timed and not led
    return found or minutes


def _is_score(quantity: Quantity) -> bool:
    value = quantity.value
    return quantity.form in ("number", "label") and not quantity.dimension and value is not None and (
        0 <= value <= _BEST and value == int(value)
    )


def _written(reading: Reading, sentence: Sentence, first: int, last: int) -> list[Fact]:
    """ "Apgar 9/10/10": scores in one word."""
    at = last + 1
    if at < len(sentence.tokens) and sentence.tokens[at].norm == ":":
        at += 1
    if at >= len(sentence.tokens) or not _SCORES.match(sentence.tokens[at].text):
        return []
    values = [Decimal(part) for part in sentence.tokens[at].text.split("/")]
    if max(values) > _BEST:
        return []
    return [base.make("measurement", reading, sentence, first, at, name="apgar", value=value) for value in values]


def _pregnancy(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "At thirty nine weeks and five days", "38+3", "thirty eight plus three"."""
    facts: list[Fact] = []
    tokens = sentence.tokens
    for at, token in enumerate(tokens):
        before = tokens[at - 1].norm if at else ""
        quantity = token.quantity
        if quantity is None:
            if short := _IN_SHORT.match(token.text):
                told = Decimal(short[1]) * 7 + Decimal(short[2])
                facts.append(base.make("measurement", reading, sentence, at, at, name="gestational-age", value=told,
                                       unit="d"))  # fmt: skip
            continue
        if quantity.form == "number" and is_gestation(quantity) and before not in ("for", "in", "after", "every"):
            facts.append(base.claim("measurement", reading, sentence, at, at, at, _COST, name="gestational-age"))
        elif (days := _added(sentence, at)) is not None:
            facts.append(base.claim("measurement", reading, sentence, at, at, at + 2, _COST, name="gestational-age",
                                    value=days, unit="d"))  # fmt: skip
    return facts


def _added(sentence: Sentence, at: int) -> Decimal | None:
    """The days of "thirty eight plus three"; the number behind the sign is used up with it."""
    one = sentence.tokens[at].quantity
    if at + 2 >= len(sentence.tokens) or sentence.tokens[at + 1].norm not in ("plus", "+"):
        return None
    other = sentence.tokens[at + 2].quantity
    if one is None or other is None or one.dimension or other.dimension:
        return None
    if one.value is None or other.value is None or not _EARLIEST <= one.value <= _LATEST or not 0 <= other.value < 7:
        return None
    return one.value * 7 + other.value


def _weight(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Boy, weight 3240": the unit was left out, and stays so."""
    tokens = sentence.tokens
    for at, quantity in base.quantities(sentence, ""):
        if quantity.form != "number" or quantity.value is None or not _LIGHTEST <= quantity.value <= _HEAVIEST:
            continue
        lead = [token.norm for token in tokens[max(0, at - _TO_WEIGHT) : at]]
        child = next((one for one in range(max(0, at - _TO_CHILD), at) if tokens[one].norm in _BIRTHS), None)
        if child is not None and _WEIGHTS & set(lead):
            return [base.claim("measurement", reading, sentence, at, child, at, _COST, name="birth-weight")]
    return []
