"""Which lengths beside a word for a cut are the length of an incision."""

from __future__ import annotations

from pipeline import cues
from pipeline.grammar import Grammar
from pipeline.records import Quantity, Sentence


def is_none(sentence: Sentence, hit: cues.Hit, quantity: Quantity) -> bool:
    """Whether a word for a cut is of a saw, of a part inside, or of a port that has a width."""
    if [token.norm for token in sentence.tokens[hit.last : hit.last + 2]] in (["cut", "back"], ["cut", "down"]):
        return True  # "the flap was cut back by 4 mm"
    if hit.first and sentence.tokens[hit.first - 1].norm == "pre":
        return True  # "pre-cut donor 95 um"
    led = sentence.tokens[hit.first - 1].norm if hit.first else ""  # "posterior cut twelve centimetres"
    skin = led in ("posterior", "anterior") and quantity.unit == "cm" and (quantity.value or 0) >= _SKIN
    return _is_bone_cut(sentence, hit) and not skin or _is_port(sentence, hit, quantity)


def is_its_length(sentence: Sentence, index: int, hit: cues.Hit) -> bool:
    """Whether nothing tells that a length beside an incision is another one's, or how thick something is."""
    if [token.norm for token in sentence.tokens[index + 1 : index + 2]] in (["deeper"], ["deep"], ["off"]):
        return False  # "capsule cut coronoid fossa two millimetres deeper"
    if index > hit.last and (_is_of_other(sentence, index) or _has_its_own(sentence, index, hit)):
        return False
    return not _is_thickness(sentence, index) and not _numbers_between(sentence, index, hit)


def _has_its_own(sentence: Sentence, index: int, hit: cues.Hit) -> bool:
    """ "Through a five mil stab to the inner table two centimetres": its length stands before it."""
    own = sentence.tokens[hit.first - 1].quantity if hit.first else None
    between = {token.norm for token in sentence.tokens[hit.last + 1 : index]}
    return own is not None and own.dimension == "length" and not between & {"and", ",", "by", "x", ";", "extended"}


def behind_approach(sentence: Sentence, index: int, quantity: Quantity) -> tuple[int, cues.Hit] | None:
    """ "Infrapatellar approach, five centimetres": the length of the cut, right behind the name of the approach."""
    after = sentence.tokens[index + 1 : index + 2]
    if quantity.unit not in ("cm", "mm") or (after and not after[0].punctuation):
        return None
    at = index - 1
    while at >= 0 and sentence.tokens[at].norm in (",", ":", "of"):
        at -= 1
    named = at >= 0 and sentence.tokens[at].norm == "approach"
    return (index - at, cues.Hit("incision", at, at)) if named else None


def right_behind(sentence: Sentence, index: int, quantity: Quantity) -> tuple[int, cues.Hit] | None:
    """ "Deltopectoral six centimetres glenoid bone loss ...": a length of a cut right behind the name of the way in."""
    after = sentence.tokens[index + 1 : index + 2]
    if quantity.unit != "cm" or (after and (after[0].norm in _FROM or after[0].quantity is not None)):
        return None
    way = next((m for m in sentence.mentions if m.table == "approaches" and m.last == index - 1), None)
    return None if way is None else (1, cues.Hit("incision", way.first, way.last))


_SKIN = 4  # cm: no saw cut of a bone is as long

_FROM = frozenset("below above from proximal distal deep lateral medial anterior posterior behind to off away x by "
                  "long in".split())  # fmt: skip


def told_long(sentence: Sentence, grammar: Grammar, index: int) -> tuple[int, cues.Hit] | None:
    """ "An incision was made over the malleolus, 7 cm long": of the incision, over the place where it was made."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    if after[:1] != ["long"] and after != ["in", "length"]:
        return None
    cuts = [hit for hit in cues.hits(sentence, grammar, "incision") if hit.last < index]
    if not cuts or sentence.tokens[cuts[-1].last].norm not in _CUTS:
        return None
    between = range(cuts[-1].last + 1, index)
    tokens = sentence.tokens
    blades = {at for at in between if tokens[at].norm in ("blade", "scalpel", "knife")}
    if any(
        (one := tokens[at].quantity) is not None and one.form != "ordinal" and not {at + 1, at + 2} & blades
        or tokens[at].norm in _APART and tokens[at - 1].norm not in ("was", "were") for at in between
    ):
        return None  # but "with a #10 blade", "was then created"
    named = any(m.table in _OTHERS and m.first in between and m.last not in blades for m in sentence.mentions)
    lesion = any(hit.first in between and sentence.tokens[hit.last].norm not in ("area", "wall")
                 for hit in cues.hits(sentence, grammar, "lesion"))  # fmt: skip
    return None if named or lesion else (1, cuts[-1])


_CUTS = frozenset({"incision", "incisions"})
_APART = frozenset({"and", "then", "which", ";", "revealed", "found", "seen", "showed", "exposed", "identified"})
_OTHERS = frozenset({"findings", "diagnoses", "specimens", "devices", "drains"})


_MOVED = frozenset({"shifted", "displaced", "translated", "moved", "advanced", "opened", "distracted"})


def _is_bone_cut(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "Bone cut six millimetres medially", "the tibial cut": of a saw; "A1 pulley cut over 8 mm": of no skin."""
    tokens = sentence.tokens
    before = tokens[hit.first - 1].norm if hit.first else ""
    after = tokens[hit.last + 1].norm if hit.last + 1 < len(tokens) else ""
    trimmed = after in ("to", "out", "off", "away") and tokens[hit.last].norm == "cut"  # "a patch of 60 mm cut to 45"
    moved = [token.norm for token in tokens[hit.last + 1 : hit.last + 3] if token.norm != ","][:1]
    trimmed = trimmed or bool(moved) and moved[0] in _MOVED  # "chevron cut, shifted four millimetres"
    return trimmed or (tokens[hit.last].norm in ("cut", "cuts") and before in _SAWN)


def _is_port(sentence: Sentence, hit: cues.Hit, quantity: Quantity) -> bool:
    """ "Two 5 mm working ports": how thick they are."""
    return quantity.unit == "mm" and sentence.tokens[hit.last].norm in ("port", "ports")


_SAWN = frozenset({"bone", "tibial", "femoral", "neck", "distal", "proximal", "chamfer", "patellar", "posterior",
                   "anterior", "saw", "first", "head", "tibia", "femur", "pulley", "ligament", "tendon", "nerve",
                   "muscle", "capsule", "duct", "graft", "wire", "mesh", "rod", "cord", "tube", "catheter",
                   "stent", "patch", "lead", "drain"})  # fmt: skip


def _is_of_other(sentence: Sentence, index: int) -> bool:
    """ "Through a 5 cm Pfannenstiel, 26 cm of bowel": a length of something, and no cut."""
    after = sentence.tokens[index + 1 : index + 3]
    return len(after) > 1 and after[0].norm == "of" and after[1].norm.isalpha() and after[1].norm not in _OF_A_CUT


_OF_A_CUT = frozenset({"skin", "incision", "the", "a", "it", "this", "that", "length"})


def _is_thickness(sentence: Sentence, index: int) -> bool:
    return any(token.norm in ("thick", "wide", "deep", "high") for token in sentence.tokens[index + 1 : index + 2])


def _numbers_between(sentence: Sentence, index: int, hit: cues.Hit) -> bool:
    """Whether other measures stand between a length and the incision, so that it is theirs."""
    low, high = min(index, hit.last), max(index, hit.first)
    members = cues.listed(sentence, index)
    port = any(token.norm in ("port", "ports", "trocar") for token in sentence.tokens[index + 1 : index + 4])
    return any(
        token.quantity is not None and (token.quantity.dimension or (port and token.quantity.form == "clock"))
        and at not in members
        for at, token in enumerate(sentence.tokens[low + 1 : high], low + 1)
    )
