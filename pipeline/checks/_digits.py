"""Fingers in speech without headings: those of the diagnosis and the operation against the time-out and what was done.

"Trigger ring finger ... release of the ring finger ... time out middle finger ... so index finger from sixty to ten".
"""

from __future__ import annotations

import re

from pipeline.checks._asides import before_work
from pipeline.checks.base import finding, placed
from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding

_DIGIT = r"(?:index|middle|ring|little|small)"
_NAMED = re.compile(rf"\b(?P<digit>{_DIGIT})(?= (?:trigger )?fingers?\b)|\b(?P<thumb>thumb)s?\b", re.I)
_ROW = re.compile(rf"\b({_DIGIT})(?: fingers?)?(?: and | & |, ?|/)({_DIGIT})\b", re.I)
_SAME = {"little": "small"}
_STATED = ("procedure", "preop_diagnosis", "postop_diagnosis", "diagnosis")
_AGREED = ("time_out", "site_marking", "consent")
_UNTOLD = frozenset({"aftercare", "follow-up", "history", "indication", "imaging"})
# What is told beside the digit that is operated on: a neighbour, a donor, how it is held, its nerve and its pulse.
_BESIDE = re.compile(
    r"\b(?:buddy|tap(?:e|ed|ing)|beside|next to|adjacent|neighbou?r\w*|other|normal|donor|compar\w+|against|opposite|"
    r"between|not|no|spare[ds]?|intact|free|web|transfer\w*|graft\w*|from the|pulse|ago|previous\w*|later|next|numb\w*|"
    r"sensation|sensibility|oximet\w+|probe|both|all|splint|spica|exercise\w*|move|moves|mobili\w+)\b", re.I,
)  # fmt: skip
_NEAR = 5  # words


def apart(note: OperativeNote) -> list[Finding]:
    """The first digit of the time-out or of the work that nothing before it names. Pure."""
    stated = note.of(*_STATED, given=True)
    titles = [one for one in note.sections.description if any(one.holds(fact) for fact in stated)]
    named = {digit for one in titles for digit in _digits(one.text)}
    if not named:
        return []
    for fact in note.of(*_AGREED):
        other = _digits(fact.evidence.heard) - named
        if other and fact.certainty == "affirmed":
            return [finding(
                "site_conflict", "blocking", f"The {_row(named)} is operated on, but the {_row(other)} was said as "
                f"well ({fact.kind.replace('_', ' ')}).", [fact], ask="Say which is right.",
            )]  # fmt: skip
    for passage in note.sections.description:
        if any(passage is one for one in titles) or passage.section in _UNTOLD or before_work(note, passage):
            continue
        other = {digit for digit in _worked_on(passage) if digit not in named}
        if other:
            made = finding(
                "site_conflict", "warning", f"The {_row(named)} is operated on, but the {_row(other)} was told of as "
                "well.", ask="Say which is right.", about=f"w{passage.evidence.first}",
            )  # fmt: skip
            return [placed(made, passage.evidence)]
    return []


def _row(digits: set[str]) -> str:
    return " and ".join(sorted(digits))


def _digits(text: str) -> set[str]:
    found = {(match["digit"] or match["thumb"]).lower() for match in _NAMED.finditer(text)}
    found |= {one.lower() for match in _ROW.finditer(text) for one in match.groups()}
    return {_SAME.get(one, one) for one in found}


def _worked_on(passage: Passage) -> set[str]:
    found: set[str] = set()
    for match in _NAMED.finditer(passage.text):
        before = re.split(r"[,;.]", passage.text[: match.start()])[-1].split()[-_NEAR:]
        behind = re.split(r"[,;.]", passage.text[match.end() :])[0].split()[: _NEAR + 1]
        if match["digit"] and not _BESIDE.search(" ".join([*before, *behind])):
            found |= _digits(f"{match['digit']} finger")
    return found
