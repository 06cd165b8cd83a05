"""Things that a small number right before them counts, so that it ends no hundreds: "loss nine hundred, one drain"."""

from __future__ import annotations

from collections.abc import Sequence

_THINGS = frozenset(
    "drain drains port ports suture sutures stitch stitches clip clips swab swabs pack packs specimen specimens pot "
    "pots layer layers bag bags dose doses screw screws staple staples catheter needle needles".split()
)
_BLOOD = frozenset({"of", "red", "packed", "blood", "platelets", "ffp", "plasma"})


def begins(norms: Sequence[str], at: int) -> bool:
    """Whether a thing that is counted, or bags of blood, begin at a token."""
    if at >= len(norms):
        return False
    if norms[at] in ("unit", "units") and at + 1 < len(norms):
        drug = norms[at + 2 : at + 3]
        return norms[at + 1] in _BLOOD and not (norms[at + 1] == "of" and drug and drug[0] not in _BLOOD)
    return norms[at] in _THINGS
