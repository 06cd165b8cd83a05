"""The power of an intraocular lens: "an IOL of plus twenty one point five", "+21.5 D". No unit is given to it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence

KINDS = ("device", "device_size")

_LENSES = ("intraocular-lens", "posterior-chamber-lens", "anterior-chamber-lens")
_NAME = "intraocular-lens"
_LENS_WORDS = frozenset({"lens", "lenses", "iol", "implant", "power", "powered", "piece"})
_GOES_ON = frozenset({"another", "exchanged", "replaced", "new", "second", "first"})
# Where plus and minus are of the eye and not of what was put into it.
_REFRACTION = frozenset({"refraction", "sphere", "spherical", "cylinder", "axis", "spectacle", "spectacles", "glasses",
                         "target", "aim", "aiming", "myopia", "myopic", "hyperopia", "residual", "keratometry", "toric",
                         "reading"})  # fmt: skip
_WEAKEST, _STRONGEST = Decimal(-10), Decimal(40)  # dioptres that are made; common practice, no source
_NEAR, _BEHIND = 8, 4
_COST = 3
_NO_UNIT = "its unit was not said"


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    if not any(
        mention.id in _LENSES or "lens" in mention.id or "phaco" in mention.id or "cataract" in mention.id
        for sentence in reading.sentences for mention in sentence.mentions
    ):
        return []
    named = any(
        mention.table == "devices" and mention.id in _LENSES
        for sentence in reading.sentences for mention in sentence.mentions
    )
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, quantity in base.quantities(sentence, "refraction", ""):
            if not _is_power(sentence, index, quantity):
                continue
            facts += _power(reading, sentence, index, quantity, named)
    return facts


def _is_power(sentence: Sentence, index: int, quantity: Quantity) -> bool:
    value = quantity.value
    if quantity.form != "number" or value is None or not _WEAKEST <= value <= _STRONGEST or value * 4 % 1:
        return False
    tokens = sentence.tokens
    signed = tokens[index].text[:1] in "+-" or (index > 0 and tokens[index - 1].norm in ("plus", "minus"))
    before = {token.norm for token in tokens[max(0, index - _NEAR) : index]}
    after = {token.norm for token in tokens[index + 1 : index + 1 + _BEHIND]}
    powered = "power" in {token.norm for token in tokens[max(0, index - 2) : index]}  # "IOL power 21.5"
    if (before | after) & _REFRACTION or not (signed or quantity.dimension or powered):
        return False
    return _lens(sentence, index, before, after)


def _lens(sentence: Sentence, index: int, before: set[str], after: set[str]) -> bool:
    tokens = sentence.tokens
    lens = bool((before | after) & _LENS_WORDS) or any(
        m.id in _LENSES and abs(m.first - index) <= _NEAR for m in sentence.mentions
    )
    return lens or (bool(before & _GOES_ON) and any(token.norm in _LENS_WORDS for token in tokens[:index]))


def _power(reading: Reading, sentence: Sentence, index: int, quantity: Quantity, named: bool) -> list[Fact]:
    own = [m for m in base.mentions(sentence, "devices") if m.id in _LENSES and abs(m.first - index) <= _NEAR]
    at = min(own, key=lambda m: abs(m.first - index)).first if own else index
    shared: dict[str, Any] = {"name": own[0].id if own else _NAME, "role": "implanted",
                              "group": f"d{base.group_of(sentence, at)}"}  # fmt: skip
    minus = index > 0 and sentence.tokens[index - 1].norm == "minus" and (quantity.value or 0) > 0
    fields: dict[str, Any] = {"value": -quantity.value} if minus and quantity.value is not None else {}
    doubts = () if quantity.unit else (_NO_UNIT,)
    first = index - 1 if index and sentence.tokens[index - 1].norm in ("plus", "minus") else index
    facts = [base.claim("device_size", reading, sentence, index, min(first, at), max(index, at), _COST,
                        unit=quantity.unit, doubts=doubts, **fields, **shared)]  # fmt: skip
    if not named:
        facts.append(base.make("device", reading, sentence, first, index, **shared))  # type: ignore[arg-type]
    return list(facts)
