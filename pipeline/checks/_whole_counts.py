"""Counts of one sort of thing over a whole narration: "4 on the glenoid ... 2 anchors in the Hill-Sachs. Total 6
anchors", "screw on the femur ... one screw on the tibia ... so two screws", "four loose bodies, two in front and two
behind ... another two loose bodies ... specimens: 4 loose bodies".

Where the readers of `listed_count` know one sentence, this one follows what was counted from sentence to sentence. A
total is wrong only where no reading of the parts before it comes to it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from pipeline.checks import _told_parts, _told_short, base
from pipeline.checks._spoken_counts import JOINS, PLACES, VERBS, count, is_portal, says_total
from pipeline.note import OperativeNote, Passage
from pipeline.records import Token

# Things that are counted in and out of a joint. Common practice, no source.
_NOUNS = {"anchors": "anchor", "screws": "screw", "portals": "portal", "bodies": "body", "fragments": "fragment",
          "buttons": "button", "stitches": "stitch", "sutures": "suture", "plates": "plate", "pins": "pin",
          "wires": "wire", "knotless": "anchor", "devices": "stitch", "plugs": "plug", "lesions": "lesion",
          "tears": "tear", "implants": "implant"}  # fmt: skip
_SINGULAR = {noun: noun for noun in _NOUNS.values()}
_LEADS = frozenset({"so", "that's", "thats", "makes", "making", "=", "total", "totalling", "totaling", "giving", "all"})
_KEEPS = frozenset({"got", "have", "has", "used"})  # "so she's got five anchors"
_LEAD_PAIRS = (("that", "is"), ("which", "is"), ("total", "of"), ("total", ":"), ("we", "used"), ("that", "made"))
_SPECIMENS = re.compile(r"^(?:specimens?|spec|path\w*)\b", re.I)
_NO_COUNT = frozenset("by x × size grade number no zone type stage point level every each per of not for".split())
_POINTS = frozenset({"the", "these", "those", "this", "that", "each", "every", "no", "its", "other", "same", "old"})
_LOST = re.compile(
    r"\b(?:pull\w*|remov\w*|drop\w*|wast\w*|broke\w*|bent|bad|replac\w*|chang\w*|exchang\w*|fail\w*|contaminat\w*|"
    r"thrown|binned|stripped|spun|backed|old|previous\w*|explant\w*|opened|spare)\b", re.I,
)  # fmt: skip
_MORE = re.compile(r"\b(?:more|another|further|added|extra|additional|also|plus)\b", re.I)
_JOINED = {(",", "a"), ("and", "a"), (",", "an"), ("and", "an"), ("then", "a"), ("plus", "a")}
_TIMES = frozenset({"x", "\u00d7"})
_EACH, _TO_EACH = frozenset({"each", "either", "both", "per"}), 6
_TO_NOUN, _GOES_ON, _LOSSES = 4, 14, 2  # tokens to a noun, and to a part that goes on; things that may be lost


@dataclass(slots=True)
class _Said:
    """One statement of a number of things. `led`: said as their total; `again`: as so many more."""

    number: int
    at: int
    passage: Passage | None = None
    led: bool = False
    again: bool = False
    ordinal: bool = False
    twice: bool = False


@dataclass(slots=True)
class _Told:
    """What has been told of one sort of thing so far."""

    parts: list[_Said] = field(default_factory=list)
    whole: int | None = None  # its last total
    least: int = 0  # the highest number that told one off ("a third one")
    alone: int = 0  # told one by one without a number
    run: int = 0  # the last count and what was told as more of it
    words: list[str] = field(default_factory=list)  # since its first part


def totals(note: OperativeNote) -> Iterator[tuple[Passage, int, str, str]]:
    """(passage, number, noun, arithmetic) of the first number of each thing that cannot be right. Pure."""
    told: dict[str, _Told] = {}
    found: set[str] = set()
    for passage in note.sections.description:
        tokens = base.read(passage)
        sent = _SPECIMENS.match(passage.text) is not None
        last: tuple[str, int] | None = None
        for at, token in enumerate(tokens):
            for one in told.values():
                one.words.append(token.norm)
            if token.norm in _SINGULAR and _is_alone(tokens, at):
                told.setdefault(token.norm, _Told()).alone += 1
            said, thing = _statement(tokens, at, last)
            if token.norm in _NOUNS and (hours := _hours(tokens, at)) > 1:  # "Anchors: 12, 1, 2 o'clock"
                known = told.setdefault(_NOUNS[token.norm], _Told())
                known.whole, known.parts, known.alone, known.words = hours, [], 0, []
            if said is None:
                continue
            if not said.ordinal:
                last = thing, at
            said.passage, said.led = passage, said.led or sent
            said.twice = bool(_EACH & {token.norm for token in tokens[at + 1 : at + 1 + _TO_EACH]})
            if said.led and _told_parts.explains(tokens, at):
                _take(told.setdefault(thing, _Told()), said)
                continue
            known = told.setdefault(thing, _Told())
            wrong = _wrong(known, said)
            if wrong is not None and thing not in found:
                found.add(thing)
                yield passage, said.number, _plural(thing), wrong
            _take(known, said)


def _plural(thing: str) -> str:
    return next(noun for noun, one in _NOUNS.items() if one == thing)


def _statement(tokens: Sequence[Token], at: int, last: tuple[str, int] | None) -> tuple[_Said | None, str]:
    """What a token says of how many there are, and of what."""
    nothing: tuple[None, str] = (None, "")
    quantity, number = tokens[at].quantity, count(tokens[at])
    if quantity is None and number is None:
        return nothing
    before = [token.norm for token in tokens[max(0, at - 2) : at]]
    if quantity is not None and quantity.form == "ordinal" and quantity.value is not None:
        behind = [token.norm for token in tokens[at + 1 : at + 2]]
        if last is None or at - last[1] > _GOES_ON or behind != ["one"] or before[-1:] != ["a"]:
            return nothing
        return _Said(int(quantity.value), at, ordinal=True), last[0]
    if number is None or is_portal(tokens, at) or set(before[-1:]) & _NO_COUNT or _is_size(tokens, at):
        return nothing
    thing, end = _noun(tokens, at)
    if thing:
        if number == 1 and tokens[end].norm in _NOUNS:
            return nothing  # "one portals"
        again = before[-1:] in (["another"], ["further"]) or "more" in {one.norm for one in tokens[at + 1 : end]}
        led = bool(before) and (before[-1] in _LEADS or tuple(before) in _LEAD_PAIRS)
        lead = {token.norm for token in tokens[max(0, at - 4) : at - 1]}
        led = led or bool(before) and before[-1] in _KEEPS and bool(lead & {"so", "that", "altogether"})
        if before[-1:] and before[-1] in _POINTS:
            return nothing
        led = (led or says_total(tokens, at) or _closes(tokens, end)) and number > 1
        return _Said(number, at, led=led, again=again), thing
    next_word = tokens[at + 1].norm if at + 1 < len(tokens) else ""
    if next_word not in PLACES or tokens[at].norm == "#number" and next_word in ("to", "left", "right"):
        return nothing
    if before[-1:] == [":"] and (headed := _heading(tokens, at)):
        return _Said(number, at), headed
    joined = bool(before) and before[-1] in JOINS | {"another"}
    if last is not None and at - last[1] <= _GOES_ON and (joined or tokens[at].norm == "one" or number == 1):
        return _Said(number, at, again=True), last[0]
    return nothing


def _noun(tokens: Sequence[Token], at: int) -> tuple[str, int]:
    """The thing that a count counts, over its size and an adjective or two; "" where none is."""
    for place in range(at + 1, min(len(tokens), at + 1 + _TO_NOUN)):
        token = tokens[place]
        if token.norm in _NOUNS or token.norm in _SINGULAR:
            further = tokens[place + 1].norm if place + 1 < len(tokens) else ""
            if token.norm == "knotless" and further in _NOUNS:
                continue
            # "two suture anchors", "three screw holes": the last noun is what is counted
            return ("", place) if further in _NOUNS or further in _SINGULAR or further in _PARTS_OF else (
                _NOUNS.get(token.norm, token.norm), place)  # fmt: skip
        if token.quantity is not None and token.quantity.form != "number":
            break
        if token.punctuation or token.norm in PLACES | VERBS | JOINS | {"of", "times"} or count(token) is not None:
            break
    return "", at


_PARTS_OF = frozenset("holes hole heads head tips tip tracts sites site tunnels tails wounds scars skin cut".split())


def _closes(tokens: Sequence[Token], end: int) -> bool:
    """ "Three portals in the end"."""
    return [token.norm for token in tokens[end + 1 : end + 4]] == ["in", "the", "end"]


def _heading(tokens: Sequence[Token], at: int) -> str:
    """ "Anchors 1.8 mm all-suture: 4 on the glenoid": what the colon before a count is about."""
    for place in range(at - 2, max(-1, at - 2 - _HEADING), -1):
        if tokens[place].norm in (".", ";"):
            break
        if tokens[place].norm in _NOUNS:
            return _NOUNS[tokens[place].norm]
    return ""


_HEADING = 6  # tokens


_WENT = frozenset({":", "went", "in", "at", "were", "placed", "put", "are"})


def _hours(tokens: Sequence[Token], at: int) -> int:
    """How many places on a clock a heading lists."""
    start = at + 1
    while start < len(tokens) and tokens[start].norm in _WENT and start - at < _HEADING:
        start += 1
    if start == at + 1:
        return 0
    listed, face = 0, False
    for place, token in enumerate(tokens[start:], start):
        quantity = token.quantity
        if place + 1 < len(tokens) and tokens[place + 1].norm in _NOUNS:
            break  # "anchors at 5:30, 4:30 and 2:30, 3 anchors total"
        if quantity is not None and quantity.form in ("clock", "clock_face") or count(token) is not None:
            listed += 1
            face = face or (quantity is not None and quantity.form in ("clock", "clock_face"))
            if quantity is not None and quantity.form == "clock_face":
                break
        elif token.norm not in (",", "and", "at", "/"):
            break
    return listed if face else 0


def _is_alone(tokens: Sequence[Token], at: int) -> bool:
    """ "Screw on the femur", "then a lag screw": one more that has no number."""
    pointed = _POINTS & {token.norm for token in tokens[max(0, at - 4) : at]}
    return not pointed and not any(
        count(tokens[place]) is not None and _noun(tokens, place)[1] == at and not _is_size(tokens, place)
        for place in range(max(0, at - 4), at)
    )


def _is_size(tokens: Sequence[Token], at: int) -> bool:
    """ "7 x 25 mm screw", but not "2 x 3.5 mm screws"."""
    crossed = at + 1 < len(tokens) and tokens[at + 1].norm in ("x", "\u00d7", "by")
    return crossed and _told_short.so_many(tokens, at) is None


def _sums(parts: Sequence[_Said]) -> set[int]:
    """What the last parts may come to; what was told of each may count twice."""
    found: set[int] = set()
    ends = {0}
    for part in reversed(parts):
        ends = {end + part.number * times for end in ends for times in ((1, 2) if part.twice else (1,))}
        found |= ends
    return found


def _take(known: _Told, said: _Said) -> None:
    if said.ordinal:
        known.least = max(known.least, said.number)
        return
    if said.led:
        known.whole, known.parts, known.alone, known.run, known.words = said.number, [], 0, 0, []
        known.least = 0
        return
    known.run = known.run + said.number if said.again else said.number
    known.parts.append(said)
    closed = _closed(known.parts)
    if closed is not None:  # "four loose bodies, two anterior and two posterior"
        known.whole, known.parts, known.alone, known.run, known.words = closed, [], 0, 0, []


def _closed(parts: Sequence[_Said]) -> int | None:
    """The number whose parts were told right behind it, in its own sentence."""
    for first in range(len(parts) - 2):
        behind = parts[first + 1 :]
        if parts[first].passage is behind[-1].passage and sum(one.number for one in behind) == parts[first].number:
            return parts[first].number
    return None


def _wrong(known: _Told, said: _Said) -> str | None:
    """Why a statement cannot be right, as arithmetic; None where it may be."""
    if said.ordinal:
        return None
    words = " ".join(known.words)
    lost = _LOSSES if _LOST.search(words) else 0
    if said.again and known.whole is not None and not lost and known.run and known.run + said.number > known.whole:
        return f"{known.run} + {said.number} = {known.run + said.number}, said before: {known.whole}"
    if not said.led:
        return None
    numbers = [one.number for one in known.parts]
    if said.number < known.least and not lost:
        return f"told off up to {known.least}, said: {said.number}"
    if not numbers:
        if known.whole is not None and not lost and not _MORE.search(words) and known.alone == 0:
            return None if said.number == known.whole else f"said before: {known.whole}, said: {said.number}"
        if known.whole is None and known.alone > 1 and said.number > known.alone and not _TIMES & set(known.words):
            return f"{known.alone} told one by one, said: {said.number}"
        return None
    single = known.whole is None and known.alone > 0 and set(numbers) == {1} and not _TIMES & set(known.words)
    if single and said.number > len(numbers) + known.alone:
        return f"{len(numbers) + known.alone} told one by one, said: {said.number}"
    if len(numbers) < 2 and not (known.whole is not None and numbers[0] > said.number):
        return None
    sums = _sums(known.parts) | set(numbers)
    if known.whole is not None and known.whole == sum(numbers):
        sums = {known.whole, *numbers}  # the parts of what was told before, one by one
    elif known.whole is not None:
        sums |= {known.whole, *(known.whole + one for one in sums)}
    other = sum(two in _JOINED for two in pairwise(known.words))  # "one tear at one o'clock and a little round hole"
    more_than = known.alone + other
    allowed = {one + more - less for one in sums for more in range(more_than + 1) for less in range(lost + 1)}
    allowed |= {known.least} if known.least else set()
    if said.number in allowed:
        return None
    return f"{' + '.join(map(str, numbers))} = {sum(numbers)}, said: {said.number}"
