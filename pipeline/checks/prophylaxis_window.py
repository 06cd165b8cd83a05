"""The antibiotic against the incision."""

from __future__ import annotations

from pipeline.checks.base import finding, plain, same_name
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.timespan import minutes_between

MEANING = "The antibiotic was given after the incision, or earlier before it than the profile's window."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    times = note.of("clock_time", given=True)
    antibiotic = next((fact for fact in times if same_name(fact.name) == "antibiotic"), None)
    incision = next((fact for fact in times if same_name(fact.name) == "incision"), None)
    tourniquet = next((fact for fact in times if same_name(fact.name) == "tourniquet_up"), None)
    if antibiotic is None or incision is None:
        return []
    drugs = [fact.name for fact in note.of("medication", given=True) if fact.role == "prophylaxis" and fact.name]
    rows = [limit(grammar, note.profile, "window", drug=drug) for drug in drugs]
    row = next((one for one in rows if one is not None), None) or limit(grammar, note.profile, "window")
    gap = minutes_between(antibiotic.text or "", incision.text or "")
    if row is None or row.high is None or row.low is None or gap is None:
        return []
    found: list[Finding] = []
    if not row.low <= gap <= row.high:
        late = gap < row.low
        said = "after the incision" if late else f"{gap} minutes before the incision"
        found.append(
            _finding(
                f"The antibiotic was given {said}; the configured window is {plain(row.low)} to {plain(row.high)} "
                "minutes before it.",
                [antibiotic, incision],
                f"{incision.text} - {antibiotic.text} = {gap} min ({row.source})",
            )
        )
    elif tourniquet is not None:
        before = minutes_between(antibiotic.text or "", tourniquet.text or "")
        if before is not None and before < 0:
            found.append(
                _finding(
                    "The antibiotic was given after the tourniquet was up.",
                    [antibiotic, tourniquet],
                    f"{tourniquet.text} - {antibiotic.text} = {before} min",
                )
            )
    return found


def _finding(message: str, facts: list[Fact], arithmetic: str) -> Finding:
    return finding(
        "prophylaxis_window", "warning", message, facts, arithmetic=arithmetic, ask="Say the times again, or why."
    )
