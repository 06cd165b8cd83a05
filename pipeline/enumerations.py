"""Which numbers are told off one after the other: "five, five, four and five millilitres"."""

from __future__ import annotations

from pipeline import owners
from pipeline.records import Quantity, Token

_JOINERS = frozenset({",", "and", "then", "another", "/", "by", "x", "\u00d7", "plus", "&"})


def members(tokens: tuple[Token, ...], index: int) -> tuple[int, ...]:
    """The indexes of the enumeration that the number at `index` belongs to, itself included, in order."""
    quantity = tokens[index].quantity
    if quantity is None or quantity.form not in ("number", "fraction"):
        return (index,)

    def step(at: int, way: int) -> int | None:
        """The next number that way, if only joining words lie between."""
        at += way
        joined = False
        while 0 <= at < len(tokens) and tokens[at].norm in _JOINERS:
            joined = True
            at += way
        if not joined or not 0 <= at < len(tokens):
            return None
        other = tokens[at].quantity
        if _at_moment(tokens, min(at, index)):
            return None  # "two grams at eight and two more at twelve"
        return at if other is not None and other.form in ("number", "fraction") else None

    found = [index]
    while (following := step(found[-1], 1)) is not None:
        found.append(following)
    while (before := step(found[0], -1)) is not None:
        found.insert(0, before)
    # Cut at every member that has a unit and is followed by one with a different unit or "of".
    runs: list[list[int]] = [[]]
    if len(found) == 2 and {token.norm for token in tokens[found[0] + 1 : found[1]]} == {","}:
        first, second = (tokens[member].quantity for member in found)
        if _unit(first) is None and _unit(second) is not None:
            return (index,)  # "tube seven point five, twenty gauge cannula"
    if len(found) == 2 and owners.of_its_own(tokens, *found):
        return (index,)
    for place, member in enumerate(found):
        if place and _starts_anew(tokens, found[place - 1], member):
            runs.append([])
        runs[-1].append(member)
        unit = tokens[member].quantity
        follows = tokens[member + 1].norm if member + 1 < len(tokens) else ""
        if unit is not None and unit.unit is not None and follows == "of":
            runs.append([])
    run = next(run for run in runs if index in run)
    last = tokens[run[-1]].quantity
    if last is not None and last.dimension not in ("", "length", "area") and _multiplied(tokens, run):
        return (index,)  # "5 x 2 cc": five times two
    units = [_unit(tokens[member].quantity) for member in run]
    if all(unit is None for unit in units) or (all(unit is None for unit in units[:-1])):
        return tuple(run)
    joined = {tokens[at].norm for at in range(run[0], run[-1])}
    if len(set(units)) == 1 and (len(run) > 2 or joined & {"and", "by", "x", "\u00d7"}):
        return tuple(run)
    return (index,)


def _at_moment(tokens: tuple[Token, ...], index: int) -> bool:
    """Whether a bare number behind "at" may be a time of day."""
    quantity = tokens[index].quantity
    return index > 0 and tokens[index - 1].norm == "at" and quantity is not None and not quantity.dimension


def _starts_anew(tokens: tuple[Token, ...], before: int, member: int) -> bool:
    """ "6.5 x 45 mm, two rods": a list has its unit at the end, so that what is bare after it begins another."""
    first, second = tokens[before].quantity, tokens[member].quantity
    if owners.tells_move(tokens, before, member):
        return True  # "five, ten, fifteen, then a turn"
    if first is None or second is None or first.unit is None:
        return False
    if second.unit is not None:
        return first.dimension != second.dimension  # "4 cm, 310 g"
    return not any(token.norm in ("x", "by", "\u00d7") for token in tokens[before:member])


def _multiplied(tokens: tuple[Token, ...], run: list[int]) -> bool:
    return any(token.norm in ("x", "by", "\u00d7") for token in tokens[run[0] : run[-1]])


def _unit(quantity: Quantity | None) -> str | None:
    return quantity.unit if quantity is not None else None
