"""Things that a small number right before them counts, so that it ends no hundreds: "loss nine hundred, one drain"."""

from __future__ import annotations

import re
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
    return norms[at] in _THINGS or norms[at] in _SORTS and begins(norms, at + 1)


# "Urine four hundred, one suction drain"
_SORTS = frozenset("suction chest wound closed redivac pelvic robinson blake silicone small large round flat "
                   "penrose corrugated abdominal pigtail sump urinary foley three-way skin deep "
                   "superficial".split())  # fmt: skip


def ends_before_one(norms: Sequence[str], start: int, end: int) -> bool:
    """ "Tourniquet three hundred | one hour ten": in the singular only one hour, or one minute, can be meant."""
    return start < end - 1 and norms[end - 1] == "one" and end < len(norms) and norms[end] in ("hour", "minute")


# Words that no count stands before.
FUNCTION = frozenset(
    "of and or in on at to from for with was were is are had below above deep long wide high tall thick medial "
    "lateral distal proximal superior inferior anterior posterior into under over after before later ago then per "
    "each down up diameter length depth total remaining left right iv intravenously intramuscularly subcutaneously "
    "given injected aspirated through across apart off away beyond behind between short more less by as".split()
)
_PLAIN_PLURAL = re.compile(r"^[a-z]{2,}s$")
_SIZED = frozenset(
    "anchor screw pin wire plate tack cannula port trocar drill nail staple button stent needle catheter blade reamer "
    "implant head cage rod plug peg".split()
)


def plural_behind(norms: Sequence[str], index: int) -> bool:
    """Whether a plural noun follows, within two words ("locking screws"), so that a count can stand before."""
    for at in (index, index + 1):
        norm = norms[at] if at < len(norms) else ""
        if norm in FUNCTION or not norm[:1].isalpha():
            return False
        if _PLAIN_PLURAL.match(norm) and not norm.endswith(("ss", "us", "is", "ous")):
            return True
    return False


def apart(unit: str, first: str, rest: str, both: str) -> str:
    """The doubt of two numbers that could be one. None is left of "Norco five | one tablet": the strength of a tablet,
    and how many, which are one or two."""
    pills = unit in ("tablet", "capsule") and rest in ("1", "2")
    return "" if pills else f"taken as {first} and {rest}; it could be {both}"


_PLACED = frozenset("medial lateral distal proximal superior inferior anterior posterior more other".split())


def ends_size(norms: Sequence[str], digits: str, index: int) -> bool:
    """Whether the last digit behind a spoken point counts what follows it: "four point seven five | two lateral row
    anchors", "five point five | two anchors", "four point five | three piece". Sizes of implants end in quarters
    where they have two decimals (common practice, no source)."""
    if "".join(norms[index : index + 1]) in ("piece", "hole", "stage"):
        return True
    whole = digits[:-1] in ("25", "75", "5") and (len(digits) == 3 or digits[-1] not in "05")
    while index < len(norms) and norms[index] in _PLACED:
        index += 1
    return (whole and digits[-1] not in "01" and _counted(norms, index)) or _counts_one(norms, digits, index)


def _are_sized(norm: str) -> bool:
    """Whether a word names several things that come in sizes ("anchors")."""
    return norm.endswith("s") and norm[:-1] in _SIZED


def _counted(norms: Sequence[str], index: int) -> bool:
    """Whether sized things in the plural follow within three words ("row anchors", "cortical locking screws")."""
    for norm in norms[index : index + 3]:
        if _are_sized(norm):
            return True
        if norm in FUNCTION or not norm[:1].isalpha():
            return False
    return False


def has_a_size(norms: Sequence[str], start: int, end: int) -> bool:
    """ "One four point five anchor", "one six point five cancellous screw": one thing and its size, no 14.5."""
    ends = (norm for norm in norms[end : end + 3] if norm in _SIZED or norm in FUNCTION or not norm[:1].isalpha())
    return norms[start] == "one" and next(ends, "") in _SIZED


_MEASURES = (
    "mil", "cent", "mic", "gram", "kilo", "lit", "per", "deg", "met", "inch", "unit", "atm", "bar", "volt", "ohm",
    "joule", "watt", "hertz", "sec", "min", "hour", "newton", "diop", "thousand", "million", "hundred", "nano", "mmol",
    "turn",
)  # fmt: skip
_SHORT = 2  # letters of "mm", "ml", "g"


def _counts_one(norms: Sequence[str], digits: str, index: int) -> bool:
    """ "Screws all six point five, one home run": a noun, no word of measure, nor one that no count stands before."""
    norm = norms[index] if index < len(norms) else ""
    return digits.endswith("51") and len(norm) > _SHORT and norm.isalpha() and norm not in FUNCTION | {"point"} and (
        not norm.startswith(_MEASURES)
    )


_AFTER_TIMES = frozenset("ports portals holes draws sutures stitches clips drains doses passes".split())


def ends_time(norms: Sequence[str], end: int, hour: int, minute: int) -> tuple[str, ...]:
    """The doubt of "traction off at eight fifty two portals": 08:52, or 08:50 and two portals."""
    if minute < 20 or minute % 10 < 2 or not norms[end - 1].isalpha():
        return ()
    noun = next((norm for norm in norms[end : end + 3] if norm not in _PLACED), "")
    if noun not in _AFTER_TIMES and not _are_sized(noun):
        return ()
    return (f"may be {hour:02d}:{minute - minute % 10:02d} and {minute % 10} {noun}",)


def is_threshold(norms: Sequence[str], index: int) -> bool:
    """ "Hb under seventy | two units": below it units are given, and the last word of the number counts them."""
    return (
        index > 1 and norms[index - 1] in ("under", "below")
        and bool(_BLOOD_VALUES & set(norms[max(0, index - 4) : index])) and norms[index + 2 : index + 3] == ["units"]
    )


_BLOOD_VALUES = frozenset({"hb", "hgb", "haemoglobin", "hemoglobin"})


_AFTER_TURN = frozenset("the it again . , ; and then we i now another one two three four five six seven eight nine ten "
                        "eleven twelve #number #volume".split())  # fmt: skip


def goes_on_after_turn(norms: Sequence[str], at: int) -> bool:
    """ "Three turn three turn", "four turn the needle": what stands at `at`, behind "turn", begins anew or ends it, so
    that the number before it counts no turns."""
    return at >= len(norms) or norms[at] in _AFTER_TURN or norms[at][:1].isdigit()
