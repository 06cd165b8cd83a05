"""How deep a draw can be: no deeper than the needle is long, nor than its moves have brought it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from pipeline.checks.base import exact, given, rounded, shown
from pipeline.note import OperativeNote
from pipeline.records import Fact

_SLACK = Decimal("0.05")  # cm
_MOVES = ("needle_advance", "needle_retraction", "needle_turns")
_TO = re.compile(r"\bto\b")
_INWARD = re.compile(r"\bturns? (?:in|inward|forward|deeper)\b|\bscrewed in\b")
_DEEPER = re.compile(
    r"\b(?:deeper|further|advanc\w+|forward|pushed|inward|new|another|second (?:hole|puncture|site))\b"
)


@dataclass(frozen=True, slots=True)
class Beyond:
    """A depth that cannot be. `sure`: the needle was told to move to where it is shallower."""

    depth: Fact
    against: Fact
    message: str
    arithmetic: str
    sure: bool


def beyond(note: OperativeNote) -> Iterator[Beyond]:
    """Depths of the harvest that the needle cannot have reached, in the order said. Pure."""
    yield from _too_long(note)
    sides = {fact.laterality for fact in note.of("draw", "harvest_site", "harvest_total") if fact.laterality}
    if len(sides) < 2:  # which move belongs to which way in was not said
        yield from _not_reached(note)


def _too_long(note: OperativeNote) -> Iterator[Beyond]:
    lengths = [(one, fact) for fact in _needles(note) if (one := exact(fact, "cm")) is not None]
    if len({one for one, _ in lengths}) != 1:
        return
    length, needle = lengths[0]
    for fact in given(note, "harvest_depth", "needle_advance"):
        deep = exact(fact, "cm")
        if deep is not None and (deep > length or (deep == length and fact.kind == "harvest_depth")):
            yield Beyond(fact, needle, f"A depth of {shown(fact)} was said, and the needle is {shown(needle)} long.",
                         f"{rounded(deep)} cm {'>' if deep > length else '='} {rounded(length)} cm", True)  # fmt: skip


def _needles(note: OperativeNote) -> list[Fact]:
    """The lengths of the harvest needle, also where it stands as a needle among the sizes of the harvest."""
    own = given(note, "harvest_needle")
    told = [fact.evidence.first for fact in note.of("draw", "harvest_depth", "harvest_site", "harvest_total")]
    if not told:
        return own
    return own + [fact for fact in note.of("device_size") if "needle" in (fact.name or fact.text or "").lower()
                  and min(told) <= fact.evidence.first <= max(told)]  # fmt: skip


def _not_reached(note: OperativeNote) -> Iterator[Beyond]:
    place: Decimal | None = None
    last: Fact | None = None  # what told the place
    moved = False
    back: Decimal | None = None
    gone: tuple[Decimal, Fact] | None = None  # the deepest that a move was told to bring it
    events = sorted(given(note, "harvest_depth", *_MOVES), key=lambda fact: fact.evidence.first)
    for fact in events:
        length = exact(fact, "cm")
        if fact.kind == "harvest_depth":
            if length is None:
                continue
            reached = place if back is None or place is None else place - back
            if moved and reached is not None and last is not None and length > reached + _SLACK:
                yield _told(fact, last, reached, True)
            elif gone is not None and length > gone[0] + _SLACK and not _deeper_between(note, gone[1], fact):
                yield _told(fact, gone[1], gone[0], False)
            place, last, moved, back = length, fact, False, None
            continue
        if fact.scale == "each" or _says_inward(note, fact):
            place, moved, back = None, False, None
        elif fact.kind == "needle_turns":
            moved, last = place is not None, fact  # back by their pitch: the place from before is not passed
        elif length is None:
            place = None
        elif fact.kind == "needle_advance":
            to = place is None or _TO.search(fact.evidence.heard.lower())
            place = length if to else (place or Decimal(0)) - (back or 0) + length
            last, moved, back, gone = fact, last is not None, None, (place, fact)
        else:
            back = (back or Decimal(0)) + length
            last, moved = fact, place is not None


def _told(depth: Fact, move: Fact, reached: Decimal, sure: bool) -> Beyond:
    return Beyond(depth, move, f"A draw was said at {shown(depth)}; as told, the needle was at {rounded(reached)} cm.",
                  f"{rounded(exact(depth, 'cm') or reached)} cm > {rounded(reached)} cm", sure)  # fmt: skip


def _says_inward(note: OperativeNote, turns: Fact) -> bool:
    return turns.kind == "needle_turns" and any(
        passage.holds(turns) and _INWARD.search(passage.text.lower()) for passage in note.sections.description
    )


def _deeper_between(note: OperativeNote, move: Fact, depth: Fact) -> bool:
    """Whether something tells that the needle went on, without a number."""
    low, high = move.evidence.last, depth.evidence.first
    words = [
        word.strip(".,;:()").lower()
        for passage in note.sections.description
        for at, word in enumerate(passage.text.split(), passage.evidence.first)
        if low < at < high
    ]
    return _DEEPER.search(" ".join(words)) is not None
