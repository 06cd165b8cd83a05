"""The antibiotic against the incision."""

from __future__ import annotations

from pipeline.checks.base import NOT_GIVEN, finding, plain, same_name
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug
from pipeline.timespan import minutes_between

MEANING = "The antibiotic was given after the incision, or earlier before it than the profile's window."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    times = note.of("clock_time", given=True)
    incision = next((fact for fact in times if same_name(fact.name) == "incision"), None)
    tourniquet = next((fact for fact in times if same_name(fact.name) == "tourniquet_up"), None)
    if incision is None:
        return []
    given = [fact for fact in times if same_name(fact.name) == "antibiotic"]
    gaps = [minutes_between(fact.text or "", incision.text or "") for fact in given]
    before = any(gap is not None and gap >= 0 for gap in gaps)
    found: list[Finding] = []
    for antibiotic, gap in zip(given, gaps, strict=True):
        if gap is not None and gap < 0 and before:
            continue  # given again during a long operation
        found += _one(note, grammar, antibiotic, incision, tourniquet)
    return found


def _one(
    note: OperativeNote, grammar: Grammar, antibiotic: Fact, incision: Fact, tourniquet: Fact | None
) -> list[Finding]:
    """One giving, by the window of the drug that its time was said of."""
    own = _drug(note, grammar, antibiotic)
    row = limit(grammar, note.profile, "window", drug=own) if own else None
    row = row or limit(grammar, note.profile, "window")
    gap = minutes_between(antibiotic.text or "", incision.text or "")
    if row is None or row.high is None or row.low is None or gap is None:
        return []
    if not row.low <= gap <= row.high:
        late = gap < row.low
        said = "after the incision" if late else f"{gap} minutes before the incision"
        return [
            _finding(
                f"The antibiotic was given {said}; the configured window is {plain(row.low)} to {plain(row.high)} "
                "minutes before it.",
                [antibiotic, incision],
                f"{incision.text} - {antibiotic.text} = {gap} min ({row.source})",
            )
        ]
    before = minutes_between(antibiotic.text or "", tourniquet.text or "") if tourniquet is not None else None
    if tourniquet is None or before is None or before >= 0:
        return []
    return [
        _finding(
            "The antibiotic was given after the tourniquet was up.",
            [antibiotic, tourniquet],
            f"{tourniquet.text} - {antibiotic.text} = {before} min",
        )
    ]


_NEAR = 12  # words


def _drug(note: OperativeNote, grammar: Grammar, antibiotic: Fact) -> str:
    """The antibiotic that was said nearest to the time, else the only one given; "" if that cannot be told."""
    drugs = grammar.table("drugs", Drug)
    given = [
        fact
        for fact in note.of("medication", given=True)
        if fact.role not in NOT_GIVEN and fact.name and fact.name in drugs and "antibiotic" in drugs[fact.name].classes
    ]
    near = sorted(
        (max(fact.evidence.first - antibiotic.evidence.last, antibiotic.evidence.first - fact.evidence.last, 0),
         fact.evidence.first, fact.name or "")
        for fact in given
    )  # fmt: skip
    if near and (near[0][0] <= _NEAR or len({fact.name for fact in given}) == 1):
        return near[0][2]
    return ""


def _finding(message: str, facts: list[Fact], arithmetic: str) -> Finding:
    return finding(
        "prophylaxis_window", "warning", message, facts, arithmetic=arithmetic, ask="Say the times again, or why."
    )
