"""So many cartridges, vials or syringes of so much, and what they come to: "three cartridges of two point two, so six
point six millilitres"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks._spoken_counts import count
from pipeline.checks.base import amount
from pipeline.records import Token

_CONTAINERS = frozenset("cartridges carpules vials ampoules ampules syringes bottles bags pots boluses doses draws "
                        "pulls spots injections shots".split())  # fmt: skip
_LINKS = frozenset({"of", "x", "\u00d7", "at", "each", ","})
_LEADS = frozenset({"so", "=", "making", "makes", "that's", "thats", "giving", "altogether"})
_SUMMED = frozenset({"volume", "mass", "amount"})
_TO_SIZE, _TO_SUM = 3, 6


def told(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """(token of the sum, arithmetic) where the sum is neither the product nor one of its factors. Pure."""
    for at in range(len(tokens) - 2):
        number, last = _containers(tokens, at)
        each = next((place for place in range(last + 1, min(len(tokens), last + 1 + _TO_SIZE))
                     if tokens[place].quantity is not None), None)  # fmt: skip
        if number is None or each is None or any(word.norm not in _LINKS for word in tokens[last + 1 : each]):
            continue
        size = tokens[each].quantity
        for place in range(each + 1, min(len(tokens), each + 1 + _TO_SUM)):
            quantity = tokens[place].quantity
            if quantity is None:
                continue
            led = bool(_LEADS & {word.norm for word in tokens[each + 1 : place]})
            if not led or size is None or size.value is None or quantity.value is None or size.form != "number":
                break
            if quantity.dimension not in _SUMMED or size.unit not in (None, quantity.unit) or quantity.form != "number":
                break
            product = Decimal(number) * size.value
            if quantity.value not in (product, size.value):
                worked, said = amount(product, quantity.unit), amount(quantity.value, quantity.unit)
                yield place, f"{number} x {amount(size.value, quantity.unit)} = {worked}, said: {said}"
            break


def _containers(tokens: Sequence[Token], at: int) -> tuple[int | None, int]:
    """(how many containers, the last token that tells it): a count with its noun may be one token."""
    quantity = tokens[at].quantity
    if quantity is not None and quantity.value is not None and quantity.unit in _UNITS:
        whole = quantity.form == "number" and quantity.value == int(quantity.value) and quantity.value > 1
        return (int(quantity.value) if whole else None), at
    number = count(tokens[at])
    return (number if number and number > 1 and tokens[at + 1].norm in _CONTAINERS else None), at + 1


_UNITS = frozenset({"{cartridge}", "{vial}", "{ampoule}", "{syringe}", "{bottle}", "{bag}"})
