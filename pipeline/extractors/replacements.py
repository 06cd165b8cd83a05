"""Sizes of what came in place of an implant, and the bare size of what went: "screw forty five too long, swapped for a
forty", "tried a ten insert, loose, went up to a twelve". The new one takes the name of the old."""

from __future__ import annotations

from typing import Any

from pipeline import cues, replacements
from pipeline.extractors import _things, base
from pipeline.extractors._device_roles import is_own_part, is_place
from pipeline.extractors._things import Thing
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.replacements import Replacement
from pipeline.rows import Device

KINDS = ("device", "device_size")

_NO_UNIT = "its unit was not said"
_COST, _OLD_COST = 0, 3


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    before: tuple[Sentence, Thing] | None = None
    for sentence in reading.sentences:
        told = replacements.in_sentence(sentence)
        things = _implants(sentence, grammar, rows)
        came: set[int] = set()
        for one in told:
            near = [thing for thing in things if thing.last < one.cue and one.cue - thing.last <= replacements.REACH]
            owner = (sentence, near[-1]) if near else before
            if owner is None or (not near and one.failed) or came & set(one.new):
                continue
            if near and replacements.is_open(sentence, one, near[-1].last):
                continue
            named = one.named and not (one.failed and near and not _is_same(sentence, near[-1], one))
            if near and not named:
                facts += _old(reading, sentence, near[-1], one)
            if one.new and not named:
                facts += _new(reading, sentence, owner, one)
                came |= set(one.new)
        before = (sentence, things[-1]) if things else None
    return facts


def _implants(sentence: Sentence, grammar: Grammar, rows: Any) -> list[Thing]:
    """What may stay in, by a row of its own or as a part of a joint replacement."""
    things = [thing for thing in _things.found(sentence, grammar, rows) if thing.implant]
    things += _things.by_sort(sentence)
    taken = {at for thing in things for at in range(thing.first, thing.last + 1)}
    things += [
        Thing(hit.first, hit.last, None, cues.words(sentence, hit.first, hit.last), True)
        for hit in cues.hits(sentence, grammar, "component")
        if not taken & set(range(hit.first, hit.last + 1)) and not is_own_part(sentence, hit.first)
        and not is_place(sentence, hit.first)
    ]  # fmt: skip
    return sorted(things, key=lambda thing: thing.first)


def _is_same(sentence: Sentence, thing: Thing, one: Replacement) -> bool:
    """Whether the noun behind the new size is that of the thing: "tried a 36 head, went down to a 32 head"."""
    behind = {token.norm for token in sentence.tokens[max(one.new, default=one.cue) :][: replacements.NOUN + 1]}
    return sentence.tokens[thing.last].norm in behind


def _new(reading: Reading, sentence: Sentence, owner: tuple[Sentence, Thing], one: Replacement) -> list[Fact]:
    thing = owner[1]
    fields = {"name": thing.name, "text": thing.text, "role": "implanted",
              "group": f"d{base.group_of(sentence, one.new[0])}"}  # fmt: skip
    facts: list[Fact] = [
        base.claim("device_size", reading, sentence, at, one.cue, at, _COST, doubts=_doubts(sentence, at, one.offset),
                   places=(at,), at=at, **fields)
        for at in one.new
    ]  # fmt: skip
    if thing.name is not None and not one.offset:
        facts.append(base.make("device", reading, sentence, one.cue, one.new[-1], at=one.new[0], places=(), **fields))
    return facts


def _old(reading: Reading, sentence: Sentence, thing: Thing, one: Replacement) -> list[Fact]:
    single = replacements.one_of_them(sentence, thing.last, one.cue)
    begins = thing.last if single is None else single
    at = replacements.old_size(sentence, begins, replacements.old_ends(sentence, one), one.offset)
    if at is None or at in one.new:
        return []
    whole = single is None and sentence.tokens[at - 1].norm != "the"
    role = "trial" if replacements.is_tried(sentence, thing.first - 4, one.cue) else "explanted"
    return [
        base.claim("device_size", reading, sentence, at, thing.first, thing.last, _OLD_COST,
                   doubts=_doubts(sentence, at, one.offset), places=(at,), name=thing.name, text=thing.text, role=role,
                   group=f"d{base.group_of(sentence, thing.first if whole else at)}")
    ]  # fmt: skip


def _doubts(sentence: Sentence, at: int, offset: bool) -> tuple[str, ...]:
    quantity = sentence.tokens[at].quantity
    if quantity is None or quantity.unit or quantity.form == "label":
        return ()
    minus = sentence.tokens[at].text[:1] in "-\u2212" or "minus" in sentence.tokens[at].text.lower() or (
        at > 0 and sentence.tokens[at - 1].norm == "minus"
    )
    return (f"said as an offset ({'minus' if minus else 'plus'}); {_NO_UNIT}",) if offset else (_NO_UNIT,)
