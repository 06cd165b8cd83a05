"""The line of a section entry as every text form of the note says it: with doubts, with what was taken back, and
with the role that keeps it from being read as given ("to be avoided", "prepared, not given")."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.fhir.base import doubts_of
from pipeline.fhir.narrative import clean
from pipeline.note import Entry, OperativeNote
from pipeline.records import Fact

_MARKS = {
    "avoid": "to be avoided",
    "prepared": "prepared, not given",
    "discarded": "discarded",
    "held": "held back, not given",
    "trial": "trial only",
    "explanted": "taken out",
    "not_given": "not given",
    "not_used": "not used",
    "prime": "into the syringe or device, not given",
}
_ABOUT_A_MEDICINE = frozenset({"aftercare", "duration", "follow_up"})


def roles(fact: Fact, note: OperativeNote) -> list[str]:
    """The roles of a fact and of its event; of an instruction about a medicine also those of that medicine."""
    related = list(note.group(fact))
    if fact.kind in _ABOUT_A_MEDICINE and fact.name:
        related += [one for one in note.of("medication") if one.name == fact.name and one.status == fact.status]
    return list(dict.fromkeys(one.role for one in (fact, *related) if one.role))


def entry_line(entry: Entry, facts: Sequence[Fact], note: OperativeNote) -> str:
    """The words of an entry with everything that must be read together with them."""
    line = clean(entry.text)
    marks = dict.fromkeys(_MARKS[role] for fact in facts for role in roles(fact, note) if role in _MARKS)
    said = line.lower()
    for mark in marks:
        first = mark.split(",")[0].removeprefix("to be ").removesuffix("ed")
        if first not in said:
            line += f" [{mark}]"
    reasons = list(dict.fromkeys([*map(clean, entry.doubts), *doubts_of(facts)]))
    if reasons:
        line += f" [unsure: {'; '.join(reasons)}]"
    elif entry.doubtful:
        line += " [unsure]"
    for fact in facts:
        line += "".join(f" [corrected while speaking; taken back: {clean(piece.heard)}]" for piece in fact.taken_back)
    return line
