"""Bounds that are said with a number: "less than ten", "about fifty", "twenty or less"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.ranges import plain, wide
from pipeline.records import Comparator, Quantity, Token, replace

_COMPARATORS: dict[tuple[str, ...], Comparator] = {
    ("less", "than"): "<", ("fewer", "than"): "<", ("under",): "<", ("below",): "<", ("smaller", "than"): "<",
    ("just", "under"): "<", ("up", "to"): "<=", ("at", "most"): "<=", ("no", "more", "than"): "<=",
    ("not", "more", "than"): "<=", ("maximum", "of"): "<=", ("not", "exceeding"): "<=", ("shorter", "than"): "<",
    ("more", "than"): ">", ("greater", "than"): ">", ("larger", "than"): ">", ("in", "excess", "of"): ">",
    ("just", "over"): ">", ("well", "over"): ">", ("over",): ">", ("longer", "than"): ">", ("exceeding",): ">",
    ("at", "least"): ">=", ("no", "less", "than"): ">=", ("not", "less", "than"): ">=", ("minimum", "of"): ">=",
    ("about",): "~", ("approximately",): "~", ("approx",): "~", ("approx.",): "~", ("roughly",): "~", ("around",): "~",
    ("circa",): "~", ("nearly",): "~", ("almost",): "~", ("close", "to"): "~", ("estimated", "at"): "~", ("~",): "~",
    ("≤",): "<=", ("≥",): ">=", ("<",): "<", (">",): ">", ("about", "a"): "~", ("ca.",): "~",
    ("<=",): "<=", (">=",): ">=", ("just", "about"): "~", ("well", "under"): "<", ("well", "below"): "<",
    ("max",): "<=", ("maximum",): "<=", ("not", "over"): "<=", ("not", "beyond"): "<=", ("not", "past"): "<=",
    ("at", "the", "most"): "<=",
}  # fmt: skip
# Said behind the number: "ten at most", "twenty or less", "fifty or so".
_BEHIND: dict[tuple[str, ...], Comparator] = {
    ("at", "most"): "<=", ("at", "the", "most"): "<=", ("or", "less"): "<=", ("or", "fewer"): "<=", ("max",): "<=",
    ("maximum",): "<=", ("tops",): "<=", ("if", "that"): "<=", ("or", "under"): "<=", ("or", "below"): "<=",
    ("or", "so"): "~", ("or", "thereabouts"): "~", ("or", "thereabout"): "~", ("at", "least"): ">=",
    ("at", "the", "least"): ">=", ("or", "more"): ">=", ("or", "over"): ">=", ("at", "a", "guess"): "~",
    ("give", "or", "take"): "~", ("ish",): "~",
}  # fmt: skip
_BEHIND_MOST = frozenset("of in per a an and or for to at each daily with on by from if then was were is".split())
_AMOUNTS = frozenset("loss ebl bleeding output urine pressure volume weight still".split())  # "EBL under ten"
_LAST = frozenset(words[-1] for words in _COMPARATORS)
_FIRST_BEHIND = frozenset(words[0] for words in _BEHIND)
_BLOWN = frozenset("blown pumped add adds added adding sums comes came brings brought goes got".split())


def compared(tokens: list[Token]) -> list[Token]:
    """Takes the words of a bound ("at least", "or so") into the number that they are said of."""
    index = 0
    while index < len(tokens):
        quantity = tokens[index].quantity and plain(tokens[index])
        if index and quantity is not None and tokens[index - 1].norm in _LAST:
            taken = _comparator(tokens, index, quantity)
            if taken is not None:
                sign, begin = taken
                joined = wide(tokens[begin : index + 1], replace(quantity, comparator=sign))
                tokens[begin : index + 1] = [joined]
                index = begin
        if quantity is not None:
            _compared_behind(tokens, index)
        index += 1
    return tokens


def _compared_behind(tokens: list[Token], index: int) -> None:
    quantity = tokens[index].quantity
    if quantity is None or quantity.comparator is not None or quantity.value is None:
        return
    if index + 1 == len(tokens) or tokens[index + 1].norm not in _FIRST_BEHIND:
        return
    for length in (3, 2, 1):
        sign = _BEHIND.get(tuple(token.norm for token in tokens[index + 1 : index + 1 + length]))
        following = tokens[index + 1 + length] if index + 1 + length < len(tokens) else None
        if sign is None or (following is not None and following.quantity is not None):
            continue
        if tokens[index + 1].norm in ("max", "maximum") and following is not None and following.norm.isalpha() and (
            following.norm not in _BEHIND_MOST
        ):
            return  # "seventy two kilos max ropivacaine two sixteen": of what follows
        tokens[index : index + 1 + length] = [
            wide(tokens[index : index + 1 + length], replace(quantity, comparator=sign))
        ]
        return


def _comparator(tokens: Sequence[Token], index: int, quantity: Quantity) -> tuple[Comparator, int] | None:
    for length in (3, 2, 1):
        if index >= length:
            words = tuple(token.norm for token in tokens[index - length : index])
            sign = _COMPARATORS.get(words)
            if sign is None or (words == ("up", "to") and tokens[index - 3 : index - 2] and (
                tokens[index - 3].norm in _BLOWN and index > 2
            )):
                continue  # "blown up to three hundred", "adds up to twenty": how far, no upper bound
            if words in (("over",), ("under",), ("below",), ("around",)):
                bare = not quantity.dimension and words != ("around",) and bool(
                    {token.norm for token in tokens[max(0, index - 5) : index - 1]} & _AMOUNTS
                )
                if not bare and quantity.dimension not in ("volume", "mass", "pressure") or (
                    words != ("around",) and index >= 2 and tokens[index - 2].quantity is not None
                ):
                    return None
            return sign, index - length
    return None
