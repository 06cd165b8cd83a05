"""What became of things that were counted: "four anchors opened, one pulled out, three stayed in", "six loops, five
used and one sent back"; and so many in each of so many: "four tapes, two from each anchor, from two anchors".
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.checks import base
from pipeline.checks._closing import closes, noun_of
from pipeline.checks._spoken_counts import PLACES, count
from pipeline.note import OperativeNote, Passage
from pipeline.records import Token

Told = tuple[Passage, int, str, str]

# Common speech, no source. The second word, where there is one, has to follow.
_LOST = frozenset("stripped dropped wasted thrown discarded binned contaminated failed broke broken snapped bent "
                  "unused unopened returned spare desterilised desterilized misfired lost".split())  # fmt: skip
_LOST_BY_TWO = frozenset({("pulled", "out"), ("came", "out"), ("pulled", "through"), ("cut", "out"), ("fell", "on"),
                          ("sent", "back"), ("not", "used"), ("not", "implanted"), ("went", "back"), ("left", "over"),
                          ("taken", "out"), ("not", "needed"), ("backed", "out"), ("put", "back")})  # fmt: skip
_STAYED = frozenset("stayed stay held remain remained remaining implanted used kept stays remains".split())
_STAYED_BY_TWO = frozenset({("left", "in"), ("are", "in"), ("went", "in"), ("in", "place"), ("in", "her"),
                            ("in", "him"), ("is", "in"), ("in", "situ"), ("in", "use")})  # fmt: skip
_LEADS_LOST = frozenset("dropped wasted lost discarded binned returned".split())
_LEADS_STAYED = frozenset("leaving used keeping leaves implanted".split())
_AGAIN = frozenset("replaced replacement exchanged changed swapped instead another new again redone further more "
                   "second substituted reinserted extra".split())  # fmt: skip
_WAS = frozenset({"was", "were", "got", "had", "thrown", "went"})
_WINDOW, _AHEAD = 34, 7  # tokens from the count on, and to what became of a part
_LEAST, _MOST = 2, 20  # things


def told(note: OperativeNote) -> Iterator[Told]:
    """(passage, number, noun, arithmetic) of what does not come to its number. Pure."""
    spots = [(passage, token) for passage in note.sections.description for token in base.read(passage)]
    tokens = [token for _, token in spots]
    for at, (passage, _) in enumerate(spots):
        one = _fates(tokens, at) or _each_of(tokens, at) or _each_had(tokens, at)
        if one is not None:
            yield passage, *one


def _fates(tokens: Sequence[Token], at: int) -> tuple[int, str, str] | None:
    said = count(tokens[at])
    if said is None or said < _LEAST:
        return None
    place = noun_of(tokens, at)
    if place is None or (at and tokens[at - 1].norm in ("x", "#number")):
        return None
    lost: list[int] = []
    stayed: list[int] = []
    end = min(len(tokens), at + _WINDOW)
    for here in range(place + 1, end - 1):
        number = count(tokens[here])
        own = noun_of(tokens, here) if number is not None else None
        if own is not None and tokens[own].norm != tokens[place].norm:
            return None  # other things are counted
        if number is None or number > _MOST:
            continue
        if number > said and not lost and not stayed and tokens[here + 1].norm in PLACES:
            said = number  # "four anchors; I had five on the table, one pulled out, so four are in her"
            continue
        fate = _fate(tokens, here, end) or ("stayed" if lost and tokens[here + 1].norm in ("in", "into") else "")
        if fate == "lost":
            lost.append(number)
        elif fate == "stayed":
            stayed.append(number)
        if lost and stayed:
            end = here
            break
    if len(stayed) != 1 or not lost or {one.norm for one in tokens[place:end]} & _AGAIN:
        return None
    worked = sum(lost) + stayed[0]
    return None if worked == said else (
        stayed[0], tokens[place].norm, f"{said} less {sum(lost)} = {said - sum(lost)}, said: {stayed[0]}"
    )  # fmt: skip


def _fate(tokens: Sequence[Token], at: int, end: int) -> str:
    """What became of the things that a count counts, "" where it was not told."""
    before = tokens[at - 1].norm
    if before in _LEADS_LOST | _LEADS_STAYED and tokens[at - 2].norm not in ("not", "was", "were"):
        return "lost" if before in _LEADS_LOST else "stayed"
    for place in range(at + 1, min(end, at + 1 + _AHEAD)):
        token = tokens[place]
        pair = token.norm, tokens[place + 1].norm if place + 1 < len(tokens) else ""
        if token.norm in _LOST or pair in _LOST_BY_TWO:
            return "lost"
        if token.norm in _STAYED or pair in _STAYED_BY_TWO:
            return "stayed"
        if token.punctuation or token.quantity is not None or (token.norm in ("and", "then") and pair[1] not in _WAS):
            return ""
    return ""


_EACH = frozenset({"each", "per", "every"})
_PARTS = frozenset({"side", "of", "time", "one", "end", "other", "with", "and"})
_TO_EACH = 4  # tokens from a number to "each"


def _each_of(tokens: Sequence[Token], at: int) -> tuple[int, str, str] | None:
    """ "Two tapes from each anchor, from two anchors": so many times so many."""
    if tokens[at].norm not in _EACH:
        return None
    holder = tokens[at + 1].norm if at + 1 < len(tokens) else ""
    if holder in _PARTS | PLACES or not holder.isalpha():
        return None
    own = next((place for place in range(at - 1, max(-1, at - 1 - _TO_EACH), -1) if count(tokens[place])), None)
    if own is None or any(token.punctuation for token in tokens[own:at]):
        return None
    first = max((place for place in range(own) if tokens[place].norm in (".", ";")), default=-1) + 1
    near = range(first, min(len(tokens), at + _WINDOW))
    holders = {count(tokens[place]): place for place in near
               if (noun := noun_of(tokens, place)) is not None and count(tokens[place]) is not None
               and tokens[noun].norm in (f"{holder}s", f"{holder}es")}  # fmt: skip
    noun = noun_of(tokens, own)
    named = tokens[noun].norm if noun is not None and noun < at else ""
    totals = {count(tokens[place]) for place in near if place != own and count(tokens[place]) is not None
              and place not in holders.values() and _is_whole(tokens, place, own, named)}  # fmt: skip
    each = count(tokens[own]) or 0
    if len(holders) != 1 or len(totals) != 1:
        return None
    (many,), (said,) = holders, totals
    if many is None or said is None or said in (many * each, each):
        return None
    shown = named or "in all"
    return said, shown, f"{many} x {each} = {many * each}, said: {said}"


def _each_had(tokens: Sequence[Token], at: int) -> tuple[int, str, str] | None:
    """ "Two portals, two stitches each, four stitches": the things behind their holders, and both multiplied."""
    noun = tokens[at - 1].norm if at else ""
    if tokens[at].norm != "each" or not noun.isalpha() or (at + 1 < len(tokens) and not tokens[at + 1].punctuation):
        return None
    own = next((place for place in range(at - 2, max(-1, at - 2 - _TO_EACH), -1) if count(tokens[place])), None)
    if own is None or noun_of(tokens, own) != at - 1 or tokens[own - 1].norm not in (",", "with", "and"):
        return None
    holder = next((place for place in range(own - 2, max(-1, own - 2 - _AHEAD), -1) if count(tokens[place])), None)
    held = noun_of(tokens, holder) if holder is not None else None
    whole = next((place for place in range(at + 1, min(len(tokens), at + _AHEAD * 2))
                  if (one := noun_of(tokens, place)) is not None and count(tokens[place])
                  and tokens[one].norm == noun), None)  # fmt: skip
    if holder is None or held is None or held != own - 2 or whole is None:
        return None
    each, many, said = (count(tokens[place]) or 0 for place in (own, holder, whole))
    return None if said in (each, each * many) else (said, noun, f"{many} x {each} = {many * each}, said: {said}")


def _is_whole(tokens: Sequence[Token], place: int, own: int, named: str) -> bool:
    """Whether a count is of all of what was told of each: of the same name and closing, or right before it."""
    noun = noun_of(tokens, place)
    if noun is None:
        return False
    if named:
        return tokens[noun].norm == named and place > own and closes(tokens, place) is not None
    between = [token.norm for token in tokens[noun + 1 : own]]
    return noun < own and bool(between) and between[-1] in (",", ":", "(") and not any(
        count(token) is not None for token in tokens[noun + 1 : own]
    )
