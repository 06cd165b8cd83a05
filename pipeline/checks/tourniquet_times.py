"""Tourniquet: up and down against the stated total, against the limit, and the pause between two inflations."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from pipeline.checks.base import Span, added, finding, given, plain, rounded, same_name, shown, span, span_words
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.timespan import minutes_between

MEANING = "Tourniquet up and down do not give the stated time, or it was up longer than the configured limit."

_ROUNDING = Decimal(1)  # times of day are said to the minute
_MARKS = frozenset({"tourniquet_up", "tourniquet_down"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    marks = [fact for fact in note.of("clock_time", given=True) if same_name(fact.name) in _MARKS]
    inflations = _inflations(marks)
    totals = given(note, "tourniquet_time") + [
        fact for fact in given(note, "duration") if same_name(fact.name) == "tourniquet"
    ]
    return [
        *_backwards(marks),
        *_against_total(inflations, totals),
        *_against_limit(note, grammar, inflations, totals),
        *_pause(note, grammar, inflations),
    ]


def _backwards(marks: list[Fact]) -> list[Finding]:
    """One of several inflations that ends before it begins; a single one is the business of time_order."""
    ups = [fact for fact in marks if same_name(fact.name) == "tourniquet_up"]
    downs = [fact for fact in marks if same_name(fact.name) == "tourniquet_down"]
    if len(ups) != len(downs) or len(ups) < 2:
        return []
    return [
        finding(
            "tourniquet_times",
            "warning",
            f"The tourniquet went down at {down.text}, before it went up at {up.text}.",
            [up, down],
            arithmetic=f"{down.text} - {up.text} = {gap} min",
            ask="Say both times again.",
            about="order",
        )
        for up, down in zip(ups, downs, strict=True)
        if (gap := minutes_between(up.text or "", down.text or "")) is not None and gap < 0
    ]


def _inflations(marks: list[Fact]) -> list[tuple[Fact, Fact, int]]:
    """(up, down, minutes) in the order said; two tourniquets said in one breath are not told apart."""
    found: list[tuple[Fact, Fact, int]] = []
    ups = [fact for fact in marks if same_name(fact.name) == "tourniquet_up"]
    downs = [fact for fact in marks if same_name(fact.name) == "tourniquet_down"]
    for up, down in zip(ups, downs, strict=False):
        gap = minutes_between(up.text or "", down.text or "")
        if gap is not None and gap > 0:
            found.append((up, down, gap))
    return found if len(ups) == len(downs) else []


def _against_total(inflations: list[tuple[Fact, Fact, int]], totals: list[Fact]) -> list[Finding]:
    spans = [span(fact, "min") for fact in totals]
    known = [one for one in spans if one is not None]
    if not inflations or not known or len(known) != len(totals):
        return []
    worked = Span(Decimal(sum(gap for _, _, gap in inflations)), Decimal(sum(gap for _, _, gap in inflations)))
    slack = _ROUNDING * len(inflations)
    if any(one.meets(worked, slack) for one in (*known, added(known))) or _one_by_one(inflations, totals):
        return []
    terms = " + ".join(f"({down.text} - {up.text} = {gap} min)" for up, down, gap in inflations)
    return [
        finding(
            "tourniquet_times",
            "warning",
            f"Tourniquet up and down give {span_words(worked, 'min')}, the time was said as {shown(totals[0])}.",
            [*(fact for up, down, _ in inflations for fact in (up, down)), *totals],
            arithmetic=f"{terms}, said: {' + '.join(shown(fact) for fact in totals)}",
            ask="Say which is right: up, down or the total.",
            about="total",
        )
    ]


def _one_by_one(inflations: list[tuple[Fact, Fact, int]], totals: list[Fact]) -> bool:
    """Whether every time is that of one inflation and said with it ("up 8:05, down 8:40, 35 min")."""
    if len(inflations) < 2 or any(fact.scale == "total" for fact in totals):
        return False
    return all(
        any(
            said.meets(Span(Decimal(gap), Decimal(gap)), _ROUNDING)
            and abs(fact.evidence.last - down.evidence.last) <= _BESIDE
            for _, down, gap in inflations
        )
        for fact in totals if (said := span(fact, "min")) is not None
    )  # fmt: skip


_BESIDE = 6  # words


def _against_limit(
    note: OperativeNote, grammar: Grammar, inflations: list[tuple[Fact, Fact, int]], totals: list[Fact]
) -> list[Finding]:
    row = limit(grammar, note.profile, "review", kind="tourniquet_time", unit="min")
    if row is None or row.value is None:
        return []
    longest: list[tuple[Decimal, list[Fact]]] = [(Decimal(gap), [up, down]) for up, down, gap in inflations]
    if not inflations:
        longest = [(one.high, [fact]) for fact in totals if (one := span(fact, "min")) is not None and one.high
                   and not (fact.scale == "total" and len(totals) > 1)]  # of several inflations
    return [
        finding(
            "tourniquet_times",
            "warning",
            f"The tourniquet was up for {rounded(minutes)} min without a pause; review is configured at "
            f"{plain(row.value)} min.",
            facts,
            arithmetic=f"{rounded(minutes)} min > {plain(row.value)} min ({row.source})",
            ask="Say the times again, or say when it was let down between.",
            about="limit",
        )
        for minutes, facts in longest
        if minutes > row.value
    ]


def _pause(note: OperativeNote, grammar: Grammar, inflations: list[tuple[Fact, Fact, int]]) -> list[Finding]:
    row = limit(grammar, note.profile, "reperfusion")
    review = limit(grammar, note.profile, "review", kind="tourniquet_time", unit="min")
    if row is None or row.value is None or review is None or review.value is None:
        return []
    found: list[Finding] = []
    for (up, down, first), (again, _, second) in pairwise(inflations):
        pause = minutes_between(down.text or "", again.text or "")
        if pause is not None and 0 <= pause < row.value and first + second > review.value:
            found.append(
                finding(
                    "tourniquet_times",
                    "warning",
                    f"The tourniquet went up again after {pause} min; {plain(row.value)} min are configured.",
                    [up, down, again],
                    arithmetic=f"{again.text} - {down.text} = {pause} min < {plain(row.value)} min ({row.source})",
                    ask="Say the times again.",
                    about="pause",
                )
            )
    return found
