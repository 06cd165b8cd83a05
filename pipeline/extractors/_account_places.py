"""Sides and parts that stand between two amounts of a stream of speech: which of the two they are of."""

from __future__ import annotations

from collections.abc import Set
from itertools import pairwise

from pipeline.extractors import base
from pipeline.records import Laterality, Reading, Sentence

_SIDES = {"left": "right", "right": "left"}


def leading(sentence: Sentence, low: int, high: int) -> int | None:
    """ "Right knee seven left knee five", "right seven left five": where a side, with its part, begins that leads to
    the number at `high`, in a row in which every side stands before its number; None where it is none."""
    tokens = sentence.tokens
    if high >= len(tokens) or not sentence.says({"left"}) or not sentence.says({"right"}):
        return None
    start = _phrase(sentence, high)
    if start is None or start <= low:
        return None
    side = tokens[start].norm
    before = _phrase(sentence, low)
    if before is not None and start == low + 1 and tokens[before].norm == _SIDES[side]:
        return None if before and tokens[before - 1].quantity is not None else start  # "five right three left two"
    following = next((at for at in range(high + 1, len(tokens)) if tokens[at].quantity is not None), None)
    after = _phrase(sentence, following) if following is not None else None
    if after == high + 1 and tokens[after].norm == _SIDES[side] and start > low + 1:
        return start
    return None


def paired(sentence: Sentence, index: int) -> Laterality | None:
    """The side that stands right before a number, or right behind it, in a row in which another number has the other
    side in the same place."""
    known: dict[int, Laterality] | None = sentence.memo.get("account-pairs")
    if known is None:
        known = sentence.memo["account-pairs"] = _pairs(sentence)
    return known.get(index)


def _pairs(sentence: Sentence) -> dict[int, Laterality]:
    tokens = sentence.tokens
    if not sentence.says({"left"}) or not sentence.says({"right"}):
        return {}
    numbers = [at for at, token in enumerate(tokens) if token.norm in ("#volume", "#number")]
    before = {at: tokens[start].norm for at in numbers if (start := _phrase(sentence, at)) is not None}
    behind = {at: tokens[at + 1].norm for at in numbers if at + 1 < len(tokens) and tokens[at + 1].norm in _SIDES and (
        at + 2 >= len(tokens) or tokens[at + 2].punctuation or tokens[at + 2].norm in ("and", "then")
    )}  # fmt: skip
    found: dict[int, Laterality] = {}
    for row in (before, behind):
        for one, other in pairwise(numbers):
            if row.get(one) in _SIDES and row.get(other) == _SIDES[row[one]]:
                found |= {at: "left" if row[at] == "left" else "right" for at in (one, other)}
    return found


def _phrase(sentence: Sentence, end: int) -> int | None:
    """Where a side, with the part it is of, begins that ends right before a token."""
    tokens = sentence.tokens
    at = end - 1
    site = next((m for m in base.mentions(sentence, "sites") if m.last == at and "crest" not in m.id), None)
    if site is not None:
        at = site.first if tokens[site.first].norm in _SIDES else site.first - 1
    return at if at >= 0 and tokens[at].norm in _SIDES else None


def ends_in(sentence: Sentence, low: int, high: int) -> bool:
    """ "Right knee dry tap six mils in left knee eleven": the "in" ends what is told of one side, and the other side
    opens what comes next."""
    tokens = sentence.tokens
    other = _SIDES.get(tokens[low + 2].norm) if low + 3 < high < len(tokens) else None
    if other is None or tokens[low + 1].norm != "in" or any(token.punctuation for token in tokens[low:high]):
        return False
    before = [token.norm for token in tokens[max(0, low - _SIDE_BACK) : low]]
    return other in before and not {tokens[low + 2].norm, "#volume"} & set(before[before.index(other) :])


_SIDE_BACK = 6  # tokens


def of_the_vein(reading: Reading, said: Set[str]) -> bool:
    """ "PRP right knee: 60 mL drawn": blood of which nobody said from which arm, so that the side is the knee's.

    `said`: the amount's own words."""
    known: bool | None = reading.memo.get("account-vein")
    if known is None:
        known = reading.memo["account-vein"] = not any(one.says(_OF_BONE) for one in reading.sentences)
    return known and not _OF_ARM & said


_OF_BONE = frozenset("marrow bma bmac bmc crest crests psis asis ilium pelvis trephine jamshidi".split())
_OF_ARM = frozenset("arm arms forearm acf antecubital cubital vein veins hand wrist from fossa".split())
