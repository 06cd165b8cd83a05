"""Sums that are told in brackets, of a loss by where it was caught, of each side and of minutes. Each reader gives
(place of what is said to be the sum, arithmetic); `stated_sums` tells them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline.checks import _containers, _loss_parts, _stated_more, _with_agent
from pipeline.checks.base import amount, plain
from pipeline.records import Quantity, Token

InUnit = Callable[[Quantity | None, str | None], Decimal | None]
IsTotal = Callable[[Sequence[Token], int], bool]

_SUMMED = frozenset({"mass", "volume", "amount", "catalytic", "fraction"})
_CLOSE, _FAR = 5, 12  # tokens
_CAUGHT = frozenset("suction sucker canister swabs sponges laps drapes pads bag floor".split())
_LOST = frozenset("loss lost ebl qbl".split())


def told(tokens: Sequence[Token], in_unit: InUnit, is_total: IsTotal) -> Iterator[tuple[int, str]]:
    """All of them. `in_unit`: the exact value of an amount in a unit; `is_total`: whether a number is said to be a sum.
    """
    yield from _containers.told(tokens)
    yield from _loss_parts.told(tokens)
    yield from _in_brackets(tokens, in_unit)
    yield from _sides_bracketed(tokens, in_unit)
    yield from _runs(tokens, in_unit)
    yield from _each_side(tokens, in_unit)
    yield from _minutes_in_all(tokens, in_unit, is_total)
    yield from _lost(tokens, in_unit)
    yield from _all_given(tokens, in_unit)
    yield from _with_agent.told(tokens)


def _each_side(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "10 mL each side (20 mL)"."""
    for at, token in enumerate(tokens[:-4]):
        each = token.quantity
        if each is None or each.value is None or each.dimension not in _SUMMED or tokens[at + 2].norm != "side":
            continue
        said = in_unit(tokens[at + 4].quantity, each.unit)
        if tokens[at + 1].norm not in ("each", "per") or tokens[at + 3].norm != "(" or said is None:
            continue
        if said not in (each.value, each.value * 2):
            worked = amount(each.value * 2, each.unit)
            yield at + 4, f"2 x {amount(each.value, each.unit)} = {worked}, said: {amount(said, each.unit)}"


def _runs(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "Up 08:12, down 09:32 (80 min); up 09:50, down 10:20 (30 min); total 110 min"."""
    parts: list[Decimal] = []
    for at in range(1, len(tokens)):
        minutes = in_unit(tokens[at].quantity, "min")
        if tokens[at].norm == ".":
            parts = []
        elif minutes is None:
            continue
        elif tokens[at - 1].norm == "(" and at + 1 < len(tokens) and tokens[at + 1].norm == ")":
            parts.append(minutes)
        elif len(parts) > 1 and tokens[at - 1].norm in ("total", "=", "together") and minutes not in (
            sum(parts), *parts
        ):  # fmt: skip
            terms = " + ".join(plain(one) for one in parts)
            yield at, f"{terms} = {plain(sum(parts, Decimal(0)))} min, said: {plain(minutes)} min"


_SIDES = {"l": "left", "r": "right", "left": "left", "right": "right"}


def _sides_bracketed(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "R 12 mL clear, L 6 mL clear (18 mL)": one amount of either side, and what both come to in brackets."""
    for at in range(2, len(tokens) - 2):
        whole = tokens[at].quantity
        alone = tokens[at - 1].norm == "(" and tokens[at + 1].norm == ")"
        if not alone or whole is None or whole.value is None or whole.dimension not in _SUMMED:
            continue
        told: dict[str, Decimal] = {}
        for place in range(at - 2, 0, -1):
            value = in_unit(tokens[place].quantity, whole.unit)
            side = _SIDES.get(tokens[place - 1].norm)
            if tokens[place].norm in (".", ";") or (value is not None and (side is None or side in told)):
                break
            if value is not None and side is not None:
                told[side] = value
        worked = sum(told.values(), Decimal(0))
        if len(told) == len({*_SIDES.values()}) and whole.value not in (worked, *told.values()):
            terms = " + ".join(plain(one) for one in reversed(told.values()))
            yield at, f"{terms} = {amount(worked, whole.unit)}, said: {amount(whole.value, whole.unit)}"


def _in_brackets(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "680 mL (520 suction + 160 laps)": the parts of an amount, in brackets right behind it."""
    for at, token in enumerate(tokens[:-1]):
        whole = token.quantity
        if whole is None or whole.value is None or whole.dimension not in _SUMMED or tokens[at + 1].norm != "(":
            continue
        end = next((place for place in range(at + 2, len(tokens)) if tokens[place].norm in (")", ".")), len(tokens))
        inner = tokens[at + 2 : end]
        parts = [in_unit(part, whole.unit) if part.unit else _stated_more.bare(one)
                 for one in inner if (part := one.quantity) is not None]  # fmt: skip
        signs = sum(one.norm in ("+", "plus") for one in inner)
        known = [part for part in parts if part is not None]
        if len(known) == len(parts) == signs + 1 > 1 and sum(known) != whole.value:
            terms = " + ".join(plain(part) for part in known)
            yield at, f"{terms} = {amount(sum(known, Decimal(0)), whole.unit)}, said: {amount(whole.value, whole.unit)}"


def _minutes_in_all(tokens: Sequence[Token], in_unit: InUnit, is_total: IsTotal) -> Iterator[tuple[int, str]]:
    """ "Four minutes and three minutes, seven minutes in total": lengths in a row; a pause may be left out."""
    for at in range(len(tokens)):
        total = in_unit(tokens[at].quantity, "min")
        if total is None or not is_total(tokens, at):
            continue
        parts: list[Decimal] = []
        last = at
        for place in range(at - 1, -1, -1):
            minutes = in_unit(tokens[place].quantity, "min")
            if tokens[place].norm in (".", ";") or last - place > _CLOSE:
                break
            if minutes is not None:
                parts, last = [minutes, *parts], place
        sums = {Decimal(0)}
        for part in parts:
            sums |= {one + part for one in sums}
        if 1 < len(parts) <= _CLOSE and total not in sums:
            terms, worked = " + ".join(plain(part) for part in parts), plain(sum(parts, Decimal(0)))
            yield at, f"{terms} = {worked} min, said: {plain(total)} min"


def _lost(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "Seven hundred and fifty mils loss, six hundred in the suction and one fifty on the swabs"."""
    for at, token in enumerate(tokens):
        whole = token.quantity
        if whole is None or whole.dimension != "volume" or whole.value is None:
            continue
        if _LOST.isdisjoint([one.norm for one in (*tokens[max(0, at - 4) : at], *tokens[at + 1 : at + 2])]):
            continue
        parts: list[Decimal] = []
        for place in range(at + 1, min(len(tokens), at + 2 * _FAR)):
            value = in_unit(tokens[place].quantity, whole.unit) or _stated_more.bare(tokens[place])
            if tokens[place].norm in (".", ";"):
                break
            near = [one.norm for one in tokens[place + 1 : place + 6]]
            held = {one for one, two in pairwise([*near, ""]) if two not in ("drain", "drains")}  # "one suction drain"
            if value is not None and held & _CAUGHT:
                parts.append(value)
        if len(parts) > 1 and sum(parts) != whole.value:
            terms, worked = " + ".join(plain(part) for part in parts), amount(sum(parts, Decimal(0)), whole.unit)
            yield at, f"{terms} = {worked}, said: {amount(whole.value, whole.unit)}"


def _all_given(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "Forty milligrams in one branch and thirty five in the other, all seventy five given": what was told of the
    shares right before "all" and the number."""
    for at in range(2, len(tokens) - 1):
        said = _value_of(tokens[at])
        if said is None or tokens[at - 1].norm != "all" or tokens[at + 1].norm not in _USED:
            continue
        parts: list[Decimal] = []
        own = tokens[at].quantity
        last, unit = at, own.unit if own is not None else None
        for place in range(at - 2, -1, -1):
            value = _value_of(tokens[place])
            if tokens[place].norm in (".", ";") or last - place > _FAR:
                break
            if value is None or tokens[place + 1].norm not in _SHARED:
                continue
            quantity = tokens[place].quantity
            known = quantity.unit if quantity is not None else None
            if unit is not None and known is not None and in_unit(quantity, unit) is None:
                break
            unit = unit or known
            parts, last = [in_unit(quantity, unit) or value, *parts], place
        sums = {sum(parts[number:], Decimal(0)) for number in range(len(parts))}
        if unit is not None and len(parts) > 1 and said not in sums:
            terms, worked = " + ".join(plain(part) for part in parts), amount(sum(parts, Decimal(0)), unit)
            yield at, f"{terms} = {worked}, said: {amount(said, unit)}"


_USED = frozenset("given used in gone injected delivered went".split())
_SHARED = frozenset("in into to on at for down through behind under round around above below".split())


def _value_of(token: Token) -> Decimal | None:
    """The number of an amount, also of one without its unit."""
    quantity = token.quantity
    if quantity is None or quantity.form != "number" or quantity.comparator:
        return None
    return quantity.value if not quantity.dimension or quantity.dimension in _SUMMED else None
