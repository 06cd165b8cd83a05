"""Devices and implants: which, how many, how large, and whether they stay, came out or were only tried."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device", "device_size", "device_count")

_SIZES = ("length", "gauge", "french", "angle", "volume")
_SIZE_REACH, _COUNT_REACH, _ROLE_REACH = 22, 6, 40
_NOT_COUNTED = ("level", "clock", "date", "ordinal", "suture", "code", "size", "roman", "ratio")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        devices = list(base.mentions(sentence, "devices"))
        if not devices:
            continue
        groups = {mention: f"d{base.group_of(sentence, mention.first)}" for mention in devices}
        for mention in devices:
            facts.append(
                base.make("device", reading, sentence, mention.first, mention.last, name=mention.id,
                          group=groups[mention], role=_role(sentence, grammar, mention, rows))
            )  # fmt: skip
        for index, _ in base.quantities(sentence):
            quantity = cues.unit_of(sentence, index)
            if quantity is not None:
                facts += _number(reading, sentence, grammar, rows, index, quantity, devices, groups)
    return facts


def _role(sentence: Sentence, grammar: Grammar, mention: Mention, rows: Mapping[str, Device]) -> str:
    near = {
        cue: min(
            (cues.gap(sentence, min(hit.last, mention.last), max(hit.first, mention.first))
             for hit in cues.hits(sentence, grammar, cue)),
            default=cues.FAR,
        )
        for cue in ("removed", "trial", "implanted")
    }  # fmt: skip
    if near["trial"] <= 10:
        return "trial"
    if near["removed"] <= _ROLE_REACH and near["removed"] < near["implanted"]:
        return "explanted" if rows[mention.id].implant else "used"
    return "implanted" if rows[mention.id].implant else "used"


def _number(
    reading: Reading, sentence: Sentence, grammar: Grammar, rows: Mapping[str, Device], index: int,
    quantity: Quantity, devices: list[Mention], groups: dict[Mention, str],
) -> list[Fact]:  # fmt: skip
    ranked = sorted(
        ((cues.cost(sentence, index, mention.first, mention.last, postfix=3), mention.first, mention)
         for mention in devices),
        key=lambda item: item[:2],
    )  # fmt: skip
    price, _, mention = ranked[0]
    shared: dict[str, Any] = {"name": mention.id, "group": groups[mention]}
    role = _role(sentence, grammar, mention, rows)
    if quantity.dimension in _SIZES:
        if price > _SIZE_REACH:
            return []
        return [
            base.claim("device_size", reading, sentence, index, mention.first, mention.last, price,
                       unit=quantity.unit, role=role, scale=cues.scale(sentence, index), **shared)
        ]  # fmt: skip
    if quantity.dimension not in ("", "count") or quantity.form in _NOT_COUNTED:
        return []
    sized = _says_size(sentence, index)
    if sized and price <= _SIZE_REACH:
        return [
            base.claim("device_size", reading, sentence, index, mention.first, mention.last, price, role=role, **shared)
        ]
    # "three five millimetre ports": a number, then a size, then the device
    if mention.first > index and price <= _COUNT_REACH + 4 and quantity.value == int(quantity.value or 0):
        return [
            base.claim("device_count", reading, sentence, index, mention.first, mention.last, price, role=role,
                       **shared)
        ]
    return []


def _says_size(sentence: Sentence, index: int) -> bool:
    before = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    return bool(before) and (before[-1] in ("size", "sized", "number", "no") or before[-2:] in (["size", "a"],))
