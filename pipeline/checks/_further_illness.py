"""Illnesses that are told beside the one that is operated on, and no contradiction to it."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.body_parts import chain
from pipeline.checks.base import site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact
from pipeline.rows import Concept

ILL = ("preop_diagnosis", "postop_diagnosis", "diagnosis")


def is_of_a_list(note: OperativeNote, fact: Fact, operated: Sequence[Fact], grammar: Grammar) -> bool:
    """ "Osteoarthritis of the right hip and the left knee": one illness of two parts, of which the other one is
    operated on, on its own side. Pure."""
    places = [(one.laterality, site) for one in operated if (site := site_of(one, grammar)) is not None]
    return fact.kind in ILL and any(
        one is not fact and one.name == fact.name and one.evidence == fact.evidence and one.body_site != fact.body_site
        and (place := site_of(one, grammar)) is not None
        and any(side == one.laterality and _is_same(place, site, grammar) for side, site in places)
        for one in note.of(fact.kind)
    )  # fmt: skip


def _is_same(place: Concept, site: Concept, grammar: Grammar) -> bool:
    """Whether one part of the body is the other or lies in it; two joints of one limb are not the same."""
    return place.id in chain(site, grammar) or site.id in chain(place, grammar)
