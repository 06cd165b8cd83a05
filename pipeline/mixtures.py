"""In what shares things are mixed: "50:50", "half and half", "equal parts", "two to one"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from pipeline.records import Token

_PAIR = re.compile(r"(\d{1,2})\s*[:/-]\s*(\d{1,2})")
_FORMS = frozenset({"ratio", "pair", "code"})
_EQUAL = frozenset({"equal", "equals", "identical"})
_OF_EQUAL = frozenset("parts part volumes volume amounts amount proportions proportion quantities shares mixture mix "
                      "measures".split())  # fmt: skip
_MIX = frozenset("mix mixes mixed mixture ratio blend solution combination proportion dilution cocktail".split())
_MOST = 5  # "4:1"; a larger number that does not make up a hundred is no share
_NEAR, _HALVES = 4, 8  # tokens


@dataclass(frozen=True, slots=True)
class Share:
    """`parts`: one number for each thing, in the order that they are told; () for equal parts of however many.
    `first`..`last`: tokens."""

    first: int
    last: int
    parts: tuple[Decimal, ...] = ()

    def of(self, things: int) -> list[Decimal] | None:
        """The share of each of so many things, adding up to 1; None where the shares are of another number."""
        if not self.parts:
            return [Decimal(1) / things] * things
        whole = sum(self.parts, Decimal(0))
        return [part / whole for part in self.parts] if len(self.parts) == things else None


def share(tokens: Sequence[Token]) -> Share | None:
    """The first shares that a row of tokens tells; None where it tells none. Pure."""
    words = [token.norm for token in tokens]
    for at, token in enumerate(tokens):
        quantity = token.quantity
        found = None
        if quantity is not None and quantity.form in _FORMS:
            found = _pair(quantity.text or token.text)
            if found is not None:
                return Share(at, at, found)
        if quantity is not None and quantity.form == "number":
            two = _numbers(tokens, words, at)
            if two is not None:
                return two
        if words[at] in _EQUAL and words[at + 1 : at + 2] and words[at + 1] in _OF_EQUAL:
            return Share(at, at + 1)
        if _is_half(token):
            second = next((one for one in range(at + 1, min(at + _HALVES, len(words))) if _is_half(tokens[one])
                           and words[one - 1] == "and"), None)  # fmt: skip
            if second is not None:
                return Share(at, second)
    return None


def _is_half(token: Token) -> bool:
    """ "half" alone, or read as a number ("a half and half mixture"); "half percent" is none."""
    quantity = token.quantity
    return token.norm == "half" or (
        quantity is not None and not quantity.dimension and quantity.value == Decimal("0.5")
        and "half" in token.text.lower()
    )  # fmt: skip


def _pair(text: str) -> tuple[Decimal, Decimal] | None:
    match = _PAIR.fullmatch(text.strip(" ().,;"))
    if match is None:
        return None
    one, other = Decimal(match[1]), Decimal(match[2])
    spelled = ":" in text and 1 <= one <= _MOST and 1 <= other <= _MOST
    hundred = one + other == 100 and one % 10 == 0  # "lot 12-88" is no share
    return (one, other) if hundred or spelled else None


def _numbers(tokens: Sequence[Token], words: Sequence[str], at: int) -> Share | None:
    """ "fifty fifty", "two to one" beside a word for a mixture."""
    first = _whole(tokens[at])
    if first is None:
        return None
    second = _whole(tokens[at + 1]) if at + 1 < len(tokens) else None
    if second is not None and first + second == 100:
        return Share(at, at + 1, (first, second))
    if words[at + 1 : at + 2] == ["to"] and at + 2 < len(tokens):
        second = Decimal(1) if words[at + 2] == "one" else _whole(tokens[at + 2])
        near = set(words[max(0, at - _NEAR) : at]) | set(words[at + 3 : at + 3 + _NEAR])
        if second is not None and max(first, second) <= _MOST and near & _MIX:
            return Share(at, at + 2, (first, second))
    return None


def _whole(token: Token) -> Decimal | None:
    quantity = token.quantity
    if quantity is None or quantity.form != "number" or quantity.dimension or quantity.value is None:
        return None
    return quantity.value if quantity.value == int(quantity.value) and quantity.value > 0 else None
