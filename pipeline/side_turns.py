"""Where a stream of speech turns to one side: "now the left hip", "then on the right", "left ear first", "left shoulder
scope ..." behind the title."""

from __future__ import annotations

from pipeline import clauses, denied_sides, donor_sides, laterality, sideshare
from pipeline.laterality import Side
from pipeline.records import Laterality, Mention, Sentence

BEHIND = frozenset(
    "side ear eye one first next now then second too again as well likewise done procedure operation case today".split()
)
OF_PART = frozenset("base joint joints tunnel tip cmc mcp pip dip ray sheath bursa insertion origin".split())
_PART = 3  # words of the part of the body


def part_openers(sentence: Sentence, heard: list[Side]) -> list[Side]:
    """Sides of a stream that name the next part by itself, one after the other: "... left joint 22 gauge half a mil
    right joint the same needle ..."; none where a number or what is done leads to one of them ("4 mL left knee")."""
    found: list[Side] = []
    for side in heard:
        if side.value not in ("left", "right") or side.last + 2 >= len(sentence.tokens):
            continue
        part = laterality.own_noun(sentence, side) or _scoped(sentence, side)
        noun = part.last if part is not None else side.last + 1
        if part is None and sentence.tokens[noun].norm not in BEHIND | OF_PART:
            continue
        before = sentence.tokens[side.first - 1] if side.first else None
        if before is not None and (before.norm in clauses.TIED - _THEN or before.norm in _DETERMINERS):
            continue
        if donor_sides.leads_crest(sentence, side) or clauses.is_told(sentence, noun + 1):
            continue
        found.append(side)
    told = {side.value for side in found}
    turned = {side.value for side in heard if found and turns(sentence, side, None)}
    both = told | turned == {"left", "right"}
    # of both sides, and then of one alone: "both shoulders today ... left shoulder scope ..."
    alone = len(told) == 1 and heard[0].value == "bilateral" and {side.value for side in heard[1:]} == told and any(
        _scoped(sentence, side) for side in found
    )
    return found if (both or alone) and _lead(sentence, found) else []


def leading(sentence: Sentence, heard: list[Side]) -> list[Side]:
    """Sides of a stream of speech of which each comes before what is told of it: "bilateral arthroscopy ... general on
    the left medial meniscus trimmed ... on the right plica resected ...". Nothing was told to be done or seen before
    the first one, and much is behind the last; where both hold or neither, nobody can tell."""
    tokens = sentence.tokens
    bare = [side for side in heard if side.value in ("left", "right") and side.first > 1
            and [token.norm for token in tokens[side.first - 2 : side.first]] == ["on", "the"]]  # fmt: skip
    if {side.value for side in bare} != {"left", "right"} or any(
        denied_sides.closes_denial(sentence, side.first) or donor_sides.leads_crest(sentence, side) for side in bare
    ):
        return []
    told = [m.first for m in sentence.mentions if m.table in _TOLD]
    named = next((m.last for m in sentence.mentions if m.table == "procedures"), -1)
    title = min(sideshare.title_end(sentence), bare[0].first) if named < 0 else named
    if any(title < at < bare[0].first for at in told) or bare[0].first <= title:
        return []
    ends = [*(side.first for side in bare[1:]), len(tokens)]
    parts = [sum(side.last < at < end for at in told) for side, end in zip(bare, ends, strict=True)]
    return bare if all(parts) and parts[-1] >= _MUCH else []


_TOLD = frozenset("findings diagnoses acts procedures devices grades specimens injectates drugs drains".split())
_MUCH = 2  # things told behind the last side


def _scoped(sentence: Sentence, side: Side) -> Mention | None:
    """ "... ropivacaine left shoulder scope ...": the operation that a side leads behind the title."""
    named = [m for m in sentence.mentions if m.table == "procedures" and m.first == side.last + 1]
    return named[0] if named and side.first > sideshare.title_end(sentence) else None


def _lead(sentence: Sentence, found: list[Side]) -> bool:
    """Whether the numbers stand behind their sides: some behind the last one, and not right before all of them."""
    amounts = [at for at, token in enumerate(sentence.tokens) if token.quantity is not None and token.quantity.unit]
    before = [any(side.first - _RIGHT_BEFORE <= at < side.first for at in amounts) and _scoped(sentence, side) is None
              for side in found]  # fmt: skip
    behind = [at for at in amounts if found[-1].last < at <= found[-1].last + _BEHIND_PART]
    return bool(behind) and not all(before)


_THEN = frozenset({"then", "next", "now"})
_DETERMINERS = frozenset({"the", "a", "his", "her", "their", "both", "no"})
_RIGHT_BEFORE = 4  # tokens before a part in which an amount would be of it
_BEHIND_PART = 12  # tokens behind the last part in which an amount is of it


def turns(sentence: Sentence, side: Side, stood: Laterality | None) -> bool:
    """Whether a side within a stream of speech opens what is told next: "now the left hip", "then on the right", "left
    ear first"; also "on the left" where the other side `stood` before and more follows."""
    tokens = sentence.tokens
    at = side.first - 1
    while at >= 0 and tokens[at].norm in ("the", "on", "to", "at", "his", "her"):
        at -= 1
    led = {token.norm for token in tokens[max(0, at - 1) : at + 1]}
    quiet = not any(token.quantity is not None for token in tokens[at + 1 : side.first])
    if quiet and at >= 0 and (tokens[at].norm in _OPENING or (led & _OPENING and any(
        m.table == "positions" and m.last == at for m in sentence.mentions
    ))):  # fmt: skip
        return True
    behind = [token.norm for token in tokens[side.last + 1 : side.last + 1 + _PART]]
    if not _FIRSTLY.isdisjoint(behind):
        return True
    if denied_sides.closes_denial(sentence, side.first):
        return False  # "no effusion on the right six mils ..."
    on = side.first >= 2 and [token.norm for token in tokens[side.first - 2 : side.first]] == ["on", "the"]
    if on and side.first > 2 and tokens[side.first - 3].quantity is not None:
        return False  # "ninety on this side, seventy on the left nylon ..."
    return on and stood is not None and len(tokens) - side.last > _MORE and behind[:1] != ["only"]


_OPENING = frozenset(
    "then now next first firstly second secondly turning moving going started starting start begin beginning".split()
)
_FIRSTLY = frozenset({"first", "firstly", "next", "now"})
_MORE = 4  # tokens that are told of it
