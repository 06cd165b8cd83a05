"""A number of things and the list in brackets behind it: "two chest tubes (left pleural, mediastinal x2)", "bypass
grafting x4 (LIMA to LAD, vein to OM1, vein to PDA)", "Specimens: 3 (left and right sinus contents)"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import takewhile

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
    return _in_brackets(read) or _sized(read) or _behind_nouns(read)


def _in_brackets(read: Sequence[Token]) -> tuple[int, str, str] | None:
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


_FOUND = frozenset("lesions tumours tumors nodules polyps stones cysts aneurysms metastases deposits fibroids masses "
                   "plaques strictures collections fragments".split())  # fmt: skip
_IN = frozenset({"in", "at", "on", "of"})


def _sized(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """ "Three lesions, four centimetres in segment eight and two in segment five": each with its size and its place."""
    for at in range(1, len(read) - 2):
        if read[at].norm not in _FOUND or read[at + 1].norm not in (",", ":", "-", "("):
            continue
        number = count(read[at - 1])
        end = next((place for place in range(at + 1, len(read)) if read[place].norm in (".", ";", ")")), len(read))
        items = list(_items(read[at + 2 : end]))
        first = items[0][0].quantity if items else None
        if number is None or len(items) < 2 or first is None or first.dimension != "length":
            continue
        items = list(takewhile(lambda item: item[0].quantity is not None, items))  # "..., on the MRI"
        placed = [item for item in items if item[0].quantity is not None and len(item) > 2 and item[1].norm in _IN]
        if len(placed) > 1 and len(placed) == len(items) != number:
            return number, read[at].norm, f"{len(items)} told with their size and place, said: {number}"
    return None


_TO_SUM = 14  # tokens


def _behind_nouns(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """ "Left nodes nine, right nodes seven, so sixteen nodes": the number behind its noun."""
    for at in range(3, len(read) - 1):
        said, noun = count(read[at]), read[at + 1].norm
        if said is None or read[at - 1].norm not in ("so", "makes", "making", "=", "total") or not noun.endswith("s"):
            continue
        parts = [number for place in range(max(1, at - _TO_SUM), at - 1)
                 if (number := count(read[place])) is not None and read[place - 1].norm == noun]  # fmt: skip
        others = [token for token in read[max(0, at - _TO_SUM) : at - 1] if token.quantity is not None]
        if len(parts) > 1 and len(others) == len(parts) and sum(parts) != said:
            return said, noun, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {said}"
    return None
