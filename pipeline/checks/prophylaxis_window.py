"""The antibiotic against the incision."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

from pipeline.checks.base import NOT_GIVEN, finding, plain, read, same_name
from pipeline.conversion import convert
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding, Token
from pipeline.rows import Drug
from pipeline.timespan import minutes_between

MEANING = "The antibiotic was given after the incision, or earlier before it than the profile's window."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found = _by_clock(note, grammar) + _by_minutes(note, grammar)
    if any(_FOR_SAMPLES.search(passage.text) for passage in note.sections.description):
        return [replace(one, severity="note") for one in found]
    return found


# It was held back on purpose. Common practice, no source.
_FOR_SAMPLES = re.compile(
    r"\b(?:antibiotics?|abx|prophylaxis)\b[^.;]{0,40}\b(?:until|till|after|once|held|withheld|delayed)\b[^.;]{0,30}"
    r"\b(?:samples?|cultures?|swabs?|biops(?:y|ies)|tissues?|specimens?)\b|"
    r"\b(?:after|once) (?:the )?(?:\w+ )?(?:samples?|cultures?|swabs?|biops(?:y|ies)|tissues?)\b[^.;]{0,40}"
    r"\b(?:antibiotics?|abx)\b", re.I
)  # fmt: skip


def _by_clock(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    times = note.of("clock_time", given=True)
    incision = next((fact for fact in times if same_name(fact.name) == "incision"), None)
    tourniquet = next((fact for fact in times if same_name(fact.name) == "tourniquet_up"), None)
    if incision is None:
        return []
    given = [fact for fact in times if same_name(fact.name) == "antibiotic"]
    gaps = [minutes_between(fact.text or "", incision.text or "") for fact in given]
    before = any(gap is not None and gap >= 0 for gap in gaps)
    row = limit(grammar, note.profile, "window")
    timely = row is not None and row.low is not None and row.high is not None and any(
        gap is not None and row.low <= gap <= row.high for gap in gaps
    )
    found: list[Finding] = []
    for antibiotic, gap in zip(given, gaps, strict=True):
        if timely and gap is not None and row is not None and row.high is not None and gap > row.high:
            continue  # given in the emergency department, and again in time
        if gap is not None and gap < 0 and (
            before or _after_birth(note, antibiotic, times) or _after_cord(note, antibiotic)
        ):
            continue  # given again during a long operation
        found += _one(note, grammar, antibiotic, incision, tourniquet)
    return found


_CORD = re.compile(r"\b(?:after|once|following) (?:the )?(?:umbilical )?cord\b[^.;]{0,12}\bclamp\w*", re.I)
# An infection that is looked for is sampled first: "held until cultures, given 09:41".
_CULTURES = re.compile(
    r"\b(?:held|withheld|waited|only|given|until|after|once|following)\b[^.;]{0,20}\b(?:cultures?|samples?|biops\w+)\b",
    re.I,
)  # fmt: skip


def _after_cord(note: OperativeNote, antibiotic: Fact) -> bool:
    """ "Cefuroxime 1.5 g 02:33 (after cord clamp)": told with it, as it was long the rule at a caesarean."""
    return any(one.holds(antibiotic) and (_CORD.search(one.text) or _CULTURES.search(one.text))
               for one in note.sections.description)


def _after_birth(note: OperativeNote, antibiotic: Fact, times: list[Fact]) -> bool:
    """Forceps or a tear: the one dose is for after the birth (ANODE trial, Lancet 2019 [from memory]), but not at a
    caesarean."""
    births = [fact for fact in times if same_name(fact.name) == "delivery"]
    caesarean = any((fact.name or "").startswith("caesarean") for fact in note.of("procedure"))
    return not caesarean and any(
        (gap := minutes_between(fact.text or "", antibiotic.text or "")) is not None and gap >= 0 for fact in births
    )


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


_AHEAD = frozenset({"before", "prior", "pre", "preincision", "preceding"})
_BEHIND = frozenset({"after", "following", "post"})
_CUT = frozenset({"incision", "incisions", "knife", "skin", "cut"})
_TO_CUT = 6  # words between the minutes and the incision


def _by_minutes(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """ "Antibiotics were given ninety minutes before the incision": a length of time instead of two times of day."""
    found: list[Finding] = []
    for passage in note.sections.description:
        given = _antibiotics(note, grammar, passage)
        spoken_of = "antibiotic" in passage.text.lower()
        if not given and not spoken_of:
            continue
        own = next((fact.name or "" for fact in given), "")
        row = (limit(grammar, note.profile, "window", drug=own) if own else None) or limit(
            grammar, note.profile, "window"
        )
        if row is None or row.high is None or row.low is None:
            continue
        tokens = read(passage)
        for index, token in enumerate(tokens):
            minutes = _minutes(token)
            after = [word.norm for word in tokens[index + 1 : index + 2 + _TO_CUT]]
            if minutes is None or not after or not _CUT & set(after):
                continue
            late = after[0] in _BEHIND
            if not (late and minutes > 0) and not (after[0] in _AHEAD and minutes > row.high):
                continue
            said = f"{plain(minutes)} minutes {'after' if late else 'before'} the incision"
            sign = ">" if not late else "after, not"
            one = _finding(
                f"The antibiotic was given {said}; the configured window is {plain(row.low)} to {plain(row.high)} "
                "minutes before it.",
                given,
                f"{plain(minutes)} min {sign} {plain(row.high)} min ({row.source})",
            )
            found.append(replace(one, key=one.key or f"prophylaxis_window:w{passage.evidence.first}",
                                 evidence=one.evidence or (passage.evidence,)))  # fmt: skip
    return found


def _minutes(token: Token) -> Decimal | None:
    """The length of time of a token in minutes; its upper end for a range, None for anything else."""
    quantity = token.quantity
    if quantity is None or quantity.dimension != "time" or quantity.unit not in ("min", "h", "s"):
        return None
    value = quantity.value if quantity.value is not None else quantity.high
    return None if value is None else convert(value, quantity.unit, "min")


def _antibiotics(note: OperativeNote, grammar: Grammar, passage: Passage) -> list[Fact]:
    drugs = grammar.table("drugs", Drug)
    return [
        fact for fact in note.of("medication", given=True)
        if passage.holds(fact) and fact.role not in NOT_GIVEN and fact.name in drugs
        and "antibiotic" in drugs[fact.name or ""].classes
    ]  # fmt: skip


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
