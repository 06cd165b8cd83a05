"""Two times of day and the minutes between them, said in one breath: "up 08:05, down 08:40 (35 min)".

Read from the sentences themselves: it needs no name for what began and ended, so it holds for a clamp, a traction or a
second tourniquet alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

from pipeline.checks.base import finding, rounded
from pipeline.checks.base import read as tokens_of
from pipeline.conversion import convert
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding, Token
from pipeline.timespan import minutes_between

MEANING = "Two times said one after the other are not as far apart as the minutes that are said with them."

_SLACK = 1  # minute: times of day are said to the minute
_APART, _BEHIND, _BEFORE = 6, 4, 8  # tokens
# What may stand between the second time and the minutes without telling of something else.
_FILL = frozenset({",", "(", "=", ":", "-", "total", "for", "that", "is", "which", "so", "making", "makes", "was", "of",
                   "time", "a", "in", "all", "lasting", "duration"})  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for passage in note.sections.description:
        tokens = tokens_of(passage)
        if sum(token.norm == "#clock" for token in tokens) < 2:
            continue
        for early, late, said in _runs(tokens):
            first, second, length = tokens[early].quantity, tokens[late].quantity, tokens[said].quantity
            if first is None or second is None or length is None or length.unit is None:
                continue
            gap = minutes_between(first.text, second.text)
            stated = convert(length.value or Decimal(0), length.unit, "min")
            if gap is None or abs(stated - gap) <= _SLACK:
                continue
            made = finding(
                "times_in_words",
                "warning",
                f"{first.text} and {second.text} are {gap} min apart; {rounded(stated)} min were said.",
                [fact for fact in note.of("clock_time", "duration", "tourniquet_time") if passage.holds(fact)
                 and (fact.text in (first.text, second.text) or fact.value == length.value)],
                arithmetic=f"{second.text} - {first.text} = {gap} min, said: {rounded(stated)} min",
                ask="Say which is right: the first time, the second or the minutes.",
                about=f"w{passage.evidence.first + said}",
            )  # fmt: skip
            found.append(replace(made, evidence=made.evidence or (passage.evidence,)))
    return found


def _runs(tokens: Sequence[Token]) -> Iterator[tuple[int, int, int]]:
    """(first time, second time, minutes) of every run: two times close together, then a length of time that is theirs.

    The minutes are theirs where nothing is named in between, or what is named was named before the first time too
    ("traction on at 8:10 off at 9:20 traction time 70 minutes").
    """
    clocks = [at for at, token in enumerate(tokens) if token.norm == "#clock"]
    for early, late in pairwise(clocks):
        if late - early > _APART or any(token.quantity is not None for token in tokens[early + 1 : late]):
            continue
        said = next((at for at in range(late + 1, len(tokens)) if tokens[at].quantity is not None), None)
        if said is None or said - late > _BEHIND:
            continue
        length = tokens[said].quantity
        if length is None or length.dimension != "time" or length.value is None or length.comparator is not None:
            continue
        if length.unit not in ("min", "h"):
            continue
        named = {token.norm for token in tokens[late + 1 : said]} - _FILL
        before = {token.norm for token in tokens[max(0, early - _BEFORE) : late]}
        if named <= before:
            yield early, late, said
