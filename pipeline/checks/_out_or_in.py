"""Whether the words around a number tell of what came out of the patient or of what went in."""

from __future__ import annotations

import re

from pipeline.checks.base import read
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence, Fact, Token

OUT = frozenset("removed explanted extracted retrieved out off removal explantation explant removing old previous "
                "existing indwelling original".split())  # fmt: skip
_IN = frozenset("implanted inserted placed in new replacement reimplanted implanting inserting placing inserts "
                "fitted fixed secured deployed cemented impacted".split())  # fmt: skip
_TAKEN = frozenset("took taken take taking came come pulled brought backed lifted".split())
_PUT = frozenset("put went goes go putting going".split())
_BREAKS = frozenset({"and", "then", ";", "but", "."})
_BEFORE = frozenset("been previously originally".split())
_REACH = 2  # sentences back


def ways(note: OperativeNote, fact: Fact) -> set[str]:
    """{"out"}, {"in"}, both, or neither, by all places where the number was said."""
    passages = note.sections.description
    found: set[str] = set()
    for place in (fact.evidence, *fact.also):
        for at, passage in enumerate(passages):
            if passage.evidence.first <= place.first <= passage.evidence.last:
                tokens = read(passage)
                index = next((one for one, token in enumerate(tokens)
                              if token.last >= place.first - passage.evidence.first), 0)  # fmt: skip
                way = _in_clause(tokens, index) or _sized(tokens, index) or _earlier(tokens[:index])
                named = _named_before(note, passage, place)
                for before in reversed(passages[max(0, at - _REACH) : at]):
                    told = read(before)
                    if not named or named & {token.norm for token in told}:
                        way = way or _earlier(told)
                found |= {way} if way else set()
    return found


def _named_before(note: OperativeNote, passage: Passage, place: Evidence) -> set[str]:
    """Words of the devices that a sentence names before a number: "head taken out. Cup 52, lot 8831" says nothing of
    where the cup went."""
    return {
        word for fact in note.of("device")
        for one in (fact.evidence, *fact.also)
        if passage.evidence.first <= one.first and one.last < place.first
        for word in re.findall(r"[a-z]+", one.heard.lower())
    }  # fmt: skip


def _in_clause(tokens: tuple[Token, ...], index: int) -> str:
    """By the words of the number's own clause: the nearest before it, else the nearest behind it."""
    low = next((at + 1 for at in range(index - 1, -1, -1) if tokens[at].norm in _BREAKS), 0)
    high = next((at for at in range(index, len(tokens)) if tokens[at].norm in _BREAKS), len(tokens))
    before = [way for at in range(low, index) if (way := _way(tokens, at))]
    behind = [way for at in range(index, high) if (way := _way(tokens, at))]
    return (before[-1:] or behind[:1] or [""])[0]


def _sized(tokens: tuple[Token, ...], index: int) -> str:
    """ "9 x 25 mm tibia (lot R7720)": what is told with its size went in, where nothing tells that it came out."""
    told = {token.norm for token in tokens}
    sizes = [token for token in tokens[max(0, index - _TO_SIZE) : index]
             if token.quantity is not None and token.quantity.dimension == "length"]  # fmt: skip
    return "in" if sizes and not told & OUT and not told & _TAKEN else ""


_TO_SIZE = 8  # tokens


def _earlier(tokens: tuple[Token, ...]) -> str:
    """By the last word of that sort in what was said before."""
    return next((way for at in range(len(tokens) - 1, -1, -1) if (way := _way(tokens, at))), "")


def _way(tokens: tuple[Token, ...], at: int) -> str:
    word = tokens[at].norm
    near = {token.norm for token in tokens[max(0, at - 5) : at]}
    if word == "out" or word == "off":
        return "out" if near & _TAKEN or word == "out" else ""
    if word == "in":
        return "in" if near & _PUT else ""
    if word in OUT:
        return "out"
    if word in _IN and not near & _BEFORE and not _is_dated(tokens, at):
        return "in"
    return ""


def _is_dated(tokens: tuple[Token, ...], at: int) -> bool:
    """ "Implanted in 2015", "placed ten years ago": put in before today."""
    behind = [token.norm for token in tokens[at + 1 : at + 5]]
    return any(word in ("ago", "elsewhere") or (word.isdigit() and len(word) == 4) for word in behind)
