"""What is told of breasts by their sides: the grams that were taken from each, the volumes of implants."""

from __future__ import annotations

from typing import Any

from pipeline import cues, sidewise
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Quantity, Reading, Sentence
from pipeline.rows import Concept

KINDS = ("measurement", "device_size")

_COST = 4
_SIDES: dict[str, Laterality] = {"right": "right", "left": "left", "r": "right", "l": "left"}
_BETWEEN = frozenset({":", "breast", "side", "one", "was", "weighed", "weighing", "from", "the", "of", "on", "tissue"})
_LIGHTEST, _HEAVIEST = 5, 5000  # grams of a reduction; common practice, no source
_SMALLEST, _LARGEST = 80, 1000  # mL of implants that are made; common practice, no source
_IMPLANTS = frozenset({"implant", "implants", "prosthesis", "prostheses"})
_EXPANDERS = frozenset({"expander", "expanders"})
_TO_SIZE = frozenset("of : size was a silicone gel round anatomical smooth textured cc".split())
_OF_OTHER = frozenset(
    "filled fill inflated saline aspirate aspirated tumescent injected washed irrigated sizer sizers".split()
)
_REACH = 4  # tokens


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("procedures", Concept)
    if not any(
        (m.table == "procedures" and rows[m.id].site == "breast") or m.id in ("breast", "breast-implant")
        for sentence in reading.sentences for m in sentence.mentions
    ):
        return []
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section in ("history", "aftercare", "follow-up"):
            continue
        drugs = any(True for _ in base.mentions(sentence, "drugs", "injectates", "fluids"))
        for at, quantity in base.quantities(sentence):
            if quantity.form != "number" or quantity.value is None:
                continue
            if quantity.unit == "g" and not drugs and _LIGHTEST <= quantity.value <= _HEAVIEST:
                facts += _weight(reading, sentence, at)
            if not cues.has(sentence, grammar, "irrigation"):
                facts += _volume(reading, sentence, grammar, at, quantity)
    return facts


def _weight(reading: Reading, sentence: Sentence, at: int) -> list[Fact]:
    """ "Right 455 g, left 407 g", "410 grams from the right"."""
    tokens = sentence.tokens
    back = at - 1
    while back >= 0 and at - back < _REACH and tokens[back].norm in _BETWEEN:
        back -= 1
    ahead = at + 1
    while ahead < len(tokens) and ahead - at < _REACH and tokens[ahead].norm in _BETWEEN - {":"}:
        ahead += 1
    side = _SIDES.get(tokens[back].norm) if back >= 0 else None
    behind = _SIDES.get(tokens[ahead].norm) if ahead < len(tokens) else None
    if behind is not None and ahead + 1 < len(tokens) and tokens[ahead + 1].quantity is not None and side is not None:
        behind = None  # "right 455 g left 407 g": the side leads what follows
    told = side or behind
    if told is None:
        return []
    first, last = (back, at) if side else (at, ahead)
    return [base.claim("measurement", reading, sentence, at, first, last, _COST, name="specimen-weight",
                       laterality=told)]  # fmt: skip


def _volume(reading: Reading, sentence: Sentence, grammar: Grammar, at: int, quantity: Quantity) -> list[Fact]:
    """ "A 320 cc implant", "implant three twenty", "expander 400 mL"; what it was filled with is no size of it."""
    value = quantity.value
    if value is None or not _SMALLEST <= value <= _LARGEST or quantity.dimension not in ("volume", "mass", ""):
        return []
    if quantity.dimension == "mass" and quantity.unit != "g":
        return []
    tokens = sentence.tokens
    ahead = at + 1
    while ahead < len(tokens) and ahead - at < _REACH and tokens[ahead].norm in _TO_SIZE - {":", "was"}:
        ahead += 1
    back = at - 1
    while back >= 0 and at - back < _REACH and tokens[back].norm in _TO_SIZE:
        back -= 1
    places = [place for place in (ahead, back) if 0 <= place < len(tokens)
              and tokens[place].norm in _IMPLANTS | _EXPANDERS]  # fmt: skip
    near = {token.norm for token in tokens[max(0, at - _REACH) : at + _REACH]}
    if not places or near & _OF_OTHER or (quantity.dimension == "" and places[0] > at):
        return []
    name = "tissue-expander" if tokens[places[0]].norm in _EXPANDERS else "breast-implant"
    fields: dict[str, Any] = {} if quantity.unit else {"doubts": ("its unit was not said",)}
    return [base.claim("device_size", reading, sentence, at, min(places[0], at), max(places[0], at), _COST, name=name,
                       role="implanted", laterality=sidewise.side_of(sentence, at, grammar), **fields)]  # fmt: skip
