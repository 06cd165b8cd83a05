"""Counts and sizes of devices with the noun left out, or said in words that are no numbers: "three anchors, two
anterior and one superior, all 2.9", "the third was a 2.9", "a couple of screws", "both stents", "another anchor".

A size said without a unit stays without one and is doubtful. Parts count only where they add up to what was said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from pipeline import cues
from pipeline.extractors import _anchor_rows, _things, base
from pipeline.extractors._device_sizes import NOT_BETWEEN, is_decimal
from pipeline.extractors._things import PLACE, WHERE, Thing, count_of, noun_behind, whole
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device", "device_count", "device_size", "drain_size")

_LED = frozenset({",", "and", ":", ";", "with", "plus", "(", "then", "-", "&"})
_NO_UNIT = "its unit was not said"
_COST, _PART = 12, 6
_PLACES = WHERE | PLACE
_BE = frozenset({"was", "were", "is", "are", "being", "measured", ":"})
_ARTICLES = frozenset({"a", "an", "of", "size", "sized", "them", "these"})
_WHOLE_ROW = frozenset({"all", "each", "both"})
_ONE_OF = frozenset({"first", "second", "third", "fourth", "fifth", "last", "other", "others", "next", "one", "final",
                     "remaining", "rest"})  # fmt: skip
_ENDS = frozenset({"crossed", "bicortical", "knotless", "knotted", "soft", "double", "triple",
                   "and", "in", "on", "at", "with", "then", "for", "but", "which", "loaded", "placed", "to"})
_TELLS = _WHOLE_ROW | _ONE_OF
_SHORTEST, _LARGEST = 8, 120  # mm, screws; common practice, no source


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    before: tuple[Sentence, Thing] | None = None
    two: set[str | None] = set()
    nailed = _things.nailed(reading)
    named = any(m.table == "devices" and m.id == _NAIL for sentence in reading.sentences for m in sentence.mentions)
    for sentence in reading.sentences:
        things = _things.found(sentence, grammar, rows)
        nails = _things.nails(sentence, things) if nailed else []
        things = sorted([*things, *nails], key=lambda thing: thing.first)
        facts += [] if named else [_device(reading, sentence, nail) for nail in nails[:1]]
        named = named or bool(nails)
        implants = [thing for thing in things if thing.implant]
        for thing in things:
            end = min((other.first for other in things if other.first > thing.last), default=len(sentence.tokens))
            facts += _in_words(reading, sentence, thing, two)
            facts += _behind(reading, sentence, thing, end)
            if thing.implant:
                facts += _parts(reading, sentence, thing, end)
                facts += _told(reading, (sentence, thing), sentence, thing.last + 1, end)
            counted = count_of(sentence, thing)
            if counted is not None and whole(sentence, counted) == 2:
                two.add(thing.name)
        facts += _reamed(reading, sentence) + _threads(reading, sentence) + _drains(reading, sentence)
        facts += _anchor_rows.told(reading, sentence)
        if before is not None and not implants:
            end = min((thing.first for thing in things), default=len(sentence.tokens))
            facts += _told(reading, before, sentence, 0, end)
        before = (sentence, implants[-1]) if implants else None
    return facts


_NAIL = "intramedullary-nail"


def _device(reading: Reading, sentence: Sentence, thing: Thing) -> Fact:
    fields = {key: value for key, value in _shared(sentence, thing).items() if key != "unit"}
    return base.make("device", reading, sentence, thing.first, thing.last, **fields)


def _shared(sentence: Sentence, thing: Thing) -> dict[str, Any]:
    return {"name": thing.name, "text": thing.text, "role": "implanted" if thing.implant else "used", "unit": None,
            "group": f"d{base.group_of(sentence, thing.first)}"}  # fmt: skip


def _parts(reading: Reading, sentence: Sentence, thing: Thing, end: int) -> list[Fact]:
    """ "Two proximal screws ... and three distal", "three anchors, two anterior and one superior"."""
    tokens = sentence.tokens
    counted = count_of(sentence, thing)
    if counted is None:
        return []
    after = tokens[thing.last + 1].norm if thing.last + 1 < len(tokens) else ""
    placed = after in WHERE or any(token.norm in _PLACES for token in tokens[counted + 1 : thing.first])
    parts = [at for at in range(thing.last + 1, end) if _is_part(sentence, at)]
    if not parts:
        return []
    total = whole(sentence, counted)
    if total is not None and all((whole(sentence, at) or 0) > max(total, _SHORTEST) for at in parts):
        return [fact for at in parts for fact in _sized_part(reading, sentence, thing, at)]
    whole_row = sum(whole(sentence, at) or 0 for at in parts) == total
    if not placed and (not whole_row or len(parts) < 2):
        return []  # "six screws, three in the head": a part of them
    shared = _shared(sentence, thing)
    facts: list[Fact] = [
        base.claim("device_count", reading, sentence, at, thing.first, thing.last, _PART, places=(at,), **shared,
                   **_side_behind(sentence, at))
        for at in parts
    ]
    for at in parts:
        facts += _row_of_sizes(reading, sentence, thing, at, end)
    if whole_row and not placed:
        facts.append(base.claim("device_count", reading, sentence, counted, thing.first, thing.last, -1, scale="total",
                                **shared))  # fmt: skip
    return facts


def _side_behind(sentence: Sentence, at: int) -> dict[str, Any]:
    """ "Two on the left and two on the right": the side that the words right behind a number tell."""
    for token in sentence.tokens[at + 1 : at + 4]:
        if token.norm in ("left", "right"):
            return {"laterality": token.norm}
        if token.norm not in ("on", "the", "in"):
            break
    return {}


def _sized_part(reading: Reading, sentence: Sentence, thing: Thing, at: int) -> list[Fact]:
    """ "Two locking screws, twenty four superior and eighteen inferior": more than there are, so how long each is."""
    return [base.claim("device_size", reading, sentence, at, thing.first, thing.last, _PART, doubts=(_NO_UNIT,),
                       places=(at,), **_shared(sentence, thing))]  # fmt: skip


def _row_of_sizes(reading: Reading, sentence: Sentence, thing: Thing, at: int, end: int) -> list[Fact]:
    """ "... and three distal, thirty two, thirty four and thirty six millimetres": the lengths behind a part."""
    tokens = sentence.tokens
    first = _place_end(sentence, at)
    first += first < end and tokens[first].norm in (",", ":", "(", "of")
    facts: list[Fact] = []
    quantity = tokens[first].quantity if first < end else None
    if quantity is None or quantity.form != "number":
        return []
    for member in cues.listed(sentence, first):
        said = cues.unit_of(sentence, member)
        last = tokens[member + 1].norm if member + 1 < len(tokens) else "."
        if member < first or member >= end or said is None or last in WHERE | PLACE:
            break
        if said.dimension == "length" or (not said.dimension and (said.value or 0) >= _SHORTEST):
            doubts = () if said.unit else (_NO_UNIT,)
            facts.append(base.claim("device_size", reading, sentence, member, thing.first, thing.last, 0, doubts=doubts,
                                    places=(member,), **{**_shared(sentence, thing), "unit": said.unit}))  # fmt: skip
    return facts


def _is_part(sentence: Sentence, at: int) -> bool:
    """Whether a number stands there that counts things at a place, its noun left out."""
    tokens = sentence.tokens
    if whole(sentence, at) is None or is_decimal(tokens[at]) or at + 1 >= len(tokens):
        return False
    goes_on = tokens[at - 1].norm in PLACE and at > 2 and tokens[at - 3].norm in _LED and whole(sentence, at - 2)
    if tokens[at - 1].norm not in _LED and not goes_on:  # "two atrial two ventricular"
        return False
    end = _place_end(sentence, at)
    after = tokens[end].norm if end < len(tokens) else "."
    sized = after == "of" and end + 1 < len(tokens) and tokens[end + 1].quantity is not None  # "four proximal of 70"
    named = after.isalpha() and after not in _ENDS and tokens[end - 1].norm in PLACE and not sized  # "two distal holes"
    return end > at + 1 and not noun_behind(sentence, end - 1) and not named


def _place_end(sentence: Sentence, at: int) -> int:
    """The token behind the words of place that follow a number ("one left pleural")."""
    end = at + 1
    while end < len(sentence.tokens) and sentence.tokens[end].norm in (PLACE if end > at + 1 else _PLACES):
        end += 1
    return end


def _bare(sentence: Sentence, at: int) -> Quantity | None:
    """A number there that can be a size: no unit, no noun behind it."""
    tokens = sentence.tokens
    quantity = tokens[at].quantity if 0 <= at < len(tokens) else None
    if quantity is None or quantity.dimension or quantity.form not in ("number", "suture"):
        return None
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    ends = after is None or after.punctuation or after.norm in _ENDS
    return quantity if ends else None


def _size(reading: Reading, owner: tuple[Sentence, Thing], sentence: Sentence, at: int, cost: int) -> list[Fact]:
    """A bare number as the size of a thing; "five oh" of a screw is 5.0 and no suture."""
    quantity = _bare(sentence, at)
    if quantity is None:
        return []
    value, doubts = quantity.value, [_NO_UNIT]
    if quantity.form == "suture":
        digit = quantity.text.split("-")[0]
        if not digit.isdigit() or not quantity.text.endswith("-0"):
            return []
        value = Decimal(f"{digit}.0")
        doubts.append(f"said as '{sentence.tokens[at].text}': read as {value}")
    if value is None or not 0 < value <= _LARGEST:
        return []
    own, thing = owner
    first, last = (thing.first, thing.last) if own is sentence else (at, at)
    return [
        base.claim("device_size", reading, sentence, at, first, last, cost, value=value, doubts=tuple(doubts),
                   places=(at,), **_shared(own, thing))
    ]  # fmt: skip


def _behind(reading: Reading, sentence: Sentence, thing: Thing, end: int) -> list[Fact]:
    """ "Anchors, two point nine": a size with a point right behind the thing, where its unit was left out."""
    tokens = sentence.tokens
    at = thing.last + 1
    while at < end and tokens[at].norm in (",", ":", "size", "a", "("):
        at += 1
    quantity = tokens[at].quantity if at < min(end, thing.last + 4) else None
    if quantity is None or quantity.form != "number":
        return []
    apposed = tokens[at - 1].norm == "a" and tokens[at - 2].norm == "," and at + 1 < len(tokens) and (
        tokens[at + 1].norm == ","
    )  # "one of the screws, a sixteen, did not bite"
    if not is_decimal(tokens[at]) and not apposed and not (quantity.value or 0) % 1:
        return []
    return _size(reading, (sentence, thing), sentence, at, _COST)


def _told(
    reading: Reading, owner: tuple[Sentence, Thing], sentence: Sentence, start: int, end: int
) -> list[Fact]:
    """ "All 2.9", "all of them five oh", "the first two were 3.5", "the third was a 2.9"."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at in range(start, end) if sentence.says(_TELLS) else ():
        norm = tokens[at].norm
        if norm not in _WHOLE_ROW and norm not in _ONE_OF:
            continue
        index, been = at + 1, norm in _WHOLE_ROW
        while norm != "others" and index < min(end, at + 6) and (
            tokens[index].norm in _BE | _ARTICLES or (not been and whole(sentence, index) is not None)
        ):
            been = been or tokens[index].norm in _BE
            index += 1
        if norm == "others" and index == at + 1 and whole(sentence, index) is not None:
            facts += _size(reading, owner, sentence, index, _COST)  # "one bicortical 38, others 22"
        if been and index < end and _sizeable(sentence, index):
            facts += _size(reading, owner, sentence, index, _COST)
    return facts


def _sizeable(sentence: Sentence, at: int) -> bool:
    """Whether a bare number says a size by itself: with a point, or led by "a" or "size"."""
    token = sentence.tokens[at]
    if token.quantity is None:
        return False
    led = sentence.tokens[at - 1].norm in ("a", "an", "size", "sized")
    return is_decimal(token) or token.quantity.form == "suture" or led


_COUPLE = {("a", "couple", "of"): 2, ("couple", "of"): 2, ("a", "pair", "of"): 2, ("pair", "of"): 2,
           ("couple", "of", "the"): 2, ("both",): 2, ("both", "of", "the"): 2, ("both", "the"): 2}  # fmt: skip
_INSTEAD = frozenset({"for", "by", "exchanged", "replaced", "swapped", "changed", "upsized", "instead", "to", "before"})
_NEAR = 5


def _in_words(reading: Reading, sentence: Sentence, thing: Thing, two: set[str | None]) -> list[Fact]:
    """How many in other words than a number, over the sizes and words that describe the thing."""
    tokens = sentence.tokens
    counts = thing.implant or thing.name in _things.COUNTED
    if not counts or count_of(sentence, thing) is not None:
        return []
    at = thing.first - 1
    while at >= 0 and thing.first - at <= _NEAR and _describes(sentence, at):
        at -= 1
    plural = tokens[thing.last].norm.endswith("s")
    for length in (3, 2, 1):
        norms = tuple(token.norm for token in tokens[max(0, at - length + 1) : at + 1])
        value = _COUPLE.get(norms)
        if value is None or not plural:
            continue
        if norms[0] == "both" and (thing.name in two or tokens[at + 1].norm in ("sides", "ends", "edges")):
            return []  # of those that were counted before; "up on both sides pins in five"
        two.add(thing.name)
        return [_made(reading, sentence, max(0, at - length + 1), thing, value)]
    norm = tokens[at].norm if at >= 0 else ""
    before = [token.norm for token in tokens[max(0, at - 3) : at]] if at >= 0 else []
    another = norm == "another" or (norm == "more" and before[-1:] == ["one"])
    if another and not plural and not set(before) & _INSTEAD and not _named_by(sentence, thing):
        return [_made(reading, sentence, at, thing, 1)]
    if norm == "single" and not plural and at + 1 <= thing.first and before[-1:] != ["every"] and (
        not before or before[-1] in ("a", "one", "the", "with", "and", ",", ".", ":") or at == 0
    ):  # fmt: skip
        return [_made(reading, sentence, at - (before[-1:] == ["a"]), thing, 1)]
    return []


def _named_by(sentence: Sentence, thing: Thing) -> bool:
    """Whether the thing only describes the noun behind it ("another screw hole")."""
    after = sentence.tokens[thing.last + 1].norm if thing.last + 1 < len(sentence.tokens) else ""
    return after in ("hole", "site", "tract", "track", "position", "head", "attempt")


def _describes(sentence: Sentence, at: int) -> bool:
    token = sentence.tokens[at]
    if token.quantity is not None:
        return token.quantity.dimension in ("length", "french", "gauge") or is_decimal(token)
    words: Sequence[str] = ("both", "single", "another", "couple", "pair", "more", "x")
    return token.norm.isalpha() and token.norm not in NOT_BETWEEN and token.norm not in words


def _made(reading: Reading, sentence: Sentence, first: int, thing: Thing, value: int) -> Fact:
    return base.make("device_count", reading, sentence, first, thing.last, value=Decimal(value),
                     **_shared(sentence, thing))  # fmt: skip


_TUBES = (7, 40)  # French, of drains; common practice, no source


def _drains(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Three drains, two mediastinal thirty two and one left pleural twenty eight": how many where, and how wide."""
    facts: list[Fact] = []
    for mention in base.mentions(sentence, "drains"):
        if sentence.tokens[mention.last].norm != "drains":
            continue
        thing = Thing(mention.first, mention.last, None, cues.words(sentence, mention.first, mention.last), False)
        parts = _parts(reading, sentence, thing, len(sentence.tokens))
        facts += [replace(fact, group=f"t{base.group_of(sentence, mention.first)}") for fact in parts
                  if fact.kind == "device_count"]  # fmt: skip
        for at in range(mention.last + 1, len(sentence.tokens)) if parts else ():
            end = _place_end(sentence, at)
            quantity = _bare(sentence, end) if _is_part(sentence, at) else None
            if quantity is not None and quantity.form == "number" and _TUBES[0] <= (quantity.value or 0) <= _TUBES[1]:
                facts.append(base.claim("drain_size", reading, sentence, end, at, end, 2, name=mention.id, unit=None,
                                        group=f"t{base.group_of(sentence, mention.first)}"))  # fmt: skip
    return facts


_REAMED = frozenset({"reamed", "reaming"})
_REAMER = frozenset({"reamer", "reamers"})
_TO = frozenset({"to", "at", "up", "a"})
_REAMERS = (6, 70)  # mm, of long bones and of the socket of the hip; common practice, no source


def _reamed(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Reamed up to eleven point five": the size of the last reamer, its unit left out."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at, token in enumerate(tokens if sentence.says(_REAMER) else ()):
        index = at + 1 if token.norm in _REAMER else len(tokens)
        while (quantity := _bare(sentence, index)) is not None and _REAMERS[0] <= (quantity.value or 0) <= _REAMERS[1]:
            facts.append(base.claim("device_size", reading, sentence, index, at, at, _COST, text="reamer", role="used",
                                    doubts=(_NO_UNIT,), group=f"d{base.group_of(sentence, at)}"))  # fmt: skip
            index += 1
            while index < len(tokens) and tokens[index].norm in (",", "then", "and"):
                index += 1
    if facts:
        return facts  # "reamer nine, then nine and a half"
    for at, token in enumerate(tokens if sentence.says(_REAMED) else ()):
        if token.norm not in _REAMED:
            continue
        numbers = [index for index in range(at + 1, min(at + 9, len(tokens))) if _bare(sentence, index) is not None]
        quantity = tokens[numbers[-1]].quantity if numbers else None
        led = quantity is not None and (tokens[numbers[-1] - 1].norm in _TO or quantity.comparator is not None)
        if quantity is not None and led and _REAMERS[0] <= (quantity.value or 0) <= _REAMERS[1]:
            return [base.claim("device_size", reading, sentence, numbers[-1], at, at, _COST, text="reamer", role="used",
                               comparator=None, doubts=(_NO_UNIT,),
                               group=f"d{base.group_of(sentence, at)}")]  # fmt: skip
    return []


_THREADS = frozenset({"sutures", "stitches", "wires", "ties", "ligatures"})
_KINDS_OF = frozenset(
    "extra additional further "
    "pledgeted interrupted simple mattress horizontal vertical stay anchoring everting inverted buried steel sternal "
    "figure eight of transosseous absorbable braided single double loaded separate skin tension".split()
)


def _threads(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Fifteen pledgeted sutures", "seven steel wires": how many, where no size or material stands between."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at, token in enumerate(tokens if sentence.says(_THREADS) else ()):
        if token.norm not in _THREADS or (token.norm == "wires" and tokens[at - 1].norm not in ("steel", "sternal")):
            continue
        first = at - 1
        while first >= 0 and tokens[first].norm in _KINDS_OF:
            first -= 1
        many = whole(sentence, first)
        label = first > 0 and tokens[first - 1].norm in ("number", "size", "no", "#")
        if many is None or many < 2 or label or tokens[first].text.startswith("#"):
            continue
        facts.append(
            base.claim("device_count", reading, sentence, first, first + 1, at, _COST - 8, role="used", unit=None,
                       text=cues.words(sentence, first + 1, at), group=f"d{base.group_of(sentence, at)}")
        )  # fmt: skip
    return facts
