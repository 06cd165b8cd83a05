"""Lot, serial number, UDI and expiry of devices, as said: digits and letters put together, nothing completed."""

from __future__ import annotations

import re

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("device_lot", "device_serial", "device_udi", "device_expiry")

_CODES = {"lot": "device_lot", "serial": "device_serial", "udi": "device_udi"}
_SKIPPED = frozenset({"is", "was", ":", "number", "no", "#", "code", "the", "of", "reads"})
# The ICAO spelling alphabet.
_SPELLED = {
    word: word[0].upper()
    for word in (
        "alpha", "alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliett", "juliet",
        "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor",
        "whiskey", "xray", "yankee", "zulu",
    )
}  # fmt: skip
_LETTERS = {"dash": "-", "hyphen": "-", "slash": "/", "oh": "0", "point": ".", "dot": "."} | _SPELLED
_LONGEST_WORD = 12


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for hit in cues.hits(sentence, grammar, *_CODES):
            fact = _code(reading, sentence, hit)
            if fact is not None:
                facts.append(fact)
        for hit in cues.hits(sentence, grammar, "expiry"):
            facts += _expiry(reading, sentence, hit)
    return facts


def _code(reading: Reading, sentence: Sentence, hit: cues.Hit) -> Fact | None:
    tokens = sentence.tokens
    at = hit.last + 1
    while at < len(tokens) and tokens[at].norm in _SKIPPED:
        at += 1
    first, parts, numbers = at, [], []
    while at < len(tokens):
        token = tokens[at]
        if token.quantity is not None and token.quantity.dimension == "":
            parts.append(token.quantity.text if token.quantity.form == "code" else token.text)
            numbers.append((token.first, token.last))
        elif token.norm in _LETTERS:
            parts.append(_LETTERS[token.norm])
        elif token.punctuation and token.norm in "-/()" and parts:
            parts.append(token.norm)
        elif not token.punctuation and _is_code_word(token.text):
            parts.append(token.text)
        else:
            break
        at += 1
    text = "".join(parts)
    if not any(character.isdigit() for character in text):
        return None
    fact = base.make(_CODES[hit.id], reading, sentence, hit.first, at - 1, at=first, text=text.upper())
    if not numbers:
        return fact
    return base.claim(
        _CODES[hit.id], reading, sentence, _token_at(sentence, numbers[0]), hit.first, at - 1, 0, text=text.upper(),
        value=None, low=None, high=None, unit=None, rest=tuple(numbers[1:]),
    )  # fmt: skip


def _token_at(sentence: Sentence, number: tuple[int, int]) -> int:
    return next(index for index, token in enumerate(sentence.tokens) if (token.first, token.last) == number)


def _is_code_word(text: str) -> bool:
    if len(text) > _LONGEST_WORD:
        return False
    return len(text) == 1 or any(character.isdigit() for character in text) or (text.isupper() and len(text) <= 4)


def _expiry(reading: Reading, sentence: Sentence, hit: cues.Hit) -> list[Fact]:
    for index, quantity in base.quantities(sentence):
        if quantity.form not in ("date", "pair", "code") or index < hit.last:
            continue
        if quantity.form != "date" and not _MONTH.match(quantity.text):
            continue
        price = cues.cost(sentence, index, hit.first, hit.last)
        if price <= 12:  # "expiry date": before the date of the operation
            return [
                base.claim("device_expiry", reading, sentence, index, hit.first, hit.last, price - 1,
                           text=quantity.text, value=None, unit=None, status="performed")
            ]  # fmt: skip
    return []


_MONTH = re.compile(r"^(?:\d{1,2}/20\d{2}|20\d{2}-\d{2})$")  # 03/2024, 2024-03
