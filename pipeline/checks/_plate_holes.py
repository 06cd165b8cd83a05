"""The holes of a plate against what filled them: "a seven hole plate with nine screws", "the plate has eight holes, I
filled nine", "six holes, four filled, three left empty"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.checks._spoken_counts import count
from pipeline.records import Token

Told = tuple[int, str, str]

_HOLE = frozenset({"hole", "holes"})
_PLATES = frozenset({"plate", "dcp", "lcp", "recon"})
# Between the holes and the plate: words of plates all of whose holes are in one row. Those made for the end of a bone
# have more, and count the ones of their shaft. Common practice, no source.
_STRAIGHT = frozenset(
    "third tubular 1/3 one-third one half semitubular dynamic compression lc dcp lcp recon reconstruction straight "
    "locking small large fragment narrow broad titanium steel mm - #number #length".split()
)
# Between the plate and its screws, also where it lies.
_LINKS = frozenset(
    "with and , : using by ( was held fixed went placed put laid on in to over along of onto the a left right lateral "
    "medial anterior posterior dorsal volar fibula ulna radius humerus clavicle femur tibia shaft side then".split()
)
_LINKED = 9  # tokens from the plate to the count of its screws
_MOST = 24
_FILLED = frozenset({"filled", "fill", "used", "occupied", "took", "taken"})
_EMPTY = frozenset({"empty", "open", "unfilled", "free", "unused"})
_THINGS = frozenset("of the them holes hole were was with screws left i we remained are stay stays stayed "
                    "remain".split())  # fmt: skip
_SUMS = frozenset({"together", "total", "altogether", "so", "all"})
_SORTS = 4  # words between the holes and their plate
_REACH = 30  # tokens from the holes to how many were filled


def more_screws(read: Sequence[Token]) -> Told | None:
    """(screws, "screws", arithmetic) of the first plate with more screws than holes. Pure."""
    for at in range(len(read) - 1):
        holes = _holes(read, at)
        if holes is None:
            continue
        if (told := _filled(read, at + 2, holes)) is not None:
            return told
        plate = at + 2
        while plate < len(read) and read[plate].norm not in _PLATES and _is_straight(read[plate]):
            plate += 1
        if at and read[at - 1].norm == "plate":
            plate = at + 1  # "plate, 7 holes"
        elif plate >= len(read) or read[plate].norm not in _PLATES:
            continue
        for place in range(plate + 1, min(len(read) - 1, plate + 1 + _LINKED)):
            screws = count(read[place])
            if screws is None:
                if read[place].norm not in _LINKS | _PLATES:
                    break
                continue
            nouns = [token.norm for token in read[place + 1 : place + 3]]
            if nouns[0] == "screws" or (nouns[1:] == ["screws"] and nouns[0] in ("cortical", "cortex", "locking")):
                if holes < screws <= _MOST:
                    return screws, "screws", f"{holes} holes, said: {screws} screws"
            break
    return None


def _holes(read: Sequence[Token], at: int) -> int | None:
    holes = count(read[at])
    return holes if holes is not None and holes > 1 and read[at + 1].norm in _HOLE else None


def _filled(read: Sequence[Token], start: int, holes: int) -> Told | None:
    """How many holes were said to be filled and left empty, against how many there are."""
    if not any(token.norm in _PLATES | {"plates"} for token in read):
        return None
    filled = empty = screws = None
    own = bool({token.norm for token in read[max(0, start - 4) : start]} & _PLATES)
    for at in range(start, min(len(read), start + _REACH)):
        if read[at].norm in ("plate", "plates") and (own or at > start + _SORTS):
            break  # another one
        own = own or read[at].norm in _PLATES
        number = count(read[at])
        if number is None or number > _MOST:
            continue
        before = [token.norm for token in read[max(start, at - 3) : at]]
        behind = [token.norm for token in read[at + 1 : at + 5]]
        if "screws" in behind[:3] and _SUMS & {*before, *behind[:4]}:
            screws = number
        of_them = behind[:2] == ["of", "them"] or behind[:3] == ["of", "the", "holes"] or behind[:1] == ["holes"]
        near = next((norm for norm in behind if norm not in _THINGS), "")
        if near in _EMPTY or before[-1:] == ["leaving"]:
            empty = number
        elif near in _FILLED or before[-1:] and before[-1] in _FILLED or (of_them and {"screws", "all"} & set(before)):
            filled = number
        elif behind[:1] == ["holes"] or behind[:1] == ["hole"]:
            break  # those of another plate
    filled = screws if filled is None and empty is not None else filled
    if filled is not None and (filled > holes or (empty is not None and filled + empty != holes)):
        rest = f" filled, {empty} empty" if empty is not None else " filled"
        return filled, "holes", f"{holes} holes, said: {filled}{rest}"
    return None


def _is_straight(token: Token) -> bool:
    return token.norm in _STRAIGHT or (token.quantity is not None and token.quantity.form in ("ordinal", "fraction"))
