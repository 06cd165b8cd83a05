"""Sides of facts that have none by their name: the one within their own words ("boot on the left for two weeks"), and
that of the block an amount was given for."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from pipeline import clauses, laterality, own_numbers
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, Sentence, replace

# Things that one may order, see, measure, place or give on one side; what is known by its name has its side by that.
_SAID_WITH = frozenset(
    "aftercare follow_up next_step dressing measurement device device_size device_count tourniquet tourniquet_pressure "
    "tourniquet_time incision_length specimen specimen_count fluid_out medication medication_dose medication_volume "
    "injection_volume injection_needle approach grade indication site_marking drain drain_size closure".split()
)
_ORDERED = frozenset({"aftercare", "follow_up", "dressing"})
_WAYS_IN = re.compile(r"\b(?:port|trocar)s?\b", re.I)
_BLOCKED = frozenset({"medication_dose", "medication_volume"})
_REACH = 14  # words from a block to what was given for it


def within(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, those with one side within their own words with that. Pure; order kept."""
    return [_with(fact, reading, grammar) if _open(fact) and fact.kind in _SAID_WITH else fact for fact in facts]


def _with(fact: Fact, reading: Reading, grammar: Grammar) -> Fact:
    sentence = reading.sentence_at(fact.evidence.first)
    if sentence is None or (fact.kind.startswith("device") and _WAYS_IN.search(fact.text or fact.name or "")):
        return fact  # where a port stands is no side of the work
    last = fact.evidence.last
    if fact.kind == "medication" and fact.status == "planned" and sentence.says(_DROPS):
        # "dexamethasone drops qds 4 wks LE."
        last = next((token.first - 1 for token in sentence.tokens if token.first > last and token.norm in _MARKS),
                    sentence.tokens[-1].last)  # fmt: skip
    values = _between(sentence, grammar, fact.evidence.first, last)
    side = next(iter(values)) if len(values) == 1 else None
    if side == "bilateral" and fact.kind in _ORDERED:
        return replace(fact, laterality=side)
    if side not in ("left", "right"):
        return fact
    if _over_another(sentence, grammar, fact):
        return fact
    letter = "L" if side == "right" else "R"
    if any(token.text == letter and fact.evidence.first <= token.first <= fact.evidence.last
           for token in sentence.tokens):  # fmt: skip
        return fact  # "R upper pole 60 mL, L 45": the other side may be meant
    return replace(fact, laterality=side)


_DROPS = frozenset({"drops", "drop", "gtt", "eyedrops", "ointment"})
_MARKS = frozenset({",", ".", ";", "and", "then", "&", "+"})


def _over_another(sentence: Sentence, grammar: Grammar, fact: Fact) -> bool:
    """ "On the right it is zero point four twenty five gauge": whether another number stands between the side and that
    of the fact."""
    numbers = [at for at, token in enumerate(sentence.tokens) if token.quantity is not None
               and fact.evidence.first <= token.first and token.last <= fact.evidence.last]  # fmt: skip
    sides = [side.last for side in laterality.sides(sentence, grammar)
             if fact.evidence.first <= sentence.tokens[side.first].first <= fact.evidence.last]  # fmt: skip
    return fact.kind == "device_size" and fact.name is None and len(numbers) > 1 and bool(sides) and (
        max(sides) < numbers[0]
    )


def of_block(
    facts: Sequence[Fact], reading: Reading, grammar: Grammar, local: Callable[[Fact], bool]
) -> list[Fact]:
    """The facts, amounts of a local anaesthetic with the side of the block that they were given for: "interscalene
    block on the left with twenty millilitres of ropivacaine"."""
    blocks = [fact for fact in facts if fact.kind in ("anaesthesia", "injection") and fact.certainty == "affirmed"]
    if not any(block.laterality for block in blocks):
        return list(facts)
    result = []
    for fact in facts:
        before = [block for block in blocks if block.evidence.last < fact.evidence.first]
        ours = before[-1] if before and fact.kind in _BLOCKED and fact.scale is None else None
        if ours is None or ours.laterality is None or not _open(fact) or not local(fact):
            result.append(fact)
            continue
        sentence = reading.sentence_at(fact.evidence.first)
        same = sentence is not None and sentence is reading.sentence_at(ours.evidence.first)
        told = _between(sentence, grammar, ours.evidence.last, fact.evidence.last) if sentence else set()
        whole = _between(sentence, grammar, 0, sentence.tokens[-1].last) if sentence else set()
        near = fact.evidence.first - ours.evidence.last <= _REACH and told <= {ours.laterality, None}
        given = same and (near or whole <= {ours.laterality, None})
        result.append(replace(fact, laterality=ours.laterality) if given else fact)
    return result


def of_size(facts: Sequence[Fact]) -> list[Fact]:
    """The facts, what was seen or taken out with the side that its own size has: "stone 9 mm", where the nine
    millimetres are of the left. Pure; order kept."""
    sized = [fact for fact in facts if fact.kind == "measurement" and fact.laterality in ("left", "right")]
    pulled = [fact for fact in facts if fact.kind == "act" and fact.name == _PULL and fact.laterality is not None]
    result = []
    for fact in facts:
        sides = {
            size.laterality for size in sized
            if size.evidence.first <= fact.evidence.first and fact.evidence.last <= size.evidence.last
        } if sized and fact.kind in _SEEN and fact.done and _open(fact) else set()  # fmt: skip
        sides |= {
            act.laterality for act in pulled
            if fact.evidence.first <= act.evidence.first and act.evidence.last <= fact.evidence.last
        } if pulled and fact.kind in ("measurement", "duration") and _open(fact) else set()  # fmt: skip
        result.append(replace(fact, laterality=sides.pop()) if len(sides) == 1 else fact)
    return result


_SEEN = frozenset({"finding", "diagnosis"})
_PULL = "traction"  # its weight and how long it held: "traction 25 kg, 47 min"
_CUFFS = re.compile(r"\b(?:cuffs|tourniquets)\b", re.I)
_OF_CUFF = frozenset({"tourniquet_pressure", "tourniquet_time"})


def of_tourniquet(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, the pressure and the time of a tourniquet with the side it was told with in the same words: "both
    thighs have tourniquets at three hundred". Pure; order kept."""
    cuffs = [fact for fact in facts if fact.kind == "tourniquet" and fact.laterality is not None]
    times = {fact.laterality for fact in facts if fact.kind == "tourniquet_time"}
    both = {"left", "right"} <= times and sum(fact.kind == "tourniquet_pressure" for fact in facts) == 1
    result = []
    for fact in facts:
        cuffed = both and fact.kind == "tourniquet_pressure" and _open(fact) and fact.scale is None
        if cuffed and _CUFFS.search(fact.evidence.heard):
            result.append(replace(fact, laterality="bilateral"))  # "cuffs 220, L 64 min, R 18"
            continue
        sides = {
            cuff.laterality for cuff in cuffs
            if fact.evidence.first <= cuff.evidence.first and cuff.evidence.last <= fact.evidence.last
        } if cuffs and fact.kind in _OF_CUFF and _open(fact) else set()  # fmt: skip
        if sides == {"bilateral"} and (sentence := reading.sentence_at(fact.evidence.first)) is not None:
            one_by_one = {one.value for one in laterality.sides(sentence, grammar)} >= {"left", "right"}
            said = _between(sentence, grammar, fact.evidence.first, fact.evidence.last)  # "on both thighs at 300"
            # not "250 for 45 minutes on the left and 38 on the right"
            sides = set() if one_by_one and said != {"bilateral"} else sides
        result.append(replace(fact, laterality=sides.pop()) if len(sides) == 1 else fact)
    return result


_HEADED = frozenset({"medication_dose", "medication_volume", "injection_volume", "injection_needle"})
# Where both sides were operated on: "R lower pole puncture, tract 24 Fr".
_MEASURED = frozenset("measurement device_size device_count drain drain_size incision_length fluid_out".split())
_HEAD, _SHORT = 4, 30  # tokens of a head, and of a sentence that it is the side of


def headed(
    facts: Sequence[Fact], reading: Reading, grammar: Grammar, local: Callable[[Fact], bool]
) -> list[Fact]:
    """The facts, amounts given at one place with the side at the head of their sentence, where it is the only one:
    "R SA bursa: 40 mg of triamcinolone + 5 mL of bupivacaine", "right knee superolateral, 22 gauge, 40 mg ...", or
    with that of the part named before them: "before we woke him up, left carpal tunnel, 20 mg of triamcinolone"."""
    sides: dict[int, Laterality | None] = {}
    result = []
    done = {fact.laterality for fact in facts if fact.kind == "procedure" and fact.done}
    kinds = _HEADED | _MEASURED if {"left", "right"} <= done else _HEADED
    for fact in facts:
        headed = fact.kind in kinds and _open(fact) and local(fact)
        sentence = reading.sentence_at(fact.evidence.first) if headed else None
        if sentence is None or fact.status not in ("performed", "planned"):
            result.append(fact)
            continue
        if sentence.index not in sides:
            sides[sentence.index] = _side_of_head(sentence, grammar, told=kinds != _HEADED)
        side = sides[sentence.index] or _side_of_part(sentence, grammar, fact)
        if side is not None and own_numbers.is_beside_another(fact, sentence, grammar):
            side = None
        result.append(fact if side is None else replace(fact, laterality=side))
    return result


def _side_of_part(sentence: Sentence, grammar: Grammar, fact: Fact) -> Laterality | None:
    """The only side of a sentence, where it leads a part between marks and nothing is told between it and the fact."""
    told = laterality.sides(sentence, grammar)
    if len({side.value for side in told}) != 1 or told[-1].value not in ("left", "right"):
        return None
    side, tokens = told[-1], sentence.tokens
    behind = side.last + 1
    part = max((m.last for m in sentence.mentions if m.first == behind and m.table in _PARTS), default=None)
    marked = part is not None and part + 1 < len(tokens) and tokens[part + 1].norm in (",", ":")
    opened = side.first == 0 or tokens[side.first - 1].punctuation
    if part is None or not (marked and opened) or any("iliac-crest" in m.id for m in sentence.mentions):
        return None
    first = next((at for at, token in enumerate(tokens) if fact.evidence.first <= token.first), 0)
    between = tokens[part + 1 : first]
    return side.value if part < first and not any(token.norm in _TELLS for token in between) else None


_PARTS = frozenset({"sites", "diagnoses", "procedures"})
_TELLS = clauses.FINITE | {"no", "not", "none", "other", "both", "each"} - {"was", "were"}


def _side_of_head(sentence: Sentence, grammar: Grammar, *, told: bool) -> Laterality | None:
    """The side that a sentence begins with, as its only one, with a part of the body or a colon behind it; with any
    noun where it is `told` that both sides were operated on."""
    said = laterality.sides(sentence, grammar)
    if len({side.value for side in said}) != 1 or said[0].first > 0 or said[0].value not in ("left", "right"):
        return None
    head = sentence.tokens[:_HEAD]
    parts = [m for m in sentence.mentions if m.table == "sites" and m.first < _HEAD]
    led = bool(parts) or any(token.norm == ":" for token in head)
    led = led or (told and len(sentence.tokens) <= _SHORT and said[0].last + 1 < len(sentence.tokens) and (
        sentence.tokens[said[0].last + 1].norm.isalpha()
    ))
    return said[0].value if led and not any("iliac-crest" in m.id for m in parts) else None


def _open(fact: Fact) -> bool:
    return fact.laterality is None and not _doubtful(fact)


def _doubtful(fact: Fact) -> bool:
    return any("side" in doubt for doubt in fact.doubts)


def _between(sentence: Sentence, grammar: Grammar, first: int, last: int) -> set[Laterality | None]:
    """The sides said within these words."""
    tokens = sentence.tokens
    return {
        side.value for side in laterality.sides(sentence, grammar)
        if first <= tokens[side.first].first and tokens[side.last].last <= last
    }  # fmt: skip
