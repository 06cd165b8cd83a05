"""What the readers of counts and of sizes that were left out hold of a device."""

from __future__ import annotations

from typing import Any

from pipeline import cues
from pipeline.extractors import base
from pipeline.extractors._device_roles import is_own_part
from pipeline.extractors._device_sizes import NOT_BETWEEN, is_decimal
from pipeline.grammar import Grammar
from pipeline.records import Reading, Sentence

MOST, MANY = 30, 99  # more is no count of things put in one by one; staples are more
# They do not stay, and are counted all the same.
COUNTED = frozenset({"k-wire", "trocar", "sheath", "iris-hooks", "bougie"})

WHERE = frozenset(
    "proximally distally medially laterally anteriorly posteriorly superiorly inferiorly above below cranially "
    "caudally left right on in into at from through around across".split()
)
PLACE = frozenset(
    "proximal distal medial lateral anterior posterior superior inferior upper lower left right cranial caudal "
    "central peripheral atrial ventricular mediastinal pleural apical basal anterolateral posterolateral anteromedial "
    "posteromedial deep superficial dorsal volar".split()
)


class Thing:
    """A device of the grammar, or an instrument or component that only a cue names."""

    __slots__ = ("first", "implant", "last", "name", "text")

    def __init__(self, first: int, last: int, name: str | None, text: str | None, implant: bool) -> None:
        self.first, self.last, self.name, self.text, self.implant = first, last, name, text, implant


def found(sentence: Sentence, grammar: Grammar, rows: Any) -> list[Thing]:
    """The implants of a sentence, and the instruments that are counted or sized."""
    things = [
        Thing(m.first, m.last, m.id, None, rows[m.id].implant)
        for m in base.mentions(sentence, "devices") if rows[m.id].implant or m.id in COUNTED
    ]  # fmt: skip
    hits = cues.hits(sentence, grammar, "instrument")
    if not hits:
        return things  # in order, as mentions are
    taken = {at for thing in things for at in range(thing.first, thing.last + 1)}
    things += [
        Thing(hit.first, hit.last, None, cues.words(sentence, hit.first, hit.last), False)
        for hit in hits if not taken & set(range(hit.first, hit.last + 1)) and not is_own_part(sentence, hit.first)
    ]  # fmt: skip
    return sorted(things, key=lambda one: one.first)


ATTRIBUTES = frozenset({"piece", "way", "part", "lumen", "layer", "level", "segment"})


def whole(sentence: Sentence, at: int, most: int = MOST) -> int | None:
    """The small whole number without a unit at a token."""
    quantity = sentence.tokens[at].quantity if 0 <= at < len(sentence.tokens) else None
    if quantity is None or quantity.form != "number" or quantity.dimension or quantity.value is None:
        return None
    value = quantity.value
    if is_decimal(sentence.tokens[at]):
        return None  # "one solid three point oh"
    if at > 1 and sentence.tokens[at - 1].norm == "by" and sentence.tokens[at - 2].quantity is not None:
        return None  # "seven point five by thirty five rods": a size of what stands before
    if at + 1 < len(sentence.tokens) and sentence.tokens[at + 1].norm in ATTRIBUTES:
        return None  # "a three piece lens": what sort it is
    return int(value) if value == int(value) and 0 < value <= most and not quantity.doubts else None


_PARTS = NOT_BETWEEN - PLACE


def count_of(sentence: Sentence, thing: Thing) -> int | None:
    """Where the number stands that counts a thing, over sizes and words that describe it."""
    for at in range(thing.first - 1, max(-1, thing.first - 5), -1):
        token = sentence.tokens[at]
        if whole(sentence, at) is not None:
            return at
        if token.punctuation or (token.quantity is None and token.norm in _PARTS):
            return None
    return None


_ACTS = frozenset("pass passes hole holes attempt attempts go goes time times turn turns tunnel tunnels run runs cycle "
                  "cycles site sites level levels track tracks shot shots".split())  # fmt: skip


def of_acts(sentence: Sentence, at: int) -> bool:
    """ "3.2 mm drill x 3 passes": whether the number at a token counts what was done with a thing, and no things."""
    return at + 1 < len(sentence.tokens) and sentence.tokens[at + 1].norm in _ACTS


def noun_behind(sentence: Sentence, at: int) -> bool:
    """Whether a number and a word of place lead on to something else that is counted ("two distal fragments")."""
    tokens = sentence.tokens
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    return tokens[at].norm in PLACE and after is not None and after.norm.isalpha() and after.norm.endswith("s")


_NAILED = frozenset({"intramedullary-nail", "intramedullary-nailing", "cephalomedullary-nail"})
_NAIL = "intramedullary-nail"
_BARE_NAIL = frozenset({"nail"})


def nailed(reading: Reading) -> bool:
    """Whether a bone is nailed in this narration, so that the bare word "nail" is an implant: by name, or because a
    diameter and a length stand beside it ("nail ten by three eighty")."""
    for sentence in reading.sentences:
        held: bool | None = sentence.memo.get("nailed")
        if held is None:
            held = any([mention.id in _NAILED for mention in sentence.mentions]) or _sized_nail(sentence)
            sentence.memo["nailed"] = held
        if held:
            return True
    return False


def _sized_nail(sentence: Sentence) -> bool:
    tokens = sentence.tokens
    for at, token in enumerate(tokens if sentence.says(_BARE_NAIL) else ()):
        if token.norm != "nail":
            continue
        for low in (at + 1, at - 3):
            pair = tokens[max(0, low) : low + 3]
            if low >= 0 and len(pair) == 3 and pair[1].norm in ("x", "by", "\u00d7") and (
                pair[2].quantity is not None and (pair[2].quantity.value or 0) >= _LEAST_NAIL
            ):  # fmt: skip
                return True
    return False


_LEAST_NAIL = 100  # mm, the shortest nails of long bones are longer; common practice, no source


def nails(sentence: Sentence, things: list[Thing]) -> list[Thing]:
    """The bare word "nail" in a sentence, where a bone is nailed."""
    taken = {at for thing in things for at in range(thing.first, thing.last + 1)}
    return [
        Thing(at, at, _NAIL, None, True)
        for at, token in enumerate(sentence.tokens) if token.norm == "nail" and at not in taken
    ]  # fmt: skip


_SORTS = {
    "locking": "locking-screw", "locked": "locking-screw", "cortical": "cortical-screw", "bicortical": "screw",
    "unicortical": "screw", "cancellous": "cancellous-screw", "lag": "lag-screw", "cannulated": "cannulated-screw",
    "nonlocking": "non-locking-screw",
}  # fmt: skip
BEHIND = frozenset({"and", "in", "with", "w", "x", "of", "for", "proximally", "distally"})
_BACK = 4  # tokens
_WORN = frozenset({"brace", "orthosis", "splint", "boot", "hinge", "knee", "hinged"})


def by_sort(sentence: Sentence) -> list[Thing]:
    """The words of a sort that no noun follows, with a number before them or two sizes behind."""
    tokens = sentence.tokens
    taken = {at for mention in base.mentions(sentence, "devices") for at in range(mention.first, mention.last + 1)}
    found: list[Thing] = []
    for at, token in enumerate(tokens):
        if token.norm not in _SORTS or at in taken or (at and tokens[at - 1].norm in _WORN):
            continue  # "brace locked"
        after = tokens[at + 1] if at + 1 < len(tokens) else None
        free = after is None or after.punctuation or after.quantity is not None or after.norm in BEHIND
        sized = after is not None and after.quantity is not None
        crossed = sized and at + 2 < len(tokens) and tokens[at + 2].norm == "x"
        if free and (crossed or number_before(sentence, at) is not None):
            found.append(Thing(at, at, _SORTS[token.norm], None, True))
    return found


def number_before(sentence: Sentence, at: int) -> int | None:
    """Where the first number stands that leads to a word, over sizes and words that describe."""
    tokens = sentence.tokens
    found: int | None = None
    for index in range(at - 1, max(-1, at - 1 - _BACK - 2), -1):
        if tokens[index].quantity is not None and not tokens[index].quantity.dimension:  # type: ignore[union-attr]
            found = index
        elif tokens[index].quantity is None and (tokens[index].punctuation or tokens[index].norm in NOT_BETWEEN):
            break
    return found
