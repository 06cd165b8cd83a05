"""Rows of words and numbers that tell what ran in and came out: "in six litres out five point eight", "in 3000 out 1900
deficit 900"."""

from __future__ import annotations

from pipeline.records import Sentence

# "1,850 mL in, 1,600 mL out"
DIRECTIONS = {
    "in": "irrigation_in", "out": "irrigation_out", "back": "irrigation_out", "returned": "irrigation_out",
    "recovered": "irrigation_out", "retrieved": "irrigation_out",
}  # fmt: skip
TO = frozenset({"in", "out", "back"})


def led(sentence: Sentence) -> dict[int, tuple[str, int]]:
    """ "In six litres out five point eight": the words lead their numbers, and the second may have left its unit out.
    Where a number stands before the first word too, the words may as well follow theirs."""
    if row := _account(sentence):
        return row
    tokens = sentence.tokens
    for at in range(len(tokens) - 3):
        words, numbers = (tokens[at].norm, tokens[at + 2].norm), (tokens[at + 1].quantity, tokens[at + 3].quantity)
        if words not in _ROWS or any(one is None or one.dimension not in ("volume", "") for one in numbers):
            continue
        before = tokens[at - 1].quantity if at else None
        if before is not None and (before.dimension not in ("volume", "") or _pumps(sentence, at - 1)):
            before = None  # "pump thirty five in seven litres out six point six"
        after = tokens[at + 4].norm if at + 4 < len(tokens) else ""
        if before is None and after not in TO and any(one is not None and one.unit for one in numbers):
            return {at + 1: (DIRECTIONS[words[0]], at), at + 3: (DIRECTIONS[words[1]], at + 2)}
    return {}


def _account(sentence: Sentence) -> dict[int, tuple[str, int]]:
    """ "In 3000 out 1900 deficit 900", "four litres in, 3300 back, deficit 700": an account of three or more, in which
    every word leads its number, or follows it and leads that of the deficit at the end."""
    row: list[tuple[int, str]] = []  # where, and the way of a word or "" of a number
    rows = [row]
    for at, token in enumerate(sentence.tokens):
        quantity = token.quantity
        if quantity is not None and quantity.form == "number" and quantity.dimension in ("volume", ""):
            row.append((at, ""))
        elif (way := _ACCOUNT.get(token.norm)) is not None:
            row.append((at, way))
        elif quantity is not None or token.norm not in _IN_ACCOUNT:
            row = []
            rows.append(row)
    for row in rows:
        leads = list(zip(row[::2], row[1::2], strict=False))
        if len(row) % 2 or len(leads) < _ENTRIES or not any(way == "irrigation_deficit" for _, way in row):
            continue
        if all(word[1] and not number[1] for word, number in leads):
            return {number: (way, at) for (at, way), (number, _) in leads}
        if not all(word[1] and not number[1] for number, word in leads[:-1]):
            continue
        first, second = leads[-1]
        if bool(first[1]) != bool(second[1]):
            word, number = (first, second) if first[1] else (second, first)
            told = {at: (way[1], way[0]) for (at, _), way in leads[:-1]}
            return told | {number[0]: (word[1], word[0])}
    return {}


_ACCOUNT = DIRECTIONS | {"deficit": "irrigation_deficit", "inflow": "irrigation_in", "outflow": "irrigation_out"}
_IN_ACCOUNT = frozenset(", ; : and of was were is a the came saline glycine sorbitol fluid with so then".split())
_ENTRIES = 3


def _pumps(sentence: Sentence, index: int) -> bool:
    """Whether a bare number is that of the pump."""
    lead = [token.norm for token in sentence.tokens[max(0, index - 3) : index]]
    return bool(_PUMP & set(lead)) and all(norm in _PUMP | _AT_PUMP for norm in lead[-1:])


_PUMP, _AT_PUMP = frozenset({"pump", "pressure"}), frozenset({"at", "set", "to", "of", "was"})
_ROWS = (("in", "out"), ("out", "in"))
