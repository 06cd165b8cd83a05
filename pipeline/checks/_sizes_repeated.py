"""Sizes that are told again in other ways: "ten by eight, like I said", "the tibial screw, the nine by twenty five",
"loose bodies of 5 to 12 mm ... the largest 12 mm"."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from pipeline.checks.base import finding, placed, plain, read
from pipeline.conversion import convert, convertible
from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding, Quantity, Token

_CROSS = frozenset({"x", "by", "\u00d7"})
# What points back to a number. Common speech, no source.
_AS_SAID = (("like", "i", "said"), ("as", "i", "said"), ("as", "said"), ("as", "mentioned"), ("as", "above"),
            ("like", "before"), ("as", "measured"), ("as", "noted"), ("as", "told"))  # fmt: skip
_AS_SAID_BEGINS = frozenset(words[0] for words in _AS_SAID)
_WAS_THE = (("that", "was", "the"), ("those", "were", "the"))  # "that was the twelve from the right"
_BY = frozenset({"by", "from", "on", "in", "to"})  # "52 min as noted by the nurse"
_TO_CUE = 2  # tokens between a number and what points back


def repeated(note: OperativeNote) -> list[Finding]:
    """The first such number that was not told so before. Pure."""
    return (list(_as_said(note))[:1] or list(_largest(note))[:1] or list(_crossed(note))[:1]
            or list(_pointed(note))[:1] or list(_told_nowhere(note))[:1])  # fmt: skip


def _made(message: str, arithmetic: str, passage: Passage, about: str) -> Finding:
    made = finding("two_values", "warning", message, arithmetic=arithmetic, ask="Say which is right.", about=about)
    return placed(made, passage.evidence)


def _as_said(note: OperativeNote) -> Iterator[Finding]:
    known: list[Quantity] = []
    for passage in note.sections.description:
        tokens = read(passage)
        pointed: set[int] = set()
        for at in range(len(tokens)):
            if tokens[at].norm not in _AS_SAID_BEGINS:
                continue
            words = tuple(token.norm for token in tokens[at : at + 3])
            cue = next((cue for cue in _AS_SAID if words[: len(cue)] == cue), None)
            if cue is not None and (at + len(cue) >= len(tokens) or tokens[at + len(cue)].norm not in _BY):
                pointed |= _right_before(tokens, at)
        for at, token in enumerate(tokens):
            quantity = token.quantity
            if quantity is not None and quantity.form == "range" and at not in pointed:
                known += [replace(quantity, value=one) for one in (quantity.low, quantity.high)]
            if at in pointed and quantity is not None and quantity.high is not None:
                quantity = replace(quantity, value=quantity.high)
            if quantity is None or quantity.value is None or quantity.form not in ("number", "range"):
                continue
            those = at > 0 and tokens[at - 1].norm in ("those", "these") and quantity.dimension == "volume"
            pointed |= {at} if those else set()
            pointed |= {at} if tuple(one.norm for one in tokens[max(0, at - 3) : at]) in _WAS_THE else set()
            if at in pointed and known and not any(_same(quantity, one) for one in known):
                told = f"{plain(quantity.value)} {quantity.said_unit or ''}".strip()
                yield _made(f"“{token.text}” was told as said before, and was not.", f"{told} was not said before",
                            passage, f"w{passage.evidence.first + token.first}")  # fmt: skip
            if at not in pointed:
                known.append(quantity)


def _right_before(tokens: Sequence[Token], cue: int) -> set[int]:
    """The number before a cue, and the one that it is crossed with."""
    place = next((at for at in range(cue - 1, max(-1, cue - 2 - _TO_CUE), -1) if tokens[at].quantity is not None), None)
    if place is None or any(token.norm in (".", ";") for token in tokens[place:cue]):
        return set()
    crossed = place > 1 and tokens[place - 1].norm in _CROSS and tokens[place - 2].quantity is not None
    return {place, place - 2} if crossed else {place}


def _same(first: Quantity, second: Quantity) -> bool:
    if first.value is None or second.value is None:
        return False
    if first.unit is None or second.unit is None or not convertible(first.unit, second.unit):
        return first.value == second.value
    return convert(first.value, first.unit, second.unit) == second.value


# What was found or put in, and is pointed to by its size. Tools are not among them: "the five millimetre shaver" may
# be named for the first time. Common practice, no source.
_THINGS = frozenset(
    "tear gap defect lesion fragment ossicle body cyst spur osteophyte bump cam flap nodule mass stone polyp hernia "
    "ulcer fibroid tumour tumor graft tendon bearing insert nail bone plug split fissure ganglion lump collection "
    "window effusion haematoma hematoma calcification deposit step cleft hole wound laceration bulge".split()
)
_POINTING = frozenset({"the", "that", "this"})
_OTHERWISE = re.compile(
    r"\b(?:left|remain\w*|residual|now|reduced|enlarg\w*|another|second|other|smaller|larger|further|each|both|new|third|"
    r"first|trial\w*|instead|chang\w+|exchang\w+|drill|reamer|shaver|punch|bit|guide)\b", re.I,
)  # fmt: skip
_SORTS, _AROUND, _BEHIND = 2, 5, 3  # words between a size and its thing, before both, and behind them


def _pointed(note: OperativeNote) -> Iterator[Finding]:
    """ "That twenty two millimetre tear": a size that was told of nothing else in the narration."""
    lengths = [(passage, at, size) for passage in note.sections.description for tokens in (read(passage),)
               for at in range(len(tokens)) if (size := _length(tokens, at)) is not None]  # fmt: skip
    for passage, at, size in lengths:
        tokens = read(passage)
        own = tokens[at].quantity
        crossed = at + 2 < len(tokens) and tokens[at + 1].norm in _CROSS and _length(tokens, at + 2) is not None
        if own is None or tokens[at - 1].norm not in _POINTING or (own.unit is None and not crossed):
            continue
        last = at + 2 if crossed else at
        thing = next((place for place in range(last + 1, min(len(tokens), last + 2 + _SORTS))
                      if tokens[place].norm in _THINGS), None)  # fmt: skip
        behind = tokens[last + 1 : thing] if thing is not None else ()
        others = [other for where, place, other in lengths if (where, place) != (passage, at)]
        around = " ".join(one.norm for one in tokens[max(0, at - _AROUND) : (thing or at) + _BEHIND])
        if thing is None or not at or not all(one.norm.isalpha() for one in behind) or _OTHERWISE.search(around):
            continue
        here = passage.evidence.first, at
        told = [other for where, place, other in lengths if (where.evidence.first, place) < here]
        if told and size not in others:
            noun = tokens[thing].norm
            yield _made(f"The {noun} was told as {plain(size)} mm, which was said of nothing else.",
                        f"{plain(size)} is none of {', '.join(plain(one) for one in dict.fromkeys(told))}", passage,
                        f"w{passage.evidence.first + tokens[at].first}")  # fmt: skip


def _length(tokens: Sequence[Token], at: int) -> Decimal | None:
    """Millimetres of a length; of a bare number that is crossed with one its value."""
    quantity = tokens[at].quantity
    if (size := _mm(tokens[at])) is not None:
        return size
    near = {one.norm for one in tokens[max(0, at - 1) : at + 2]}
    crossed = quantity is not None and quantity.form == "number" and not quantity.dimension and bool(near & _CROSS)
    return quantity.value if crossed and quantity is not None else None


_SUPERLATIVE = frozenset({"largest", "biggest", "longest"})
_NOUNS = frozenset("bodies fragments lesions polyps stones cysts nodules ones fibroids".split())
_REACH = 5  # tokens


def _largest(note: OperativeNote) -> Iterator[Finding]:
    """The largest of several that were told as from so much to so much."""
    ranges: list[tuple[Decimal, Decimal]] = []
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            quantity = token.quantity
            if quantity is not None and quantity.low is not None and quantity.high is not None and (
                quantity.unit in ("mm", "cm") and _NOUNS & {one.norm for one in tokens[max(0, at - _REACH) : at]}
            ):  # fmt: skip
                ranges.append((convert(quantity.low, quantity.unit, "mm"), convert(quantity.high, quantity.unit, "mm")))
            if token.norm not in _SUPERLATIVE or len(ranges) != 1:
                continue
            said = next((size for one in tokens[at + 1 : at + 1 + _REACH] if (size := _mm(one)) is not None), None)
            if said is not None and said != ranges[0][1]:
                low, high = (plain(one.normalize()) for one in ranges[0])
                yield _made(f"They were said to be {low} to {high} mm, and the largest {plain(said)} mm.",
                            f"{plain(said)} is not {high}", passage, "largest")  # fmt: skip


def _mm(token: Token) -> Decimal | None:
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.unit not in ("mm", "cm") or quantity.comparator:
        return None
    return convert(quantity.value, quantity.unit, "mm").normalize()


_PLACES = {"femur": "femur", "femoral": "femur", "tibia": "tibia", "tibial": "tibia", "glenoid": "glenoid",
           "patella": "patella", "patellar": "patella", "fibula": "fibula", "talus": "talus", "medial": "medial",
           "lateral": "lateral", "proximal": "proximal", "distal": "distal"}  # fmt: skip
_SCREWS = frozenset({"screw", "plug", "anchor", "button"})
_NEAR, _TO_PAIR, _TO_PLACE = 4, 8, 3  # tokens
_CHANGED = re.compile(
    r"\b(?:trial\w*|chang\w+|exchang\w+|instead|too|tri(?:ed|ing)|swap\w*|remov\w+|old|revis\w+|opened|first|second|"
    r"another|two|both|each|either|previous\w*|out|replac\w+)\b", re.I,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Pair:
    """A width and a length of one thing at one place. `pointed`: told with "the"."""

    thing: str
    place: str
    width: Decimal
    length: Decimal
    pointed: bool
    sure: bool
    passage: Passage


def _crossed(note: OperativeNote) -> Iterator[Finding]:
    """The screw of a place, told again with "the" and other sizes."""
    told: dict[tuple[str, str], list[_Pair]] = {}
    for passage in note.sections.description:
        for pair in _pairs(passage):
            before = told.setdefault((pair.thing, pair.place), [])
            before.append(pair)
            sizes = {(one.width, one.length) for one in before[:-1]}
            size = (pair.width, pair.length)
            if pair.pointed and len(sizes) == 1 and size not in sizes and all(one.sure for one in before):
                first = next(iter(sizes))
                known, other = (" x ".join(plain(one) for one in each) for each in (first, size))
                yield _made(f"The {pair.thing} ({pair.place}) was said as {known} mm, and then as {other} mm.",
                            f"{other} is not {known}", passage, f"{pair.thing}:{pair.place}")  # fmt: skip


def _told_nowhere(note: OperativeNote) -> Iterator[Finding]:
    """ "The ten by twenty screw bites": sizes with "the" that no screw of the narration was told with."""
    pairs = [(passage, at, pair) for passage in note.sections.description for at, pair in _every_pair(passage)]
    for passage, at, pair in pairs:
        tokens = read(passage)
        every = [(where, place, one) for where in note.sections.description
                 for place, one in _every_pair(where, bare=True)]  # fmt: skip
        here = passage.evidence.first, at
        before = [one for where, place, one in every if (where.evidence.first, place) < here]
        others = [one for where, place, one in every if (where, place) != (passage, at)]
        around = " ".join(token.norm for token in tokens[max(0, at - _TO_PAIR) : at + _NEAR])
        pointed = at > 1 and tokens[at - 2].norm in ("the", "that")
        if pointed and before and pair not in others and not _CHANGED.search(around):
            known, other = (" x ".join(plain(one) for one in each) for each in (before[-1], pair))
            yield _made(f"{other} mm was told with “the”, and {known} mm before.", f"{other} is not {known}", passage,
                        f"w{passage.evidence.first + tokens[at].first}")  # fmt: skip


def _every_pair(passage: Passage, *, bare: bool = False) -> Iterator[tuple[int, tuple[Decimal, Decimal]]]:
    tokens = read(passage)
    for at in range(1, len(tokens) - 1):
        width, length = _number(tokens[at - 1]), _number(tokens[at + 1])
        if tokens[at].norm in _CROSS and width is not None and length is not None and (
            bare or _nearest(tokens, at, _SCREWS, _TO_PAIR) is not None
        ):  # fmt: skip
            yield at, (width, length)


def _pairs(passage: Passage) -> Iterator[_Pair]:
    tokens = read(passage)
    for at in range(1, len(tokens) - 1):
        width, length = _number(tokens[at - 1]), _number(tokens[at + 1])
        if tokens[at].norm not in _CROSS or width is None or length is None or not width < length:
            continue
        noun = _nearest(tokens, at, _SCREWS, _TO_PAIR)
        if noun is None:
            continue
        low, high = min(noun, at - 1), max(noun, at + 1)
        around = tokens[max(0, low - 1) : high + 1 + _TO_PLACE]
        places = {_PLACES[token.norm] for token in around if token.norm in _PLACES}
        if len(places) != 1:
            places = {_PLACES[token.norm] for token in tokens[max(0, low - 1) : high + 1] if token.norm in _PLACES}
        if len(places) != 1:
            continue
        lead = [token.norm for token in tokens[max(0, at - 2) : at - 1]] + [token.norm for token in tokens[
            max(0, noun - 2) : noun]]  # fmt: skip
        words = " ".join(token.norm for token in tokens[max(0, low - _NEAR) : high + _NEAR])
        yield _Pair(tokens[noun].norm, places.pop(), width, length, "the" in lead, not _CHANGED.search(words), passage)


def _number(token: Token) -> Decimal | None:
    quantity = token.quantity
    bare = quantity is not None and quantity.form == "number" and quantity.unit in (None, "mm")
    return quantity.value if bare and quantity is not None else None


def _nearest(tokens: Sequence[Token], at: int, nouns: frozenset[str], reach: int) -> int | None:
    """The noun nearest to a cross, before or right behind it, with no full stop between."""
    for step in range(2, reach + 1):
        for place in (at - step, at + step):
            if not 0 <= place < len(tokens) or tokens[place].norm not in nouns:
                continue
            low, high = min(place, at), max(place, at)
            if not any(token.norm in (".", ";") for token in tokens[low:high]):
                return place
    return None
