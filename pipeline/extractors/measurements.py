"""Measured values: pressures, incision length, sizes of what was found, angles and other named measures."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence
from pipeline.rows import Concept

KINDS = ("measurement", "pressure", "incision_length")

_NAMED_REACH, _LESION_REACH, _INCISION_REACH, _PRESSURE_REACH = 22, 16, 24, 45
_GUESS = 6  # a noun beside a length says less than a named measure
_NOUNS = ("findings", "diagnoses", "sites", "specimens")
_LENGTHS = ("length", "area")
_OTHER_KINDS = frozenset({"weight"})  # patient_weight


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("measures", Concept)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, _ in base.quantities(sentence):
            quantity = cues.unit_of(sentence, index)
            if quantity is not None and quantity.form in ("number", "range", "fraction", "size"):
                facts += _number(reading, sentence, grammar, rows, index, quantity)
    return facts


def _number(
    reading: Reading, sentence: Sentence, grammar: Grammar, rows: Mapping[str, Concept], index: int, quantity: Quantity
) -> list[Fact]:
    facts = _named(reading, sentence, rows, index, quantity)
    if quantity.dimension == "pressure":
        for cue, name in (("insufflation", "insufflation-pressure"), ("pump", "pump-pressure")):
            near = cues.nearest(sentence, grammar, index, cue)
            if near is not None and near[0] <= _PRESSURE_REACH:
                price, hit = near
                facts.append(
                    base.claim("pressure", reading, sentence, index, hit.first, hit.last, price, name=name)
                )
    if quantity.dimension not in _LENGTHS or _is_place(sentence, grammar, index):
        return facts
    near = cues.nearest(sentence, grammar, index, "incision")
    if near is not None and near[0] <= _INCISION_REACH:
        price, hit = near
        facts.append(
            base.claim("incision_length", reading, sentence, index, hit.first, hit.last, price, unit=quantity.unit)
        )
    return facts + _noun(reading, sentence, grammar, index, quantity)


def _is_place(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """ "2 cm below the umbilicus" tells where, not how long."""
    last = cues.listed(sentence, index)[-1]
    return any(hit.first == last + 1 for hit in cues.hits(sentence, grammar, "elsewhere"))


def _named(
    reading: Reading, sentence: Sentence, rows: Mapping[str, Concept], index: int, quantity: Quantity
) -> list[Fact]:
    ranked = [
        (cues.cost(sentence, index, mention.first, mention.last, prefix=2), mention.first, mention)
        for mention in base.mentions(sentence, "measures")
        if mention.id not in _OTHER_KINDS and _fits(rows[mention.id].group, quantity.dimension)
    ]
    if not ranked:
        return []
    price, _, mention = min(ranked, key=lambda item: item[:2])
    if price > (_NAMED_REACH if quantity.dimension else 8):
        return []
    kind = "pressure" if quantity.dimension == "pressure" else "measurement"
    return [
        base.claim(kind, reading, sentence, index, mention.first, mention.last, price, name=mention.id,
                   unit=quantity.unit)
    ]  # fmt: skip


_FITS = {
    "length": ("length", "area"), "angle": ("angle",), "pressure": ("pressure",),
    "count": ("", "count", "volume", "fraction"),
    "body": ("mass", "length", "temperature", "frequency", "fraction", "", "time", "count", "mass_concentration"),
    "time": ("time",),
}  # fmt: skip


def _fits(group: str, dimension: str) -> bool:
    return dimension in _FITS.get(group, ()) or (dimension == "" and group in ("angle", "pressure"))


def _noun(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity
) -> list[Fact]:
    """A length beside a lesion or a structure: its size."""
    ranked = [
        (cues.cost(sentence, index, hit.first, hit.last, postfix=1), hit.first, hit.last)
        for hit in cues.hits(sentence, grammar, "lesion")
    ] + [
        (cues.cost(sentence, index, mention.first, mention.last, postfix=1) + 1, mention.first, mention.last)
        for mention in base.mentions(sentence, *_NOUNS)
    ]
    if not ranked or min(ranked)[0] > _LESION_REACH:
        return []
    price, first, last = min(ranked)
    text = " ".join(token.text for token in sentence.tokens[first : last + 1])
    return [
        base.claim("measurement", reading, sentence, index, first, last, price + _GUESS, name="size", text=text,
                   unit=quantity.unit)
    ]  # fmt: skip
