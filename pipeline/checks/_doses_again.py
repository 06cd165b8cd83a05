"""Amounts of a drug that are told again, in a summary, a title or a list of medicines, and come out otherwise: "forty
of depo went in ... to sum up, eighty of depo"."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks.base import NOT_GIVEN, called, finding, read, shown, span
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding

_KINDS = ("medication_dose", "medication_volume", "medication_concentration", "injection_volume")
# Sections that name what was given and do not tell how; the story of the operation is told in the others.
_LISTS = frozenset({"procedure", "medicines", "anaesthesia"})
# What begins a telling of the same once more. Common speech, no source.
_AGAIN = re.compile(
    r"\b(?:in summary|summary|summari[sz]\w+|(?:to )?recap\w*|to sum up|in short|in brief|for the record|sign[- ]?out|"
    r"debrief\w*|read[- ]?back|(?:as|like) i (?:said|mentioned)|as (?:stated|mentioned|said|above)|"
    r"(?:medications?|medicines|drugs?) (?:given|used|administered)|injectate|"
    r"so (?:altogether )?(?:that's|that is|that was|that makes|she|he|they|the patient) (?:had|got|received|has had|"
    r"was given)?)\b",
    re.I,
)  # fmt: skip
# A drug round a nerve or the cord is none of the wound's, whatever both are. Common practice, no source.
_REGIONAL = re.compile(
    r"\b(?:block\w*|spinal|epidural|caudal|intrathecal|heavy|hyperbaric|plexus|acb|pens|ipack|tap)\b", re.I)
_LED = 4  # words of the sentence before, where speech was cut behind "as I said"
# Another giving. Common speech, no source.
_MORE = re.compile(
    r"\b(?:re-?dos\w*|repeat\w*|second|another|further|additional\w*|more|extra|again at|top(?:ped)?[- ]?up|remain\w*|"
    r"rest|also|first|half (?:of|the|in|into|through|to|on|at)|other|later|each|per side|both)\b", re.I,
)  # fmt: skip


def again(note: OperativeNote, grammar: Grammar) -> Iterator[Finding]:
    """A finding for every amount that was told once more and is neither one of those told of the same drug elsewhere
    nor what they come to. Pure."""
    for kind in _KINDS:
        told: dict[str, list[tuple[Fact, Passage]]] = {}
        for fact in note.of(kind):
            where = next((one for one in note.sections.description if one.holds(fact)), None)
            if where is not None and _counts(fact):
                told.setdefault(fact.name or "", []).append((fact, where))
        for row in told.values():
            yield from _compared(note, row, grammar)


def _counts(fact: Fact) -> bool:
    given = fact.status == "performed" and fact.certainty == "affirmed" and fact.role not in NOT_GIVEN | {"aftercare"}
    return given and fact.value is not None and fact.comparator is None


def _of_both(note: OperativeNote, row: Sequence[tuple[Fact, Passage]]) -> bool:
    """Whether an amount may have been told of one side, and the next of both."""
    each = any(fact.scale in ("each", "per_side") for fact, _ in row)
    return each or any(fact.laterality == "bilateral" for fact in note.of("procedure", "injection", "act"))


def _compared(note: OperativeNote, row: Sequence[tuple[Fact, Passage]], grammar: Grammar) -> Iterator[Finding]:
    times = max([2 if _of_both(note, row) else 1, *(_repeats(fact, where) for fact, where in row)])
    for fact, where in row:
        rest = [(one, there) for one, there in row if there is not where]
        if not rest or not _is_told_again(note, fact, where, [there for _, there in rest]):
            continue
        others = [one for one, _ in rest if one.laterality is None or fact.laterality in (None, one.laterality)]
        if not others or any(_MORE.search(there.text) for there in (where, *(one for _, one in rest))):
            continue
        values = [_in_unit(one, fact) for one in others]
        known = [one for one in values if one is not None]
        mine = [one for one in (_in_unit(one, fact) for one, there in row if there is where) if one is not None]
        if len(known) < len(values) or {fact.value, sum(mine)} & _sums(known, times) or (
            any(one in _sums(mine, times) for one in known)
        ):
            continue
        name = called(fact, grammar, "The amount")
        yield finding(
            "two_values", "warning",
            f"{name[:1].upper()}{name[1:]} was said twice and differently: {shown(others[0])} and {shown(fact)}.",
            [others[0], fact], arithmetic=f"{shown(others[0])} is not {shown(fact)}",
            ask="Say which is right, or that both were given.", about="again",
        )  # fmt: skip
        return


def _repeats(fact: Fact, where: Passage) -> int:
    """How often the number stands in its sentence: "forty into the bursa and forty into the joint"."""
    told = [token.quantity for token in read(where) if token.quantity is not None]
    return sum(one.value == fact.value and one.unit in (None, fact.unit) for one in told)


def _is_told_again(note: OperativeNote, fact: Fact, where: Passage, others: Sequence[Passage]) -> bool:
    passages = note.sections.description
    if where.section == "anaesthesia" and _REGIONAL.search(where.text):
        return False
    led = " ".join(passages[passages.index(where) - 1].text.split()[-_LED:]) if where is not passages[0] else ""
    ahead = " ".join([led, *where.text.split()[: fact.evidence.first - where.evidence.first + 1]])
    if _AGAIN.search(ahead) and any(one.evidence.first < where.evidence.first for one in others):
        return True
    return where.section in _LISTS and all(one.section not in _LISTS for one in others)


def _in_unit(fact: Fact, as_fact: Fact) -> Decimal | None:
    """The number of a fact in the unit of another; where one of them has no unit, as it was said."""
    if fact.unit is None or as_fact.unit is None:
        return fact.value
    one = span(fact, as_fact.unit)
    return one.low if one is not None else None


def _sums(values: Sequence[Decimal], times: int) -> set[Decimal]:
    """The values, as often as they may have been given, and what the first of them come to."""
    found = {*values, *(one * times for one in values)}
    return found | {sum(values[:many], Decimal(0)) for many in range(2, len(values) + 1)}
