"""Numbers that were said and stand in no entry of the note: they are only in the description."""

from __future__ import annotations

from pipeline import quantities, tokens
from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence, Fact, Finding, Severity

MEANING = "A number with a unit was said that no entry of the note holds; beside a drug it may be a dose."

_GIVEN = frozenset({
    "mass", "amount", "catalytic", "molar", "volume", "fraction", "concentration", "mass_concentration", "rate",
    "ratio", "",
})  # fmt: skip
_NEAR = 12  # words between the number and the drug


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for passage in note.sections.description:
        quiet: list[Evidence] = []
        for piece in passage.unplaced:
            drug = _drug(note, passage, piece)
            if drug is None or _dimension(piece) not in _GIVEN:
                quiet.append(piece)
                continue
            found.append(
                _told("warning", [piece], f"“{piece.heard}” was said beside {called(drug, grammar)} and stands in no "
                      "entry.", "Say what it was: a dose, a volume or a strength, and of which drug.", [drug])
            )  # fmt: skip
        if quiet:
            heard = ", ".join(f"“{piece.heard}”" for piece in quiet)
            found.append(
                _told("note", quiet, f"Said, and in no entry of the note: {heard}.",
                      "Say what it measures, or leave it in the description.", [])
            )  # fmt: skip
    return found


def _told(severity: Severity, pieces: list[Evidence], message: str, ask: str, facts: list[Fact]) -> Finding:
    about = "+".join(f"w{piece.first}" for piece in pieces)
    made = finding("unplaced_number", severity, message, facts, ask=ask, about=about)
    return Finding(
        made.check, made.severity, made.message, made.key, made.ask, made.arithmetic, made.facts,
        (*pieces, *made.evidence),
    )  # fmt: skip


def _drug(note: OperativeNote, passage: Passage, piece: Evidence) -> Fact | None:
    """The drug of the same sentence that is said nearest to the number."""
    near = [
        (max(fact.evidence.first - piece.last, piece.first - fact.evidence.last), fact.id, fact)
        for fact in note.facts
        if fact.kind == "medication" and passage.evidence.first <= fact.evidence.first <= passage.evidence.last
    ]
    return min(near)[2] if near and min(near)[0] <= _NEAR else None


def _dimension(piece: Evidence) -> str:
    """What the unit of the words is of: "mass", "volume" ...; "" without a unit."""
    read = quantities.merge(tokens.tokenize(tokens.words_from_text(piece.heard)))
    return next((token.quantity.dimension for token in read if token.quantity is not None), "")
