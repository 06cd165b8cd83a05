"""One thing said with two values."""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline.checks import _doses_again, _french_again
from pipeline.checks._headed import headed
from pipeline.checks._measured_twice import measured_twice
from pipeline.checks._sizes_again import again
from pipeline.checks._sizes_repeated import repeated
from pipeline.checks._sizes_said import Size, is_old
from pipeline.checks.base import ONE_VALUE, finding, placed, plain, read, shown, span
from pipeline.clashes import rows_apart
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding
from pipeline.rows import Kind

MEANING = "Something that has one value was said with two: blood loss, weight, age, identity, tourniquet pressure."


# Words for one and the same small amount.
_LITTLE = frozenset({"minimal", "negligible", "none", "nil", "trace", "scant", "small", "insignificant", "trivial",
                     "very little", "little"})  # fmt: skip


# mL: more is no minimal loss. Common practice, no source.
_MINIMAL = 100


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    kinds = grammar.table("kinds", Kind)
    found: list[Finding] = []
    for kind, severity in ONE_VALUE.items():
        said = [
            fact
            for fact in note.of(kind)
            if fact.status in ("performed", "planned") and fact.certainty == "affirmed" and fact.scale != "each"
        ]
        totals = [fact for fact in said if fact.scale == "total"]
        parts = [fact for fact in said if fact.scale != "total"]
        if len(totals) == 1 and len(parts) > 1:
            continue  # several parts and their sum: parts_and_total adds up
        if kind in ("blood_loss", "draw_count") and _sum_of_the_rest(said):
            continue
        if kind == "draw_count" and _of_places(said):
            continue
        for later in said[1:]:
            if kind == "blood_loss" and (_is_part(said[0], later) or _bled_there(note, said[0], later)):
                continue
            if _apart(said[0], later):
                if len(totals) == 1 and _within(parts[0], totals[0]):
                    severity = "note"  # a loss told on the way, and all of it
                elif _of_parts(said[0], later) or (kind == "draw_count" and _of_two_rows(note, said[0], later)):
                    severity = "note"  # the pulls of one crest, and of the other
                if kind == "tourniquet_pressure" and not _changed(note, said[0], later):
                    severity = "warning"
                label = kinds[kind].name if kind in kinds else kind
                found.append(
                    finding(
                        "two_values",
                        severity,
                        f"{label} was said twice and differently: {_words(said[0])} and {_words(later)}.",
                        [said[0], later],
                        arithmetic=f"{_words(said[0])} is not {_words(later)}",
                        ask="Say which is right, or that the one is a part of the other.",
                    )
                )
                break
    found += _powers(note) + again(note) + repeated(note) + headed(note) + measured_twice(note)
    return found + _french_again.again(note) + list(_doses_again.again(note, grammar))


def _of_two_rows(note: OperativeNote, one: Fact, later: Fact) -> bool:
    """The pulls of two crests, or of two rows of one: what the first came to is told between them."""
    return one.laterality != later.laterality or rows_apart(one, later, note.facts)


# A cuff that was set anew, or the other cuff. Common practice, no source.
_SET_ANEW = re.compile(
    r"\b(?:rais\w*|increas\w*|lower\w*|reduc\w*|chang\w*|adjust\w*|turned|went up|put up|up to|down to|bumped|dropped|"
    r"re-?inflat\w*|again|second|another|initial\w*|then|later|other|proximal|distal|upper|systolic|each|both|"
    r"respectively)\b", re.I,
)  # fmt: skip


def _changed(note: OperativeNote, one: Fact, later: Fact) -> bool:
    """Whether the words around the later of two pressures tell of a change, or of another limb."""
    if one.laterality != later.laterality and one.laterality and later.laterality:
        return True
    held = [passage.text for passage in note.sections.description if passage.holds(later)]
    return any(_SET_ANEW.search(text) for text in held)


# What a lens was not: spare, taken out, the other eye's, or a number of the eye itself.
_OTHER_LENS = re.compile(
    r"\b(?:backup|back-up|spare|reserve|opened|instead|exchang\w*|explant\w*|removed|previous|old|other eye|fellow|"
    r"second eye|target\w*|aim\w*|cylinder|cyl|refraction|sphere|spherical|keratometry|glasses|myop\w*|hyperop\w*|"
    r"residual|calculat\w*|considered|would|planned|both eyes)\b", re.I,
)  # fmt: skip
_DIOPTRES = re.compile(r"diopt|\bD\b", re.I)
_WEAKEST, _STRONGEST = 5, 40  # dioptres of lenses that are put in; less is a cylinder. Common practice, no source


def _powers(note: OperativeNote) -> list[Finding]:
    """A lens that is read out twice: "plus twenty one point five at the time-out, a twenty point five in the bag"."""
    told: dict[Decimal, Passage] = {}
    for passage in note.sections.description:
        tokens = read(passage) if _DIOPTRES.search(passage.text) else []
        for at, token in enumerate(tokens):
            quantity = token.quantity
            if quantity is None or quantity.unit != "[diop]" or quantity.value is None or quantity.comparator:
                continue
            near = " ".join(one.text for one in tokens[max(0, at - 10) : at + 6])
            if is_old(Size(quantity.value, passage, at)):
                continue  # "right eye done in 2022, lens 21.5 D"
            if _WEAKEST <= quantity.value <= _STRONGEST and not _OTHER_LENS.search(near):
                told.setdefault(quantity.value, passage)
    if len(told) < 2 or any(fact.laterality == "bilateral" for fact in note.of("procedure")):
        return []
    powers = list(told)
    made = finding(
        "two_values", "warning",
        f"The power of the lens was said twice and differently: {plain(powers[0])} and {plain(powers[1])} dioptres.",
        arithmetic=f"{plain(powers[0])} is not {plain(powers[1])}", ask="Read the power from the box again.",
        about="lens",
    )  # fmt: skip
    return [placed(made, told[powers[1]].evidence)]


def _sum_of_the_rest(said: list[Fact]) -> bool:
    """ "At delivery 500 mL, after it 200 mL, total 700 mL": the largest is what the others come to."""
    values = sorted(fact.value for fact in said if fact.value is not None)
    alike = len({fact.unit for fact in said} - {None}) <= 1  # "suction 500 + swabs 150. EBL 650 ml"
    return len(values) > 2 and len(values) == len(said) and alike and sum(values[:-1]) == values[-1]


def _of_places(said: list[Fact]) -> bool:
    """ "First site, three draws ... second site, three draws ... that is six": said at each place, and of all."""
    times = {fact.value: len({place.first for place in (fact.evidence, *fact.also)}) for fact in said if fact.value}
    if len(times) != 2:
        return False
    few, many = sorted(times)
    return times[few] > 1 and few * times[few] == many


# "Blood loss in the harvest was 100 cc", "blood loss from the second side": of a part of the operation each.
_OF_PART = re.compile(r"\b(?:in|during|from|for|at) (?:the )?(?!total\b|all\b|theatre\b)[a-z]+")


def _of_parts(first: Fact, second: Fact) -> bool:
    """Whether both values were said of a part of the operation, each of another."""
    parts = [_OF_PART.search(fact.evidence.heard.lower()) for fact in (first, second)]
    return first.kind == "blood_loss" and None not in parts and len({one.group() for one in parts if one}) == 2


def _within(part: Fact, total: Fact) -> bool:
    one, whole = span(part, total.unit), span(total)
    return one is not None and whole is not None and one.high is not None and whole.low is not None and (
        one.high <= whole.low
    )


def _apart(first: Fact, second: Fact) -> bool:
    """Whether the two cannot both hold. Sides of a bilateral operation have values of their own."""
    if first.laterality != second.laterality and first.laterality and second.laterality:
        return False
    one, other = span(first), span(second, first.unit)
    if one is not None and other is None and second.unit is None and first.kind == "tourniquet_pressure":
        other = span(second)  # "250 mmHg ... 300": the unit was said once
    if one is not None and other is not None:
        return not one.meets(other)
    if (one is None) != (other is None) and _bare(first, later=second):
        return True
    if (one is None) != (other is None):
        text, number = (first, other) if one is None else (second, one)
        little = _words(text).lower() in _LITTLE and first.kind == "blood_loss"
        return little and number is not None and number.low is not None and number.low > _MINIMAL
    one_text, other_text = _words(first).lower(), _words(second).lower()
    return one_text != other_text and not (one_text in _LITTLE and other_text in _LITTLE)


_HELD = re.compile(r"\b(?:suction|sucker|swabs?|sponges?|drapes?|bottle|canister)\b", re.IGNORECASE)
_WHOLE = re.compile(r"\b(?:total|all told|in all|altogether)\b", re.IGNORECASE)


def _is_part(first: Fact, later: Fact) -> bool:
    """ "Loss four hundred and fifty in the suction ... total blood loss seven hundred millilitres"."""
    bare = first.unit is None and later.scale == "total"
    return bare and first.value is not None and later.value is not None and first.value <= later.value


_BLED = re.compile(r"\b(?:bled|bleed|bleeds|bleeding|oozed|spurted)\b", re.IGNORECASE)


def _bled_there(note: OperativeNote, first: Fact, later: Fact) -> bool:
    """ "A lumbar vein bled about 50 mL and was clipped. ... EBL 150 mL": of one place, and of all."""
    one, whole = span(first, later.unit), span(later)
    passage = next((one for one in note.sections.description if one.holds(first)), None)
    at = first.evidence.first - passage.evidence.first if passage is not None else 0
    words = " ".join(passage.text.split()[max(0, at - 3) : at]) if passage is not None else ""
    return _BLED.search(f"{words} {first.evidence.heard}") is not None and (
        one is not None and whole is not None and one.high is not None and whole.low is not None
        and one.high <= whole.low
    )


def _bare(first: Fact, later: Fact) -> bool:
    """ "Loss 350 mL ... loss again 850": the one without a unit is neither the other nor that in litres."""
    if first.kind != "blood_loss" or (first.unit is None) == (later.unit is None):
        return False
    if first.scale == "total" or later.scale == "total" or any(
        _HELD.search(fact.evidence.heard) or _WHOLE.search(fact.evidence.heard) for fact in (first, later)
    ):
        return False  # "loss four hundred and fifty in the suction ... total blood loss seven hundred millilitres"
    if first.value is None or later.value is None or first.comparator or later.comparator:
        return False
    return all(later.value * factor != first.value for factor in (1, 1000, Decimal("0.001")))


def _words(fact: Fact) -> str:
    return shown(fact) or (fact.name or "")
