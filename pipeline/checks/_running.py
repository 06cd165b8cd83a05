"""Numbers that run up from one to the next, and what came off one place after the other, against what they come to.

"Ten, twenty, thirty, and after a new hole forty, so forty in the bag"; "eleven millilitres off ... now the left, twenty
off, so thirty one in total".
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal

from pipeline.checks import _stated_more
from pipeline.checks.base import amount, plain
from pipeline.records import Token

_LEAST, _APART = 4, 7  # numbers of a run, tokens between two of them
_GOES_ON = frozenset("in of altogether total all".split())


def told(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """(place of the number behind "so", arithmetic) where it is not the one that the numbers before it ran up to."""
    run: list[Decimal] = []
    last = 0
    for at, token in enumerate(tokens):
        value = _stated_more.bare(token)
        if value is None and token.quantity is not None and token.quantity.unit == "mL":
            value = token.quantity.value
        if value is None:
            continue
        near = at - last <= _APART
        if len(run) >= _LEAST and near and _stated_more.is_led(tokens, at) and _is_amount(tokens, at):
            if value not in (run[-1], sum(run), len(run)):
                yield at, f"{', '.join(plain(one) for one in run)}, said: {plain(value)}"
            run = []
        elif run and near and value > run[-1] and (len(run) < 2 or value - run[-1] == run[1] - run[0]):
            run.append(value)
        else:
            run = [value]
        last = at


def _is_amount(tokens: Sequence[Token], at: int) -> bool:
    """Whether a number is no count of the noun behind it."""
    after, quantity = tokens[at + 1] if at + 1 < len(tokens) else None, tokens[at].quantity
    plain_end = after is None or after.punctuation or after.norm in _GOES_ON
    return plain_end or (quantity is not None and quantity.unit == "mL")


def offs_of(tokens: Sequence[Token]) -> list[Decimal]:
    """Volumes that a sentence says came off, in millilitres."""
    return [token.quantity.value for at, token in enumerate(tokens)
            if token.quantity is not None and token.quantity.unit == "mL" and token.quantity.value is not None
            and not token.quantity.comparator and _stated_more.is_off(tokens, at)]  # fmt: skip


def off(
    tokens: Sequence[Token], earlier: Sequence[Decimal], is_total: Callable[[Sequence[Token], int], bool]
) -> Iterator[tuple[int, str]]:
    """A total right behind what came off, against all that came off: here and, `earlier`, in the sentences before."""
    for at, token in enumerate(tokens):
        quantity = token.quantity
        if quantity is None or quantity.unit != "mL" or quantity.value is None or not is_total(tokens, at):
            continue
        before = [place for place in range(at) if tokens[place].quantity is not None]
        if not before or not _stated_more.is_off(tokens, before[-1]):
            continue
        parts = [*earlier, *offs_of(tokens[:at])]
        sums = [sum(parts[-number:], Decimal(0)) for number in range(1, len(parts) + 1)]
        if len(parts) > 1 and quantity.value not in sums:
            terms = " + ".join(plain(one) for one in parts)
            yield at, f"{terms} = {amount(sums[-1], 'mL')}, said: {amount(quantity.value, 'mL')}"
