"""Words that a second recogniser reads otherwise: both readings are shown, and nothing was changed."""

from __future__ import annotations

from pipeline import quantities, tokens
from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding

MEANING = "A number, unit, side or negation that a second recogniser, asked about it, reads otherwise."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found = []
    for one in note.source.opinions:
        when = "" if one.at is None else f" at {int(one.at // 60):02d}:{one.at % 60:04.1f}"
        either = " or ".join(f"'{other}'" for other in one.others)
        facts = [fact for fact in note.facts if fact.evidence.first <= one.word <= fact.evidence.last]
        found.append(finding(
            "second_opinion",
            "warning" if facts or any(_measured(other) for other in one.others) else "note",
            f"Heard as '{one.heard}'{when}; a second recogniser hears {either}.",
            facts,
            ask="Listen to it, and say it again if it is wrong.",
            about=f"word-{one.word}",
        ))  # fmt: skip
    return found


def _measured(text: str) -> bool:
    """Whether a reading holds a number with a unit: it may be a dose or a volume that no entry has."""
    read = quantities.merge(tokens.tokenize(tokens.words_from_text(text)))
    return any(token.quantity is not None and token.quantity.unit is not None for token in read)
