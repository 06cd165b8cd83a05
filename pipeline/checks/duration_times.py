"""A stated duration against the times between which it ran."""

from __future__ import annotations

from decimal import Decimal

from pipeline.checks.base import Span, finding, given, same_name, shown, span
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.timespan import minutes_between

MEANING = "A stated duration (operation, anaesthesia, clamp, bypass) is not the time between its start and its end."

# (duration, where it may start, where it may end, minutes of slack). Common practice, no source: where exactly an
# operation starts and ends is not the same everywhere, so every pair that was said may match.
_RUNS = (
    ("operation", ("incision",), ("operation_end", "closure", "dressing_on"), 5),
    ("anaesthesia", ("induction", "anaesthesia_start", "in_room"), ("anaesthesia_end", "out_of_room"), 10),
    ("clamp", ("clamp_on", "cold_end"), ("clamp_off",), 1),  # warm ischaemia of a graft: from the ice to the blood
    ("console", ("docked",), ("undocked",), 10),
    ("withdrawal", ("caecum",), ("operation_end",), 2),
    ("bypass", ("bypass_on",), ("bypass_off",), 1),
    ("traction", ("traction_on",), ("traction_off",), 1),
    ("decision_to_delivery", ("decision",), ("delivery",), 1),
    ("cold_ischaemia", ("cold_start",), ("cold_end",), 2),
)

# Lengths of time that are told by words and have no name of their own.
_BY_WORDS = {
    "bypass": "bypass", "bypass time": "bypass", "total bypass": "bypass", "pump": "bypass", "pump time": "bypass",
    "cpb": "bypass", "cpb time": "bypass", "on bypass": "bypass", "operating time": "operation",
    "console": "console", "console time": "console", "so console": "console",
    "surgical time": "operation", "procedure time": "operation",
}  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    times = {same_name(fact.name): fact for fact in note.of("clock_time", given=True) if fact.text}
    for fact in note.of("clock_time"):  # "perfused at 22:30 last night": of the donor, and of today's graft
        times |= {"cold_start": fact} if fact.name == "cold_start" and fact.text else {}
    found: list[Finding] = []
    for fact in given(note, "duration"):
        said = span(fact, "min")
        for name, starts, ends, slack in _RUNS:
            if said is None or (same_name(fact.name) or _BY_WORDS.get((fact.text or "").lower())) != name:
                continue
            runs = [
                (times[start], times[end], gap)
                for start in starts
                for end in ends
                if start in times and end in times
                and (gap := minutes_between(times[start].text or "", times[end].text or "")) is not None
            ]  # fmt: skip
            runs = _each_time(note, runs)
            runs = runs or ([] if name == _CONSOLE else _in_one_breath(note, fact, times))
            if runs and not any(_fits(said, gap, slack) for _, _, gap in runs):
                found.append(_told(fact, *runs[0]))
    return found + _longer(note)


def _each_time(note: OperativeNote, runs: list[tuple[Fact, Fact, int]]) -> list[tuple[Fact, Fact, int]]:
    """The same with every start and end that was said: "cross-clamp 10:02-11:11 (69 min), side clamp 11:12-11:27"."""
    said = [fact for fact in note.of("clock_time", given=True) if fact.text]
    return runs + [
        (start, end, gap)
        for first, last, _ in runs
        for start in said if same_name(start.name) == same_name(first.name)
        for end in said if same_name(end.name) == same_name(last.name)
        if (start, end) != (first, last) and (gap := minutes_between(start.text or "", end.text or "")) is not None
    ]  # fmt: skip


def _longer(note: OperativeNote) -> list[Finding]:
    """ "Console 242 min, op 188 min": a part that lasted longer than the whole operation."""
    said = [(fact, one) for fact in given(note, "duration") if (one := span(fact, "min")) is not None]
    whole = [(fact, one) for fact, one in said if same_name(fact.name) == "operation"]
    parts = [(fact, one) for fact, one in said
             if same_name(fact.name) in _PARTS or _CONSOLE in (fact.text or "").lower()]  # fmt: skip
    if len(whole) != 1 or whole[0][1].high is None:
        return []
    operation, most = whole[0][0], whole[0][1].high
    return [
        finding(
            "duration_times", "warning",
            f"{shown(fact)} was said of a part of the operation, which took {shown(operation)}.",
            [fact, operation], arithmetic=f"{shown(fact)} > {shown(operation)}",
            ask="Say which is right.", about="part",
        )
        for fact, one in parts if one.low is not None and one.low > most
    ]  # fmt: skip


_PARTS = frozenset({"traction", "clamp", "bypass"})
_CONSOLE = "console"


def _in_one_breath(note: OperativeNote, fact: Fact, times: dict[str, Fact]) -> list[tuple[Fact, Fact, int]]:
    """ "Anaesthesia began at ten and ended at one and lasted two hours": the start and the end of one sentence."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    here = {name: time for name, time in times.items() if passage is not None and passage.holds(time)}
    return [
        (here[start], here[end], gap)
        for name, starts, ends, _ in _RUNS for start in starts for end in ends
        if name in (*_WHOLE, same_name(fact.name)) and len(here) == 2 and start in here and end in here
        and (gap := minutes_between(here[start].text or "", here[end].text or "")) is not None
    ]  # fmt: skip


_WHOLE = ("operation", "anaesthesia")  # a clamp's times are not those of the bypass


def _fits(said: Span, gap: int, slack: int) -> bool:
    return said.meets(Span(Decimal(gap), Decimal(gap)), Decimal(slack))


def _told(fact: Fact, start: Fact, end: Fact, gap: int) -> Finding:
    return finding(
        "duration_times",
        "warning",
        f"The times give {gap} min, the duration was said as {shown(fact)}.",
        [start, end, fact],
        arithmetic=f"{end.text} - {start.text} = {gap} min, said: {shown(fact)}",
        ask="Say which is right: the start, the end or the duration.",
    )
