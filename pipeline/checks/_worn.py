"""What is worn or ordered afterwards on the limb that was operated on: a brace, a sling, a splint, how much weight.

"Left knee ... brace on the right knee for four weeks": a slip, unless the limb of the other side has orders of its own.
Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact

# Rows of dressings.toml and aftercare.toml.
_WORN = frozenset(
    "brace sling splint cast boot surgical-shoe shoulder-immobilizer immobilization weight-bearing non-weight-bearing "
    "touch-weight-bearing partial-weight-bearing weight-bearing-as-tolerated full-weight-bearing heel-weight-bearing "
    "progressive-weight-bearing passive-motion active-motion active-assisted-motion continuous-passive-motion "
    "range-of-motion-exercises motion-restriction".split()
)
_PUT_ON = frozenset("brace sling splint cast boot surgical-shoe shoulder-immobilizer".split())
_WORDS = re.compile(
    r"\b(?:weight|weight-?bear\w*|wb(?:at)?|nwb|ttwb|twb|pwb|fwb|brace|sling|splint|cast|boot|(?:back)?slab|plaster|"
    r"immobili\w+|orthosis|spica)\b(?: (?!left\b|right\b|and\b|no\b|crutch)[\w-]+){0,3} (?:on|for|of|to) "
    r"(?:the |his |her )?(?P<side>left|right)\b(?! (?:hand crutch|side of))|"
    r"\b(?:wbat|nwb|ttwb|twb|pwb|fwb|weight ?bear\w*) (?P<short>left|right|(?-i:[LR]))\b",
    re.I,
)  # fmt: skip
_KINDS = ("dressing", "aftercare")
_NEAR = 2  # words


def is_worn(fact: Fact) -> bool:
    """Whether the fact tells of what the operated limb wears or bears."""
    return fact.kind in _KINDS and fact.name in _WORN


def both_told(note: OperativeNote, operated: str | None, like: Fact | None = None) -> bool:
    """Whether orders for the operated side were said with that side, beside those of the other one. `like`: an order of
    the other side; what is put on the limb is no answer to how it is loaded, nor the other way round. Pure."""
    on_limb = like.name in _PUT_ON if like is not None else None
    if on_limb:
        return any(one.name in _PUT_ON and one.laterality == operated and _says_side(note, one)
                   for one in note.of(*_KINDS))  # fmt: skip
    return any(
        is_worn(fact) and fact.laterality == operated and _says_side(note, fact) for fact in note.of(*_KINDS)
    ) or any(side_of(match) == operated for one in note.sections.description for match in worn_words(one))


def _says_side(note: OperativeNote, fact: Fact) -> bool:
    """Whether the side of an order stands in its words or right beside them, and is not that of the whole operation."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None:
        return True
    words = passage.text.split()
    first, last = (place - passage.evidence.first for place in (fact.evidence.first, fact.evidence.last))
    near = {word.strip(".,;:()").lower() for word in words[max(0, first - _NEAR) : last + 1 + _NEAR]}
    return bool(near & {fact.laterality or "", (fact.laterality or " ")[0]})


def side_of(match: re.Match[str]) -> str:
    """Left or right of a match of `worn_words`. Pure."""
    said = (match["side"] or match["short"]).lower()
    return {"l": "left", "r": "right"}.get(said, said)


def worn_words(passage: Passage) -> Iterator[re.Match[str]]:
    """Orders with their side, as said ("weight as tolerated on the left"), in the group "side". Pure."""
    yield from _WORDS.finditer(passage.text)
