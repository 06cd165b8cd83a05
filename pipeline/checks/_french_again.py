"""The size of a drain or a catheter that is told again and comes out otherwise: "a 10 French Blake was placed ... the
15 French drain was stitched"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from pipeline.checks.base import finding, placed, plain, read
from pipeline.note import OperativeNote
from pipeline.records import Finding, Token

_GROUPS = {
    **dict.fromkeys(("drain", "drains", "blake", "redivac", "redon", "hemovac", "jp", "jackson", "robinson", "exudrain",
                     "penrose", "pigtail"), "drain"),
    **dict.fromkeys(("catheter", "foley", "catheters"), "catheter"),
    "stent": "stent",
}  # fmt: skip
_SORTS = 3  # words between a size and its noun, and from a noun to a size behind it
_POINTING = frozenset({"the", "that", "this", "our", "my", "same"})
# What is done to a drain that lies already. Common practice, no source.
_CARE = frozenset("secured stitched sutured sewn anchored taped fixed connected hooked attached tied draining "
                  "pulled shortened removed".split())  # fmt: skip
_TO_CARE = 4  # tokens
_OTHER = re.compile(
    r"\b(?:another|second|other|both|each|either|two|three|new|chang\w+|exchang\w+|swap\w*|instead|old|previous\w*|"
    r"replac\w+|upsiz\w+|tried|first|third|more|up to|over|through|via|then|nephrostomy|dilat\w+|planned|"
    r"existing|came with|in situ|ward|would|could)\b", re.I,
)  # fmt: skip
_NEAR = 7  # tokens
_LEAST, _MOST = 5, 40  # French


def again(note: OperativeNote) -> list[Finding]:
    """The first size of a drain, catheter or stent that points back and was not told before. Pure."""
    told: dict[str, list[Decimal]] = {}
    for passage in note.sections.description:
        tokens = read(passage)
        for at in range(len(tokens)):
            size, noun = _size(tokens, at)
            if size is None:
                continue
            known = told.setdefault(_GROUPS[tokens[noun].norm], [])
            last = max(at, noun)
            around = " ".join(one.norm for one in tokens[max(0, min(at, noun) - _NEAR) : last + 3])
            points = bool(_POINTING & {one.norm for one in tokens[max(0, min(at, noun) - 2) : max(at, noun)]})
            points = points or bool(_CARE & {one.norm for one in tokens[last + 1 : last + 1 + _TO_CARE]})
            if points and len(set(known)) == 1 and size not in known and not _OTHER.search(around):
                what = _GROUPS[tokens[noun].norm]
                made = finding(
                    "two_values", "warning",
                    f"The {what} was said as {plain(known[0])} Fr, and then as {plain(size)} Fr.",
                    arithmetic=f"{plain(size)} is not {plain(known[0])}", ask="Say which is right.", about=what,
                )  # fmt: skip
                return [placed(made, passage.evidence)]
            known.append(size)
    return []


def _size(tokens: Sequence[Token], at: int) -> tuple[Decimal | None, int]:
    """A size in French and the place of its noun; of a bare number only where both stand side by side behind "the"."""
    quantity = tokens[at].quantity
    if quantity is None or quantity.value is None or quantity.form != "number" or quantity.comparator is not None:
        return None, -1
    french = quantity.unit == "[Ch]"
    bare = not quantity.dimension and _LEAST <= quantity.value <= _MOST and at > 0 and tokens[at - 1].norm in _POINTING
    if not (french or bare):
        return None, -1
    for place in range(at + 1, min(len(tokens), at + 1 + (_SORTS if french else 2))):
        if tokens[place].norm in _GROUPS:
            return quantity.value, place
        if tokens[place].quantity is not None or tokens[place].punctuation:
            break
    for place in range(at - 1, max(-1, at - 1 - _SORTS), -1) if french else ():
        if tokens[place].norm in _GROUPS:
            return quantity.value, place
        other = tokens[place].quantity
        if (other is not None and other.dimension) or tokens[place].norm in (".", ";"):
            break
    return None, -1
