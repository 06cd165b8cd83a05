"""A value said again behind a sound of hesitation and nothing else: "blood loss ten millilitres er five millilitres".

It may be a correction or a list: both values stay, in doubt, as behind "actually".
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline.records import Evidence, Strike, Token, Word
from pipeline.restated import Draft, said_by

_CORRECTING = frozenset({"er", "erm", "uh", "uhm"})  # "um" and "hm" are thinking


def settle(draft: Draft, words: Sequence[Word]) -> None:
    """Marks both of two values with one unit that stand side by side, parted by a hesitation alone."""
    for index, (one, other) in enumerate(pairwise(draft.tokens)):
        if one.quantity is None or not _are_alike(one, other):
            continue
        between = [word for word in words if one.first <= word.id < other.first
                   and word.text.lower().strip(",.") in _CORRECTING]  # fmt: skip
        if between:
            heard = said_by(words, [Token("", "", between[-1].id, between[-1].last)])
            nothing = Evidence(other.first, other.first, None, None, "")
            draft.strikes.append(Strike(nothing, heard, index + 1, False))


def _are_alike(one: Token, other: Token) -> bool:
    first, second = one.quantity, other.quantity
    return first is not None and second is not None and first.unit is not None and first.unit == second.unit and (
        first.form == second.form == "number" and first.value != second.value
    )
