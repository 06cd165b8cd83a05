"""Totals of devices against the counts of the sentences before: "two headless screws ... one screw. So three screws."

Where `listed_count` reads one sentence, this adds up what the note holds: the counts of one sort of thing since its
last total. A count for each side may have been told of one side or of both; things named without a count are one or
belong to a count: a total is wrong only where no such reading comes to it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from pipeline.checks import _told_parts, base
from pipeline.checks._spoken_counts import count, says_total
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Token

_LEADS = frozenset({"=", "makes", "making", "total"})
_NOUN = 3  # tokens from a count to the end of its noun
_TWICE = ("per_side", "each")


def totals(note: OperativeNote) -> Iterator[tuple[Passage, int, str, str]]:
    """(passage, total, noun, the sum as worked) of each total of devices that no reading of its parts comes to."""
    for passage in note.sections.description:
        read = base.read(passage)
        for fact in note.of("device_count"):
            if not passage.holds(fact) or not _counts(fact) or not _is_total(read, passage, fact):
                continue
            parts = _parts(note, fact)
            place = _place(read, passage, fact)
            if len(parts) < 2 or fact.value in {part.value for part in parts} or (
                place is not None and _told_parts.explains(read, place)
            ):
                continue
            if fact.value is not None and fact.value not in _sums(parts, singles(note, parts, fact)):
                worked = " + ".join(f"{part.value}" for part in parts)
                yield passage, int(fact.value), _noun(fact) + "s", f"{worked}, said: {fact.value}"


def _counts(fact: Fact) -> bool:
    return fact.value is not None and fact.status == "performed" and fact.certainty == "affirmed" and not fact.doubts


def _noun(fact: Fact) -> str:
    return (fact.name or fact.text or "").rsplit("-", 1)[-1].rsplit(" ", 1)[-1].rstrip("s")


def _place(read: Sequence[Token], passage: Passage, fact: Fact) -> int | None:
    first = fact.evidence.first - passage.evidence.first
    return next((at for at, token in enumerate(read) if token.first == first and count(token) == fact.value), None)


def _is_total(read: Sequence[Token], passage: Passage, fact: Fact) -> bool:
    at = _place(read, passage, fact)
    if at is None or any(token.norm == "+" for token in read[:at]):
        return False  # "artery 2 clips + 1, total 6 clips": `listed_count` takes the sign
    lead = read[at - 1].norm if at else ""
    if says_total(read, at) or lead in _LEADS:
        return True
    if lead in ("that's", "thats") and at > 1 and read[at - 2].norm == "so":
        lead, at = "so", at - 1  # "So that's five anchors."
    ends = next((place for place in range(at + 1, len(read)) if read[place].punctuation), len(read))
    return lead == "so" and ends - at <= _NOUN and (at < 2 or read[at - 2].punctuation)  # "So four screws."


def _parts(note: OperativeNote, total: Fact) -> list[Fact]:
    """The counts of the same sort of thing before a total, since the last total of it."""
    before = [
        fact for fact in note.of("device_count")
        if fact.evidence.last < total.evidence.first and _noun(fact) == _noun(total) and fact.role == total.role
    ]  # fmt: skip
    last = max((at for at, fact in enumerate(before) if fact.scale == "total"), default=-1)
    return [fact for fact in before[last + 1 :] if fact.status == "performed" and fact.certainty == "affirmed"
            and fact.value is not None]  # fmt: skip


def singles(note: OperativeNote, parts: Sequence[Fact], total: Fact) -> int:
    """How many things of the sort of a total were named before it without a count. Pure."""
    groups = {part.group for part in (*parts, total)}
    return sum(
        fact.group not in groups and _noun(fact) == _noun(total) and fact.role == total.role
        and fact.evidence.first < total.evidence.first
        for fact in note.of("device")
    )  # fmt: skip


def _sums(parts: Sequence[Fact], singles: int) -> set[Decimal]:
    """Every sum that some run of parts up to the total may come to."""
    found: set[Decimal] = set()
    sums = {Decimal(0)}
    for part in reversed(parts):
        value = part.value or Decimal(0)
        ways = {value, 2 * value} if part.scale in _TWICE else {value}
        sums = {one + way for one in sums for way in ways}
        found |= sums
    return {one + more for one in found for more in range(singles + 1)}
