"""So many things with so many others each, against how many of these there are: "3 plates x 4 screws, 14 screws",
"four anchors with two sutures each, nine sutures in all"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.checks._spoken_counts import MOST, count, says_total
from pipeline.records import Token

_LINKS = frozenset({"with", "by", "at", "each", "having", "holding", "and"})
_CLOSES = frozenset({".", ",", ";", ")", "in", "total", "all", "used", "altogether", "together", "placed", "implanted"})
_TO_WHOLE = 8  # tokens


def wrong(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """(number, noun, arithmetic) of the first number of things that is not the product. Pure."""
    for many, each, noun, end in _products(read):
        for at in range(end, min(len(read), end + _TO_WHOLE)):
            said = count(read[at])
            if said is None:
                if read[at].norm in (".", ";"):
                    break
                continue
            place = _noun_at(read, at)
            named = place is not None and read[place].norm == noun
            closes = named and place is not None and (place + 1 >= len(read) or read[place + 1].norm in _CLOSES)
            if closes or (place is None and says_total(read, at)):
                if said > each and said != many * each:
                    return said, noun, f"{many} x {each} = {many * each}, said: {said}"
            break
    return None


def explained(read: Sequence[Token], said: int) -> bool:
    """Whether a total is the product of two counts that are told as so many for each."""
    return any(many * each == said for many, each, _, _ in _products(read))


def _products(read: Sequence[Token]) -> Iterator[tuple[int, int, str, int]]:
    """(how many, of how much each, the noun of these, the token behind them)."""
    for at, token in enumerate(read):
        many = count(token)
        holder = _noun_at(read, at) if many is not None and many > 1 else None
        if many is None or holder is None:
            continue
        own = holder + 1
        linked = own < len(read) and (read[own].norm in _LINKS | {"x"} or (
            (one := read[own].quantity) is not None and one.form == "times"
        ))  # fmt: skip
        own += linked and read[own].norm in _LINKS | {"x"}
        own += own < len(read) and read[own].norm == "with"
        each = _each(read[own]) if linked and own < len(read) else None
        noun = _noun_at(read, own) if each is not None else None
        if each is None or noun is None or read[noun].norm == read[holder].norm:
            continue
        after = read[noun + 1].norm if noun + 1 < len(read) else ""
        if read[own].norm == "#times" or "each" in (after, read[holder + 1].norm) or read[holder + 1].norm == "x":
            yield many, each, read[noun].norm, noun + 1 + (after == "each")


def _each(token: Token) -> int | None:
    quantity = token.quantity
    if quantity is not None and quantity.form == "times" and quantity.value is not None:
        value = quantity.value
        return int(value) if value == int(value) and 1 < value <= MOST else None
    return count(token)


def _noun_at(read: Sequence[Token], at: int) -> int | None:
    """The plural noun that a count counts, an adjective between at most."""
    for place in range(at + 1, min(len(read), at + 3)):
        word = read[place].norm
        if read[place].quantity is not None or not word.isalpha() or word in _LINKS:
            return None
        if len(word) > 3 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
            return place
    return None
