"""Counts of a joint's things whose parts have names of their own: portals by their names ("first portal three-four,
then six R, and the midcarpal radial; so three portals"), implants of several sorts ("three implants: two anchors, one
screw"), sizes with an article each ("two screws, a twenty five and a thirty"), what stayed of those that were opened.

Each reader gives (number said, its noun, arithmetic) where the parts cannot come to the number.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.checks._spoken_counts import count, heads, says_total
from pipeline.records import Token

Told = tuple[int, str, str]

_ENDS = frozenset({".", ";"})


def told(read: Sequence[Token]) -> Told | None:
    """The first that cannot come to its number. Pure."""
    return _portals(read) or _sorts(read) or _bracketed(read) or _articles(read) or _of_a_series(read)


def _of_a_series(read: Sequence[Token]) -> Told | None:
    """ "Second of three today", but "fourth of three"."""
    for at, token in enumerate(read[:-2]):
        place, said = token.quantity, count(read[at + 2])
        if place is None or place.form != "ordinal" or read[at + 1].norm != "of" or said is None or place.value is None:
            continue
        behind = read[at + 3] if at + 3 < len(read) else None
        if place.value > said and said > 1 and (behind is None or behind.punctuation or behind.norm in _TODAY):
            return said, "of a series", f"number {place.value} of {said}"
    return None


_TODAY = frozenset({"today", "now", "injections", "shots", "sessions", "visits"})


# Words that name portals of the joints, alone or together. Common names, no source.
_NAMES = frozenset(
    "anterolateral anteromedial posterolateral posteromedial superolateral superomedial inferolateral inferomedial "
    "anterosuperior anteroinferior posterocentral midanterior mid anterior posterior lateral medial distal proximal "
    "accessory direct central transpatellar transtendon trans neviaser wilmington midcarpal radial ulnar mcr mcu dala "
    "mala al am pl pm aspl asp ap pap accessory soft spot high low subacromial midlateral peritrochanteric "
    "superior inferior pole rotator interval anterolaterally posterolaterally r u viewing working".split()
)
_ITEM_WORDS = frozenset("a an the first second third fourth one two another usual standard portal portals made for at "
                        "through then i and dry wet".split())  # fmt: skip
_SPLITS = frozenset({",", "then", "and", "+", "/", "plus", ";"})
_BACK = 40  # tokens of a list


def _portals(read: Sequence[Token]) -> Told | None:
    """Where everything between the word and its number is a name."""
    for at, token in enumerate(read):
        said = count(token)
        if said is None or said < 2:
            continue
        behind = read[at + 1].norm if at + 1 < len(read) else ""
        led = at > 0 and read[at - 1].norm in ("so", "=", "total", "(", "makes", "making")
        if not led and behind == "portals" and at and read[at - 1].norm == ",":
            if (number := _whole_sentence(read, at - 1)) is not None and number not in (1, said):
                return said, "portals", f"{number} named, said: {said}"
            continue
        if not led or not (behind == "portals" or read[at - 1].norm in ("=", "(", "total")):
            continue
        end = at - 1
        while end > 0 and read[end - 1].norm in (",", ";", "that", "so", "portals"):
            end -= 1
        start = next((place for place in range(end - 1, max(-1, at - _BACK), -1)
                      if read[place].norm in ("portal", "portals")), None)  # fmt: skip
        first = start
        while first is not None and first > 0 and read[first - 1].norm not in _ENDS and (
            read[first - 1].norm in _NAMES | _SPLITS | _ITEM_WORDS
        ):  # fmt: skip
            first -= 1
        if first is None or start is None:
            continue
        number = _names(read[first:end])
        if number is not None and number > 1 and number != said:
            return said, "portals", f"{number} named, said: {said}"
    return None


def _whole_sentence(read: Sequence[Token], end: int) -> int | None:
    """ "Proximal medial, anterolateral and posterior, three portals": how many are named from the head of the sentence
    on, where nothing else is said."""
    first = end
    while first > 0 and read[first - 1].norm in _NAMES | _SPLITS | _ITEM_WORDS:
        first -= 1
    return _names(read[first:end]) if first == 0 or read[first - 1].norm in _ENDS else None


def _names(listed: Sequence[Token]) -> int | None:
    """How many portals a list names; None where an item of it is no name."""
    items: list[list[Token]] = [[]]
    for token in listed:
        if token.norm in _SPLITS or token.norm == ":" or (token.quantity is not None and (
            token.quantity.form == "ordinal"
        )):  # fmt: skip
            items.append([])
        else:
            items[-1].append(token)
            if token.norm == "portal":
                items.append([])  # "a posterior portal an anterior portal"
    named = 0
    for item in items:
        words = [token for token in item if token.norm not in _ITEM_WORDS]
        while words and words[-1].quantity is not None and words[-1].quantity.form == "clock":
            words.pop()
        if not words:
            continue
        if any(token.norm in ("standard", "usual") or count(token) not in (None, 1) and token.norm not in ("#number",)
               for token in item):  # fmt: skip
            return None
        if not all(token.norm in _NAMES or token.norm in ("#number", "#code", "-") for token in words):
            return None
        named += 1
    return named


_SORTED = frozenset({"implants", "pieces", "devices", "components"})
_SORTS = frozenset("anchor anchors screw screws button buttons plate plates staple staples pin pins wire wires washer "
                   "washers endobutton tape suture cage nail cap plug plugs".split())  # fmt: skip


def _bracketed(read: Sequence[Token]) -> Told | None:
    """ "One button and one 7 x 10 mm tenodesis screw (2 implants)": what its sentence counted before the bracket."""
    for at in range(2, len(read) - 2):
        said = count(read[at])
        if said is None or said < 2 or read[at - 1].norm != "(" or read[at + 1].norm not in _SORTED:
            continue
        start = next((place + 1 for place in range(at - 1, -1, -1) if read[place].norm in _ENDS), 0)
        parts: list[int] = []
        for place in range(start, at - 1):
            number = count(read[place])
            ahead = read[place + 1 : min(at - 1, place + 1 + _TO_SORT)]
            named = next((token for token in ahead if token.norm in _SORTS or token.norm in (",", "and")), None)
            crossed = bool({"x", "by"} & {token.norm for token in read[max(0, place - 1) : place + 2]})
            if number is not None and named is not None and named.norm in _SORTS and not crossed:
                parts.append(number)
        if len(parts) > 1 and sum(parts) != said:
            return said, read[at + 1].norm, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {said}"
    return None


_TO_SORT = 7  # tokens from a count to its thing, over its size


def _sorts(read: Sequence[Token]) -> Told | None:
    """ "Three implants: two anchors, one screw": every part is a count with a thing of its own."""
    for head in heads(read):
        at = head.last + 1
        if head.noun not in _SORTED or at >= len(read) or read[at].norm not in (":", ",", "("):
            continue
        parts: list[int] = []
        at += 1
        while at < len(read) and read[at].norm not in _ENDS | {")"}:
            number = count(read[at]) or (1 if read[at].norm in ("a", "an") else None)
            thing = next((place for place in range(at + 1, min(len(read), at + 4)) if read[place].norm in _SORTS), None)
            if number is None or thing is None:
                break
            parts.append(number)
            at = thing + 1
            while at < len(read) and read[at].norm in (",", "and", "+"):
                at += 1
        ends = at >= len(read) or read[at].norm in _ENDS | {")"}
        if len(parts) > 1 and sum(parts) != head.number and (ends or sum(parts) > head.number):
            return head.number, head.noun, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {head.number}"
    return None


def _articles(read: Sequence[Token]) -> Told | None:
    """ "Two screws, a twenty five and a thirty": one size with an article for each."""
    for head in heads(read):
        at = head.last + 1
        if at >= len(read) or read[at].norm not in (",", ":") or head.noun not in _SORTS:
            continue
        sizes = 0
        at += 1
        while at + 1 < len(read) and read[at].norm in ("a", "an", "one", "another") and _is_size(read[at + 1]):
            sizes, at = sizes + 1, at + 2
            while at < len(read) and read[at].norm in (",", "and"):
                at += 1
        if sizes > 1 and sizes != head.number and not says_total(read, head.first):
            return head.number, head.noun, f"{sizes} sizes, said: {head.number}"
    return None


_LEAST = 4  # a smaller number after an article may count


def _is_size(token: Token) -> bool:
    quantity = token.quantity
    return quantity is not None and quantity.form == "number" and quantity.value is not None and (
        quantity.dimension == "length" or (not quantity.dimension and quantity.value > _LEAST)
    )
