"""The side that a number was said with: "four mL on the left and two on the right", "left 3 mL, right 2 mL"."""

from __future__ import annotations

from pipeline.records import Laterality, Sentence

_SIDES: dict[str, Laterality] = {"left": "left", "right": "right", "lefthand": "left", "righthand": "right"}
_NO_SIDES = frozenset({"in", "over", "behind", "with", "us", "was", "were", "there", "the"})  # after "left": a verb


def side_of(sentence: Sentence, index: int) -> Laterality | None:
    """The side said between a number and its neighbours, where the sentence gives two numbers their own sides.

    Where the first number of the sentence comes after its side ("left 3 mL, right 2 mL"), every number takes the side
    before it, else the side after it. None where fewer than two sides are said, or none for this number.
    """
    sides = [(at, side) for at in range(len(sentence.tokens)) if (side := _side(sentence, at)) is not None]
    if len({side for _, side in sides}) < 2:
        return None
    numbers = [at for at, token in enumerate(sentence.tokens) if _is_like(sentence, index, at)]
    low = max((at for at in numbers if at < index), default=-1)
    high = min((at for at in numbers if at > index), default=len(sentence.tokens))
    ahead = numbers[0] < sides[0][0]
    if ahead:
        return next((side for at, side in sides if index < at < high), None)
    return next((side for at, side in reversed(sides) if low < at < index), None)


def _is_like(sentence: Sentence, index: int, at: int) -> bool:
    one, other = sentence.tokens[index].quantity, sentence.tokens[at].quantity
    if one is None or other is None or other.form not in ("number", "range", "fraction"):
        return False
    return other.dimension == one.dimension or "" in (other.dimension, one.dimension)


def _side(sentence: Sentence, at: int) -> Laterality | None:
    token = sentence.tokens[at]
    side = _SIDES.get(token.norm)
    after = sentence.tokens[at + 1].norm if at + 1 < len(sentence.tokens) else ""
    if side == "left" and after in _NO_SIDES and not _led(sentence, at):
        return None
    return side


def _led(sentence: Sentence, at: int) -> bool:
    return at > 0 and sentence.tokens[at - 1].norm in ("the", "on", "and", "her", "his")
