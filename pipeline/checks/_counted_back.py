"""Swabs, needles and instruments that were counted out and back: "needles: ten out, nine back", "sponge count 15 at
start, 10 added, 24 at the end". As many come back as went out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.checks import base
from pipeline.checks._spoken_counts import count
from pipeline.note import OperativeNote, Passage
from pipeline.records import Token

# What the theatre counts. WHO surgical safety checklist, sign-out: instruments, sponges and needles.
_THINGS = frozenset(
    "swab swabs sponge sponges needle needles blade blades instrument instruments raytec raytecs lap laps pack packs "
    "gauze gauzes pledget pledgets patty patties sharps sharp mops mop tapes loops slings bulldogs".split()
)
_OUT = frozenset({"out", "start", "beginning", "opened", "given", "opening", "initial", "initially", "issued", "up"})
_BACK = frozenset({"back", "end", "in", "returned", "close", "closing", "closure", "final", "home", "accounted"})
_ADDED = frozenset({"added", "more", "extra", "further", "additional"})
_SKIP = frozenset("were was counted at the of on table and went came given all to had have we got of them".split())
_BEGAN, _LED = frozenset({"started", "began", "start", "begin"}), 2
_REACH, _MOST = 5, 200  # tokens from a number to what was done; things


def wrong(note: OperativeNote) -> Iterator[tuple[Passage, str]]:
    """(passage, arithmetic) of what did not all come back. Pure."""
    told: dict[str, list[int]] = {}  # thing -> [out, added]
    for passage in note.sections.description:
        tokens = base.read(passage)
        name = ""
        for at, token in enumerate(tokens):
            if token.norm in _THINGS:
                name = token.norm.rstrip("s")
            number = _number(token)
            done = _done(tokens, at) if number is not None else ""
            behind = tokens[at + 1].norm if at + 1 < len(tokens) else ""
            thing = behind.rstrip("s") if behind in _THINGS else name
            if number is None or not done or not thing:
                continue
            known = told.setdefault(thing, [0, 0])
            if done == "out" or (done == "added" and known[0]):
                known[done == "added"] += number
            elif done == "back" and known[0]:
                if number != sum(known):
                    worked = f"{known[0]} + {known[1]} = {sum(known)}" if known[1] else f"{known[0]}"
                    yield passage, f"{worked} out, said to be back: {number}"
                told[thing] = [0, 0]


def _number(token: Token) -> int | None:
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.form != "number" or quantity.dimension:
        return count(token)
    value = quantity.value
    return int(value) if value == int(value) and 0 <= value <= _MOST else None


def _done(tokens: Sequence[Token], at: int) -> str:
    """Whether a number is of what went out, was added or came back; "" where none of these was said of it."""
    before = [token.norm for token in tokens[max(0, at - _LED) : at]]
    if before[-1:] == ["opened"] or before[-1:] == ["with"] and set(before) & _BEGAN:
        return "added" if at + 1 < len(tokens) and tokens[at + 1].norm in _ADDED else "out"
    for place in range(at + 1, min(len(tokens), at + 1 + _REACH)):
        norm = tokens[place].norm
        if norm in _ADDED:
            return "added"
        if norm in _OUT or norm in _BACK:
            return "out" if norm in _OUT else "back"
        if norm not in _SKIP | _THINGS:
            break
    return ""
