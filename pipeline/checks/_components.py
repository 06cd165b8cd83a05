"""Sizes of the parts of an artificial joint as they are numbered, and which of them were said for which side:
"femoral component size 5 ... final femur 6", "stem six", "a five on the femur".
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks._sizes_said import Size, settled
from pipeline.checks.base import read
from pipeline.note import OperativeNote
from pipeline.records import Token

_NAMES = {"femur": "femur", "femoral": "femur", "tibia": "tibia", "tibial": "tibia", "stem": "stem",
          "patella": "patella", "patellar": "patella", "talar": "talus", "humeral": "humerus"}  # fmt: skip
PARTS = tuple(dict.fromkeys(_NAMES.values()))
_PART = frozenset({"component", "implant", "tray", "baseplate", "button", "dome", "prosthesis", "resurfacing", "side"})
_LED = frozenset({":", "is", "was", "a", "of", "=", "the", "size", "went", "in", "implanted", "cemented", "used"})
_LED_STEM = frozenset({"broached", "rasped", "up", "to", "impacted", "seated", "collared", "short", "uncemented"})
# Sizes are numbered up to so much; the patella is measured. Makers' ranges, common practice.
_MOST, _PATELLA = 20, (Decimal(24), Decimal(46))
_NO_SIZE = frozenset("x by degrees deg percent mm cm minutes mls units weeks times holes hole screws lot".split())
_FINAL = frozenset({"final", "definitive", "finally", "implanted", "real", "implants"})
_ENDS = frozenset({"", ",", ".", ";", "and", "with", "again", "left", "right", "same", "both", "cement",
                   "cemented", "insert", "inlay", "poly", "bearing", *_NAMES})
_BACK = 5  # tokens
_RASPS = frozenset({"broached", "rasped"})
_SIDED = re.compile(r"^(?:knee|hip|shoulder|ankle|side|one|femur|femoral|tibia|tibial|stem|cup|patella|:|,)$")


def sizes(note: OperativeNote, part: str) -> list[Size]:
    """Every numbered size of a part, in the order said. Pure."""
    found: list[Size] = []
    for passage in note.sections.description:
        tokens = read(passage)
        if any(token.norm in _NAMES or token.norm in _RASPS for token in tokens):
            found += [Size(value, passage, at) for name, value, at in _told(tokens) if name == part]
    return found


def _told(tokens: Sequence[Token]) -> Iterator[tuple[str, Decimal, int]]:
    used: set[int] = set()
    bare = [one for at in range(len(tokens)) if (one := _behind(tokens, at, bare=True)) is not None]
    listed = len({name for name, _, _ in bare}) > 1
    for at, token in enumerate(tokens):
        if token.norm in _RASPS and (size := _broached(tokens, at)) is not None:
            used.add(size[1])
            yield "stem", *size
        if token.norm not in _NAMES:
            continue
        ahead = _ahead(tokens, at, used)
        one = ahead if ahead is not None else _behind(tokens, at, bare=listed)
        if one is not None and one[2] not in used:
            used.add(one[2])
            yield one


def _broached(tokens: Sequence[Token], at: int) -> tuple[Decimal, int] | None:
    """ "Canal broached to 3", "broached up to a size six", "broached eight then nine then ten": the last of them."""
    last: tuple[Decimal, int] | None = None
    for place in range(at + 1, min(len(tokens), at + 1 + _TO_LAST)):
        if (value := _number(tokens[place])) is not None:
            last = value, place
        elif tokens[place].norm not in _RASPED:
            break
    return last


_TO_LAST, _RASPED = 12, frozenset({"up", "to", "a", "size", "then", "and", "from", "finally"})


def _ahead(tokens: Sequence[Token], at: int, used: set[int]) -> tuple[str, Decimal, int] | None:
    """ "Size six femur", "a five on the femur"."""
    name = _NAMES[tokens[at].norm]
    sized = at > 1 and tokens[at - 2].norm == "size" and at - 1 not in used
    if sized and (value := _number(tokens[at - 1])) is not None:
        return name, value, at - 1
    led = [token.norm for token in tokens[max(0, at - 4) : at]]
    if led[2:] == ["on", "the"] and led[:1] == ["a"] and (value := _number(tokens[at - 3])) is not None:
        return name, value, at - 3
    return None


def _behind(tokens: Sequence[Token], at: int, *, bare: bool) -> tuple[str, Decimal, int] | None:
    """ "Femoral component size 5", "tibial baseplate 4", "stem six"; `bare`: also "femur 5"."""
    name = _NAMES.get(tokens[at].norm)
    if name is None:
        return None
    part = sized = name == "stem"
    place = at + 1
    while place < len(tokens) and (tokens[place].norm in _LED | _PART or (part and tokens[place].norm in _LED_STEM)):
        part = part or tokens[place].norm in _PART
        sized = sized or tokens[place].norm == "size"
        place += 1
    if place >= len(tokens):
        return None
    value = _millimetres(tokens[place]) if name == "patella" else _number(tokens[place])
    after = tokens[place + 1].norm if place + 1 < len(tokens) else ""
    if value is None or after in _NO_SIZE or not (sized or part or bare or name == "patella"):
        return None
    if not (sized or part or name == "patella") and after not in _ENDS:
        return None  # "tibia two pins each"
    if name != "patella" and tokens[place].norm != "#label" and after in ("#number", "#length"):
        return None
    return name, value, place


def _number(token: Token) -> Decimal | None:
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.dimension or quantity.form not in ("number", "label"):
        return None
    return quantity.value if 0 < quantity.value <= _MOST else None


def _millimetres(token: Token) -> Decimal | None:
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.unit not in (None, "mm") or quantity.form != "number":
        return None
    return quantity.value if _PATELLA[0] <= quantity.value <= _PATELLA[1] else None


def is_settled(size: Size) -> bool:
    """Whether a size is that of what was put in: said as final, or with no word of trials and changes near. Pure."""
    ahead = {token.norm for token in read(size.passage)[max(0, size.at - _BACK) : size.at]}
    return bool(_FINAL & ahead) or settled([size])


def twice(told: Sequence[Size]) -> tuple[Size, Size] | None:
    """Two sizes of one thing that cannot both be in: neither was only tried or changed. Pure."""
    sure = [one for one in told if is_settled(one)]
    tried = {one.value for one in told if not is_settled(one)}
    other = next((one for one in sure[1:] if one.value != sure[0].value), None)
    return None if other is None or {other.value, sure[0].value} <= tried or other.value in tried else (sure[0], other)


def by_side(note: OperativeNote, told: Sequence[Size]) -> dict[str, list[Size]]:
    """Sizes by the side that was said last before each ("left knee: ... then the right knee: ..."). Pure."""
    sides: dict[str, list[Size]] = {}
    side = ""
    for passage in note.sections.description:
        tokens = read(passage)
        here = {one.at: one for one in told if one.passage is passage}
        for at, token in enumerate(tokens):
            behind = tokens[at + 1].norm if at + 1 < len(tokens) else ""
            if token.norm in ("left", "right") and _SIDED.match(behind):
                side = token.norm
            if at in here and side:
                sides.setdefault(side, []).append(here[at])
    return sides

