"""Sizes of what was found that are said again and come out otherwise: "a gap of four centimetres ... with the nine
centimetre gap closed"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from pipeline.checks.base import finding, placed, plain, read
from pipeline.conversion import convert
from pipeline.note import OperativeNote
from pipeline.records import Finding, Token

_NOUNS = frozenset({"gap", "tear", "defect", "lesion", "fragment", "cyst", "wedge", "stone", "hernia", "nodule",
                    "insert", "liner", "cup", "graft", "spur", "osteophyte", "bump", "block", "plug", "sachs",
                    "footprint", "flap", "body", "nail", "plate", "cam"})
_SINGLE = frozenset({"cam"})  # a joint has one
_LED = frozenset("of was is measured measures measuring : , about a an the in full thickness partial x by = "
                 "resection".split())  # fmt: skip
_TO_SIZE, _TO_NOUN = 4, 2  # tokens: from a noun to a size behind it, from a size to a noun behind it
# What is smaller or larger than before, or another one. Common practice, no source.
_OTHER = re.compile(
    r"\b(?:left|trial\w*|instead|chang\w+|exchang\w+|then|tight|loose|remain\w*|residual|now|reduced|enlarg\w*|another|second|other|smaller|larger|further|each|both|new|"
    r"first|third)\b", re.I,
)  # fmt: skip
_NEAR = 4  # tokens


def again(note: OperativeNote) -> list[Finding]:
    """The first size that was said with "the" or "so a" and is none of those said of its noun before. Pure."""
    told: dict[str, set[Decimal]] = {}
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            if token.norm not in _NOUNS:
                continue
            size = _pointed(tokens, at)
            known = told.get(token.norm, set())
            around = " ".join(one.text for one in tokens[max(0, at - _NEAR) : at + _NEAR])
            if size is not None and known and size not in known and not _OTHER.search(around):
                sizes = " and ".join(plain(one) for one in sorted(known))
                made = finding(
                    "two_values", "warning", f"The {token.norm} was said as {sizes} mm, and then as {plain(size)} mm.",
                    arithmetic=f"{plain(size)} is not {sizes}", ask="Say which is right.", about=token.norm,
                )  # fmt: skip
                return [placed(made, passage.evidence)]
            here, before = _sizes(tokens, at), told.get(token.norm, set())
            if token.norm in _SINGLE and here and before and not (here & before or _OTHER.search(around)):
                first, other = (" x ".join(plain(one) for one in sorted(each)) for each in (before, here))
                made = finding(
                    "two_values", "warning", f"The {token.norm} was said as {first} mm, and then as {other} mm.",
                    arithmetic=f"{other} is not {first}", ask="Say which is right.", about=token.norm,
                )  # fmt: skip
                return [placed(made, passage.evidence)]
            told.setdefault(token.norm, set()).update(here)
    return []


def _mm(token: Token) -> Decimal | None:
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.unit not in ("mm", "cm") or quantity.comparator:
        return None
    return convert(quantity.value, quantity.unit, "mm").normalize()


def _pointed(tokens: Sequence[Token], at: int) -> Decimal | None:
    """ "The nine centimetre gap", "so a four centimetre tear", "in the Hill-Sachs (18 mm long)"."""
    opened = [token.norm for token in tokens[at + 1 : at + 2]] == ["("] and at + 2 < len(tokens)
    if opened and "the" in [token.norm for token in tokens[max(0, at - 2) : at]]:
        return _mm(tokens[at + 2])
    size = _mm(tokens[at - 1]) if at else None
    before = [token.norm for token in tokens[max(0, at - 3) : max(0, at - 1)]]
    return size if before[-1:] == ["the"] or before in (["so", "a"], ["so", "an"]) else None


def _sizes(tokens: Sequence[Token], at: int) -> set[Decimal]:
    found: set[Decimal] = set()
    for place in range(at - 1, max(-1, at - 1 - _TO_NOUN - 2), -1):
        if (size := _mm(tokens[place])) is not None:
            found.add(size)
        elif tokens[place].punctuation or tokens[place].norm in ("with", "from", "through", "of"):
            break
    for place in range(at + 1, min(len(tokens), at + 1 + _TO_SIZE + 2)):
        if (size := _mm(tokens[place])) is not None:
            found.add(size)
        elif tokens[place].norm not in _LED and tokens[place].quantity is None:
            break
    return found
