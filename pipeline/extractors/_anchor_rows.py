"""Anchors told without the noun: by their row ("medial row 3 x 4.75, lateral row 2 x 4.75", "double row: 2 med 5.5 mm,
2 lat 4.75 mm", "medial 3 x 4.75 mm"), behind what they hold ("Bankart 7-11, 4 x 1.8 mm"), by their sort ("2 x 4.5 mm
knotless")."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from pipeline import changed_plans
from pipeline.extractors import base
from pipeline.extractors._device_sizes import is_decimal
from pipeline.extractors._things import whole
from pipeline.records import Fact, Reading, Sentence

_ROWS = frozenset({"row", "rows"})
_PLACES = frozenset({"medial", "lateral", "med", "lat", "medially", "laterally"})
_TO = frozenset({":", "-", "of", "with", "was", "is", "had", "a", "the", "got", "took", "using", ","})
_BY = frozenset({"x", "×", "times", "of", "at"})
_NOUNS = frozenset("anchor anchors screw screws implant implants suture sutures stitches swivel swivels swivelock "
                   "swivelocks pushlock pushlocks".split())  # fmt: skip
_SEVERAL = 6  # anchors of one row at most
_LEAST, _MOST = Decimal(1), Decimal(8)  # mm of suture anchors; common practice, no source
_COST = -2
_REACH = 3  # tokens to the noun that would count by itself
_NO_UNIT = "its unit was not said"
_NO_NOUN = "that they are anchors was not said"


def told(reading: Reading, sentence: Sentence) -> list[Fact]:
    """Devices with their counts and sizes; nothing where the noun stands behind the count."""
    tokens = sentence.tokens
    if not sentence.says(_ROWS | _CROSS | _SORTS):
        return []
    named = any(m.table == "devices" and m.id.endswith("anchor") for one in reading.sentences for m in one.mentions)
    facts: list[Fact] = []
    for at in range(len(tokens)):
        if not _counts(sentence, at) or is_decimal(tokens[at]):
            continue
        size = _size(sentence, at)
        if not _is_of_row(sentence, at) and not _crossed(sentence, at, size):
            continue
        ahead = range(at + 1, min(len(tokens), (size or at) + 1 + _REACH))
        noun = next((place for place in ahead if tokens[place].norm in _NOUNS or tokens[place].punctuation
                     or (tokens[place].quantity is not None and place > (size or place))), None)  # fmt: skip
        if noun is not None and tokens[noun].norm in _NOUNS:
            continue
        used = changed_plans.outdone(sentence).get(at)
        facts += _made(reading, sentence, at if used is None else used, size, named)
    return facts + _total(reading, sentence, facts)


def _counts(sentence: Sentence, at: int) -> bool:
    """Whether a small whole number counts there; before an "x" it may have been given the unit of the size behind."""
    quantity, behind = sentence.tokens[at].quantity, sentence.tokens[at + 1 : at + 2]
    if quantity is None or quantity.unit != "mm" or quantity.value is None:
        return whole(sentence, at, _SEVERAL) is not None
    crossed = bool(behind) and behind[0].norm in ("x", "×")
    return crossed and quantity.value == int(quantity.value) and 0 < quantity.value <= _SEVERAL


def _total(reading: Reading, sentence: Sentence, rows: Sequence[Fact]) -> list[Fact]:
    """ "...; 5 anchors" behind the rows: all of them."""
    tokens = sentence.tokens
    counted = [row.evidence.last for row in rows if row.kind == "device_count"]
    if len(counted) < _BOTH:
        return []
    totals: list[Fact] = [
        base.claim("device_count", reading, sentence, at, at, at, _COST, name="suture-anchor", unit=None,
                   role="implanted", group=f"d{base.group_of(sentence, at)}", scale="total")
        for at in range(1, len(tokens))
        if tokens[at].first > counted[-1] and whole(sentence, at) is not None and _sums(sentence, at)
    ]  # fmt: skip
    return totals[:1]


def _sums(sentence: Sentence, at: int) -> bool:
    """ "; 5 anchors", "total 7" at the end of the clause."""
    before, after = sentence.tokens[at - 1], sentence.tokens[at + 1 : at + 2]
    closed = not after or after[0].punctuation
    return before.norm in _LEADS and (
        (bool(after) and after[0].norm == "anchors") or (closed and before.norm in ("total", "=", "makes", "making"))
    )


_BOTH = 2
_LEADS = frozenset({";", ",", ":", ".", "so", "=", "makes", "making", "total", "is"})


def _is_of_row(sentence: Sentence, at: int) -> bool:
    """Whether "medial row" leads to a count, or "medial" stands behind it where rows are told of."""
    tokens = sentence.tokens
    back = at - 1
    while back >= 0 and tokens[back].norm in _TO:
        back -= 1
    if back > 0 and tokens[back].norm == "row" and tokens[back - 1].norm in _PLACES:
        return True
    return at + 1 < len(tokens) and tokens[at + 1].norm in _PLACES and any(
        token.norm in _ROWS for token in tokens[:at]
    )


_CROSS = frozenset({"x", "×"})
# What is mostly held by anchors; common practice, no source.
_HELD = frozenset("bankart remplissage cuff labrum slap subscapularis subscap ssc ssp supraspinatus brostrom "
                  "repair refixation".split())  # fmt: skip
_SORTS = frozenset("knotless corkscrew corkscrews double triple peek allsuture".split())
_TO_COUNT = 4  # tokens from what they hold to how many there are: "Bankart 7-11 o'clock,"


def _crossed(sentence: Sentence, at: int, size: int | None) -> bool:
    """ "4 x 1.8 mm" right behind what anchors hold or the place of their row, or before a word for their sort."""
    tokens = sentence.tokens
    if size == at + 2 and tokens[at + 1].norm in _SORTS and at and tokens[at - 1].norm in _PLACES:
        return True  # "laterally two knotless four point seven five"
    if size != at + 2 or tokens[at + 1].text not in _CROSS or not is_decimal(tokens[size]):
        return False
    if at and tokens[at - 1].norm in _PLACES:
        return True
    if size + 1 < len(tokens) and tokens[size + 1].norm in _SORTS:
        return True
    back = at - 1
    while back > max(-1, at - _TO_COUNT - 1) and (
        tokens[back].quantity is not None or tokens[back].punctuation or tokens[back].norm in _TO
    ):
        back -= 1
    return back >= 0 and tokens[back].norm in _HELD


def _size(sentence: Sentence, at: int) -> int | None:
    """The width behind a count ("3 x 4.75", "2 med 5.5 mm"): with a point or in millimetres."""
    tokens = sentence.tokens
    index = at + 1
    while index < len(tokens) and tokens[index].norm in _BY | _PLACES | _ROWS | _SORTS:
        index += 1
    quantity = tokens[index].quantity if index < len(tokens) and index > at + 1 else None
    if quantity is None or quantity.form != "number" or quantity.value is None or quantity.dimension not in (
        "", "length"
    ):  # fmt: skip
        return None
    told = quantity.unit == "mm" or (quantity.unit is None and is_decimal(tokens[index]))
    return index if told and _LEAST <= quantity.value <= _MOST else None


def _made(reading: Reading, sentence: Sentence, at: int, size: int | None, named: bool) -> list[Fact]:
    shared: dict[str, Any] = {"name": "suture-anchor", "role": "implanted", "group": f"d{base.group_of(sentence, at)}"}
    said = size is not None and any(token.norm in _SORTS for token in sentence.tokens[at + 1 : size + 2])
    unsure = () if named or said else (_NO_NOUN,)
    facts: list[Fact] = [
        base.make("device", reading, sentence, at, at, doubts=unsure, **shared),
        base.claim("device_count", reading, sentence, at, at, at, _COST, unit=None, doubts=unsure, **shared),
    ]
    quantity = sentence.tokens[size].quantity if size is not None else None
    if size is not None and quantity is not None:
        doubts = unsure if quantity.unit else (*unsure, _NO_UNIT)
        facts.append(base.claim("device_size", reading, sentence, size, size, size, _COST, unit=quantity.unit,
                                doubts=doubts, **shared))  # fmt: skip
    return facts
