"""Screws told by their sort alone, and sizes in brackets behind what is counted: "3 cortical (14, 14, 12)", "two 4.0
partially threaded cannulated, 45 and 40", "lag 2.7 x 20", "3 screws (16 x2, 14)". A size without a unit is doubtful."""

from __future__ import annotations

from typing import Any

from pipeline import cues
from pipeline.extractors import _things, base
from pipeline.extractors._device_sizes import is_decimal
from pipeline.extractors._things import Thing, whole
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device", "device_count", "device_size")

_JOINS = frozenset({",", "and", "x", "(", ")", ":", "by", "\u00d7", "/"})
_NO_UNIT = "its unit was not said"
_LARGEST = 120  # mm, the longest screws (common practice, no source)
_COST, _FEW = 8, 6  # no screw is so short


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    if not any(
        mention.table == "devices" and rows[mention.id].group == "fixation"
        for sentence in reading.sentences for mention in sentence.mentions
    ):
        return []
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if not cues.numbers(sentence):
            continue
        for thing in _things.by_sort(sentence):
            facts += _told(reading, sentence, thing)
        for thing in _things.found(sentence, grammar, rows):
            after = sentence.tokens[thing.last + 1 : thing.last + 2]
            if thing.implant and after and after[0].norm == "(":
                facts += _sizes(reading, sentence, thing, thing.last + 1)
    return facts


def _told(reading: Reading, sentence: Sentence, thing: Thing) -> list[Fact]:
    shared = _shared(sentence, thing)
    side = base.make("device", reading, sentence, thing.first, thing.last, **shared)
    facts: list[Fact] = [side]
    first = _things.number_before(sentence, thing.first)
    for at in range(first if first is not None else thing.first, thing.first):
        if whole(sentence, at) is not None and at == first and not is_decimal(sentence.tokens[at]):
            facts.append(base.claim("device_count", reading, sentence, at, thing.first, thing.last, _COST, unit=None,
                                    **shared))  # fmt: skip
        elif is_decimal(sentence.tokens[at]):
            facts += _size(reading, sentence, thing, at)
    return facts + _sizes(reading, sentence, thing, thing.last + 1)


def _shared(sentence: Sentence, thing: Thing) -> dict[str, Any]:
    return {"name": thing.name, "text": thing.text, "role": "implanted",
            "group": f"d{base.group_of(sentence, thing.first)}"}  # fmt: skip


def _sizes(reading: Reading, sentence: Sentence, thing: Thing, start: int) -> list[Fact]:
    """The numbers behind a thing up to a word, a full stop or the end of the brackets; "16 x2" is two of 16."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    counts = _multipliers(sentence, thing, start)
    opened = False
    for at in range(start, len(tokens)):
        token, quantity = tokens[at], tokens[at].quantity
        if quantity is None and (token.norm not in _JOINS or (token.norm == ")" and not opened)):
            break
        opened = opened or token.norm == "("
        if token.norm == ")":
            break
        if quantity is None:
            continue
        again = at > start and tokens[at - 1].norm == "x" and whole(sentence, at, _FEW) is not None
        if quantity.form == "times" or again:
            facts.append(base.claim("device_count", reading, sentence, at, thing.first, thing.last, _COST, unit=None,
                                    places=(at,), **_shared(sentence, thing)))  # fmt: skip
        elif at in counts:
            facts.append(base.claim("device_count", reading, sentence, at, thing.first, thing.last, -1, unit=None,
                                    places=(at,), **_shared(sentence, thing)))  # fmt: skip
        elif _counts_next(sentence, at):
            break
        else:
            facts += _size(reading, sentence, thing, at)
    return facts


def _multipliers(sentence: Sentence, thing: Thing, start: int) -> set[int]:
    """ "4 locking (2 x 75 mm, 1 x 70, 1 x 65)": the numbers in brackets before an "x" that come to how many there were
    are no widths."""
    tokens = sentence.tokens
    first = _things.number_before(sentence, thing.first)
    total = whole(sentence, first) if first is not None else None
    if total is None or start >= len(tokens) or tokens[start].norm != "(":
        return set()
    end = next((at for at in range(start, len(tokens)) if tokens[at].norm == ")"), len(tokens))
    found = {at for at in range(start, end - 1) if tokens[at + 1].norm == "x" and whole(sentence, at, _FEW) is not None}
    found |= {at for at in range(start, end - 2) if tokens[at + 1].norm == "x" and _is_shared(sentence, at)}
    parts = [one.value for at in found if (one := tokens[at].quantity) is not None and one.value is not None]
    return found if sum(parts) == total else set()


def _is_shared(sentence: Sentence, at: int) -> bool:
    """A small whole number that took the unit of the length behind its "x"."""
    quantity = sentence.tokens[at].quantity
    return (quantity is not None and quantity.form == "number" and quantity.value is not None
            and quantity.value == int(quantity.value) and 0 < quantity.value <= _FEW)  # fmt: skip


def _counts_next(sentence: Sentence, at: int) -> bool:
    """Whether a number counts what follows it ("cannulated, 2 washers")."""
    after = sentence.tokens[at + 1] if at + 1 < len(sentence.tokens) else None
    return after is not None and after.quantity is None and not after.punctuation and (
        after.norm not in _JOINS | _things.BEHIND
    )


def _size(reading: Reading, sentence: Sentence, thing: Thing, at: int) -> list[Fact]:
    quantity = sentence.tokens[at].quantity
    if quantity is None or quantity.form != "number" or quantity.dimension not in ("", "length"):
        return []
    if quantity.value is None or not 1 < quantity.value <= _LARGEST:
        return []
    return [
        base.claim("device_size", reading, sentence, at, thing.first, thing.last, _COST, unit=quantity.unit,
                   doubts=() if quantity.unit else (_NO_UNIT,), places=(at,), **_shared(sentence, thing))
    ]  # fmt: skip
