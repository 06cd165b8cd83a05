"""What a side that was said as a label, or that a stream of speech turned to, is the side of: amounts given at a place
behind it, and what stands right before the turn to the other side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline import laterality, sole_side
from pipeline.grammar import Grammar
from pipeline.mentions import fold
from pipeline.records import Fact, Laterality, Sentence
from pipeline.rows import Concept
from pipeline.standing import Standing, opposite

_EACH = frozenset({"each", "both", "either", "per", "sides", "total", "altogether"})
_WORDS = 8  # from a thing to the turn behind it
_STREAM = 25  # tokens
_BOTH = _EACH | {"bilateral", "bilaterally", "bilat"}
_TURNED = "its side is that of what was told before; the other side is said right behind it"
_LOCAL = frozenset(
    "procedure act finding grade complication measurement device drain specimen device_size device_count drain_size "
    "incision_length medication_dose medication_volume injection injection_volume injection_needle fluid_out".split()
)


def is_given_there(fact: Fact, sentence: Sentence | None, grammar: Grammar) -> bool:
    """Whether an amount behind a label ("Now the left heel.") was given at a place, and not to both sides."""
    if sentence is None or fact.scale is not None or sentence.says(_EACH):
        return False
    sites = grammar.table("sites", Concept)
    if any(m.table == "sites" and sites[m.id].sided for m in sentence.mentions):
        return False  # "4 mL cheek, 8 mL forearm": where it went the sentence says itself
    return fact.kind not in sole_side.GIVEN or sole_side.went_there(fact, sentence, grammar)


def of_known(fact: Fact, facts: Sequence[Fact], sentence: Sentence | None) -> Laterality | None:
    """The side of a thing that is sent away, by where it was found: "loose body" was told of one side only."""
    sent = sentence is not None and (fact.kind == "specimen" or (fact.kind == "finding" and sentence.says(_SENT)))
    if not sent or sentence is None:
        return None
    words = {fold(token.norm) for token in sentence.tokens
             if fact.evidence.first <= token.first and token.last <= fact.evidence.last} - _OF_SENDING  # fmt: skip
    sides = {
        other.laterality for other in facts
        if other.kind in _FOUND and other.evidence.last < fact.evidence.first and other.name
        and other.status == "performed" and other.certainty == "affirmed" and words >= {*other.name.split("-")}
    }  # fmt: skip
    return sides.pop() if len(sides) == 1 and sides <= {"left", "right"} else None


_FOUND = frozenset({"finding", "act", "diagnosis"})
_SENT = frozenset("sent pathology histology lab laboratory microbiology analysis specimen specimens culture".split())
_OF_SENDING = _SENT | {"to", "for", "the", "a"}


def of_suture(fact: Fact, facts: Sequence[Fact], standing: Standing) -> Fact:
    """ "Left: 5 cm incision. 4-0 nylon. Right: 3 cm incision. 5-0 nylon.": of the side that stands over it, where each
    side has its own, or the other side comes only then; what is told last may have shut both."""
    here = standing.at(fact.evidence.first)
    if fact.laterality is not None or here.side not in ("left", "right") or not here.label or here.crest:
        return fact
    places = [(one.kind, standing.at(one.evidence.first)) for one in facts if one.status == "performed"]
    others = {kind for kind, place in places if place.side == opposite(here.side) and place.label}
    later = any(
        one.evidence.first > fact.evidence.last and standing.at(one.evidence.first).side == opposite(here.side)
        for one in facts
    )
    return replace(fact, laterality=here.side) if "suture" in others or later else fact


def before_turn(fact: Fact, standing: Standing, sentence: Sentence | None, grammar: Grammar) -> Fact:
    """ "Right side first ... five tacks on the left scar tissue ...": what stands right before the turn to the other
    side is of the one that stood, and said to be unsure."""
    if fact.laterality is None or fact.kind not in _LOCAL or sentence is None:
        return fact
    place = standing.at(fact.evidence.first)
    if fact.laterality == "bilateral":
        # "bilateral grommets ... on the left thick glue ...": the title's side is none of what is told of one
        first, last = fact.evidence.first - _WORDS, fact.evidence.last + _WORDS
        near = [token.norm for token in sentence.tokens if first <= token.first and token.last <= last]
        apart = place.label and place.opened and place.side and len(sentence.tokens) > _STREAM
        own = fact.kind == "procedure" or not _BOTH.isdisjoint(near)
        return replace(fact, laterality=place.side) if apart and not own else fact
    if not place.label or place.side != opposite(fact.laterality):
        return fact
    starts = [(one, sentence.tokens[one.first].first) for one in laterality.sides(sentence, grammar)]
    turned = any(
        0 < start - fact.evidence.last <= _WORDS and one.value == fact.laterality and standing.at(start).opened
        for one, start in starts
    )
    return replace(fact, laterality=place.side, doubts=(*fact.doubts, _TURNED)) if turned else fact
