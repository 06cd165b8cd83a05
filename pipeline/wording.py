"""Lines that several documents share, made from facts only."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.assemble import display
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact

CAUTION = (
    "Made from dictation. A draft until signed; not a medical device. Local rules and licensed judgement decide."
)
MARKS = {"blocking": "MUST SETTLE", "warning": "CHECK", "note": "NOTE"}
STATES = {"draft": "DRAFT, not signed", "signed": "Signed", "amended": "Amended"}
_ROLES_SHOWN = ("prepared", "discarded", "held", "avoid", "explanted", "trial")


def state(group: Sequence[Fact]) -> str:
    """How the facts of one event stand, in words: "done", "planned", "not done", "suspected", "prepared"."""
    words: list[str] = []
    for fact in group:
        if fact.certainty == "negated":
            words.append("not done")
        elif fact.certainty == "suspected":
            words.append("suspected")
        if fact.status != "performed":
            words.append(fact.status.replace("_", " "))
        if fact.role in _ROLES_SHOWN:
            words.append(str(fact.role))
    return ", ".join(dict.fromkeys(words)) or "done"


def procedure_line(note: OperativeNote, grammar: Grammar) -> str:
    """The procedures in one line, for titles; empty when none was said."""
    said = [display(fact, grammar) for fact in note.of("procedure") if fact.certainty != "negated"]
    return "; ".join(dict.fromkeys(said))


def doubts(facts: Sequence[Fact]) -> list[str]:
    """Why these facts are unsure, each reason once, other readings of the sound included."""
    reasons = [doubt for fact in facts for doubt in fact.doubts]
    reasons += [f"also heard as {other}" for fact in facts for other in fact.alternatives]
    return list(dict.fromkeys(reasons))
