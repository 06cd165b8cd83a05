"""An operation that has a side, and no side was said."""

from __future__ import annotations

from pipeline.checks.base import called, finding, related_sites, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Concept

MEANING = "An operation that has a left and a right was said without a side, and nothing else in the note tells one."

_TELL = ("procedure", "diagnosis", "preop_diagnosis", "postop_diagnosis", "time_out", "site_marking", "consent",
         "act", "approach", "preparation", "injection", "injection_volume", "device", "finding",
         "tourniquet", "dressing", "drain", "specimen", "grade")  # fmt: skip


# "Right parasymphysis and left angle confirmed": where both sides are agreed on, each is told with its part.
_AGREED = ("diagnosis", "preop_diagnosis", "time_out", "site_marking")


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    told = {fact.laterality for fact in note.of(*_TELL) if fact.certainty != "negated" and fact.role != "harvest"}
    sides = told - {None}
    done = [fact for fact in note.of("procedure") if fact.certainty == "affirmed" and fact.status == "performed"]
    operated = [fact for fact in done if fact.laterality]
    if sides and not operated and not {"left", "right"} <= sides:
        return []
    if any("side" in doubt for fact in note.of("procedure") for doubt in fact.doubts):
        return []  # sides were said, which belongs to what is asked by doubtful
    open_ones = [
        fact
        for fact in note.of("procedure")
        if fact.certainty == "affirmed" and _sided(fact, grammar) and not _in_the_spine(fact, note, grammar)
        and (fact.status == "performed" or (fact.status == "planned" and not done))  # "left ureteroscopy in May"
    ]
    if operated:  # an operation somewhere else, whose side was not said
        open_ones = [fact for fact in open_ones if fact in done and not fact.laterality
                     and _is_elsewhere(fact, operated, grammar)]  # fmt: skip
    if not open_ones:
        return []
    each = any(
        {fact.laterality for fact in note.of(kind)} >= {"left", "right"}
        or any("more than one side" in doubt for fact in note.of(kind) for doubt in fact.doubts)
        for kind in _AGREED
    )
    return [
        finding(
            "side_missing",
            "note" if operated or each else "warning",
            f"No side was said for {called(open_ones[0], grammar)}."
            + (" Left and right are both spoken of." if sides and not operated else ""),
            open_ones,
            ask="Say left, right or both.",
        )
    ]


def _is_elsewhere(fact: Fact, operated: list[Fact], grammar: Grammar) -> bool:
    """Whether an operation lies in another part of the body than every one that has a side."""
    place = site_of(fact, grammar)
    places = [site_of(one, grammar) for one in operated]
    return place is not None and all(
        other is not None and not related_sites(place, other, grammar) for other in places
    )


def _in_the_spine(fact: Fact, note: OperativeNote, grammar: Grammar) -> bool:
    """An extradural haematoma beside levels of the spine lies there, and not on one side of the brain."""
    row = grammar.table("procedures", Concept).get(fact.name or "")
    return row is not None and row.group == "neurosurgery" and bool(note.of("spinal_level"))


def _sided(fact: Fact, grammar: Grammar) -> bool:
    row = grammar.table("procedures", Concept).get(fact.name or "")
    if row is not None and (row.side is not None or row.name.lower().startswith("bilateral")):
        return False
    if row is not None and (row.sided or row.site):
        told = grammar.table("sites", Concept).get(fact.body_site or "")
        return row.sided and (told is None or told.sided or bool(row.site))  # "ORIF mandible": there is one
    site = site_of(fact, grammar)  # "excision of a lipoma", an operation in its own words: the place decides
    return site is not None and site.sided
