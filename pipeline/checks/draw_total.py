"""Draws against their stated total and their stated number."""

from __future__ import annotations

from pipeline.checks import _counted_draws, _syringes
from pipeline.checks.base import (
    Span,
    added,
    amount,
    as_millilitres,
    exact,
    finding,
    given,
    placed,
    read,
    shown,
    span,
    span_words,
)
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "The draws of a harvest do not add up to the stated total, or are not as many as was said."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    draws = given(note, "draw")
    # Blood out of a vein is no part of the marrow.
    draws = [as_millilitres(draw) for draw in draws if draw.text != "whole blood"] or draws
    found = _totals(note, draws) + _number(note, draws)
    return found or _as_counted(note)


def _as_counted(note: OperativeNote) -> list[Finding]:
    """Totals that no entry holds, by the words of their sentence."""
    found: list[Finding] = []
    for passage in note.sections.description:
        tokens = read(passage)
        for at, arithmetic in _counted_draws.against_total(tokens):
            made = finding(
                "draw_total", "warning", f"The draws do not come to “{tokens[at].text}”.",
                [fact for fact in given(note, "draw_count", "draw") if passage.holds(fact)], arithmetic=arithmetic,
                ask="Say which is right: a draw, the total, or a draw that was not said.",
                about=f"w{passage.evidence.first + at}",
            )  # fmt: skip
            found.append(placed(made, passage.evidence))
    return found


def _totals(note: OperativeNote, draws: list[Fact]) -> list[Finding]:
    found: list[Finding] = []
    earlier = -1
    for total in given(note, "harvest_total"):
        said = span(total, "mL")
        before = [draw for draw in draws if earlier < draw.evidence.first < total.evidence.first]
        earlier = total.evidence.first
        if said is None:
            continue
        # A second harvest (other side, other site) has a total of its own; what a total covers is not always said.
        candidates = [draws, before, [draw for draw in draws if draw.laterality == total.laterality],
                      [draw for draw in draws if draw.scale == "per_side"]]  # fmt: skip
        sums = [(part, _sum(note, part)) for part in candidates if part]
        if (both := _counted_per_side(note, draws)) is not None:
            sums.append((draws, both))
            sums += [(draws, one) for one in (_counted_per_side(note, draws, 1),) if one is not None]
        if _syringes.explain(note, draws, total):
            continue  # "27 mL on 3 mL of ACD-A in each of two syringes, 60 mL in all"
        if (whole := _of_the_first(note, draws)) is not None:
            sums.append((draws, whole))
        sums += [(draws, row) for row in _rows(note, draws)]
        if total.text and any(_hint(note, worked, said) for _, worked in sums if worked is not None):
            continue  # "sixty with the six of ACD in it", "60 mL spun": the total holds what it was mixed with
        if total.text == _AS_SPUN and any(_is_less(said, worked) for _, worked in sums):
            continue  # "one was sent for culture, fifty seven were spun"
        if total.text != _AS_SPUN and any(worked is None for _, worked in sums) and (one := _no_multiple(draws, total)):
            found.append(one)
        if not sums or any(worked is None or worked.meets(said) for _, worked in sums):
            continue
        if _counted_draws.runs_up(note, draws[0], total):
            continue
        part, worked = sums[0] if len(given(note, "harvest_total")) == 1 else sums[1 if before else 0]
        assert worked is not None
        found.append(
            finding(
                "draw_total",
                "warning",
                f"The draws add up to {span_words(worked, 'mL')}, the stated total is {shown(total)}.",
                [*part, total],
                arithmetic=f"{_worked(note, part)} = {span_words(worked, 'mL')}, said: {shown(total)}"
                f"{_hint(note, worked, said)}",
                ask="Say which is right: a draw, the total, or a draw that was not said.",
            )
        )
    return found


def _of_the_first(note: OperativeNote, draws: list[Fact]) -> Span | None:
    """ "Five millilitres, a quarter turn, the same again ... so eight pulls, forty": the only draw whose amount was
    understood, as often as was counted."""
    counts = [one.value for one in given(note, "draw_count") if one.value is not None]
    if len(draws) != 1 or draws[0].scale is not None or len(counts) != 1:
        return None
    one = span(draws[0], "mL")
    return one.times(counts[0]) if one is not None else None


def _rows(note: OperativeNote, draws: list[Fact]) -> list[Span]:
    """ "First draw four mils, then four again, in total ten draws of four": the draws told one by one are the first of
    the row that was counted, where all are alike."""
    amounts = {(draw.value, draw.unit) for draw in draws}
    first = span(draws[0], "mL") if len(draws) > 1 and len(amounts) == 1 and draws[0].value is not None else None
    told = sum(draw.scale != "each" for draw in draws)
    counts = [one.value for one in given(note, "draw_count") if one.value is not None and one.value > told]
    return [first.times(count) for count in counts] if first is not None else []


_AS_SPUN = "as spun"  # what a total that went into the centrifuge is called (`extractors/_draws.py`)


def _is_less(said: Span, worked: Span | None) -> bool:
    return worked is not None and worked.high is not None and said.high is not None and said.high <= worked.high


def _counted_per_side(note: OperativeNote, draws: list[Fact], sides: int = 2) -> Span | None:
    """ "Twelve pulls of five millilitres on each side, so one hundred and twenty": so many on either side."""
    counts = [one.value for one in given(note, "draw_count") if one.value is not None]
    if len(draws) != 1 or draws[0].scale != "per_side" or len(counts) != 1:
        return None
    one = span(draws[0], "mL")
    return one.times(counts[0] * sides) if one is not None else None


def _no_multiple(draws: list[Fact], total: Fact) -> Finding | None:
    """Every draw said as the same amount, how many of them there were not clear: the total is so many times that."""
    values = {draw.value for draw in draws}
    each = next(iter(values)) if len(values) == 1 else None
    whole = exact(total, "mL")
    units = {draw.unit for draw in draws} - {None}
    if each is None or each <= 0 or whole is None or units != {"mL"} or any(draw.comparator for draw in draws):
        return None
    if whole % each == 0 or total.comparator:
        return None
    return finding(
        "draw_total", "warning", f"Every draw was said as {amount(each, 'mL')}, the total as {shown(total)}.",
        [*draws, total], arithmetic=f"{shown(total)} is no multiple of {amount(each, 'mL')}",
        ask="Say which is right: a draw or the total.", about="multiple",
    )  # fmt: skip


def _times(note: OperativeNote, draw: Fact) -> int | None:
    """How many draws a fact stands for: the number said with "each", else one; None if that is not known."""
    if draw.scale == "per_side":
        return 2
    if draw.scale != "each":
        return 1
    counts = [one for one in given(note, "draw_count") if one.value is not None]
    own = [one for one in counts if one.group is not None and one.group == draw.group]
    own = own or [one for one in counts if one.laterality == draw.laterality] or counts
    if not counts:  # "drawn four times five mils", "two syringes, each twenty seven mils"
        told = {number for passage in note.sections.description if passage.holds(draw)
                for number in _syringes.how_many(read(passage))}  # fmt: skip
        return told.pop() if len(told) == 1 else None
    return int(own[0].value) if len(own) == 1 and own[0].value is not None else None


def _sum(note: OperativeNote, draws: list[Fact]) -> Span | None:
    parts: list[Span] = []
    for draw in draws:
        one, times = span(draw, "mL"), _times(note, draw)
        if one is None or times is None:
            return None
        parts.append(one.times(times))  # type: ignore[arg-type]
    return added(parts)


def _worked(note: OperativeNote, draws: list[Fact]) -> str:
    terms = []
    for draw in draws:
        one, times = span(draw, "mL"), _times(note, draw) or 1
        assert one is not None
        words = span_words(one, None)
        terms.append(words if times == 1 else f"{times} x {words}")
    return " + ".join(terms)


def _hint(note: OperativeNote, worked: Span, said: Span) -> str:
    """What else that was said would explain the difference. It stays a finding: nobody said that it does."""
    for other in given(note, "medication_volume"):
        mixed = other.role == "anticoagulant" or (other.name in _MIXED and other.role != "prime")
        extra = span(other, "mL") if mixed else None
        if extra is not None and (worked + extra).meets(said):
            return f" (with the {shown(other)} of anticoagulant it would be {span_words(worked + extra, 'mL')})"
    return ""


_MIXED = ("acd-a", "sodium-citrate", "cpd", "heparin")  # what marrow and blood are drawn into


def _number(note: OperativeNote, draws: list[Fact]) -> list[Finding]:
    counts = [fact for fact in given(note, "draw_count") if fact.value is not None]
    single = [draw for draw in draws if draw.scale != "each"]
    if len(counts) != 1 or len(single) < 2 or len(single) != len(draws) or counts[0].value == len(single):
        return []
    totals = [span(total, "mL") for total in given(note, "harvest_total")]
    if any(row.meets(total) for row in _rows(note, draws) for total in totals if total is not None):
        return []  # "four. A turn. Four ... so five draws, twenty mils"
    return [
        finding(
            "draw_total",
            "warning",
            f"{len(single)} draws were said one by one, their number was said as {shown(counts[0])}.",
            [*single, counts[0]],
            arithmetic=f"counted: {len(single)}, said: {shown(counts[0])}",
            ask="Say how many draws there were.",
            about="number",
        )
    ]
