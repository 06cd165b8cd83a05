"""A part that is told on one side where all operations on it are on the other: "left sentinel node biopsy, right breast
reduction ... two nodes from the right axilla"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.body_parts import chain
from pipeline.checks._asides import is_aside
from pipeline.checks.base import site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact
from pipeline.rows import Concept

# What is done or put in at a part, or taken from it.
_TOLD = frozenset("act approach specimen injection injection_volume device drain medication_volume incision_length "
                  "tourniquet measurement grade finding".split())  # fmt: skip
_WELL = frozenset({"normal", "intact", "stable", "healthy", "preserved", "no-disease", "patent"})
_BROAD = frozenset({"arm", "leg", "upper-extremity", "lower-extremity", "limb", "head", "trunk", "chest", "abdomen",
                    "pelvis", "hand", "foot", "skin", "neck", "face"})  # fmt: skip


def part_astray(
    note: OperativeNote, operated: Sequence[Fact], sided: Sequence[Fact], grammar: Grammar
) -> tuple[Fact, Fact] | None:
    """(operation, fact) of the first such part, where operations of both sides were done. Pure."""
    sides = {fact.laterality for fact in operated}
    if not {"left", "right"} <= sides or "bilateral" in sides:
        return None
    places = [(one, site) for one in operated if (site := site_of(one, grammar)) is not None]
    if len(places) < len(operated):
        return None  # one of them may be on any part
    for fact in sided:
        site = site_of(fact, grammar)
        if fact.kind not in _TOLD or not fact.done or fact.doubts or fact.name in _WELL or site is None:
            continue
        if site.id in _BROAD or fact.laterality not in ("left", "right"):
            continue
        there = [one for one, place in places if _lies(site, place, grammar)]
        if there and all({one.laterality, fact.laterality} == {"left", "right"} for one in there) and not is_aside(
            note, fact.evidence, fact.laterality
        ):
            return there[0], fact
    return None


def _lies(site: Concept, place: Concept, grammar: Grammar) -> bool:
    """Whether a part is the one that is operated on, lies in it, or holds it."""
    return place.id in chain(site, grammar) or site.id in chain(place, grammar) - _BROAD
