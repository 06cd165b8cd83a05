"""Blood or marrow with what keeps it from clotting, against what both come to: "eight of citrate and fifty of blood
makes sixty", "6 mL ACD-A + 50 mL blood = 60 mL"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks.base import plain
from pipeline.records import Token

_AGENTS = frozenset("citrate acd acd-a acda anticoagulant cpd heparin heparinised heparinized".split())
_BLOOD = frozenset({"blood", "marrow", "aspirate"})
_OF = frozenset("of the his her whole venous peripheral bone sodium trisodium saline in".split())
_LEADS = frozenset("= makes making gives giving equals so that's thats total comes".split())
_CLOSES = (["in", "all"], ["in", "total"], ["in", "the"], ["all", "told"], ["altogether"], ["total"], ["together"])
_LIGHT = frozenset({"of", "a", "to", "is", "the", ",", "about", "us"})
_OFTEN = frozenset("each both twice per times every syringes tubes".split())
_APART, _BEHIND = 12, 4  # tokens between the numbers, and from a number to what it is of


def told(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """(place of the sum, arithmetic) where the two do not come to it. Pure."""
    numbers = [at for at in range(len(tokens)) if _amount(tokens[at]) is not None]
    if len(numbers) < 3 or not any(token.norm in _AGENTS for token in tokens):
        return
    if any(token.norm in _OFTEN or (token.quantity is not None and token.quantity.form == "times") for token in tokens):
        return
    for first, second, whole in zip(numbers, numbers[1:], numbers[2:], strict=False):
        kinds = {_of(tokens, first), _of(tokens, second)}
        near = second - first <= _APART and whole - second <= _APART
        if kinds != {"agent", "blood"} or not near or not _sums(tokens, second, whole):
            continue
        one, other, said = (_amount(tokens[at]) or Decimal(0) for at in (first, second, whole))
        if said != one + other and said > max(one, other):
            yield whole, f"{plain(one)} + {plain(other)} = {plain(one + other)} mL, said: {plain(said)} mL"


def _amount(token: Token) -> Decimal | None:
    quantity = token.quantity
    if quantity is None or quantity.form != "number" or quantity.comparator is not None:
        return None
    return quantity.value if quantity.unit == "mL" or not quantity.dimension else None


def _of(tokens: Sequence[Token], at: int) -> str:
    """What a number is of: "agent", "blood", or "" for neither."""
    for token in tokens[at + 1 : at + 1 + _BEHIND]:
        if token.norm in _AGENTS:
            return "agent"
        if token.norm in _BLOOD:
            return "blood"
        if token.quantity is not None or token.punctuation or token.norm not in _OF:
            break
    return ""


def _sums(tokens: Sequence[Token], last: int, whole: int) -> bool:
    """Whether the words before or behind a number tell that it is what the others come to."""
    before = [token.norm for token in tokens[last + 1 : whole]]
    while before and before[-1] in _LIGHT:
        before.pop()
    behind = [token.norm for token in tokens[whole + 1 : whole + 3]]
    closed = any(behind[: len(words)] == words for words in _CLOSES)
    return bool(before) and before[-1] in _LEADS or "that" in before[-1:] or closed
