"""The size of an implant against what its label, box or packet was read as."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks.base import read
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Token

_LABELS = frozenset({"label", "labelled", "labeled", "box", "packet", "sticker", "packaging", "carton"})
_BETWEEN = frozenset(
    "read reads back says said as is was : on the checked and confirmed confirms it a size of again out aloud reading "
    "showed shows - , by nurse team marked with plus".split()
)
_NO_SIZE = frozenset({"lot", "serial", "expiry", "expires", "number", "ref", "reference", "udi", "batch"})
_REACH, _BACK = 8, 60  # tokens from a label to its number; words from an implant to its label
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
            word = passage.evidence.first + token.first
            before = [fact for fact in sizes if 0 <= word - fact.evidence.last <= _BACK]
            if not before:
                continue
            last = before[-1]
            own = [fact for fact in before if fact.group == last.group or fact.name == last.name]
            if not any(abs(fact.value or Decimal(0)) == abs(number) for fact in own):
                yield own, f"{token.text} {number}", passage


def _number(tokens: Sequence[Token], at: int) -> Decimal | None:
    """The number that a label is read as ("label read back twenty three")."""
    for place in range(at + 1, min(len(tokens), at + 1 + _REACH)):
        token = tokens[place]
        quantity = token.quantity
        if quantity is None:
            if token.norm in _NO_SIZE or token.norm not in _BETWEEN:
                return None
            continue
        sized = quantity.form == "number" and quantity.dimension in _SIZES
        return quantity.value if sized else None
    return None
