"""Irrigation in and out against the stated deficit, and the deficit against the configured flag."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

from pipeline.checks.base import Span, added, amount, finding, given, rounded, shown, span, span_words
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "Irrigation in less irrigation out is not the stated deficit, more came out than went in, or too much stayed."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    put_in, came_out = given(note, "irrigation_in"), given(note, "irrigation_out")
    put_in = put_in or _run_through(note, came_out)
    put_in = _bare(put_in, came_out)
    came_out = _like(put_in, came_out)
    deficits = [_unit_of(put_in, came_out, deficit) for deficit in given(note, "irrigation_deficit")]
    found: list[Finding] = []
    run, back = _sum(put_in), _sum(came_out)
    worked = None if run is None or back is None else Span(_less(run.low, back.high), _less(run.high, back.low))
    if worked is not None:
        terms = f"{_words(put_in)} - {_words(came_out)} = {span_words(worked, 'mL')}"
        slack = max((run.high or Decimal(0)) if run else Decimal(0), Decimal(1)) / 100
        for deficit in deficits:
            said = span(deficit, "mL")
            if said is not None and not said.meets(worked, slack):
                found.append(
                    finding(
                        "irrigation_deficit",
                        "warning",
                        f"Irrigation in less out is {span_words(worked, 'mL')}, "
                        f"the deficit was said as {shown(deficit)}.",
                        [*put_in, *came_out, deficit],
                        arithmetic=f"{terms}, said: {shown(deficit)}",
                        ask="Say which is right: in, out or the deficit.",
                    )
                )
        if worked.high is not None and worked.high < 0:
            found.append(
                finding(
                    "irrigation_deficit",
                    "warning" if _too_much_back(note, grammar, run, -worked.high) else "note",
                    "More irrigation came out than was run in.",
                    [*put_in, *came_out],
                    arithmetic=terms,
                    ask="Say the volumes again; fluid of the patient may be in it.",
                    about="negative",
                )
            )
    if not deficits and worked is not None and (one := _worked_flag(note, grammar, put_in, came_out, worked)):
        found.append(one)
    return found + _flag(note, grammar, deficits, put_in)


def _run_through(note: OperativeNote, came_out: list[Fact]) -> list[Fact]:
    """ "Six litres of saline went in and five and a half came back": what ran in, told beside what came back."""
    return [fact for fact in given(note, "fluid_in") if fact.unit == "L" and any(
        passage.holds(fact) and any(passage.holds(one) for one in came_out)
        for passage in note.sections.description)]  # fmt: skip


def _too_much_back(note: OperativeNote, grammar: Grammar, run: Span | None, more: Decimal) -> bool:
    """Whether more came back than what the patient may have added to it: half as much again, or the configured
    volume where no fluid of the patient is told of."""
    if run is not None and run.low is not None and more * 2 >= run.low:
        return True
    row = limit(grammar, note.profile, "more_back", kind="irrigation_out")
    own = any(_OWN.search(passage.text) for passage in note.sections.description)
    return row is not None and row.value is not None and more >= row.value and not own


_OWN = re.compile(
    r"\b(?:urine|ascites|pus|abscess|empyema|ha?emothorax|effusion|bloody|clots?|bleeding|amniotic)\b", re.I
)


def _worked_flag(
    note: OperativeNote, grammar: Grammar, put_in: list[Fact], came_out: list[Fact], worked: Span
) -> Finding | None:
    """A deficit that nobody said, over the configured flag. What was not collected need not have stayed inside."""
    row = limit(grammar, note.profile, "flag", kind="irrigation_deficit", name=_fluid(note, put_in))
    if row is None or row.value is None or worked.low is None or worked.low <= row.value:
        return None
    return finding(
        "irrigation_deficit",
        "note",
        f"Irrigation in less out is {span_words(worked, 'mL')}, over the configured {amount(row.value, row.unit)}.",
        [*put_in, *came_out],
        arithmetic=f"{_words(put_in)} - {_words(came_out)} = {span_words(worked, 'mL')} > {rounded(row.value)} mL "
        f"({row.source})",
        ask="Say the deficit, or what became of the rest.",
        about="worked",
    )


def _like(put_in: list[Fact], came_out: list[Fact]) -> list[Fact]:
    """What came out, a number alone taken in the unit of what went in ("thirty litres in, twenty nine point four
    out"): for the arithmetic only, `unit_missing` asks for the unit."""
    units = {fact.unit for fact in put_in}
    most = max((fact.value for fact in put_in if fact.value is not None), default=Decimal(0))
    unit = next(iter(units)) if len(units) == 1 else None
    return [
        replace(fact, unit=unit) if fact.unit is None and fact.value is not None and fact.value <= most else fact
        for fact in came_out
    ]


def _bare(put_in: list[Fact], came_out: list[Fact]) -> list[Fact]:
    """What went in, where neither it nor what came out had a unit ("in 6000, out 5400"): in the only one that it can
    have. For the arithmetic only, as above."""
    if not put_in or any(fact.unit is not None or fact.value is None for fact in (*put_in, *came_out)):
        return put_in
    unit = "mL" if min(fact.value or Decimal(0) for fact in put_in) >= _ML_FROM else "L"
    return [replace(fact, unit=unit) for fact in put_in]


_ML_FROM = 100  # so many litres are run through nobody (common practice, no source)


def _unit_of(put_in: list[Fact], came_out: list[Fact], deficit: Fact) -> Fact:
    """A deficit that was said as a number alone, in the unit of what went in, or in mL where only that fits."""
    run, back = _sum(put_in), _sum(came_out)
    if deficit.unit is not None or deficit.value is None or run is None or back is None:
        return deficit
    worked = Span(_less(run.low, back.high), _less(run.high, back.low))
    told = [replace(deficit, unit=unit) for unit in dict.fromkeys((put_in[0].unit, "mL"))]
    likely = told[-1 if deficit.value > (put_in[0].value or 0) else 0]
    return next((one for one in told if (said := span(one, "mL")) is not None and said.meets(worked)), likely)


def _sum(facts: list[Fact]) -> Span | None:
    spans = [span(fact, "mL") for fact in facts]
    known = [one for one in spans if one is not None]
    return added(known) if known and len(known) == len(spans) else None


def _less(first: Decimal | None, second: Decimal | None) -> Decimal | None:
    return None if first is None or second is None else first - second


def _words(facts: list[Fact]) -> str:
    return " + ".join(shown(fact) for fact in facts)


def _fluid(note: OperativeNote, facts: list[Fact]) -> str:
    """The fluid that was run in: its name, else the one named in the sentences of these facts."""
    named = next((fact.name for fact in facts if fact.name), "")
    said = " ".join(
        passage.text.lower() for passage in note.sections.description if any(passage.holds(fact) for fact in facts)
    )
    return named or ("glycine" if any(fluid in said for fluid in _HYPOTONIC) else "")


_HYPOTONIC = ("glycine", "sorbitol", "mannitol", "sterile water")  # one limit for all, that of glycine


def _flag(note: OperativeNote, grammar: Grammar, deficits: list[Fact], put_in: list[Fact]) -> list[Finding]:
    row = limit(grammar, note.profile, "flag", kind="irrigation_deficit", name=_fluid(note, [*deficits, *put_in]))
    if row is None or row.value is None:
        return []
    return [
        finding(
            "irrigation_deficit",
            "warning",
            f"A deficit of {shown(fact)} is over the configured {amount(row.value, row.unit)}.",
            [fact],
            arithmetic=f"{shown(fact)} > {rounded(row.value)} mL ({row.source})",
            ask="Say the deficit again if it was misheard.",
            about="flag",
        )
        for fact in deficits
        if (one := span(fact, "mL")) is not None and one.low is not None and one.low > row.value
    ]
