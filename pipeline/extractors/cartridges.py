"""Cartridges of staplers, told by colour and length, the unit and often the noun left out: "two blue eighty loads",
"divided with a blue sixty", "two more blue sixties and a white forty five"."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from pipeline.extractors import _things, base
from pipeline.extractors._things import Thing
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device_size", "device_count")

_NO_UNIT = "its unit was not said"


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.says(_LOADS):
            facts += _reloads(reading, sentence, _things.found(sentence, grammar, rows))
        if sentence.says(_CARTRIDGES):
            facts += _coloured(reading, sentence)
    return facts


def _claim(kind: str, reading: Reading, sentence: Sentence, index: int, thing: Thing, **fields: Any) -> Fact:
    return base.claim(
        kind, reading, sentence, index, thing.first, thing.last, -1, name=thing.name, text=thing.text, unit=None,
        group=f"d{base.group_of(sentence, thing.first)}", role="implanted" if thing.implant else "used", **fields,
    )  # fmt: skip


def _bare(sentence: Sentence, at: int) -> Decimal | None:
    """The bare number at a token."""
    quantity = sentence.tokens[at].quantity if 0 <= at < len(sentence.tokens) else None
    bare = quantity is not None and quantity.form == "number" and not quantity.dimension
    return quantity.value if quantity is not None and bare else None


def _reloads(reading: Reading, sentence: Sentence, things: list[Thing]) -> list[Fact]:
    """ "Two blue eighty loads", "with a white sixty reload"."""
    facts: list[Fact] = []
    tokens = sentence.tokens
    for thing in things:
        at = thing.first - 1
        value = _bare(sentence, at)
        if tokens[thing.last].norm not in _LOADS or value is None or f"{value}" not in _STAPLED:
            continue
        facts.append(_claim("device_size", reading, sentence, at, thing, doubts=(_NO_UNIT,)))
        back = at - 1
        while back > 0 and tokens[back].norm in _COLOURS:
            back -= 1
        facts += _count(reading, sentence, back, thing)
    return facts


def _coloured(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "With a blue sixty", "two more blue sixties": no noun at all."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at in range(1, len(tokens)):
        if tokens[at].norm not in _CARTRIDGES:
            continue
        if _bare(sentence, at + 1) is None and sentence.says(_FIRED):
            facts += _colour_last(reading, sentence, at)
        after = tokens[at + 2].norm if at + 2 < len(tokens) else "."
        said = _bare(sentence, at + 1)
        called = _CALLED.get(tokens[at + 1].norm) if at + 1 < len(tokens) else None
        size = said if said is not None and f"{said}" in _STAPLED else called
        if size is None or (after.isalpha() and after not in _AFTER):
            continue
        thing = Thing(at, at + 1, None, f"{tokens[at].text} cartridge", False)
        if said is not None:
            facts.append(_claim("device_size", reading, sentence, at + 1, thing, doubts=(_NO_UNIT,)))
        else:
            facts.append(base.make("device_size", reading, sentence, at, at + 1, text=thing.text, role="used",
                                   value=size, unit=None, doubts=(_NO_UNIT,),
                                   group=f"d{base.group_of(sentence, at)}"))  # fmt: skip
        facts += _count(reading, sentence, at - 1 - (tokens[at - 1].norm in ("more", "further", "other")), thing)
    return facts


def _colour_last(reading: Reading, sentence: Sentence, at: int) -> list[Fact]:
    """ "Firings: 60 green x1, 60 blue x3", "1 x 45 gold"."""
    tokens = sentence.tokens
    size = _bare(sentence, at - 1)
    if size is None or f"{size}" not in _STAPLED:
        return []
    thing = Thing(at, at, None, f"{tokens[at].text} cartridge", False)
    facts: list[Fact] = [_claim("device_size", reading, sentence, at - 1, thing, doubts=(_NO_UNIT,))]
    times = tokens[at + 1].quantity if at + 1 < len(tokens) else None
    if times is not None and times.form == "times":
        facts.append(_claim("device_count", reading, sentence, at + 1, thing))
    elif at > 2 and tokens[at - 2].norm == "x":
        facts += _count(reading, sentence, at - 3, thing)
    return facts


_FIRED = frozenset({"firing", "firings", "fired", "reload", "reloads", "load", "loads", "stapler", "cartridge",
                    "cartridges", "stapled", "staplers"})  # fmt: skip


def _count(reading: Reading, sentence: Sentence, at: int, thing: Thing) -> list[Fact]:
    many = _bare(sentence, at)
    return [_claim("device_count", reading, sentence, at, thing)] if many is not None and many <= _MANY else []


_LOADS = frozenset({"load", "loads", "reload", "reloads", "cartridge", "cartridges", "firing", "firings"})
_STAPLED = ("30", "35", "45", "60", "75", "80", "90", "100")  # mm; common practice, no source
_COLOURS = frozenset("blue white green purple gold black tan grey gray vascular medium thick thin".split())
_CARTRIDGES = frozenset("blue white green purple gold black tan grey gray".split())
_CALLED = {word: Decimal(value) for word, value in (
    ("thirties", 30), ("forties", 40), ("sixties", 60), ("eighties", 80), ("hundreds", 100))}  # fmt: skip
_AFTER = frozenset("and on for across to at then from was were fired".split())
_MANY = 12
