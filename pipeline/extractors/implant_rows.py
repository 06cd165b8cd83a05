"""Typed lists of implants, one a line: "Pedicle screw 6.5 x 45 mm ; qty 4 ; lot RB2207", and tables with strokes and a
line of headings ("Item | Size | Qty | Lot"). What stands in a line is of the thing that the line begins with."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from pipeline.extractors import _things, base
from pipeline.extractors._things import Thing, whole
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device", "device_size", "device_count")

_QUANTITY = frozenset({"qty", "quantity", "qnty", "amt"})
_COLUMNS = {
    "qty": "count", "quantity": "count", "count": "count", "number": "count", "no": "count", "#": "count",
    "size": "size", "sizes": "size", "dimensions": "size", "length": "size",
    "lot": "lot", "batch": "lot",
    "item": "item", "implant": "item", "device": "item", "description": "item", "component": "item",
}  # fmt: skip
_SIZES = ("length", "french", "gauge", "angle", "refraction", "volume")
_COST = -2  # a line of a list leaves no doubt what its numbers are of
_AHEAD = 3  # tokens before the thing in its line ("IMPLANT LOG :")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    columns: list[str] = []
    headed: Thing | None = None
    teeth = any(m.table == "sites" and m.id in ("tooth", "teeth") or m.id in _DENTAL for sentence in reading.sentences
                for m in sentence.mentions)  # fmt: skip
    for sentence in reading.sentences:
        start, headed = _under_heading(sentence, headed, teeth)
        if headed is not None and start is not None:
            for at in range(start - 1, len(sentence.tokens)):
                label = sentence.tokens[at].quantity
                if label is not None and label.form == "label":
                    facts += _labelled(reading, sentence, headed, at + 1)
        cells = _cells(sentence)
        if len(cells) > 1:
            heads = [_heading(sentence, cell) for cell in cells]
            if "item" in heads and len(set(heads) - {""}) > 1:
                columns = heads
                continue
        else:
            columns = []
        if not _is_row(sentence, cells):
            continue
        thing = _first(sentence, grammar, rows)
        if thing is not None:
            facts += _row(reading, sentence, thing, cells if columns else [], columns)
    return facts


def _cells(sentence: Sentence) -> list[range]:
    """The token ranges between the strokes of a line."""
    marks = [at for at, token in enumerate(sentence.tokens) if token.norm == "|"]
    edges = [-1, *marks, len(sentence.tokens)]
    return [range(low + 1, high) for low, high in pairwise(edges) if high > low + 1 or marks]


def _heading(sentence: Sentence, cell: Sequence[int]) -> str:
    words = [sentence.tokens[at].norm for at in cell if not sentence.tokens[at].punctuation]
    return _COLUMNS.get(words[0], "") if 0 < len(words) <= 2 else ""


def _is_row(sentence: Sentence, cells: list[range]) -> bool:
    return len(cells) > 2 or sentence.says(_QUANTITY)


def _first(sentence: Sentence, grammar: Grammar, rows: Any) -> Thing | None:
    """The thing that a line begins with; None where it names several (but for one that is described by another)."""
    opens = next((at + 1 for at, token in enumerate(sentence.tokens[: _AHEAD + 1]) if token.norm == ":"), 0)
    things = [thing for thing in _things.found(sentence, grammar, rows) if thing.first >= opens]
    if not things or things[0].first > opens + _AHEAD:
        return None
    return things[0] if len(things) == 1 or not any(thing.implant for thing in things[1:]) else None


def _row(reading: Reading, sentence: Sentence, thing: Thing, cells: list[range], columns: list[str]) -> list[Fact]:
    shared: dict[str, Any] = {
        "name": thing.name, "text": thing.text, "role": "implanted" if thing.implant else "used",
        "group": f"d{base.group_of(sentence, thing.first)}",
    }  # fmt: skip
    facts: list[Fact] = []

    def claim(kind: str, at: int, **fields: Any) -> None:
        facts.append(base.claim(kind, reading, sentence, at, thing.first, thing.last, _COST, places=(at,),
                                **{**shared, **fields}))  # fmt: skip

    for index, quantity in base.quantities(sentence, *_SIZES):
        if quantity.form in ("number", "range", "fraction") and not _elsewhere(sentence, index):
            claim("device_size", index)
    counted = _count(sentence, cells, columns)
    if counted is not None:
        claim("device_count", counted, unit=None)
    return facts


def _elsewhere(sentence: Sentence, index: int) -> bool:
    """ "3 cm below the joint": where it lies."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 2]]
    return bool(set(after) & {"below", "above", "from", "distal", "proximal", "off"})


def _count(sentence: Sentence, cells: list[range], columns: list[str]) -> int | None:
    """The token of the number that counts: behind "qty", or alone in the column that is headed so."""
    tokens = sentence.tokens
    for at, token in enumerate(tokens):
        if token.norm in _QUANTITY:
            behind = at + 1 + (at + 1 < len(tokens) and tokens[at + 1].norm in (":", "=", "."))
            if whole(sentence, behind) is not None:
                return behind
            return at - 1 if at and whole(sentence, at - 1) is not None else None
    if "count" in columns and columns.index("count") < len(cells):
        cell = [at for at in cells[columns.index("count")] if not tokens[at].punctuation and tokens[at].norm != "x"]
        if len(cell) == 1 and whole(sentence, cell[0]) is not None:
            return cell[0]
    return None


_DENTAL = frozenset({"dental-implant", "dental-implants", "dental-extraction", "dental-implant-placement"})
_HEADS = {"implants": "dental-implant", "implant": "dental-implant"}


def _under_heading(sentence: Sentence, headed: Thing | None, teeth: bool) -> tuple[int | None, Thing | None]:
    """(where a line behind a label begins, what the heading over it names): "Implants:", then "#19 4.8 x 10 mm", each
    line of a tooth. None where the list is over."""
    tokens = sentence.tokens
    start = 0
    if teeth and len(tokens) > 1 and tokens[0].norm in _HEADS and tokens[1].norm == ":":
        headed, start = Thing(0, 0, _HEADS[tokens[0].norm], None, True), 2
        if len(tokens) == 2:
            return None, headed
    quantity = tokens[start].quantity if headed is not None and start < len(tokens) else None
    if quantity is None or quantity.form != "label":
        return None, None
    return start + 1, headed


def _labelled(reading: Reading, sentence: Sentence, thing: Thing, start: int) -> list[Fact]:
    """The sizes that stand right behind the label, up to the first word."""
    shared: dict[str, Any] = {"name": thing.name, "role": "implanted", "group": f"d{base.group_of(sentence, start)}"}
    facts: list[Fact] = []
    for at in range(start, len(sentence.tokens)):
        token = sentence.tokens[at]
        if token.quantity is None and token.norm not in ("x", "by", "\u00d7", ":", "-"):
            break
        if token.quantity is not None and token.quantity.dimension == "length":
            facts.append(base.claim("device_size", reading, sentence, at, at, at, _COST, unit=token.quantity.unit,
                                    **shared))  # fmt: skip
    return [*facts, base.make("device", reading, sentence, start - 1, start, **shared)] if facts else []
