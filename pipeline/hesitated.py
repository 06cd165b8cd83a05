"""A value said again behind a sound of hesitation and nothing else: "blood loss ten millilitres er five millilitres".

It may be a correction or a list: both values stay, in doubt, as behind "actually". So do those of a sentence that was
broken off: "ten millilitres ... five millilitres".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from pipeline.records import Evidence, Strike, Token, Word
from pipeline.restated import Draft, said_by

_BROKEN_OFF = frozenset({"...", "…"})
_BREAKS = _BROKEN_OFF | {","}
_CORRECTING = frozenset({"er", "erm", "uh", "uhm"})  # "um" and "hm" are thinking


def settle(draft: Draft, words: Sequence[Word]) -> None:
    """Marks both of two values with one unit that stand side by side, parted by a hesitation alone."""
    told = [(index, token) for index, token in enumerate(draft.tokens) if token.norm not in _BREAKS]
    beside = [*pairwise(told), *((told[at], told[at + 2]) for at in range(len(told) - 3) if _of_one_noun(told, at))]
    for (before, one), (index, other) in beside:
        if one.quantity is None or not _are_alike(one, other):
            continue
        between = [word for word in words if one.first <= word.id < other.first
                   and word.text.lower().strip(",.") in _CORRECTING]  # fmt: skip
        broken = [token for token in draft.tokens[before + 1 : index] if token.norm in _BROKEN_OFF]
        if between or broken:
            at = between[-1] if between else broken[-1]
            heard = said_by(words, [Token("", "", at.id if isinstance(at, Word) else at.first, at.last)])
            nothing = Evidence(other.first, other.first, None, None, "")
            draft.strikes.append(Strike(nothing, heard, index, False))
    _more_exactly(draft, words)


def _more_exactly(draft: Draft, words: Sequence[Word]) -> None:
    """ "The kit gives two, two and a half": a whole number and right behind it, alone, the same with a part. The second
    is what was read off and holds, in doubt, since two things may be told; the first is shown as taken back."""
    for index in range(len(draft.tokens) - 3, -1, -1):
        one, comma, other = draft.tokens[index : index + 3]
        if comma.norm != "," or not _is_same_and_more(one, other):
            continue
        around = (*draft.tokens[max(0, index - 2) : index], *draft.tokens[index + 3 : index + 5])
        if other.quantity is None or any(token.norm in _LISTS or token.quantity is not None for token in around):
            continue
        if one.quantity is not None and one.quantity.value == other.quantity.value:
            draft.tokens[index : index + 3] = [replace(other, first=one.first)]  # "forty, forty milligrams"
            continue
        doubt = f"said as {one.text}, and more exactly right behind it"
        said = said_by(words, [one])
        draft.tokens[index : index + 3] = [
            replace(other, quantity=replace(other.quantity, doubts=(*other.quantity.doubts, doubt)))
        ]
        draft.strikes.append(Strike(said, said_by(words, [other]), index))


_LISTS = frozenset({",", ":", "and", "then", ";", "each", "plus", "respectively"})


def _is_same_and_more(one: Token, other: Token) -> bool:
    first, second = one.quantity, other.quantity
    if first is None or second is None or first.form != "number" or first.unit or first.value is None:
        return False
    if second.value is None or second.form not in ("number", "fraction") or first.value != int(first.value):
        return False
    again = first.value == second.value and second.dimension in _DOSED  # "five, five millilitres" may be two draws
    return again or 0 < second.value - first.value < 1


_DOSED = frozenset({"mass", "amount", "catalytic"})


def _of_one_noun(told: Sequence[tuple[int, Token]], at: int) -> bool:
    """ "Two anchors, erm, three anchors"."""
    noun, again = told[at + 1][1].norm, told[at + 3][1].norm
    return noun.isalpha() and noun.rstrip("s") == again.rstrip("s")


def _are_alike(one: Token, other: Token) -> bool:
    first, second = one.quantity, other.quantity
    return first is not None and second is not None and first.unit == second.unit and (
        first.form == second.form == "number" and first.value != second.value
    )
