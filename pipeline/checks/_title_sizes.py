"""The size of an implant in the name of the operation against the size that was put in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks.base import read
from pipeline.conversion import convert
from pipeline.note import OperativeNote, Passage
from pipeline.records import Token

# Things of which an operation that has one in its name puts in one. Common practice, no source.
_NOUNS = frozenset({"valve", "ring", "cage", "cup", "nail", "prosthesis"})
_MEANS = {"tavi": "valve", "tavr": "valve"}
_NOT_IT = frozenset("balloon annulus sizer sized trial trialed trialled removed old explanted previous failed first "
                    "tried gap drill reamer reamed gradient screw screws leaflet native tube".split())  # fmt: skip
_TWO = frozenset({"removal", "exchange", "revision", "conversion", "replaced", "removed"})  # one out, one in
_NEAR = 4  # tokens between a size and its noun


def others(note: OperativeNote) -> Iterator[tuple[str, Decimal, Decimal, Passage]]:
    """(noun, mm in the title, mm told later, where): only where every size told later is the same other one. Pure."""
    titles = [passage for passage in note.sections.description if passage.section == "procedure"]
    named: dict[str, set[Decimal]] = {}
    for passage in titles:
        tokens = read(passage)
        nouns = {_MEANS.get(token.norm, token.norm) for token in tokens} & _NOUNS
        sizes = {value for at in range(len(tokens)) if (value := _size(tokens, at)) is not None}
        if len(nouns) == 1 and not _TWO & {token.norm for token in tokens}:
            named.setdefault(next(iter(nouns)), set()).update(sizes)
    for noun, sizes in named.items():
        told = [(value, passage) for passage in note.sections.description if not any(passage is one for one in titles)
                for value in _told(read(passage), noun)]  # fmt: skip
        if len(sizes) == 1 and len({value for value, _ in told}) == 1 and told[0][0] not in sizes:
            yield noun, next(iter(sizes)), told[0][0], told[0][1]


def _size(tokens: Sequence[Token], at: int) -> Decimal | None:
    """Millimetres of a size that is no side of an area."""
    quantity = tokens[at].quantity
    crossed = {token.norm for token in tokens[max(0, at - 1) : at + 2]} & {"x", "by", "×"}
    if quantity is None or quantity.dimension != "length" or quantity.value is None or crossed or not quantity.unit:
        return None
    return convert(quantity.value, quantity.unit, "mm")


def _told(tokens: Sequence[Token], noun: str) -> Iterator[Decimal]:
    """ "26 mm valve", "valve implanted: 23 mm"."""
    for at in range(len(tokens)):
        value = _size(tokens, at)
        if value is None:
            continue
        for step in (1, -1):
            between: list[str] = []
            place = at + step
            while 0 <= place < len(tokens) and abs(place - at) <= _NEAR and tokens[place].norm not in (".", ";", ","):
                if tokens[place].quantity is not None:
                    break
                between.append(tokens[place].norm)
                if tokens[place].norm == noun:
                    ahead = {token.norm for token in tokens[max(0, at - 3) : at]} if step > 0 else set()
                    if not _NOT_IT & ({*between} | ahead):
                        yield value
                    break
                place += step
