"""Sides of parts that a narration of two sides tells once and names again: "left ankle arthroscopy and injection of the
right elbow ... then the elbow, two millilitres". A part that was told on both sides, and one that nobody gave a side,
tell nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from pipeline import laterality, own_numbers
from pipeline.body_parts import related_sites
from pipeline.extractors.base import scope_at
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Mention, Reading, Sentence
from pipeline.rows import Concept

KINDS = own_numbers.KINDS | frozenset(
    "injection injection_volume injection_needle medication_dose medication_volume finding act specimen "
    "dressing closure drain drain_size device".split()
)
_PAST = frozenset("history short-history family-history imaging consent aftercare follow-up".split())
_REACH = 16  # words from a part that is named to what is told of it


def again(
    facts: Sequence[Fact], reading: Reading, grammar: Grammar, free: Callable[[Fact], bool],
    apart: Callable[[Fact], bool],
) -> list[Fact]:  # fmt: skip
    """The facts, those told of a part with the only side that this part was said with. `free`: whether a fact may take
    a side; `apart`: whether no side stands over it as a heading. Pure; order kept."""
    known = _known(facts, reading, grammar)
    if set(known.values()) != {"left", "right"}:
        return list(facts)
    sentences = [sentence for sentence in reading.sentences if sentence.tokens]
    result: list[Fact] = []
    at = 0
    for fact in sorted(facts, key=lambda one: one.evidence.first):
        while at + 1 < len(sentences) and sentences[at].tokens[-1].last < fact.evidence.first:
            at += 1
        side = None
        if fact.laterality is None and fact.kind in _ORDERED:
            side = _of_part_ahead(fact, sentences[at], grammar, known)
        elif fact.laterality is None and fact.kind in KINDS and free(fact):
            side = _of_part_behind(fact, sentences[at], grammar, known)
            if side is None and apart(fact):
                side = _of_part(fact, sentences[at], grammar, known)
        result.append(fact if side is None else replace(fact, laterality=side))
    return result


def _known(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> dict[str, Laterality]:
    """{part: its only side}, of operations and of parts said with a side."""
    said: dict[str, set[Laterality]] = {}
    rows = grammar.table("procedures", Concept)
    for fact in facts:
        if fact.kind == "procedure" and fact.laterality and fact.done:
            row = rows.get(fact.name or "")
            said.setdefault(fact.body_site or (row.site if row is not None else ""), set()).add(fact.laterality)
    operated = set(said) - {""}
    for sentence in reading.sentences:
        for side in laterality.sides(sentence, grammar):
            part = laterality.own_noun(sentence, side)
            if part is not None and side.value is not None and part.id in operated:
                said[part.id].add(side.value)
    return {part: next(iter(sides)) for part, sides in said.items() if part and len(sides) == 1}


def _of_part(
    fact: Fact, sentence: Sentence, grammar: Grammar, known: dict[str, Laterality]
) -> Laterality | None:
    if sentence.section in _PAST or scope_at(sentence, "status", _start(fact, sentence), "performed") != "performed":
        return None
    part = fact.body_site or _named_before(fact, sentence)
    sites = grammar.table("sites", Concept)
    if part is None or part not in sites:
        return None
    sides = {side for one, side in known.items() if one in sites and related_sites(sites[part], sites[one], grammar)}
    told = {side.value for side in laterality.sides(sentence, grammar)}
    return sides.pop() if len(sides) == 1 and told <= sides else None


def _of_part_behind(
    fact: Fact, sentence: Sentence, grammar: Grammar, known: dict[str, Laterality]
) -> Laterality | None:
    """ "Right hip ... five millilitres of lidocaine at the elbow": the side of the part that an amount leads to,
    whatever side stands over it."""
    tokens = sentence.tokens
    at = next((at for at, token in enumerate(tokens) if token.first > fact.evidence.last), len(tokens))
    if fact.kind not in _GIVEN or at >= len(tokens) or tokens[at].norm not in _AT:
        return None
    at += 1 + any(token.norm in ("the", "his", "her") for token in tokens[at + 1 : at + 2])
    sites = grammar.table("sites", Concept)
    part = next((m.id for m in sentence.mentions if m.table == "sites" and m.first == at), None)
    if part is None or not sites[part].sided:
        return None
    sides = {side for one, side in known.items() if one in sites and related_sites(sites[part], sites[one], grammar)}
    return sides.pop() if len(sides) == 1 else None


def _of_part_ahead(
    fact: Fact, sentence: Sentence, grammar: Grammar, known: dict[str, Laterality]
) -> Laterality | None:
    """ "Elbow in a sling for three days": the side of the part that an order names or stands right behind."""
    first, sites = _start(fact, sentence), grammar.table("sites", Concept)
    parts = [m for m in sentence.mentions if m.table == "sites" and first - _AHEAD <= m.last
             and sentence.tokens[m.last].last <= fact.evidence.last]  # fmt: skip
    if not parts or not sites[parts[-1].id].sided or fact.certainty != "affirmed" or fact.scale is not None:
        return None
    between = [token.norm for token in sentence.tokens[parts[-1].last + 1 : first]]
    if any(norm in _PARTING for norm in between) or any("side" in doubt for doubt in fact.doubts):
        return None
    sides = {side for one, side in known.items()
             if one in sites and related_sites(sites[parts[-1].id], sites[one], grammar)}  # fmt: skip
    return sides.pop() if len(sides) == 1 else None


_ORDERED, _AHEAD = frozenset({"aftercare", "dressing"}), 3  # tokens
_PARTING = frozenset({".", ";", "both", "each", "left", "right", "other", "and", "then"})
_GIVEN = frozenset({"medication_dose", "medication_volume", "injection_volume"})
_AT = frozenset({"at", "in", "into", "to", "around", "for", "over", "near"})


def _start(fact: Fact, sentence: Sentence) -> int:
    return next((at for at, token in enumerate(sentence.tokens) if fact.evidence.first <= token.first), 0)


def _named_before(fact: Fact, sentence: Sentence) -> str | None:
    """The last part of the body that was named before a fact or within it."""
    first = _start(fact, sentence)
    end = max((at for at, token in enumerate(sentence.tokens) if token.last <= fact.evidence.last), default=first)
    near: list[Mention] = [m for m in sentence.mentions if m.table == "sites" and first - _REACH <= m.first <= end + 3]
    return near[-1].id if near else None
