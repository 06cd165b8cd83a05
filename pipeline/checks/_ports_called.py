"""Ports called out by their size, against how many were said: "six ports: three eights, one twelve and one five"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.checks._spoken_counts import count
from pipeline.records import Token

_PORTS = frozenset({"ports", "trocars"})
_PLURALS = frozenset("threes fives eights tens elevens twelves fifteens".split())
_SIZES = frozenset({3, 5, 8, 10, 11, 12, 15})  # mm
_RUN = frozenset({112, 110, 115})  # "one twelve", heard as one number
_ARTICLES = frozenset({"a", "an", "another"})
_ROLES = frozenset("assistant airseal camera optical hand".split())
_SORTS = _ROLES | frozenset("robotic da vinci xi standard metal plastic bladeless disposable reusable port".split())
_LEADS = frozenset({":", ",", "in", "all", "total", "altogether", "(", "-"})


def wrong(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """(number, noun, arithmetic) of the first number that the ports told behind it do not come to; nothing where a
    number among them was not understood. Pure."""
    for said, noun, parts in _called(read):
        if sum(parts) != said:
            return said, noun, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {said}"
    return None


def agrees(read: Sequence[Token]) -> bool:
    """Whether a number of ports was told with a row of them that comes to it: two alike may be one entry."""
    return any(sum(parts) == said for said, _, parts in _called(read))


def _called(read: Sequence[Token]) -> Iterator[tuple[int, str, list[int]]]:
    """(number, its noun, the parts of the row behind it)."""
    for at in range(len(read) - 2):
        said = count(read[at])
        if said is None or said < 2 or read[at + 1].norm not in _PORTS:
            continue
        place = at + 2
        while place < len(read) and read[place].norm in _LEADS:
            place += 1
        parts = _row(read[place:])
        if parts is not None and len(parts) > 1:
            yield said, read[at + 1].norm, parts


def _row(read: Sequence[Token]) -> list[int] | None:
    parts: list[int] = []
    plural = at = 0
    while at < len(read) and read[at].norm not in (".", ";"):
        quantity = read[at].quantity
        article = read[at].norm in _ARTICLES and at + 1 < len(read) and _size(read[at + 1])
        if quantity is None and not article and read[at].norm != "one":
            at += 1
            continue
        if plural and quantity is not None and quantity.form == "clock":
            break  # "... and one five, docked at eight twenty five"
        if quantity is not None and (quantity.form != "number" or quantity.dimension):
            return None
        if quantity is not None and quantity.value in _RUN:
            parts.append(1)
            at += 1
            continue
        number = 1 if article else count(read[at])
        behind = at + 1
        while behind < len(read) and read[behind].norm in _SORTS:
            behind += 1
        sized = behind < len(read) and (read[behind].norm in _PLURALS or (number == 1 and _size(read[behind])))
        alone = number == 1 and behind > at + 1 and read[at + 1].norm in _ROLES
        if number is None or not (sized or alone):
            return None
        plural += sized and read[behind].norm in _PLURALS
        parts.append(number)
        at = behind + bool(sized)
    return parts if plural else None


def _size(token: Token) -> bool:
    quantity = token.quantity
    return quantity is not None and not quantity.dimension and quantity.form == "number" and quantity.value in _SIZES
