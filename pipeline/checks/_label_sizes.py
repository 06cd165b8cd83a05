"""The size of an implant against what its label, box or packet was read as."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline.checks.base import read
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Token

_LABELS = frozenset({"label", "labelled", "labeled", "box", "packet", "sticker", "packaging", "carton"})
_BETWEEN = frozenset(
    "read reads back says said as is was : on the checked and confirmed confirms it a size of again out aloud reading "
    "showed shows - , by nurse team marked with plus in notes".split()
)
_READS = frozenset({"says", "said", "reads", "shows", "showed"})
_NO_SIZE = frozenset({"lot", "serial", "expiry", "expires", "number", "ref", "reference", "udi", "batch"})
# Tokens from a label to its number, and to one that somebody read out; words from an implant to its label, and to
# one that "says" so.
_REACH, _SAID, _BACK, _FAR_BACK = 8, 12, 60, 150
_SIZES = frozenset({"", "length", "refraction", "french", "volume"})


def others(note: OperativeNote) -> Iterator[tuple[list[Fact], str, Passage]]:
    """(sizes of the implant told last, the number of its label, where) where none of them is that number. Pure."""
    sizes = [fact for fact in note.of("device_size", given=True) if fact.value is not None and fact.role != "explanted"]
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            if token.norm not in _LABELS:
                continue
            number = _number(tokens, at)
            if number is None:
                continue
            if _is_power(tokens, at):
                powers = [fact for fact in note.facts if fact.unit == "[diop]" and fact.value is not None
                          and 0 <= passage.evidence.first + token.first - fact.evidence.last <= _BACK]  # fmt: skip
                if powers and not any(fact.value == number for fact in powers):
                    yield powers[-1:], f"{token.text} {number}", passage
                continue
            word = passage.evidence.first + token.first
            reach = _BACK if any(one.norm not in _READS for one in tokens[at + 1 : at + 2]) else _FAR_BACK
            before = [fact for fact in sizes if 0 <= word - fact.evidence.last <= reach]
            if not before:
                continue
            last = before[-1]
            own = [fact for fact in before if fact.group == last.group or fact.name == last.name]
            if not any(abs(fact.value or Decimal(0)) == abs(number) for fact in own):
                yield own, f"{token.text} {number}", passage


def _is_power(tokens: Sequence[Token], at: int) -> bool:
    """ "The box says plus 20.5": of a lens."""
    ahead = tokens[at : at + _SAID]
    return any(one.quantity is not None and (one.quantity.dimension == "refraction" or before.norm in ("plus", "+"))
               for before, one in pairwise(ahead))  # fmt: skip


def _number(tokens: Sequence[Token], at: int) -> Decimal | None:
    """The number that a label is read as ("label read back twenty three")."""
    reads = any(token.norm in _READS for token in tokens[at + 1 : at + _SAID])
    for place in range(at + 1, min(len(tokens), at + (_SAID if reads else 1 + _REACH))):
        token = tokens[place]
        quantity = token.quantity
        if quantity is None:
            if token.norm in _NO_SIZE or (token.norm not in _BETWEEN and (token.punctuation or not reads)):
                return None
            continue
        sized = quantity.form == "number" and quantity.dimension in _SIZES
        return quantity.value if sized else None
    return None
