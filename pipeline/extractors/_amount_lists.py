"""Amounts told in rows: "again 4, again 4, 3 and 3", "three more: five, five and four", "so twenty six"."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from pipeline.records import Sentence

_MARKS = frozenset({",", ".", ";", ":", "?", "!", "-"})
_ROW = frozenset("again another then and next now only just once more the last one also".split())
_COUNTS = frozenset("more draws pulls aspirates passes further".split())
_LEADS = ("that is", "which is", "that makes", "so that is", "so i have", "i have", "we have", "this is")


def alone(sentence: Sentence, index: int) -> bool:
    """Whether nothing but bare numbers and words like "again", "then", "and" stands between the marks around a number:
    "a quarter turn, again 4, again 4, 3 and 3"."""
    tokens = sentence.tokens
    for step in (-1, 1):
        at = index + step
        while 0 <= at < len(tokens) and tokens[at].norm not in _MARKS:
            quantity = tokens[at].quantity
            if quantity is None and tokens[at].norm not in _ROW:
                return False
            if quantity is not None and (quantity.dimension not in ("", "volume") or quantity.form != "number"):
                return False
            at += step
    return True


def counts_row(sentence: Sentence, index: int) -> bool:
    """ "Three more, five, five and four": the number tells how many numbers follow."""
    own = sentence.tokens[index].quantity
    if own is None or own.value is None or own.value < 2 or own.value != int(own.value):
        return False
    at = index + 1
    tokens = sentence.tokens
    while at < len(tokens) and tokens[at].norm in _COUNTS | _FILL:
        at += 1
    if at >= len(tokens) or at == index + 1 or tokens[at].norm not in (",", ":", "-"):
        return False
    row: list[Decimal] = []
    for token in tokens[at + 1 :]:
        if token.quantity is not None and token.quantity.form == "number" and token.quantity.value is not None:
            row.append(token.quantity.value)
        elif token.norm not in (",", "and", "then", "again"):
            break
    return len(row) == own.value


_FILL = frozenset({"of", "the"})


def added(sentence: Sentence, index: int) -> str:
    """ "4 + 4 + 3 = 11 mL": "draw" for what is added up, "harvest_total" for what it comes to, "" for the others."""
    tokens = sentence.tokens
    marks = [tokens[at].norm if 0 <= at < len(tokens) else "" for at in (index - 1, index + 1)]
    if marks[0] == "=" and index > 3 and tokens[index - 3].norm == "+":
        return "harvest_total"
    return "draw" if "+" in marks and _only_numbers(sentence, index) else ""


def _only_numbers(sentence: Sentence, index: int) -> bool:
    """Whether bare numbers and amounts alone stand on both sides of the signs around a number."""
    tokens = sentence.tokens
    for step in (-1, 1):
        at = index
        while 0 <= at + step < len(tokens) and tokens[at + step].norm == "+":
            at += 2 * step
            if not 0 <= at < len(tokens) or tokens[at].norm not in ("#number", "#volume"):
                return False
        behind = tokens[at + 1].norm if at + 1 < len(tokens) else "."
        if step == 1 and behind not in _MARKS and behind != "=":
            return False  # "30 mL blood + 3 mL of citrate"
    return True


def is_product(sentence: Sentence, index: int, told: Sequence[Decimal]) -> bool:
    """ "Six draws of five millilitres, thirty": so many of so much, told right before."""
    own = sentence.tokens[index].quantity
    return own is not None and len(told) > 1 and min(told[-2:]) > 1 and told[-1] * told[-2] == own.value


def sums_up(sentence: Sentence, index: int, told: Sequence[Decimal]) -> bool:
    """ "6 then 5 and the last one 3, so 20": led by "so" or standing alone in its sentence, and the sum of the amounts
    told right before it, or so many of so much ("5 draws of 6 ml. 30 ml.")."""
    own = sentence.tokens[index].quantity
    if own is None or own.value is None or own.form != "number" or len(told) < 2:
        return False
    before = [token.norm for token in sentence.tokens[max(0, index - 3) : index]]
    only = len([token for token in sentence.tokens if not token.punctuation]) == 1
    led = bool(before) and (before[-1] in ("so", "makes", "make", "=") or " ".join(before).endswith(_LEADS))
    if not (only or led):
        return False
    if is_product(sentence, index, told):
        return True
    total = told[-1]
    for value in reversed(told[:-1]):
        total += value
        if total == own.value:
            return True
    return False
