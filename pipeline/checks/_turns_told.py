"""The way of the harvest needle as it is told in one breath: "eight turns of half a centimetre, four centimetres",
"then in another half centimetre to two centimetres". Read from the sentences: not every number of it is an entry."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks.base import finding, placed, read, rounded
from pipeline.conversion import convert
from pipeline.note import OperativeNote
from pipeline.records import Finding, Token

_SLACK = Decimal("0.05")  # cm
_STEEPEST = Decimal("1.5")  # cm a turn; threaded cannulas move 0.5. [common practice of the trade, no source]
_OF_ONE = ("a ", "per ", "each ", "every ", "full ")
_LINKS = frozenset(
    "makes make making is are was = equals so that that's gives which comes to in all total of altogether it "
    "withdrawn back out retraction withdrawal pulled moved came brings up , then the a".split()
)
_IN = re.compile(r"\b(?:advanc\w+|in|pushed|drove|driven|further|another|deeper|on)"
                 r"(?: (?:by|a|an|another|further|of))*$")  # fmt: skip
_NEEDLE = re.compile(r"\b(?:needle|cannula|trocar|jamshidi)\b", re.I)
_ASKED = "Say which is right: the depth, the turns or how far the needle went."


def told(note: OperativeNote) -> Iterator[Finding]:
    """Findings of turns that do not come to their length, and of moves that do not lead to their depth. Pure."""
    deep: Decimal | None = None
    marrow = bool(note.of("draw", "draw_count", "harvest_total", "harvest_site", "harvest_depth", "needle_turns")) or (
        any(_NEEDLE.search(passage.text) for passage in note.sections.description)
    )
    for passage in note.sections.description if marrow else ():
        tokens = read(passage)
        for at, message, arithmetic in (*_turns(tokens), *_to_depth(tokens, deep)):
            made = finding("needle_depth", "warning", message, arithmetic=arithmetic, ask=_ASKED,
                           about=f"w{passage.evidence.first + tokens[at].first}")  # fmt: skip
            yield placed(made, passage.evidence)
        own = [one for one in note.of("harvest_depth") if passage.holds(one) and one.value is not None]
        if own and own[-1].value is not None and own[-1].unit in ("cm", "mm"):
            deep = convert(own[-1].value, own[-1].unit or "cm", "cm")


def _cm(token: Token) -> Decimal | None:
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.unit not in ("mm", "cm") or quantity.comparator:
        return None
    return convert(quantity.value, quantity.unit, "cm")


def _counted(tokens: Sequence[Token], at: int) -> Decimal | None:
    """How many turns a token tells; None for "a turn" behind a length, which is the pitch."""
    quantity = tokens[at].quantity
    if quantity is None or quantity.value is None:
        return None
    if quantity.dimension == "turns":
        return None if tokens[at].text.lower().startswith(_OF_ONE) else quantity.value
    behind = [token.norm for token in tokens[at + 1 : at + 3]]
    named = behind[:1] in (["turns"], ["rotations"]) or behind in (["full", "turns"], ["complete", "turns"])
    led = at > 1 and tokens[at - 1].norm in ("x", "times") and tokens[at - 2].norm in ("turn", "turns")
    return quantity.value if (named or led) and not quantity.dimension else None


def _pitch(tokens: Sequence[Token], at: int) -> Decimal | None:
    """How far a turn moves the needle, in cm: "0.5 cm per turn", "turns at half a centimetre each"."""
    quantity = tokens[at].quantity
    if quantity is not None and quantity.dimension == "length_per_turn" and quantity.value and quantity.unit:
        return convert(quantity.value, quantity.unit.split("/")[0], "cm")
    way = _cm(tokens[at])
    if way is None or way > _STEEPEST:
        return None  # "gone in four centimetres each full turn ...": the next thing
    after = " ".join(token.text.lower() for token in tokens[at + 1 : at + 4])
    if re.match(r"(?:a|per|each|every|for each|for every)(?: full| complete)? turn\b|each\b(?! (?:time|draw))", after):
        return way
    led = [token.norm for token in tokens[max(0, at - 4) : at]]
    turned = any(_counted(tokens, one) is not None for one in range(max(0, at - 4), at))
    return way if turned and led[-1:] in (["of"], ["at"], ["by"]) else None


def _turns(tokens: Sequence[Token]) -> Iterator[tuple[int, str, str]]:
    counts = [(at, one) for at in range(len(tokens)) if (one := _counted(tokens, at)) is not None]
    steps = [(at, one) for at in range(len(tokens)) if (one := _pitch(tokens, at)) is not None]
    if len(counts) != 1 or len(steps) != 1:
        return
    last = max(counts[0][0], steps[0][0])
    for at in range(last + 1, len(tokens)):
        moved = _cm(tokens[at])
        if moved is None:
            if tokens[at].norm in _LINKS or tokens[at].norm in ("turn", "turns", "each", "per", "every", "full"):
                continue
            if (turned := tokens[at].quantity) is not None and turned.dimension == "turns":
                continue
            return
        behind = {token.norm for token in tokens[at + 1 : at + 3]}
        worked = counts[0][1] * steps[0][1]
        if abs(moved - worked) > _SLACK and not behind & {"left", "remaining", "deep"}:
            turns, pitch = rounded(counts[0][1]), rounded(steps[0][1])
            yield at, f"{turns} turns of {pitch} cm are {rounded(worked)} cm; {rounded(moved)} cm were said.", (
                f"{turns} x {pitch} cm = {rounded(worked)} cm, said: {rounded(moved)} cm")  # fmt: skip
        return


def _by_and_to(tokens: Sequence[Token], at: int) -> tuple[Decimal | None, Decimal | None]:
    """ "Half a centimetre to two": the length at a token, and the number that "to" leads to."""
    own, there = tokens[at].quantity, tokens[at + 2].quantity if at + 2 < len(tokens) else None
    if own is None or there is None or tokens[at + 1].norm != "to" or there.unit not in (None, own.unit):
        return None, None
    return own.value, there.value


def _to_depth(tokens: Sequence[Token], deep: Decimal | None) -> Iterator[tuple[int, str, str]]:
    """ "First draw at one centimetre, then in another half centimetre to two": by so much, and to where."""
    place = deep
    for at, token in enumerate(tokens):
        quantity = token.quantity
        if quantity is None:
            continue
        lead = " ".join(one.text.lower() for one in tokens[max(0, at - 4) : at])
        by, to = (quantity.low, quantity.high) if quantity.form == "range" else _by_and_to(tokens, at)
        length = by is not None and to is not None and quantity.unit in ("mm", "cm") and place is not None
        if length and _IN.search(lead):
            assert by is not None
            assert to is not None
            assert place is not None
            by, to = (convert(one, quantity.unit or "cm", "cm") for one in (by, to))
            if abs(place + by - to) > _SLACK and to > place:
                yield at, f"From {rounded(place)} cm on, {rounded(by)} cm lead to {rounded(place + by)} cm; " \
                    f"{rounded(to)} cm were said.", f"{rounded(place)} + {rounded(by)} = {rounded(place + by)} cm, " \
                    f"said: {rounded(to)} cm"  # fmt: skip
            place = to
        elif (one := _cm(token)) is not None:
            place = one if place is None or one > place else place
