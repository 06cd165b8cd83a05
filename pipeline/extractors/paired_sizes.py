"""Sizes of a pair of which only one has a unit ("240 millimetres by eight", "stent 6 mm x 80"), and sizes with a unit
beside the bare word "nail" where a bone is nailed ("nail 240 mm")."""

from __future__ import annotations

from typing import Any

from pipeline import cues
from pipeline.extractors import _things, base
from pipeline.extractors._things import Thing
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device_size",)

_BY = frozenset({"x", "by", "\u00d7"})
_NO_UNIT = "its unit was not said"
_COST = 4
_BEHIND, _AHEAD = 5, 3  # tokens between a pair and the thing before or behind it
_LINKS = frozenset("was were is a an of , : ( size sized measuring used inserted length long and we put in".split())


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    nailed = _things.nailed(reading)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if not cues.numbers(sentence):
            continue
        named = _named(sentence, rows)
        nails = _things.nails(sentence, named) if nailed else []
        for nail in nails:
            facts += _of_nail(reading, sentence, nail)
        if sentence.says(_BY):
            facts += _pairs(reading, sentence, [*named, *nails])
            facts += _by_bone(reading, sentence, named)
    return facts


_BONES = frozenset("femur femoral tibia tibial fibula fibular patella patellar ulna radius humerus talus".split())
_TO_BONE = frozenset({"in", "the", "on", "for", ":", "at"})
_THIN, _THICK, _SHORT, _LONG = 4, 12, 15, 60  # mm of screws that are told by their bone. Common practice, no source
_FAR = 9  # dearer than a size right beside its thing


def _by_bone(reading: Reading, sentence: Sentence, things: list[Thing]) -> list[Fact]:
    """ "Interference screws seven by twenty femur, nine by twenty eight tibia": a further pair, told with its bone."""
    screws = [thing for thing in things if "screw" in (thing.name or "")]
    tokens = sentence.tokens
    facts: list[Fact] = []
    for index in range(len(tokens) - 2):
        first, second = tokens[index].quantity, tokens[index + 2].quantity
        screw = next((thing for thing in reversed(screws) if thing.last < index), None)
        if screw is None or tokens[index + 1].norm not in _BY or not (_is_bare(first) and _is_bare(second)):
            continue
        if first is None or second is None or first.value is None or second.value is None or not (
            _THIN <= first.value <= _THICK and _SHORT <= second.value <= _LONG
        ):
            continue
        at = index + 3
        while at < len(tokens) and tokens[at].norm in _TO_BONE:
            at += 1
        behind = at < len(tokens) and tokens[at].norm in _BONES
        if behind or (index and tokens[index - 1].norm in _BONES):
            facts += [_claim(reading, sentence, one, screw, (_NO_UNIT,), cost=_FAR) for one in (index, index + 2)]
    return facts


def _named(sentence: Sentence, rows: Any) -> list[Thing]:
    return [Thing(m.first, m.last, m.id, None, rows[m.id].implant) for m in base.mentions(sentence, "devices")]


def _of_nail(reading: Reading, sentence: Sentence, nail: Thing) -> list[Fact]:
    """ "Nail 240 mm", "the nail was 380 millimetres": right behind the word, or right before it."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for index, _ in base.quantities(sentence, "length"):
        between = tokens[nail.last + 1 : index] if index > nail.last else tokens[index + 1 : nail.first]
        if len(between) <= _BEHIND and all(
            token.norm in _LINKS or token.norm in _BY or token.quantity is not None for token in between
        ):
            facts.append(_claim(reading, sentence, index, nail, ()))
    return facts


def _is_bare(quantity: Quantity | None) -> bool:
    return quantity is not None and quantity.form == "number" and not quantity.dimension and quantity.value is not None


def _pairs(reading: Reading, sentence: Sentence, things: list[Thing]) -> list[Fact]:
    tokens = sentence.tokens
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "length"):
        at = index + 2
        if quantity.form != "number" or at >= len(tokens) or tokens[index + 1].norm not in _BY or (
            not _is_bare(tokens[at].quantity)
        ):
            continue
        thing = _beside(sentence, index, at, things)
        if thing is not None:
            facts.append(_claim(reading, sentence, at, thing, (_NO_UNIT,)))
    return facts


def _beside(sentence: Sentence, first: int, last: int, things: list[Thing]) -> Thing | None:
    """The thing that a pair of sizes stands right beside, if such things have two sizes."""
    tokens = sentence.tokens
    for thing in things:
        low, high = (thing.last + 1, first) if thing.last < first else (last + 1, thing.first)
        if 0 <= high - low <= (_BEHIND if thing.last < first else _AHEAD) and thing.implant and all(
            token.norm in _LINKS or (thing.first > last and token.norm.isalpha() and token.quantity is None)
            for token in tokens[low:high]
        ):
            return thing if (tokens[last].quantity.value or 0) > _COUNTS else None  # type: ignore[union-attr]
    return None


_COUNTS = 5  # "screw 3.5 mm x 2": how many


def _claim(
    reading: Reading, sentence: Sentence, index: int, thing: Thing, doubts: tuple[str, ...], *, cost: int = _COST
) -> Fact:
    quantity = sentence.tokens[index].quantity
    return base.claim(
        "device_size", reading, sentence, index, thing.first, thing.last, cost, name=thing.name, text=thing.text,
        unit=quantity.unit if quantity is not None else None, doubts=doubts,
        role="implanted" if thing.implant else "used", group=f"d{base.group_of(sentence, thing.first)}",
    )  # fmt: skip
