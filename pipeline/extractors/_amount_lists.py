"""Amounts told in rows: "again 4, again 4, 3 and 3", "three more: five, five and four", "so twenty six"."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from pipeline import cues
from pipeline.extractors import _amount_words as words
from pipeline.records import Sentence, Token

_MARKS = frozenset({",", ".", ";", ":", "?", "!", "-"})
_ROW = frozenset("again another then and next now only just once more the last one also".split())
_COUNTS = frozenset("more draws pulls aspirates passes further".split())


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


def runs_up(sentence: Sentence, index: int) -> bool:
    """Whether the row of amounts that begins at a token goes up by the first of them each time."""
    told = _row(sentence, index)
    return len(told) >= _ROW_OF and all(value == told[0] * (place + 1) for place, value in enumerate(told))


def _row(sentence: Sentence, index: int) -> list[Decimal]:
    tokens, told, at = sentence.tokens, list[Decimal](), index
    while at < len(tokens) and _is_amount(sentence, at):
        quantity = tokens[at].quantity
        told.append((quantity.value if quantity is not None else None) or Decimal(0))
        at += 1
        while at < len(tokens) and tokens[at].norm in (",", "and", "then", "again"):
            at += 1
    return told


_ROW_OF = 3


def _is_amount(sentence: Sentence, at: int) -> bool:
    quantity = sentence.tokens[at].quantity
    return quantity is not None and quantity.form == "number" and quantity.dimension in ("", "volume")


def by_depth(sentence: Sentence) -> dict[int, int]:
    """{amount: depth} of "five at one centimetre then five at two then five at three": tokens of what was drawn, and of
    where; at least two in a row, one of them with the unit of a length."""
    known: dict[int, int] | None = sentence.memo.get("drawn by depth")
    if known is not None:
        return known
    tokens = sentence.tokens
    found: dict[int, int] = {}
    row: dict[int, int] = {}
    for index in range(len(tokens) - 2) if sentence.says(_AT) else ():
        depth = tokens[index + 2].quantity
        if tokens[index + 1].norm != "at" or depth is None or depth.form != "number" or not _is_amount(sentence, index):
            continue
        if depth.dimension not in ("", "length"):
            continue
        between = tokens[max(row.values(), default=index - 1) + 1 : index]
        if row and (not all(map(_leads_on, between)) or len(between) > 3):
            found |= _told_by_length(sentence, row)
            row = {}
        row[index] = index + 2
    found |= _told_by_length(sentence, row)
    sentence.memo["drawn by depth"] = found
    return found


def _leads_on(token: Token) -> bool:
    return token.norm in _NEXT_OF_ROW or (token.quantity is not None and token.quantity.form == "ordinal")


def _told_by_length(sentence: Sentence, row: dict[int, int]) -> dict[int, int]:
    lengths = [at for at in row.values() if sentence.tokens[at].norm == "#length"]
    return row if len(row) > 1 and lengths else {}


_AT = frozenset({"at"})
_NEXT_OF_ROW = frozenset({",", ";", "and", "then", "another", "again", "next"})


def makes(sentence: Sentence, index: int, before: tuple[str, ...]) -> bool:
    """ "Another four draws of five, that is twenty more": what the draws come to."""
    if not before or before[-1] not in ("is", "makes", "was", "so", "that's"):
        return False
    own = sentence.tokens[index].quantity
    said = [other for at, other in cues.numbers(sentence) if at < index and other.form == "number"][-2:]
    bare = len(said) == 2 and not said[0].dimension and said[1].dimension in ("", "volume")
    return bare and own is not None and (
        (said[0].value or 0) * (said[1].value or 0) == own.value
    )


def product(sentence: Sentence, index: int) -> list[Decimal]:
    """What "three pulls of four" come to, at the four."""
    tokens = sentence.tokens
    if index < 3 or tokens[index - 1].norm not in ("of", "at") or tokens[index - 2].norm not in words.COUNTED:
        return []
    count, each = tokens[index - 3].quantity, tokens[index].quantity
    if count is None or each is None or count.value is None or each.value is None or count.dimension:
        return []
    return [count.value * each.value] if count.value > 1 else []


def in_proportion(sentence: Sentence, index: int) -> bool:
    """ "Citrate one mil to nine of marrow, so six mils for fifty four": a share, or what it makes."""
    tokens = sentence.tokens
    before = tokens[index - 2].quantity if index > 1 and tokens[index - 1].norm in ("to", "for") else None
    own, after = tokens[index].quantity, tokens[index + 1 : index + 3]
    if before is None and index > 3 and tokens[index - 1].norm in ("to", "per", "for") and own is not None:
        led = tokens[index - 4].quantity, tokens[index - 3].norm
        if led[1] == "of" and led[0] is not None and led[0].value == 1 and not own.dimension:
            return True  # "one of citrate to nine of marrow"
    if before is not None and before.dimension == "volume" and own is not None and not own.dimension:
        return before.value == 1  # "eight mils to fifty two of marrow" are what was drawn
    ahead = after[1].quantity if len(after) == 2 and after[0].norm in ("to", "for") else None
    return ahead is not None and ahead.form == "number" and not ahead.dimension and own is not None and (
        own.dimension == "volume"
    )
