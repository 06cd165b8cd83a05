"""A number of things and the list in brackets behind it: "two chest tubes (left pleural, mediastinal x2)", "bypass
grafting x4 (LIMA to LAD, vein to OM1, vein to PDA)", "Specimens: 3 (left and right sinus contents)"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.checks._spoken_counts import PLACES, count
from pipeline.records import Token

_GRAFTED = frozenset({"grafting", "grafts", "bypass", "bypasses", "cabg", "anastomoses"})
_PLACED = frozenset({"tubes", "drains", "stents", "leads", "catheters", "ports"})
_SENT = frozenset({"specimens", "specimen", "biopsies", "samples", "cultures"})
_TIMES = frozenset({"x", "\u00d7"})
_SIDES = PLACES | frozenset("apical basal basilar mediastinal pleural pericardial pelvic subhepatic gutter mid".split())
_TO_NOUN, _WORD = 4, 3


def told(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """(number, noun, arithmetic) of the first list that is not as long as was said. Pure."""
    for opened in range(1, len(read)):
        if read[opened].norm != "(":
            continue
        said = _said(read, opened)
        closed = next((at for at in range(opened + 1, len(read)) if read[at].norm == ")"), len(read))
        items = list(_items(read[opened + 1 : closed]))
        if said is None or len(items) < 2:
            continue
        number, noun = said
        if not all(_names(item, noun) for item in items):
            continue
        parts = [_many(item) for item in items]
        if sum(parts) != number:
            return number, noun, f"{' + '.join(map(str, parts))} = {sum(parts)} named, said: {number}"
    return None


def _said(read: Sequence[Token], opened: int) -> tuple[int, str] | None:
    """The number right before a bracket, and what it counts: "x4 (", "three drains (", "Specimens: 3 ("."""
    times = read[opened - 1].quantity
    if times is not None and times.form == "times" and times.value is not None and opened > 1:
        noun = read[opened - 2].norm  # "grafting x4"
        return (int(times.value), noun) if noun in _GRAFTED | _PLACED else None
    number = count(read[opened - 1])
    if number is not None:
        behind = read[opened - 2].norm if opened > 1 else ""
        noun = read[opened - 3].norm if opened > 2 else ""
        if behind in _TIMES and noun in _GRAFTED | _PLACED or behind == ":" and noun in _SENT | _PLACED:
            return number, noun
        return (number, behind) if behind in _GRAFTED else None
    noun = read[opened - 1].norm
    if noun not in _GRAFTED | _PLACED | _SENT:
        return None
    for at in range(opened - 2, max(-1, opened - 2 - _TO_NOUN), -1):
        if (number := count(read[at])) is not None:
            return number, noun
        if read[at].punctuation:
            return None
    return None


def _items(read: Sequence[Token]) -> Iterator[Sequence[Token]]:
    start = 0
    for at, token in enumerate(read):
        if token.norm in (",", ";", "and", "+"):
            if at > start:
                yield read[start:at]
            start = at + 1
    if start < len(read):
        yield read[start:]


def _names(item: Sequence[Token], noun: str) -> bool:
    """Whether an item names one of the things: from where to where, or where it lies."""
    norms = {token.norm for token in item}
    if noun in _GRAFTED:
        return bool(norms & {"to", "-", "\u2013", "->"})
    if noun in _SENT:
        return any(token.norm.isalpha() and len(token.norm) > _WORD for token in item)
    return bool(norms & _SIDES)


def _many(item: Sequence[Token]) -> int:
    for token in item:
        if token.quantity is not None and token.quantity.form == "times" and token.quantity.value is not None:
            return int(token.quantity.value)
    for at, token in enumerate(item[:-1]):
        if token.norm in _TIMES and (number := count(item[at + 1])) is not None:
            return number
    return (count(item[0]) or 1) if item else 1
