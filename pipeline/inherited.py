"""Sides that the narration says once and means for what follows.

"Then the left ear. Drum retracted. Grommet inserted." A side that opens a sentence as its heading stands until another
side is said. Where every operation of the narration has one and the same side, and no other side was said of what was
done or seen, the parts of that operation have it too. Only things that have a left and a right take a side over;
what stands beside "the other side", a history or a plan takes none.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence, Set

from pipeline import (
    donor_sides,
    known_parts,
    label_sides,
    laterality,
    own_numbers,
    relative_sides,
    side_orders,
    sidelines,
    sideshare,
    sidewise,
    sole_side,
    stated_sides,
)
from pipeline.extractors.base import scope_at
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, replace
from pipeline.rows import Concept, Device, Drug, Kind
from pipeline.standing import Place, Standing, opposite

_STEPS = frozenset("procedure act finding grade complication measurement device drain specimen".split())
_OF_DEVICE = frozenset({"device_size", "device_count"})
_OF_OPERATION = _STEPS - {"measurement", "drain", "specimen"} | {"diagnosis", "preop_diagnosis", "postop_diagnosis"}
_PARTS = _STEPS | _OF_OPERATION
_HARVEST = frozenset({"harvest_site"})
_SENT = frozenset({"specimen", "finding"})
_GONE = frozenset({"drain", "specimen", "complication"})  # "drain none" at the end of both sides is of neither
# Numbers that a label ("Left: 5 cm incision.") gives its side: the ones until another side is said, the others only in
# its own sentence.
_MEASURED = frozenset({"incision_length", "tourniquet_pressure", "tourniquet_time", "measurement", "device_size"})
_GIVEN = frozenset({"medication_dose", "medication_volume", "injection_volume", "injection_needle", "injection"})
_COLLECTED = frozenset({"fluid_out", "harvest_total", "specimen_count", "product_volume", "blood_loss"})
_UNDER_LABEL = _MEASURED | _GIVEN | {"fluid_out", "drain_size", "tourniquet"}
_AMOUNTS = _MEASURED | _GIVEN | _COLLECTED
# What is given into or around the part that is operated on; other medicines are given to the whole patient.
_LOCAL = frozenset(
    "local_anaesthetic steroid dye contrast ophthalmic anti_vegf viscosupplement sclerosant tamponade bone".split()
)


def inherit(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, those without a side with the one that stands over them. Pure; order kept."""
    facts = stated_sides.state(facts, reading, grammar)
    operation, said = _operation(facts, grammar)
    operated = _operated(facts, reading, grammar)
    spoken = operation is None
    if operation is None:
        operation, said, part = stated_sides.only_spoken(facts, reading, grammar)
        operated = operated | {part} if part else operated
    standing = Standing(reading, grammar, operated)
    facts = relative_sides.tell(facts, reading, grammar, _operation(facts, grammar)[0], _is_given(reading, grammar))
    if any(sidewise.told(sentence, grammar) or sentence.says(sideshare.BOTH) for sentence in reading.sentences):
        facts = [_of_number(fact, reading, grammar) for fact in facts]
    both = {fact.laterality for fact in facts if fact.kind == "procedure" and _counts(fact)}
    if "bilateral" in both or {"left", "right"} <= both:
        facts = [_of_each(fact, reading) for fact in facts]
    facts = [_of_subject(_of_place(fact, reading, grammar), reading, grammar) for fact in facts]
    facts = sidelines.of_tourniquet(facts, reading, grammar)
    facts = _of_device(sidelines.of_block(facts, reading, grammar, lambda fact: _is_local(fact, reading, grammar)))
    facts = sidelines.headed(facts, reading, grammar, lambda fact: _is_local(fact, reading, grammar))
    facts = side_orders.lend(sidelines.within(facts, reading, grammar), reading, grammar)
    if {"left", "right"} <= both:
        facts = known_parts.again(
            facts, reading, grammar,
            lambda fact: _free(fact) and _is_local(fact, reading, grammar),
            lambda fact: standing.at(fact.evidence.first).side is None,
        )
    if operation is None and not standing.any:
        return facts
    alone = not any(fact.laterality not in (None, operation) and _counts(fact) for fact in facts)
    done = [fact for fact in facts if fact.kind == "procedure" and _counts(fact) and fact.certainty == "affirmed"]
    sole = operation is not None and sole_side.is_sole(done, grammar)
    others = stated_sides.says_other(reading, grammar, operation) if sole else frozenset()
    only = sole and not others
    work = _work(facts, operation, reading)
    result: list[Fact] = []
    given: dict[str, Laterality] = {}
    for fact in facts:
        side = None
        if fact.laterality is None and _is_part(fact) and _free(fact) and _named(fact):
            place = standing.at(fact.evidence.first)
            stands = place.side is not None and (operation in (None, place.side) or place.label)
            stands = stands and not sole_side.lies_between(fact, facts, reading)
            gone = not sole and not place.opened and _is_of_neither(fact, facts, standing)
            step = fact.kind in _STEPS or (fact.kind == "diagnosis" and place.label)
            if stands and not gone and step and _may_have(fact, grammar, strict=False):
                side = place.side
            elif operation is not None and fact.kind in _OF_OPERATION and fact.evidence.first > said:
                near = place.last in (None, operation) or _is_back(fact, place, work)
                here = place.side in (None, operation)
                fits = _may_have(fact, grammar, strict=True) or (
                    spoken and fact.kind == "procedure" and stated_sides.is_of_any_part(fact, grammar)
                )
                if here and (alone or near) and not place.other and fits:
                    side = operation
        elif fact.laterality is None and fact.kind in _UNDER_LABEL and _free(fact):
            place = standing.at(fact.evidence.first)
            there = place.opened or fact.kind not in _GIVEN
            labelled = place.label and (
                there or label_sides.is_given_there(fact, reading.sentence_at(fact.evidence.first), grammar)
            )
            labelled = labelled and not sole_side.lies_between(fact, facts, reading)
            side = place.side if labelled and _is_local(fact, reading, grammar) else None
        if side is None and sole and fact.kind in own_numbers.KINDS and _free(fact) and fact.laterality is None:
            place = standing.at(fact.evidence.first)
            here = fact.evidence.first > said and not place.other and place.side in (None, operation)
            here = here and not (fact.kind in _ON_BOTH and "bilateral" in others)  # "both feet today ... cuffs 220"
            near = alone or place.last in (None, operation) or _is_back(fact, place, work)
            if here and near and _is_own(fact, reading, grammar, operated):
                side = operation
        if side is None and only and fact.kind in sole_side.KINDS and fact.laterality is None:
            place = standing.at(fact.evidence.first)
            here = not place.other and place.side in (None, operation)
            near = place.last in (None, operation) or _is_back(fact, place, work)
            ours = (here and near) or fact.kind in sole_side.ORDERED
            side = operation if ours and _is_of_sole(fact, operation, reading, grammar, operated) else None
        if not sole and fact.laterality is None and fact.kind in _SENT and not standing.at(fact.evidence.first).opened:
            side = label_sides.of_known(fact, result, reading.sentence_at(fact.evidence.first)) or side
        if side is not None and fact.group is not None:
            given[fact.group] = side
        derived = side is not None and standing.at(fact.evidence.first).derived
        doubts = (*fact.doubts, laterality.OTHER_SIDE) if derived else fact.doubts
        told = fact if side is None else replace(fact, laterality=side, doubts=doubts)
        if standing.any and fact.kind == "suture":
            told = label_sides.of_suture(told, facts, standing)
        elif standing.any:
            told = label_sides.before_turn(told, standing, reading.sentence_at(told.evidence.first), grammar)
        result.append(told)
    return side_orders.taken_out(sidelines.of_size([
        replace(fact, laterality=given[fact.group])
        if fact.kind in _OF_DEVICE and fact.laterality is None and fact.group in given else fact
        for fact in result
    ]), reading)  # fmt: skip


_ON_BOTH = frozenset({"tourniquet", "tourniquet_pressure"})
_DONE = frozenset("procedure act approach device drain closure injection incision_length tourniquet".split())
# What shows that the story of the operation goes on.
_TOLD_ON = frozenset("anaesthesia position preparation device_size device_count suture tourniquet_pressure".split())
_LOOKED = frozenset({"inspection", "examination", "palpation", "exploration"})


def _work(facts: Sequence[Fact], operation: Laterality | None, reading: Reading) -> list[int]:
    """The words at which something is done on the side of the operation; none where something is done on the other."""
    done = [fact for fact in facts if fact.kind in _DONE and _counts(fact) and fact.certainty == "affirmed"
            and fact.name not in _LOOKED]  # fmt: skip
    harvest = {fact.body_site for fact in facts if fact.kind == "harvest_site"}
    done = [fact for fact in done if fact.laterality in (None, operation) or not (
        fact.body_site in harvest or _CREST.search(_said_with(fact, reading))
    )]  # fmt: skip
    if any(fact.laterality not in (None, operation) for fact in done):
        return []
    back = [fact for fact in facts if fact.kind in _TOLD_ON and _counts(fact) and fact.laterality in (None, operation)]
    return [fact.evidence.first for fact in (*done, *back)]


_CREST = re.compile(r"\b(?:crest|psis|asis|iliac)\b|\bfor the graft\b")


def _said_with(fact: Fact, reading: Reading) -> str:
    sentence = reading.sentence_at(fact.evidence.first)
    return " ".join(token.norm for token in sentence.tokens) if sentence is not None else ""


def _is_of_sole(
    fact: Fact, operation: Laterality | None, reading: Reading, grammar: Grammar, operated: Set[str]
) -> bool:
    sentence = reading.sentence_at(fact.evidence.first)
    return sentence is not None and sole_side.belongs(
        fact, operation, sentence, grammar, operated, lambda one: _is_local(one, reading, grammar)
    )


def _is_back(fact: Fact, place: Place, work: list[int]) -> bool:
    """Whether the work went on after a remark on the other side: "The left ear is dry. Incision 5 cm. Incus eroded"."""
    return any(place.since < word <= fact.evidence.first for word in work)


def _of_device(facts: Sequence[Fact]) -> list[Fact]:
    """The facts, sizes and counts of a device with the side that the device itself was said with."""
    sides: dict[str | None, set[Laterality | None]] = {}
    for fact in facts:
        if fact.kind == "device" and fact.group is not None:
            sides.setdefault(fact.group, set()).add(fact.laterality)
    own = {group: next(iter(said)) for group, said in sides.items() if len(said) == 1}
    return [
        replace(fact, laterality=own[fact.group])
        if fact.kind in _OF_DEVICE and fact.laterality is None and own.get(fact.group) is not None
        and not any("side" in doubt for doubt in fact.doubts) else fact
        for fact in facts
    ]  # fmt: skip


def _of_number(fact: Fact, reading: Reading, grammar: Grammar) -> Fact:
    """ "Ten mils of lidocaine on the right, five on the left": an amount has the side that its number was said with."""
    if fact.laterality is not None or fact.kind not in _AMOUNTS or fact.scale is not None:
        return fact
    if (fact.value is None and fact.low is None) or not _is_local(fact, reading, grammar):
        return fact
    sentence = reading.sentence_at(fact.evidence.first)
    if sentence is not None and sideshare.ends_on_both(sentence, fact.evidence.last):
        return replace(fact, laterality="bilateral")
    if sentence is None or not sidewise.told(sentence, grammar):
        return fact
    here = [
        at for at, token in enumerate(sentence.tokens)
        if token.quantity is not None and fact.evidence.first <= token.first and token.last <= fact.evidence.last
        and (token.quantity.value, token.quantity.low, token.quantity.high) == (fact.value, fact.low, fact.high)
    ]  # fmt: skip
    side = sidewise.side_of(sentence, here[0], grammar) if len(here) == 1 else None
    return fact if side is None else replace(fact, laterality=side)


def _of_place(fact: Fact, reading: Reading, grammar: Grammar) -> Fact:
    """ "Patent blue, two mils under the right areola": an amount has the side of where it was given."""
    if fact.laterality is not None or fact.kind not in _GIVEN | {"incision_length"} | _TAKEN:
        return fact
    sentence = reading.sentence_at(fact.evidence.first)
    if fact.scale is not None or not _free(fact) or sentence is None or not _is_local(fact, reading, grammar):
        return fact
    sides = laterality.sides(sentence, grammar)
    last = max((at for at, token in enumerate(sentence.tokens) if token.last <= fact.evidence.last), default=0)
    if fact.kind in _TAKEN:
        off = donor_sides.taken_from(sentence, sides, last)
        return fact if off is None else replace(fact, laterality=off.value)
    if sideshare.on_both_sides(sentence, sides, last):
        return replace(fact, laterality="bilateral")
    given_at = sideshare.led_into(sentence, sides, last)
    if given_at is not None:
        return replace(fact, laterality=given_at.value)
    if len({side.value for side in sides}) != 1:
        return fact
    first = min((at for at, token in enumerate(sentence.tokens) if token.first >= fact.evidence.first), default=last)
    if any(first - 1 <= side.last < last and sentence.tokens[side.last + 1].quantity for side in sides):
        return replace(fact, laterality=sides[0].value)  # "sub-Tenon R 3.5 mL"
    ends = sideshare.closing(sentence, sides, last)
    return fact if ends is None else replace(fact, laterality=ends.value)


_TAKEN = frozenset({"fluid_out", "harvest_total"})
_PLACED = frozenset({"drain", "drain_size", "device", "device_size", "device_count", "incision_length", "tourniquet",
                     "tourniquet_pressure"})  # fmt: skip


def _of_each(fact: Fact, reading: Reading) -> Fact:
    """ "Mesh 10 by 15 cm on each side", "drains 10 Fr, one per side" of an operation on both."""
    ordered = fact.kind in ("aftercare", "follow_up")
    if fact.laterality is not None or not (ordered or (fact.kind in _PLACED | _SHUT and _free(fact))):
        return fact
    sentence = reading.sentence_at(fact.evidence.first)
    if ordered:
        both = sentence is not None and sideshare.ends_on_both(sentence, fact.evidence.last)
        return replace(fact, laterality="bilateral") if both else fact
    if sentence is not None and fact.kind in _SHUT and sideshare.ends_on_both(sentence, fact.evidence.last):
        return replace(fact, laterality="bilateral")
    if sentence is None or not sentence.says(_SIDE):
        return fact
    last = max((at for at, token in enumerate(sentence.tokens) if token.last <= fact.evidence.last), default=0)
    return replace(fact, laterality="bilateral") if sideshare.on_each(sentence, last) else fact


_SIDE = frozenset({"side"})
_SHUT = frozenset({"suture", "closure", "dressing"})


def _of_subject(fact: Fact, reading: Reading, grammar: Grammar) -> Fact:
    if fact.laterality is not None or fact.kind not in own_numbers.TOLD or not _free(fact):
        return fact
    sentence = reading.sentence_at(fact.evidence.first)
    side = own_numbers.of_subject(fact, sentence, grammar) if sentence is not None else None
    return fact if side is None else replace(fact, laterality=side)


def _operation(facts: Sequence[Fact], grammar: Grammar) -> tuple[Laterality | None, int]:
    """The side that all operations which were done and have one agree on (never both), and the word at which it was
    first said: what comes before may be an operation on the other side.

    An operation on what there is once (the spine, the bowel) may be done from one side; its parts lie on both, and it
    hands nothing on."""
    sided = [fact for fact in facts if fact.kind == "procedure" and fact.laterality and _counts(fact)]
    sides = {fact.laterality for fact in sided}
    side = next(iter(sides)) if len(sides) == 1 else None
    if side == "bilateral" or not (any(sole_side.is_paired(fact, grammar) for fact in sided) or _is_own_words(facts)):
        return None, 0
    return side, min((fact.evidence.first for fact in sided), default=0)


def _is_own_words(facts: Sequence[Fact]) -> bool:
    """Whether all operations are in words of their own that name no part ("os trigonum excision"), and not of the
    spine."""
    done = [fact for fact in facts if fact.kind == "procedure" and _counts(fact)]
    return all(fact.name is None and not fact.body_site for fact in done) and not stated_sides.of_spine(facts)


def _operated(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> frozenset[str]:
    """The parts of the body that the operations of the narration are on; where one names none ("os trigonum excision,
    right"), those that are said with its side."""
    rows = grammar.table("procedures", Concept)
    named = [(fact, rows.get(fact.name or "")) for fact in facts if fact.kind == "procedure" and _counts(fact)]
    places = {fact.body_site or (row.site if row is not None else "") for fact, row in named}
    places |= {_PAIRED_PART[row.site] for _, row in named if row is not None and row.sided and row.site in _PAIRED_PART}
    if "" not in places:
        return frozenset(places)
    sides = {fact.laterality for fact, row in named if not (fact.body_site or (row and row.site))} - {None}
    said = {
        part.id
        for sentence in reading.sentences if sides
        for side in laterality.sides(sentence, grammar) if side.value in sides
        and scope_at(sentence, "status", side.first, "performed") == "performed"
        and (part := laterality.own_noun(sentence, side)) is not None and not donor_sides.is_harvest(sentence, part)
    }  # fmt: skip
    return frozenset(places | said) - {""}


# Where an operation that has a left and a right is named after what there is once: the part of which there are two.
_PAIRED_PART = {"chest": "lung", "scrotum": "testis", "thyroid": "thyroid-lobe"}


def _is_of_neither(fact: Fact, facts: Sequence[Fact], standing: Standing) -> bool:
    """ "Drain none" at the end of both sides: denied of either, unless the other side got one."""
    away = opposite(standing.at(fact.evidence.first).side)
    return fact.certainty == "negated" and fact.kind in _GONE and not any(
        other.kind == fact.kind and other.certainty == "affirmed"
        and (other.laterality or standing.at(other.evidence.first).side) == away for other in facts
    )


def _is_own(fact: Fact, reading: Reading, grammar: Grammar, operated: Set[str]) -> bool:
    sentence = reading.sentence_at(fact.evidence.first)
    return sentence is not None and own_numbers.is_own(fact, sentence, grammar, operated)


def _counts(fact: Fact) -> bool:
    return fact.status == "performed" and fact.role != "harvest" and fact.kind not in _HARVEST


def _free(fact: Fact) -> bool:
    if fact.kind in ("procedure", "device", "complication") and fact.certainty != "affirmed":
        return False
    if fact.kind in ("drain", "drain_size") and fact.name in sole_side.OF_MIDDLE:
        return False
    return fact.status == "performed" and not any("side" in doubt for doubt in fact.doubts)


def _is_part(fact: Fact) -> bool:
    return fact.kind in _PARTS and (fact.kind != "measurement" or fact.name == "size")


def _is_local(fact: Fact, reading: Reading, grammar: Grammar) -> bool:
    """Whether a dose or a volume is of what is given at one place. Any other number may have a side."""
    if fact.kind not in ("medication_dose", "medication_volume"):
        return fact.kind != "measurement" or fact.unit in _OF_PARTS or own_numbers.is_angle(fact, grammar)
    row = grammar.table("drugs", Drug).get(fact.name or "")
    if fact.role == "prophylaxis" or row is None:
        return False
    return not _LOCAL.isdisjoint(row.classes) or sole_side.is_put_in(fact, reading.sentence_at(fact.evidence.first))


_OF_PARTS = frozenset({"mm", "cm", "deg", "mL", "g"})  # units of what is measured of a part of the body


def _is_given(reading: Reading, grammar: Grammar) -> Callable[[Fact], bool]:
    return lambda fact: fact.kind in _GIVEN and _free(fact) and _is_local(fact, reading, grammar)


def _named(fact: Fact) -> bool:
    return fact.name not in ("none", "any", "any-other") and fact.text != "none"


def _may_have(fact: Fact, grammar: Grammar, *, strict: bool) -> bool:
    """Whether a thing can have a side: its row or its part of the body has one. Not `strict`: nothing says that it has
    none."""
    sites = grammar.table("sites", Concept)
    table = grammar.table("kinds", Kind)[fact.kind].table
    row = grammar.tables.get(table, {}).get(fact.name or "")
    site = sites.get(fact.body_site or (row.site if isinstance(row, Concept) else ""))
    if fact.kind == "measurement":
        return fact.name == "size"
    if isinstance(row, Device):
        return row.implant and fact.role == "implanted"
    if site is not None:
        return site.sided
    return (isinstance(row, Concept) and row.sided) or not strict
