"""A straight plate with more screws than holes: "a seven hole tubular plate with nine screws"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.checks._spoken_counts import count
from pipeline.records import Token

_HOLE = frozenset({"hole", "holes"})
_PLATES = frozenset({"plate", "dcp", "lcp", "recon"})
# Between the holes and the plate: words of plates all of whose holes are in one row. Those made for the end of a bone
# have more, and count the ones of their shaft. Common practice, no source.
_STRAIGHT = frozenset(
    "third tubular 1/3 one-third one half semitubular dynamic compression lc dcp lcp recon reconstruction straight "
    "locking small large fragment narrow broad titanium steel mm - #number #length".split()
)
_LINKS = frozenset({"with", "and", ",", ":", "using", "by", "(", "was", "held", "fixed"})
_LINKED = 4  # tokens from the plate to the count of its screws
_MOST = 24


def more_screws(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """(screws, "screws", arithmetic) of the first plate with more screws than holes. Pure."""
    for at in range(len(read) - 1):
        holes = count(read[at])
        if holes is None or holes < 2 or read[at + 1].norm not in _HOLE:
            continue
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


def _is_straight(token: Token) -> bool:
    return token.norm in _STRAIGHT or (token.quantity is not None and token.quantity.form in ("ordinal", "fraction"))
