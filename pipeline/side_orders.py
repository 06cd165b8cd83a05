"""Sides that a sentence gives to what it orders ("left knee in a brace for six weeks, right knee free"), and the side
of the one crest, which all numbers of its harvest have."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import clauses, laterality, sideshare
from pipeline.extractors.base import scope_at
from pipeline.grammar import Grammar
from pipeline.laterality import Side
from pipeline.records import Fact, Laterality, Reading, Sentence, Token, replace
from pipeline.rows import Concept

_ORDERED = frozenset({"aftercare", "dressing", "follow_up", "next_step"})
# What is ordered for the whole patient.
_OF_PATIENT = frozenset({"diet", "medicine", "activity"})
_OF_ALL = frozenset({"crutches", "walking-frame", "cane", "wheelchair", "collar", "stockings", "blood-tests",
                     "routine-observations", "no-lifting", "breathing-exercises"})  # fmt: skip
_REACH = 12  # words from a side to what is ordered
_HARVEST = frozenset(
    "harvest_needle harvest_depth draw draw_count harvest_total needle_advance needle_turns needle_retraction".split()
)


def lend(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, those without a side with the one that was said with them. Pure; order kept."""
    crest = _crest(facts)
    return taken_out([_with(fact, crest, reading, grammar) for fact in facts], reading)


def taken_out(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts, those of a drain, wire or stent that comes out with the side it was put in on. Pure; order kept."""
    return [_taken_out(fact, facts, reading) for fact in facts]


def _taken_out(fact: Fact, facts: Sequence[Fact], reading: Reading) -> Fact:
    """ "Drain out on day two": of the side of the only drain that was put in, or of all of them."""
    if fact.laterality is not None or fact.kind not in ("aftercare", "follow_up"):
        return fact
    sentence = reading.sentence_at(fact.evidence.first)
    words = {
        token.norm.rstrip("s") for token in sentence.tokens
        if fact.evidence.first - _BEFORE <= token.first and token.last <= fact.evidence.last
    } if sentence is not None else set()  # fmt: skip
    thing = next((one for one in _PUT_IN if one in words), None)
    if thing is None or "out" not in words and "remov" not in " ".join(words):
        return fact
    sides = {
        other.laterality for other in facts
        if other.kind in ("drain", "device") and other.certainty == "affirmed" and other.status == "performed"
        and (thing in (other.name or other.text or "").lower() or (thing == "drain" and other.kind == "drain"
                                                                   and other.name not in _OF_MIDDLE))
    }  # fmt: skip
    return replace(fact, laterality=next(iter(sides))) if len(sides) == 1 else fact


_PUT_IN = ("drain", "wire", "stent", "pin", "nephrostomy")
_BEFORE = 3  # words
_OF_MIDDLE = frozenset({"urinary-catheter", "suprapubic-catheter", "nasogastric-tube", "lumbar-drain"})


def _with(fact: Fact, crest: Laterality | None, reading: Reading, grammar: Grammar) -> Fact:
    if fact.laterality is not None or any("side" in doubt for doubt in fact.doubts):
        return fact
    if crest is not None and (fact.kind in _HARVEST or _is_at_crest(fact, reading, grammar)):
        return replace(fact, laterality=crest)
    if fact.kind not in _ORDERED or not _may_have(fact, grammar):
        return fact
    sentence = reading.sentence_at(fact.evidence.first)
    side = _led(fact, sentence, grammar) if sentence is not None else None
    return fact if side is None else replace(fact, laterality=side)


def _crest(facts: Sequence[Fact]) -> Laterality | None:
    """The side of the only place that marrow was taken from."""
    sites = [fact for fact in facts if fact.kind == "harvest_site" and fact.status == "performed"
             and fact.certainty == "affirmed"]  # fmt: skip
    sides = {fact.laterality for fact in sites} - {None}
    drawn = {fact.laterality for fact in facts if fact.kind in _HARVEST} - {None}
    # "from the left crest thirty, then from the right another thirty": the other crest is not named again
    return sides.pop() if len(sides) == 1 and "bilateral" not in sides and drawn <= sides else None


def _is_at_crest(fact: Fact, reading: Reading, grammar: Grammar) -> bool:
    """ "Crest: 5 mL lidocaine 1 %", "the crest was closed over a drain": whether something was given or put in where
    the marrow or bone was taken, and nowhere else."""
    sentence = reading.sentence_at(fact.evidence.first) if fact.kind in _GIVEN and fact.done else None
    if sentence is None or fact.scale is not None or laterality.sides(sentence, grammar):
        return False
    near = [token.norm for token in sentence.tokens
            if fact.evidence.first - _REACH <= token.first and token.last <= fact.evidence.last + _REACH]  # fmt: skip
    parts = {m.id for m in sentence.mentions if m.table == "sites"}
    return "crest" in near and "and" not in near and all("iliac" in part for part in parts)


_GIVEN = frozenset({"medication_dose", "medication_volume", "drain", "drain_size", "incision_length", "closure"})


def _may_have(fact: Fact, grammar: Grammar) -> bool:
    row = grammar.tables["aftercare"].get(fact.name or "")
    return fact.name not in _OF_ALL and not (isinstance(row, Concept) and row.group in _OF_PATIENT)


def _led(fact: Fact, sentence: Sentence, grammar: Grammar) -> Laterality | None:
    """The last side before a fact, where no other one stands between it and the fact, or right behind it."""
    tokens = sentence.tokens
    inner = [at for at, token in enumerate(tokens) if fact.evidence.first <= token.first
             and token.last <= fact.evidence.last]  # fmt: skip
    if not inner or any(tokens[at].norm in ("both", "each") for at in range(inner[0], inner[-1] + 1)):
        return None
    sides = laterality.sides(sentence, grammar)
    own = _for_one(sentence, sides, inner[-1])
    if own is not None:
        return own
    before = [side for side in sides if side.last < inner[0] and not sideshare.is_left_out(sentence, side, inner[0])
              and _STICKS.isdisjoint(token.norm for token in tokens[max(0, side.first - _HELD_IN) : side.first])]
    if not before or inner[0] - before[-1].last > _REACH or before[-1].value not in ("left", "right"):
        return None
    at = before[-1].first
    behind = at > 2 and [token.norm for token in tokens[at - 2 : at]] == ["on", "the"]
    if behind and tokens[at - 3].quantity is not None and not any(token.punctuation for token in tokens):
        return None  # "... seventy on the left nylon sling four weeks": the side of the number before it
    between = tokens[before[-1].last + 1 : inner[0]]
    if any((token.norm in _PARTING and not _goes_on(between, at)) or token.norm in _OTHERWISE
           for at, token in enumerate(between)):
        return None
    if scope_at(sentence, "status", before[-1].first, "performed") in ("historical", "other_person"):
        return None
    after = [side for side in sides if inner[-1] < side.first <= inner[-1] + 2]
    told = any(tokens[at].norm == "on" for at in range(inner[-1] + 1, min(inner[-1] + 3, len(tokens))))
    return None if after and told and after[0].value != before[-1].value else before[-1].value


def _goes_on(between: Sequence[Token], at: int) -> bool:
    """ "Right hand in a splint 5 days, then a night splint": whether "then" leads to what comes after a time."""
    before = [token for token in between[max(0, at - 2) : at] if token.norm != ","]
    return between[at].norm == "then" and bool(before) and before[-1].quantity is not None


def _for_one(sentence: Sentence, sides: Sequence[Side], last: int) -> Laterality | None:
    """ "Back in three months for the left, the right in six": the side that what is ordered is told to be for."""
    tokens = sentence.tokens
    last -= tokens[last].punctuation
    side = next((one for one in sides if one.first > last), None)
    if side is None or side.value not in ("left", "right") or side.first - last > _FOR_ONE:
        return None
    led = [token.norm for token in tokens[last + 1 : side.first]]
    part = laterality.own_noun(sentence, side)
    behind = (part.last if part is not None and part.first == side.last + 1 else side.last) + 1
    shut = behind >= len(tokens) or tokens[behind].punctuation or tokens[behind].norm in _SHUT
    if led == [","]:  # "hand therapy from day 5, right."
        return side.value if behind >= len(tokens) or (part is None and tokens[behind].norm in (".", ";")) else None
    return side.value if led in (["for", "the"], ["on", "the"], ["for"]) and shut else None


_SHUT = frozenset({"and", "but", "the", "then", "twice", "once", "three", "daily", "until", "from", "every"})
_STICKS, _HELD_IN = frozenset({"stick", "cane", "crutch", "crutches", "umbrella"}), 4  # "stick in the left hand"
_FOR_ONE = 3  # tokens to the side
_OTHERWISE = clauses.FINITE - {"is", "are", "was", "were", "will", "stayed", "should", "may"}
_PARTING = frozenset(
    ". ; but both each he she planned booked next then patient free normal untouched after before from because than "
    "while".split()
)
