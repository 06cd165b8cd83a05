"""Counts that a narration closes with ("..., so six pedicles", "three all together") against all that was counted
before them, over the bounds of sentences: any choice of the numbers before may be what is meant, and none of them
comes to it.

Where the other readers know how the parts must stand, this one knows only that they must be there, so it is silent on
much and rarely wrong.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

from pipeline.checks import base
from pipeline.checks._spoken_counts import JOINS, PLACES, VERBS
from pipeline.note import OperativeNote, Passage
from pipeline.records import Token

_LEADS = frozenset("so that's thats making makes giving gives = totalling totaling all altogether".split())
_LED_BY_TWO = (("that", "is"), ("which", "is"), ("that", "makes"), ("which", "makes"), ("total", "of"), ("total", ":"))
_TAILS = (("in", "all"), ("in", "total"), ("all", "told"), ("all", "together"), ("all", "up"), ("altogether",),
          ("total",), ("together",))  # fmt: skip
_WHOLE = frozenset({"altogether", "total"})
# What was done with all of them, behind the telling of each.
_DONE_WITH = frozenset("went go sent with closed sutured pressed implanted used out retrieved removed recorded".split())
_AFTER_PART = PLACES | {"for", "of", "ones", "more", "further"}
_TWICE = frozenset("each both either twice per bilateral bilaterally again same".split())
_PAIRED = frozenset("side eye ear knee hip shoulder arm leg foot hand groin breast tube ovary lobe".split())
_MORE = frozenset({"another", "further", "extra", "last", "other", "third", "fourth", "fifth", "sixth"})
_LABELS = frozenset("x × by size grade number level zone type stage station segment class part step phase day over "
                    "gauge at port room lot minus plus".split())  # fmt: skip
_NAMES = frozenset("by x × hole part percent % o'clock was is were are had".split())  # behind what counts nothing
_ROUND = frozenset({"o'clock", "oclock", "#clock_face"})  # "one at two, one at three": hours are no counts
_ANY = frozenset("implants pieces devices things items components parts bodies ones others threes fives eights tens "
                 "twelves fifteens".split())  # fmt: skip
_NO_NOUN = PLACES | JOINS | VERBS | {"of", "all", "for", "the", "a", "an", "that", "which", "so"}
_NO_THINGS = frozenset("times hours minutes seconds weeks days months years degrees percent points o'clock".split())
_LOST = re.compile(r"^(?:pulled|dropped|wasted|bent|broke|broken|stripped|removed|failed|thrown|contaminated)$")
# Tokens; words to a noun; parts that are wanted; numbers to choose from; more is no count.
_LED_IN = 10  # tokens before the first part that may tell of both sides
_BACK, _NOUN, _LEAST, _CHOICES, _MOST = 60, 3, 2, 12, 5000


def count(token: Token) -> int | None:
    """The whole number of a token that counts, also one of many ("four hundred spots")."""
    quantity = token.quantity
    if quantity is None:
        return 1 if token.norm == "one" else None
    if quantity.form != "number" or quantity.dimension not in ("", "count") or quantity.comparator is not None:
        return None
    value = quantity.value
    return int(value) if value is not None and value == int(value) and 1 <= value <= _MOST else None


def totals(note: OperativeNote) -> Iterator[tuple[Passage, int, str, str]]:
    """(passage, number, noun, the numbers before it) of each closing count that they cannot come to. Pure."""
    spots = [(passage, token) for passage in note.sections.description for token in base.read(passage)]
    tokens = [token for _, token in spots]
    lasts: dict[str, int] = {}
    for at, (passage, token) in enumerate(spots):
        said = count(token)
        if said is None or said < _LEAST or _is_label(tokens, at):
            continue
        noun = closes(tokens, at)
        if noun is None:
            continue
        start = max(0, at - _BACK, (lasts.get(noun, -1) if noun else max(lasts.values(), default=-1)) + 1)
        lasts[noun] = at
        parts = [place for place in range(start, at) if _may_count(tokens, place, noun)]
        own = [place for place in parts if _is_part(tokens, place, at, noun)]
        near = {one.norm for one in tokens[start:at]}
        if near & _ROUND or _by_hours(tokens[start:at]) or (not noun and not _ends_in_parts(tokens, at, own)):
            continue
        doubled = bool(own and _TWICE & {one.norm for one in tokens[max(start, own[0] - _LED_IN) : at]})
        if _for_each_of_more(tokens[start:at]):
            continue
        singles = _singles(tokens, start, at, noun)
        again = _is_again(tokens, at, own, noun)
        if not own or len(own) + doubled + singles < _LEAST - again or len(parts) > _CHOICES:
            continue
        numbers = [number for place in parts if (number := count(tokens[place])) is not None]
        spare = sum(tokens[place].norm in _MORE or _holds_one(tokens, place) for place in range(start, at)) + singles
        if _same_there(tokens, start, at):  # "duct: two clips stay, one goes; artery the same, six in all"
            whole = [number for one in tokens[start:at] if (number := count(one)) is not None and number <= said]
            if said in _sums(whole[-_CHOICES:], True, spare):
                continue
        lost = any(_LOST.match(one.norm) for one in tokens[start:at])  # "five opened, one pulled out, so four anchors"
        row = _row(tokens, own, start, at)
        if row and not (doubled or lost or spare > singles) and said < sum(row) and said not in row:
            yield passage, said, noun or "in all", f"{' + '.join(map(str, row))} = {sum(row)}, said: {said}"
        elif said not in _sums(numbers, doubled, spare) | ({one - 1 for one in numbers} if lost else set()):
            shown = ", ".join(f"{count(tokens[place])}" for place in own)
            yield passage, said, noun or "in all", f"{shown} were told, said: {said}"


def _same_there(tokens: Sequence[Token], start: int, at: int) -> bool:
    """Whether another thing is told to have "the same" as the one before it."""
    return any(tokens[place].norm == "same" and tokens[place - 1].norm == "the"
               and (place + 1 == at or tokens[place + 1].punctuation) for place in range(start + 1, at))  # fmt: skip


def _row(tokens: Sequence[Token], own: Sequence[int], start: int, at: int) -> list[int]:
    """The counts of one row that the total closes, from a heading or a full stop on and nothing else between; else
    none."""
    if len(own) < _LEAST + 1 or any(tokens[place].norm == "." for place in range(own[0], own[-1])):
        return []
    others = [place for place in range(own[0], at) if count(tokens[place]) is not None and place not in own]
    began = own[0] == start or tokens[own[0] - 1].norm in (".", ":", ";")
    return [count(tokens[place]) or 0 for place in own] if began and not others else []


def _is_again(tokens: Sequence[Token], at: int, own: Sequence[int], noun: str) -> bool:
    """ "Two placentas out complete, so two placentas to pathology", "in three bits, all three bits out": one count of
    the same name, and "so" or "all"."""
    if len(own) != 1 or tokens[at - 1].norm not in ("so", "all"):
        return False
    place = noun_of(tokens, own[0])
    return bool(noun) and place is not None and tokens[place].norm == noun


def _by_hours(tokens: Sequence[Token]) -> bool:
    """ "One at eleven, one at twelve": places on a clock."""
    return sum(token.norm == "at" and count(after) is not None for token, after in pairwise(tokens)) > 1


def _for_each_of_more(tokens: Sequence[Token]) -> bool:
    """ "Two screws each in C5, C6 and C7", "at each of them": so many times as things were named."""
    return any(token.norm in ("each", "per", "every") and not (at + 1 < len(tokens) and tokens[at + 1].norm in _PAIRED)
               for at, token in enumerate(tokens))  # fmt: skip


def _holds_one(tokens: Sequence[Token], at: int) -> bool:
    """ "One twelve and one five": 1 of 12 mm may have been read as 112; the other is two bare numbers."""
    if count(tokens[at]) == 1:
        return at + 1 < len(tokens) and tokens[at + 1].norm == "#number"
    return tokens[at].norm == "#number" and (count(tokens[at]) or 0) > 99 and tokens[at].text.lower().startswith("one ")


def _ends_in_parts(tokens: Sequence[Token], at: int, own: Sequence[int]) -> bool:
    """Whether the last number before a total is one of the counts, and no amount."""
    return bool(own) and not any(token.quantity is not None for token in tokens[own[-1] + 1 : at])


def closes(tokens: Sequence[Token], at: int) -> str | None:
    """The noun of a count that closes, "" where it has none; None where it does not close."""
    place = noun_of(tokens, at)
    noun = tokens[place].norm if place is not None else ""
    if noun in _NO_THINGS:
        return None
    before = tuple(token.norm for token in tokens[max(0, at - 2) : at])
    after = tokens[(place or at) + 1 : (place or at) + 5]
    behind = tuple(token.norm for token in after)
    tail = any(behind[: len(one)] == one or (not noun and behind[1 : 1 + len(one)] == one and behind[0].isalpha())
               for one in _TAILS)  # fmt: skip
    led = before[-1:] and before[-1] in _LEADS or before in _LED_BY_TWO
    ends = not behind or behind[0] in (".", ";", ",", ")")
    sized = behind[:1] == ("of",) and len(after) > 1 and after[1].quantity is not None
    told = before[-1:] in ((",",), (";",), (".",)) and noun and behind and behind[0] in _DONE_WITH
    said = ends or _WHOLE & {one.norm for one in tokens[max(0, at - 5) : at]}
    listed = told or (before[-1:] == (",",) and noun and said)
    if before[-1:] == ("all",) and not noun:
        return None
    return noun if tail or listed or (led and (noun or ends or sized)) else None


def noun_of(tokens: Sequence[Token], at: int) -> int | None:
    """The plural that a count counts."""
    for place in range(at + 1, min(at + 1 + _NOUN, len(tokens))):
        token = tokens[place]
        if token.punctuation or token.quantity is not None or token.norm in _NO_NOUN:
            return None
        if _plural(token):
            return place
    return None


def _plural(token: Token) -> bool:
    ends = len(token.norm) > 3 and token.norm.isalpha() and token.norm.endswith("s")
    return (ends and token.norm[-2:] not in ("ss", "us", "is")) or token.norm in ("teeth", "feet")


def _is_label(tokens: Sequence[Token], at: int) -> bool:
    """A number that names or measures."""
    before = tokens[at - 1].norm if at else ""
    after = tokens[at + 1].norm if at + 1 < len(tokens) else ""
    bare = before == "#number" or (after == "#number" and count(tokens[at + 1]) is not None)
    added = before == "plus" and noun_of(tokens, at) is not None  # "plus two poller screws", but "liner plus two"
    return bare or (before in _LABELS and not added) or after in _NAMES


def _may_count(tokens: Sequence[Token], at: int, noun: str) -> bool:
    """Whether a number may be of what the total counts: no label, and no count of other things."""
    number = count(tokens[at])
    if number is None or _is_label(tokens, at):
        return False
    own = noun_of(tokens, at)
    return not noun or own is None or noun in _ANY or tokens[own].norm in _forms(noun) | _ANY


def _is_part(tokens: Sequence[Token], at: int, total: int, noun: str) -> bool:
    """Whether a count is of the noun, or stands in a row, or with a place or a size where the noun was named before."""
    names = _forms(noun)
    words = 0
    for place in range(at + 1, min(at + 2 + _BACK // 3, total)):
        token = tokens[place]
        if token.norm in names:
            return True
        joint = token.norm in (",", "and") and place + 1 < total and bool(words)
        if joint and (count(tokens[place + 1]) is not None or token.norm == "," and tokens[place + 1].norm == "and"):
            words = 0  # "one posterior, one anterior and one accessory portal"
            continue
        words += count(token) is None and token.norm != "and"
        if token.punctuation or token.norm in JOINS - {"and"} | VERBS or words > _NOUN:
            break
        if not token.norm.isalpha() and count(token) is None:
            break
    after = tokens[at + 1] if at + 1 < total else None
    if after is None or total - at > _BACK // 2:
        return False
    if after.punctuation and tokens[at - 1].norm.isalpha() and _plain(tokens, at):
        return not noun or any(token.norm in names for token in tokens[max(0, at - _BACK // 6) : at])
    sized = after.quantity is not None and after.quantity.dimension in ("length", "french", "gauge")
    named = not noun or any(token.norm in names for token in tokens[max(0, at - _BACK // 3) : at])
    listed = tokens[at - 1].norm in (",", ":", "and") and after.norm.isalpha() and after.norm not in VERBS
    return named and (sized or listed or after.norm in _AFTER_PART)


def _plain(tokens: Sequence[Token], at: int) -> bool:
    """ "The lateral one got three stitches and the medial two,": a count behind nothing but what has it."""
    joint = next((place for place in range(at - 1, max(-1, at - 2 - _NOUN), -1)
                  if tokens[place].norm in ("and", ",", ";", "but")), None)  # fmt: skip
    return joint is not None and at - joint > 1 and not any(token.quantity for token in tokens[joint + 1 : at])


def _forms(noun: str) -> set[str]:
    if not noun:
        return set()
    if noun in ("teeth", "feet"):
        return {noun, noun.replace("ee", "oo")}
    singular = {noun[:-1], noun[:-2] if noun.endswith("es") else noun}
    return {noun, *singular, noun[:-3] + "y" if noun.endswith("ies") else noun}


def _singles(tokens: Sequence[Token], start: int, at: int, noun: str) -> int:
    """How often a thing was named in the singular without a number."""
    single = _forms(noun) - {noun}
    return sum(token.norm in single and not _is_counted(tokens, start + place)
               for place, token in enumerate(tokens[start:at]) if place)  # fmt: skip


def _is_counted(tokens: Sequence[Token], at: int) -> bool:
    """ "One accessory anterior portal": a thing in the singular with its number before it."""
    for place in range(at - 1, max(-1, at - 2 - _NOUN), -1):
        if count(tokens[place]) is not None:
            return True
        if not tokens[place].norm.isalpha() or tokens[place].norm in JOINS | PLACES & {"in", "into", "on", "to"}:
            return False
    return False


def _sums(numbers: Sequence[int], doubled: bool, spare: int) -> set[int]:
    """All that some of the numbers may come to, each of them perhaps twice, or so many times another."""
    sums = {0}
    for number in numbers:
        sums |= {one + number for one in sums} | ({one + 2 * number for one in sums} if doubled else set())
    sums |= {one * other for at, one in enumerate(numbers) for other in numbers[at + 1 :]}
    sums |= {2 * one for one in sums} if doubled else set()
    return {one + more for one in sums for more in range(spare + 1)}


_MOST_SINGLE = 2  # "two swabs and one pack, all three out"
_DONE = frozenset("retrieved out removed resected clipped recovered twitch intact collected".split())


def all_of_them(note: OperativeNote) -> Iterator[tuple[Passage, int, str, str]]:
    """(passage, number, "of them", the counts before) of "all five retrieved", where none was counted. Pure."""
    spots = [(passage, token) for passage in note.sections.description for token in base.read(passage)]
    tokens = [token for _, token in spots]
    for at, (passage, token) in enumerate(spots[1:-1], 1):
        said = count(token)
        if said is None or said < _LEAST or tokens[at - 1].norm != "all" or tokens[at + 1].norm not in _DONE:
            continue
        counted = [number for place in range(at - 1) if (number := count(tokens[place])) is not None
                   and noun_of(tokens, place) is not None]  # fmt: skip
        single = sum(tokens[place].norm == "one" and noun_of(tokens, place) is None for place in range(at - 1))
        if counted and said not in _sums(counted[-_CHOICES:], True, min(single, _MOST_SINGLE)):
            yield passage, said, "of them", f"{', '.join(map(str, counted[-_CHOICES:]))} were told, said: {said}"


def shared_out(note: OperativeNote) -> Iterator[tuple[Passage, int, str, str]]:
    """(passage, number, noun, the parts) of a count whose things a later sentence tells place by place: "three strips
    ... Two strips on the chest and one on the arm." Pure."""
    told: dict[str, list[int]] = {}
    for passage in note.sections.description:
        tokens = base.read(passage)
        first = count(tokens[0]) if tokens else None
        place = noun_of(tokens, 0) if first is not None else None
        if first is not None and place is not None:
            noun = tokens[place].norm
            parts = [first, *_by_place(tokens, place)]
            known = told.get(noun, [])
            if len(parts) > 1 and len(known) == 1 and sum(parts) != known[0] and known[0] not in parts:
                yield passage, known[0], noun, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {known[0]}"
        for at, token in enumerate(tokens):
            number = count(token)
            place = noun_of(tokens, at) if number is not None else None
            if number is not None and place is not None and not _is_label(tokens, at):
                told.setdefault(tokens[place].norm, []).append(number)


def _by_place(tokens: Sequence[Token], noun: int) -> list[int]:
    """The counts that follow one with its noun and a place, each behind "and" or a comma with a place of its own."""
    found: list[int] = []
    if noun + 1 >= len(tokens) or tokens[noun + 1].norm not in PLACES:
        return []
    for at in range(noun + 2, len(tokens) - 1):
        number = count(tokens[at])
        if number is None:
            if tokens[at].quantity is not None:
                return []
            continue
        if tokens[at - 1].norm not in ("and", ",") or tokens[at + 1].norm not in PLACES:
            return []
        found.append(number)
    return found
