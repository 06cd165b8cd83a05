"""Parts of a count that are named in ways of their own: what is sent away, one on each side, levels of the spine.

"Specimens were three, the lump and two nodes", "three drains, one on each side", "three levels, L3, L4 and L5". Each
reader gives the arithmetic where the parts cannot come to the number, else None.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.checks._spoken_counts import JOINS, PLACES, VERBS, Head, count
from pipeline.records import Token

_ENDS = frozenset({".", ";"})
SENT = frozenset("specimens specimen samples pots jars biopsies cultures swabs nodes bottles containers".split())
_ARTICLES = frozenset({"the", "a", "an", "its"})
_TWO_LEVELS = re.compile(r"\b[ltcs] ?\w+ [ltcs] ?\w+")  # "l three l four": L3-L4, or two of them
_ITEM, _LIST = 3, 8  # words of an item, and of an unmarked list


def unmarked(read: Sequence[Token], head: Head) -> str | None:
    """ "Specimens were three the lump and two nodes": a list without marks, of things that are sent away."""
    if head.noun not in SENT:
        return None
    words = list(read[head.last + 1 : head.last + 1 + _LIST])
    if words and words[0].norm in (",", ":", "-", "–"):
        words = words[1:]
    joint = next((at for at, token in enumerate(words) if token.norm == "and"), None)
    if joint is None or joint + 1 >= len(words):
        return None
    first, second = words[:joint], words[joint + 1 :]
    if any(token.punctuation or token.norm in VERBS | PLACES | _NO_NAME for token in first):
        return None
    numbers = [number for token in first if (number := count(token)) is not None and number > 1]
    names = [token for token in first if token.norm not in _ARTICLES and count(token) is None]
    last = count(second[0]) or 1
    if not names or len(names) > _ITEM or any(token.quantity is not None and count(token) is None for token in first):
        return None
    again = any(token.norm in ("and", ",") for token in second[: _ITEM + 1])
    low = (max(numbers) if numbers else 1) + last
    high = sum(numbers) + len(names) - len(numbers) + last
    if head.number >= low and (head.number <= high or again):
        return None
    told = " ".join(token.text for token in (*first, *words[joint : joint + 2]))
    return f"{told} = {low if low == high else f'{low} to {high}'} named, said: {head.number}"


_TO_SHARE = 9  # tokens from a count to what there is of it on each side
_NO_NAME = frozenset({"of", "for", "with", "opened", "added", "more", "out", "back"})


def on_each_side(read: Sequence[Token], head: Head) -> str | None:
    """ "Three drains, one on each side": there are two sides."""
    for at in range(head.last + 1, min(head.last + _TO_SHARE, len(read) - 1)):
        number = count(read[at])
        if number is None:
            if read[at].quantity is not None or read[at].norm in _ENDS:
                return None
            continue
        if at > head.last + 3 and read[at - 1].norm != ",":
            return None  # "four glands were seen and kept, two on each side"
        behind = [token.norm for token in read[at + 1 : at + 4]]
        behind = behind[1:] if behind[:1] in (["on"], ["in"], ["for"], ["at"]) else behind
        if behind[:2] not in (["each", "side"], ["either", "side"], ["per", "side"], ["each", "ear"], ["each", "eye"]):
            return None
        return None if number * 2 == head.number else f"2 x {number} = {number * 2}, said: {head.number}"
    return None


def levels(read: Sequence[Token], head: Head) -> str | None:
    """ "At three levels, L3, L4 and L5"; "L3 L4" said without a dash may be two."""
    if head.noun not in ("levels", "segments", "vertebrae"):
        return None
    low = high = 0
    at = head.last + 1
    while at < len(read) and (read[at].norm in JOINS or read[at].norm == "#level"):
        if read[at].norm == "#level":
            for name in re.split(r"\band\b|,", read[at].text.lower()):
                low, high = low + 1, high + (2 if _TWO_LEVELS.search(name) else 1)
        at += 1
    if low < 2 or low <= head.number <= max(high, low):
        return None
    return f"{low} named, said: {head.number}"


_IS = frozenset({"is", "was", ":", "="})


def _number_of(read: Sequence[Token], at: int) -> list[Head]:
    """ "Total screw count is eight: ...", "number of anchors: five (...)"."""
    if read[at].norm == "count" and at and read[at - 1].norm.isalpha():
        noun, start = f"{read[at - 1].norm.removesuffix('s')}s", at + 1
    elif [one.norm for one in read[at : at + 2]] == ["number", "of"]:
        noun, start = read[at + 2].norm, at + 3
    else:
        return []
    said = count(read[start + 1]) if start + 2 < len(read) and read[start].norm in _IS else None
    listed = said is not None and said > 1 and read[start + 2].norm in (":", ",", "(", "-")
    return [Head(at, start + 1, said, noun)] if listed and said is not None and len(noun) > _ITEM else []


def predicates(read: Sequence[Token]) -> list[Head]:
    """ "Specimens were three, ...", "Specimens (3): ...": the count behind the noun."""
    found: list[Head] = []
    for at, token in enumerate(read[:-2]):
        found += _number_of(read, at)
        said = count(read[at + 2]) if token.norm in SENT and token.norm.endswith("s") else None
        if said is not None and said > 1:
            if read[at + 1].norm in ("were", "are"):
                found.append(Head(at, at + 2, said, token.norm))
            elif read[at + 1].norm == "(" and [one.norm for one in read[at + 3 : at + 5]] == [")", ":"]:
                found.append(Head(at, at + 3, said, token.norm))
    return found
