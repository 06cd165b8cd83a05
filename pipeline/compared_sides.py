"""Sides that are set against each other: "left worse than right", "R > L" (it is on both), "worse on the left" (how bad
it is there, and no side of anything)."""

from __future__ import annotations

from collections.abc import Sequence

PAIRS = frozenset({"l>r", "r>l", "l>>r", "r>>l", "l<r", "r<l", "l<<r", "r<<l"})
_SIDES = {"left": "left", "right": "right", "l": "left", "r": "right"}
_MORE = frozenset("worse greater more less".split())
_HOW = frozenset("much slightly somewhat far a bit little clearly is are was were being affected severe severely "
                 "symptomatic marked markedly pronounced advanced painful".split())  # fmt: skip
_LINKS = frozenset({"than", "the", "on", "side", "in", "at", "knee", "hip", "hand", "foot", "eye", "ear"})
_SIGNS = frozenset({">", "<", ">>", "<<"})
_REACH = 7  # words from the one side to the other


def compared(norms: Sequence[str], at: int) -> int | None:
    """The last token of a comparison of both sides that begins with the side at a token; None where none does."""
    if norms[at] in PAIRS:
        return at
    side = _SIDES.get(norms[at])
    if side is None:
        return None
    signed = more = than = False
    for index in range(at + 1, min(at + 1 + _REACH, len(norms))):
        norm = norms[index]
        signed |= norm in _SIGNS
        than |= norm == "than"
        more |= norm in _MORE
        if norm in _SIDES:
            told = signed or (more and than and len(norm) > 1 and len(norms[at]) > 1)
            return index if told and _SIDES[norm] != side else None
        if norm not in _SIGNS | _MORE | _HOW | _LINKS:
            return None
    return None


def tells_degree(norms: Sequence[str], at: int) -> bool:
    """ "Stenosis on both sides, worse on the left": whether the side at a token tells where it is worse."""
    led = at - 1
    while led >= 0 and norms[led] in ("on", "the", "in", "at", "his", "her"):
        led -= 1
    if led >= 0 and norms[led] in _HOW and norms[led - 1] in ("more", "most"):
        return True  # "more marked on the left"
    return led >= 0 and (norms[led] in ("worse", "worst") or norms[led - 1 : led + 1] == ["more", "so"]) and not (
        led + 1 == at and norms[at + 1 : at + 2] and norms[at + 1] not in (",", ".", ";", ")", "side", "and")
    )  # "the worse left knee was done first"
