"""What a reviewer looks at first: what must be settled, what is unsure, what was asked, then the sure rest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Revision
from pipeline.review.decisions import decided

Standing = Literal["decide", "asked", "sure", "accepted", "corrected", "added"]
LABELS: Mapping[Standing, str] = {
    "decide": "Needs a decision", "asked": "Asked the surgeon", "sure": "Nothing against it",
    "accepted": "Accepted", "corrected": "Corrected", "added": "Added, not said",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Item:
    """A fact with how it stands and why. `findings`: the open ones about it."""

    fact: Fact
    standing: Standing
    findings: tuple[Finding, ...]
    decision: Revision | None


def items(note: OperativeNote) -> dict[str, Item]:
    """Every fact of the note by id. `note`: with its findings made anew after the decisions."""
    about: dict[str, list[Finding]] = {}
    for finding in note.open_findings():
        if finding.severity != "note":
            for ident in finding.facts:
                about.setdefault(ident, []).append(finding)
    made = decided(note)
    return {fact.id: _item(fact, tuple(about.get(fact.id, ())), made.get(fact.id)) for fact in note.facts}


def sure(note: OperativeNote) -> list[Fact]:
    """The facts that can be accepted together: nothing is unsure or against them, and none was decided on yet."""
    return [item.fact for item in items(note).values() if item.standing == "sure"]


def findings(note: OperativeNote) -> list[Finding]:
    """The findings, open ones first; inside that, as they come: worst first."""
    return sorted(note.findings, key=lambda finding: bool(finding.settled))


def _item(fact: Fact, against: tuple[Finding, ...], decision: Revision | None) -> Item:
    standing: Standing
    if decision is not None and decision.action == "ask":
        standing = "asked"
    elif decision is not None and decision.action == "correct":
        standing = "decide" if against else "corrected"
    elif decision is not None and decision.action == "accept":
        standing = "decide" if any(one.severity == "blocking" for one in against) else "accepted"
    elif decision is not None and decision.action == "answer":
        standing = "decide"
    elif fact.added and not (against or fact.doubts):
        standing = "added"
    elif against or fact.doubts or fact.alternatives:
        standing = "decide"
    else:
        standing = "sure"
    return Item(fact, standing, against, decision)
