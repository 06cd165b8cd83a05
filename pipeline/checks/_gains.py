"""What was gained, so many packs of so much, the whole that closes its parts: "from sixty eight down to forty four, so
twenty four degrees better", "2 mixes 40 g = 80 g", "six into the right knee and five into the left, that's the eleven",
"5 mL in all ... another 5 mL ... total volume 10 mL".

Each reader gives (place of what is said to come out, arithmetic); `stated_sums` tells them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks import base
from pipeline.checks._spoken_counts import count
from pipeline.checks.base import amount, finding, placed, plain
from pipeline.conversion import convert, convertible
from pipeline.note import OperativeNote
from pipeline.records import Finding, Quantity, Token

_GAINED = frozenset({"better", "gain", "gained", "improvement", "difference", "improved", "gains"})
_BACK, _NEAR, _TO_CUE = 40, 14, 3  # tokens
_BARE = frozenset({"", "angle", "length"})


def told(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """All of them within one sentence. Pure."""
    yield from _gains(tokens)
    yield from _packs(tokens)
    yield from _closed(tokens)


def _gains(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """A gain that is the difference of no two numbers before it."""
    for at, token in enumerate(tokens):
        said = token.quantity
        if said is None or said.value is None or said.form != "number" or said.dimension not in _BARE:
            continue
        before = {one.norm for one in tokens[max(0, at - 2) : at]}
        behind: set[str] = set()
        for one in tokens[at + 1 : at + 1 + _TO_CUE]:
            if one.punctuation or one.quantity is not None:
                break
            behind.add(one.norm)
        if not _GAINED & (before | behind):
            continue
        back = _NEAR if said.dimension == "length" else _BACK  # "height gained three millimetres"
        values = [value for one in tokens[max(0, at - back) : at] if one.quantity is not None
                  for value in _values(one.quantity, said)]  # fmt: skip
        gaps = {abs(first - second) for first in values for second in values}
        if len(values) > 1 and said.value not in gaps | set(values):
            pair = f"{plain(values[-1])} - {plain(values[-2])} = {plain(values[-1] - values[-2])}"
            yield at, f"{pair}, said: {plain(said.value)}"


def _values(quantity: Quantity, said: Quantity) -> list[Decimal]:
    """The numbers of a quantity that could be measured as `said` was."""
    if quantity.form not in ("number", "range") or quantity.dimension not in ("", said.dimension):
        return [] if said.dimension or quantity.dimension not in _BARE else _numbers(quantity)
    if quantity.unit is None or said.unit is None or quantity.unit == said.unit:
        return _numbers(quantity)
    if not convertible(quantity.unit, said.unit):
        return []
    return [convert(one, quantity.unit, said.unit) for one in _numbers(quantity)]


def _numbers(quantity: Quantity) -> list[Decimal]:
    return [one for one in (quantity.value, quantity.low, quantity.high) if one is not None]


_PACKS = frozenset("mixes packs bags syringes tubes vials bottles cups doses packets pots batches".split())
_MAKES = frozenset({"=", "makes", "making", "so", "total", "that's"})
_LINKS = frozenset({",", "that", "is", "in", "all", "of", "a", "which", "(", "each"})


def _packs(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "2 mixes 40 g = 80 g", "two packs of forty grams so eighty grams"."""
    for at, token in enumerate(tokens):
        each = token.quantity
        if each is None or each.value is None or each.unit is None or each.dimension not in ("mass", "volume"):
            continue
        noun = at - 1 - (at > 0 and tokens[at - 1].norm == "of")
        number = count(tokens[noun - 1]) if noun > 0 and tokens[noun].norm in _PACKS else None
        place = at + 1
        while place < len(tokens) and tokens[place].norm in _LINKS | _MAKES:
            place += 1
        led = {one.norm for one in tokens[at + 1 : place]} & _MAKES
        said = tokens[place].quantity if place < len(tokens) else None
        if number is None or not led or said is None or said.value is None or said.unit is None:
            continue
        if convertible(said.unit, each.unit):
            value, worked = convert(said.value, said.unit, each.unit), each.value * number
            if value not in (worked, each.value):
                yield place, (f"{number} x {amount(each.value, each.unit)} = {amount(worked, each.unit)}, "
                              f"said: {amount(value, each.unit)}")  # fmt: skip


_POINTED = (("that's", "the"), ("thats", "the"), ("is", "the"), ("makes", "the"), ("that's", "all"), ("is", "all"))
_INTO = frozenset("into in to at around on under along".split())
_FAR = 9  # tokens between the parts


def _closed(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "Six mils into the right knee and five into the left, that's the eleven": the whole, pointed to."""
    for at in range(2, len(tokens)):
        said = tokens[at].quantity
        if said is None or said.value is None or said.form != "number" or said.dimension not in ("", "volume", "mass"):
            continue
        pointed = (tokens[at - 2].norm, tokens[at - 1].norm) in _POINTED
        behind = tokens[at + 1].norm if at + 1 < len(tokens) else ""
        if not pointed or (not said.dimension and behind.endswith("s") and behind.isalpha()):
            continue
        parts: list[Decimal] = []
        units: set[str] = set()
        last = at
        for place in range(at - 2, -1, -1):
            one = tokens[place].quantity
            if tokens[place].norm in (".", ";") or last - place > _FAR:
                break
            if one is None or one.value is None or one.form != "number":
                continue
            if one.dimension not in ("volume", "mass") and (one.dimension or tokens[place + 1].norm not in _INTO):
                break
            units |= {one.unit} if one.unit else set()
            parts, last = [one.value, *parts], place
        sums = {sum(parts[back:], Decimal(0)) for back in range(len(parts))}
        if len(parts) > 1 and len(units) == 1 and said.value not in sums | set(parts):
            yield at, f"{' + '.join(map(plain, parts))} = {plain(sum(parts, Decimal(0)))}, said: {plain(said.value)}"


def volumes(note: OperativeNote) -> list[Finding]:
    """A "total volume" that what went in before it does not come to. Pure."""
    return [_told(note, *one) for one in _volumes(note)]


def _told(note: OperativeNote, number: int, arithmetic: str, at: int) -> Finding:
    passage = note.sections.description[number]
    made = finding("stated_sums", "warning", "The volumes that were given do not come to the total volume.",
                   arithmetic=arithmetic, ask="Say which is right.",
                   about=f"w{passage.evidence.first + at}")  # fmt: skip
    return placed(made, passage.evidence)


def _volumes(note: OperativeNote) -> Iterator[tuple[int, str, int]]:
    """(passage number, arithmetic, token) of a "total volume" that what went in before it does not come to. Pure."""
    parts: list[Decimal] = []
    for number, passage in enumerate(note.sections.description):
        tokens = base.read(passage)
        for at, token in enumerate(tokens):
            quantity = token.quantity
            if quantity is None or quantity.unit != "mL" or quantity.value is None or quantity.comparator:
                continue
            before = [one.norm for one in tokens[max(0, at - 3) : at]]
            behind = [one.norm for one in tokens[at + 1 : at + 3]]
            if before[-2:] == ["total", "volume"] or before[-3:] == ["total", "volume", "of"]:
                sums = {sum(parts[back:], Decimal(0)) for back in range(len(parts))}
                if len(parts) > 1 and quantity.value not in sums:
                    worked = " + ".join(plain(one) for one in parts)
                    yield number, f"{worked} = {plain(sum(parts, Decimal(0)))} mL, said: {plain(quantity.value)} mL", at
                parts = []
            elif behind in (["in", "all"], ["in", "total"]) or {"another", "further", "again"} & set(before[-1:]):
                parts.append(quantity.value)
