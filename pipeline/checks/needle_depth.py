"""The way of the harvest needle: turns and pitch against the retraction, and how far it can come out."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from pipeline.checks import _needle_track, _turns_told
from pipeline.checks.base import exact, finding, given, read, rounded, shown
from pipeline.conversion import convert
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = (
    "Turns times pitch is not the stated retraction, the needle came back further than it had gone in, or a draw is "
    "deeper than it went or is long."
)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found = _turns(note, grammar) + _excursion(note, grammar) + _beyond(note)
    return found or list(_turns_told.told(note))


def _beyond(note: OperativeNote) -> list[Finding]:
    return [
        finding("needle_depth", "warning" if one.sure else "note", one.message, [one.depth, one.against],
                arithmetic=one.arithmetic, ask="Say which is right: the depth, or how far the needle went.",
                about="beyond")
        for one in _needle_track.beyond(note)
    ]  # fmt: skip


def _turns(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    pitch, source = _pitch(note, grammar)
    if pitch is None:
        return []
    found: list[Finding] = []
    for turns in given(note, "needle_turns"):
        number = _number_of(turns)
        same = [fact for fact in given(note, "needle_retraction") if _belongs(note, turns, fact)]
        if number is None or len(same) != 1:
            continue
        moved, worked = exact(same[0], "cm"), number * pitch
        told = source.startswith("said")  # a pitch of this note: the sum was said with its parts
        rounds = (*_rounds(note, turns, same[0]), *((1,) if told else ()))
        if moved is None or not rounds or any(abs(moved - worked * times) <= _SLACK for times in rounds):
            continue
        number, worked = number * rounds[0], worked * rounds[0]
        found.append(
            finding(
                "needle_depth",
                "warning" if told else "note",
                f"{rounded(number)} turns of a threaded cannula move it {rounded(worked)} cm; "
                f"the retraction was said as {shown(same[0])}.",
                [turns, same[0]],
                arithmetic=f"{rounded(number)} x {rounded(pitch)} cm = {rounded(worked)} cm, "
                f"said: {shown(same[0])} (pitch: {source})",
                ask="Say which is right: the turns or the retraction; if the pitch of the needle is another, say it.",
                about="turns",
            )
        )
    return found


def _rounds(note: OperativeNote, turns: Fact, retraction: Fact) -> tuple[int, ...]:
    """How often the turns were made for that retraction; () where it was not said. Turns for each draw are made between
    the draws, or after each."""
    if turns.scale != "each" or retraction.scale == "each":
        return (1,)
    between = _repeats(note)
    return () if between is None else (between, between + 1)


_SLACK = Decimal("0.05")  # cm


def _pitch(note: OperativeNote, grammar: Grammar) -> tuple[Decimal | None, str]:
    """(cm that one turn moves the needle, where that is from): said in the note, else configured."""
    for passage in note.sections.description:
        tokens = read(passage)
        for index, token in enumerate(tokens):
            way = token.quantity
            if way is not None and way.dimension == "length_per_turn" and way.value is not None and way.unit:
                return convert(way.value, way.unit.split("/")[0], "cm"), f"said: {token.text}"
            if way is None or way.dimension != "length" or way.value is None or way.unit is None:
                continue
            after = " ".join(one.text.lower() for one in tokens[index + 1 : index + 3])
            before = " ".join(one.text.lower() for one in tokens[max(0, index - 6) : index])
            if _A_TURN.match(after) or _TURN_MOVES.search(before) or _OF_TURNS.search(before):
                return convert(way.value, way.unit, "cm"), f"said: {token.text}"
    row = limit(grammar, note.profile, "pitch")
    return (row.value, row.source) if row is not None else (None, "")


_A_TURN = re.compile(r"(?:a|per|each|every|for each|for every)(?: full| complete)? turn\b")
_OF_TURNS = re.compile(r"\bturns of$")
_TURN_MOVES = re.compile(r"\b(?:each|every|per|one|a)(?: full| complete)? turn (?:moves|is|gives|of)(?: it| about)?$")


def _belongs(note: OperativeNote, turns: Fact, retraction: Fact) -> bool:
    if turns.group is not None and turns.group == retraction.group:
        return True
    return len(given(note, "needle_turns")) == 1 and len(given(note, "needle_retraction")) == 1


@dataclass(frozen=True, slots=True)
class _Way:
    """In cm: how deep the needle went, and how far it came back; `facts`: the moves."""

    reached: Decimal
    returned: Decimal
    facts: list[Fact]
    each: list[Fact]


def _way(note: OperativeNote, grammar: Grammar) -> _Way | None:
    """None where a move was not said in numbers, or two harvests were told."""
    depths = [one for fact in given(note, "harvest_depth") if (one := exact(fact, "cm")) is not None]
    moves = given(note, "needle_advance", "needle_retraction")
    back = [fact for fact in moves if fact.kind == "needle_retraction"]
    forth = [fact for fact in moves if fact.kind == "needle_advance"]
    times = _repeats(note)
    sides = {fact.laterality for fact in note.of("draw", "harvest_site", "harvest_total") if fact.laterality}
    if len(sides) > 1 or len(given(note, "harvest_total")) > 1:
        return None  # which move belongs to which was not said
    turned = [] if back else _turned(note)
    if not (back or turned) or not (depths or forth):
        return None
    reached = max(depths, default=Decimal(0))
    advanced = _length(forth, times)
    returned = _length(back, times) if back else _by_turns(note, grammar, turned, times)
    if advanced is None or returned is None:
        return None
    reached = max(reached, advanced if not depths else reached + advanced)
    return _Way(reached, returned, [*given(note, "harvest_depth"), *moves, *turned],
                [fact for fact in back if fact.scale == "each"])  # fmt: skip


def _excursion(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """Depth reached less what was drawn back, never negative. "Each" goes with the number of draws less one."""
    way = _way(note, grammar)
    if way is None:
        return []
    left = way.reached - way.returned
    if left < 0:
        fits = ""
        if len(way.each) == 1 and (step := exact(way.each[0], "cm")):
            fits = f"; {int(way.reached / step) + 1} draws would fit"
        return [
            finding(
                "needle_depth",
                "warning",
                f"The needle was drawn back {rounded(way.returned)} cm, but had only gone in {rounded(way.reached)} "
                "cm.",
                way.facts,
                arithmetic=f"{rounded(way.reached)} - {rounded(way.returned)} = {rounded(left)} cm left{fits}",
                ask="Say which is right: the depth, the retraction or the number of draws.",
                about="excursion",
            )
        ]
    # "advanced to 4 cm" may be from the cortex or from where the first draw was taken
    shallow = max((one for fact in way.facts if fact.kind != "needle_retraction" and (one := exact(fact, "cm"))
                   is not None), default=way.reached) - way.returned  # fmt: skip
    return [
        finding(
            "needle_depth",
            "warning",
            f"{shown(fact)} were said to be left of the way; the moves leave {rounded(left)} cm.",
            [*way.facts, fact],
            arithmetic=f"{rounded(way.reached)} - {rounded(way.returned)} = {rounded(left)} cm, said: {shown(fact)}",
            ask="Say which is right: the depth, the retraction or what was left.",
            about="left",
        )
        for fact in given(note, "measurement")
        if fact.name == "needle-way-left" and (said := exact(fact, "cm")) is not None
        and min(abs(said - left), abs(said - shallow)) > _SLACK
    ]  # fmt: skip


_ANGLE = 30  # a bare number from here on is one of degrees


def _number_of(turns: Fact) -> Decimal | None:
    """How many turns; None for an angle that was said without its unit ("turn it ninety")."""
    if turns.unit is not None:
        return exact(turns, "{turn}")
    return None if turns.value is None or turns.value >= _ANGLE else turns.value


def _turned(note: OperativeNote) -> list[Fact]:
    """Turns without a length beside them, where nothing was said of turning the needle in."""
    turns = given(note, "needle_turns")
    inward = re.compile(r"\bturns? (?:in|inward|forward|deeper)\b|\bscrewed in\b")
    if any(passage.holds(fact) and inward.search(passage.text.lower())
           for fact in turns for passage in note.sections.description):  # fmt: skip
        return []
    return turns


def _by_turns(note: OperativeNote, grammar: Grammar, turns: list[Fact], times: int | None) -> Decimal | None:
    """How far the turns bring the needle back, in cm."""
    pitch, _ = _pitch(note, grammar)
    total = Decimal(0)
    for fact in turns:
        number = _number_of(fact)
        if number is None or pitch is None or (fact.scale == "each" and times is None):
            return None
        total += number * pitch * ((times or 0) if fact.scale == "each" else 1)
    return total


def _repeats(note: OperativeNote) -> int | None:
    counts = [fact.value for fact in given(note, "draw_count") if fact.value is not None]
    draws = [fact for fact in given(note, "draw") if fact.scale != "each"]
    if len(counts) == 1:
        return max(int(counts[0]) - 1, 0)
    return len(draws) - 1 if not counts and draws else None


def _length(facts: list[Fact], times: int | None) -> Decimal | None:
    total = Decimal(0)
    for fact in facts:
        one = exact(fact, "cm")
        if one is None or (fact.scale == "each" and times is None):
            return None
        total += one * (times or 0) if fact.scale == "each" else one
    return total
