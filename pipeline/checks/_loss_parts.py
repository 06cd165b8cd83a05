"""Blood loss told with what it is made of: "swabs weighed six hundred and suction two hundred, so loss is eight
hundred", "seven hundred in the bottle of which three hundred is wash, so four hundred lost"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import product

from pipeline.checks.base import amount
from pipeline.conversion import convert
from pipeline.records import Token

_HELD = frozenset("swabs swab sponges suction sucker drape drapes bottle bottles canister canisters packs pack bag "
                  "floor pads pad linen weighed weighing laps towels wash washout irrigation saline liquor "
                  "amniotic".split())  # fmt: skip
_TAKEN_OFF = frozenset("wash washout irrigation saline liquor amniotic minus less which".split())
_LOSS = frozenset({"loss", "lost", "ebl", "qbl", "blood"})
_LEADS = frozenset({"so", "=", "makes", "making", "total", "totalling", "altogether", "giving", "that's", "thats"})
_NEAR, _TO_SUM, _LEAST, _MOST = 4, 5, 2, 6  # tokens to what holds it and to the sum; parts


def told(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """(token of the sum, arithmetic) where no sum and no difference of the parts is the loss. Pure."""
    norms = [token.norm for token in tokens]
    if not _LOSS & set(norms) or not _HELD & set(norms):
        return
    parts: list[tuple[int, Decimal]] = []
    for at in range(len(tokens)):
        value = _millilitres(tokens[at])
        if value is None:
            continue
        lead = set(norms[max(0, at - _TO_SUM) : at])
        near = set(norms[max(0, at - _TO_SUM) : at + _NEAR])
        if lead & _LEADS and near & _LOSS and len(parts) >= _LEAST:
            values = [one for _, one in parts[-_MOST:]]
            signs = (1, 0, -1) if _TAKEN_OFF & set(norms) else (1, 0)
            sums = {sum((sign * one for sign, one in zip(chosen, values, strict=True)), Decimal(0))
                    for chosen in product(signs, repeat=len(values))}  # fmt: skip
            if value not in sums:
                worked = " + ".join(amount(one, "") for one in values)
                yield at, f"{worked} = {amount(sum(values, Decimal(0)), 'mL')}, said: {amount(value, 'mL')}"
            return
        if set(norms[max(0, at - _NEAR) : at + _NEAR]) & _HELD:
            parts.append((at, value))


def _millilitres(token: Token) -> Decimal | None:
    """Millilitres of a volume, a weight of blood as water (common practice) or a bare number of three digits."""
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.form != "number":
        return None
    if quantity.dimension == "volume" and quantity.unit is not None:
        return convert(quantity.value, quantity.unit, "mL").normalize()
    if quantity.dimension == "mass" and quantity.unit in ("g", "kg"):
        return convert(quantity.value, quantity.unit, "g").normalize()
    return quantity.value if not quantity.dimension and quantity.value >= _BARE else None


_BARE = 20  # less counts something
