"""Ports as they are called out, count and size side by side: "five ports, one twelve umbilical, one fifteen right and
three fives". Recognisers read "one twelve" as 112; no port is so wide. The unit is not said."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from pipeline.extractors import base
from pipeline.extractors._things import whole
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.spelled import DIGITS

KINDS = ("device_count", "device_size")

_PORTS = frozenset({"port", "ports", "trocar", "trocars"})
# Millimetres; common practice, no source.
_SIZES = {"three": 3, "five": 5, "eight": 8, "ten": 10, "eleven": 11, "twelve": 12, "fifteen": 15}
_PLURALS = {"threes": 3, "fives": 5, "eights": 8, "tens": 10, "elevens": 11, "twelves": 12, "fifteens": 15}
_ARTICLES, _LEAST = frozenset({"a", "an", "another"}), 5
_REACH = 24  # tokens behind the word
_MOST = 6
_WIDE = 10
# Whose or what for, between how many and their size, or alone ("and one assistant").
_ROLES = frozenset({"assistant", "airseal", "camera", "optical", "hand"})
_SORTS = _ROLES | frozenset("robotic da vinci xi standard metal plastic bladeless disposable reusable long".split())
_NO_UNIT = "its unit was not said"


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.says(_PORTS):
            head = next(at for at, token in enumerate(sentence.tokens) if token.norm in _PORTS)
            facts += _called(reading, sentence, head)
    return facts


def _called(reading: Reading, sentence: Sentence, head: int) -> list[Fact]:
    tokens = sentence.tokens
    facts: list[Fact] = []
    shared: dict[str, Any] = {"text": tokens[head].text, "role": "used", "unit": None,
                              "group": f"d{base.group_of(sentence, head)}"}  # fmt: skip
    near = range(head + 1, min(len(tokens), head + 1 + _REACH))
    row = any(tokens[at].norm in _PLURALS for at in near)
    for at in near:
        sort = at + 1
        while sort < len(tokens) and tokens[sort].norm in _SORTS:
            sort += 1  # "three robotic eights"
        after = tokens[sort].norm if sort < len(tokens) else ""
        many = whole(sentence, at, _MOST)
        if row and tokens[at].norm in ("one", "#number") and tokens[at].text.lower() == "one" and (
            at + 1 < len(tokens) and tokens[at + 1].norm in _ROLES
        ):  # fmt: skip
            facts.append(base.make("device_count", reading, sentence, at, at + 1, value=Decimal(1), **shared))
            continue
        if many is not None and after in _PLURALS:
            facts.append(base.claim("device_count", reading, sentence, at, at, sort, -1, **shared))
            facts.append(base.make("device_size", reading, sentence, at, sort, value=Decimal(_PLURALS[after]),
                                   doubts=(_NO_UNIT,), **shared))  # fmt: skip
            continue
        said = tokens[at].text.lower()
        size_of = _size_behind(sentence, at) if row and said == "one" else None
        if size_of is not None:
            facts.append(base.claim("device_count", reading, sentence, at, at, at + 1, -1, **shared))
            facts.append(base.claim("device_size", reading, sentence, at + 1, at, at + 1, -1, doubts=(_NO_UNIT,),
                                    **shared))  # fmt: skip
            continue
        if tokens[at - 1].norm in _ARTICLES and said in _SIZES and _SIZES[said] >= _LEAST and _is_alone(sentence, at):
            facts.append(base.claim("device_size", reading, sentence, at, at - 1, at, 0, places=(at,),
                                    doubts=(_NO_UNIT,), **shared))  # fmt: skip
            continue  # "two fives on the left and an eight suprapubic"
        words = tokens[at].text.lower().replace("-", " ").split()
        if tokens[at].quantity is None or len(words) != 2 or words[1] not in _SIZES or words[0] not in DIGITS:
            continue
        count, size = int(DIGITS[words[0]]), _SIZES[words[1]]
        plain = not tokens[at].quantity.dimension and 0 < count <= _MOST  # type: ignore[union-attr]
        if not plain or (size < _WIDE and not (row and count == 1)):
            continue  # "one five" may be 15 or 1.5, but not in a row of "three eights, one twelve, one five"
        read = f"said as '{tokens[at].text}': read as {count} of {size}"
        facts.append(base.claim("device_size", reading, sentence, at, at, at, -1, value=Decimal(size),
                                doubts=(read, _NO_UNIT), places=(head,), **shared))  # fmt: skip
        facts.append(base.make("device_count", reading, sentence, at, at, value=Decimal(count), doubts=(read,),
                               places=(head,), **shared))  # fmt: skip
    return facts


def _size_behind(sentence: Sentence, at: int) -> int | None:
    """ "One five" in a row of ports: the size right behind a single one, with no noun of its own."""
    tokens = sentence.tokens
    own = tokens[at + 1].quantity if at + 1 < len(tokens) else None
    bare = own is not None and own.form == "number" and not own.dimension and own.value in _SIZES.values()
    after = tokens[at + 2] if at + 2 < len(tokens) else None
    ends = after is None or after.punctuation or after.quantity is not None or after.norm in _PLACES | _SORTS
    return at + 1 if bare and ends else None


def _is_alone(sentence: Sentence, at: int) -> bool:
    """Whether a bare number is followed by a place or a mark, and by no noun that it counts or measures."""
    quantity = sentence.tokens[at].quantity
    after = sentence.tokens[at + 1 : at + 2]
    bare = quantity is not None and quantity.form == "number" and not quantity.dimension
    return bare and (not after or after[0].punctuation or after[0].norm in _PLACES)


_PLACES = frozenset("in at on suprapubic umbilical epigastric flank subcostal left right lateral medial midline and "
                    "paraumbilical supraumbilical infraumbilical iliac".split())  # fmt: skip
