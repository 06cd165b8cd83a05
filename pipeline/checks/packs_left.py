"""Swabs and packs that were put into a wound against those that were said to come out."""

from __future__ import annotations

import re

from pipeline.checks._spoken_counts import count
from pipeline.checks.base import finding, placed, read
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding, Token

MEANING = "Fewer swabs or packs were said to come out than were put in, and that one stays was not said."

_THINGS = frozenset("sponges swabs packs laps pads gauzes pledgets patties cottonoids sponge swab pack lap pad gauze "
                    "pledget patty cottonoid raytecs".split())  # fmt: skip
_IN = frozenset("packed placed inserted put left used packing in".split())
_PUT = frozenset({"put", "packed", "placed", "inserted", "used"})
_TOOK = frozenset({"took", "removed", "retrieved", "pulled", "got", "fished"})
_OUT = frozenset("removed out retrieved taken withdrawn".split())
_STAYS = re.compile(r"\b(?:left|remain\w*|stay\w*|kept) (?:\w+ )?(?:in|behind|inside|there)\b|\bin situ\b|"
                    r"\bto be removed\b|\bwill be removed\b|\bsecond look\b", re.I)  # fmt: skip
_REACH, _SPOKEN_OF = 7, 8  # tokens; words before "left in" that tell what stays


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    return _throat(note) or _counted(note)


# A pack in the throat never stays (NHS England patient safety alert on throat packs [from memory]).
_THROAT = re.compile(r"\bthroat pack\b", re.I)
_AHEAD = 60  # characters
_LEFT_IN = re.compile(r"\b(?:left|remain\w*|stays?|still|kept) (?:in|there|inside)\b", re.I)


def _throat(note: OperativeNote) -> list[Finding]:
    for passage in note.sections.description:
        said = _THROAT.search(passage.text)
        if said is not None and _LEFT_IN.search(passage.text[said.end() : said.end() + _AHEAD]):
            made = finding("packs_left", "blocking", "A throat pack was said to be left in.",
                           ask="Say when it came out.", about="throat")  # fmt: skip
            return [placed(made, passage.evidence)]
    return []


def _counted(note: OperativeNote) -> list[Finding]:
    put, out, first = 0, 0, None
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            number = count(token)
            if number is None:
                continue
            way = _way(tokens, at, first is not None)
            if way == "in":
                put, first = put + number, first or passage
            elif way == "out" and first is not None:
                out += number
    if not put or not out or out >= put or first is None:
        return []
    stays = any(_one_stays(passage.text) for passage in note.sections.description)
    return [] if stays else [_told(first, put, out)]


def _one_stays(text: str) -> bool:
    """Whether a pack is said to stay, and no other thing ("ovaries left in place")."""
    return any(
        set(re.findall(r"[a-z]+", text[: hit.start()].lower())[-_SPOKEN_OF:] + re.findall(
            r"[a-z]+", text[hit.end() :].lower())[:2]) & (_THINGS | {"one", "two", "packing"})
        for hit in _STAYS.finditer(text)
    )  # fmt: skip


def _told(first: Passage, put: int, out: int) -> Finding:
    made = finding(
        "packs_left", "blocking", f"{put} were put in, {out} were said to come out.",
        arithmetic=f"{put} - {out} = {put - out} left", ask="Count again, and say what stays in and why.",
    )  # fmt: skip
    return placed(made, first.evidence)


def _way(tokens: tuple[Token, ...], at: int, known: bool) -> str:
    """ "in" or "out" for a count of packs; where packs were spoken of, the noun may be left out ("two removed")."""
    words: list[str] = []
    for token in tokens[at + 1 : at + 1 + _REACH]:
        if token.norm in (",", ".", ";", "and", "then") or count(token) is not None or token.quantity is not None:
            break
        words.append(token.norm)
    named = bool(words) and any(word in _THINGS for word in words[:2])
    if words[:2] in (["of", "those"], ["of", "these"], ["of", "them"]):
        words = words[2:]  # "two swabs were put in and one of those was out"
    lead = tokens[at - 1].norm if at else ""
    if named and (lead in _PUT or (lead == "on" and not set(words) & _OUT)):
        return "in"  # "mitomycin on three sponges"
    if lead in _TOOK and (named or (known and (not words or words[0] in ({"out"} | _OUT)))):
        return "out"
    if not named and not (known and words and words[0] in ({"was", "were", "came"} | _OUT)):
        return ""
    if any(word in _OUT for word in words):
        return "out"
    return "in" if named and any(word in _IN for word in words) else ""
