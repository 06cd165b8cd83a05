"""Runs every check over a note, lays recorded decisions over the findings, and lists what must be said."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from pipeline import plugins
from pipeline.grammar import Grammar
from pipeline.limits import elements
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Revision
from pipeline.rows import Element

State = Literal["said", "not said", "none"]
_ORDER = {"blocking": 0, "warning": 1, "note": 2}


def run_checks(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """The findings of all checks, worst first, then in the order said. Pure: the same note, the same list.

    A finding that a recorded decision settles is kept with the reason in `settled`. Raises UnknownName for an
    unknown profile or family.
    """
    found: list[Finding] = []
    for module in plugins.every("pipeline.checks"):
        found += module.check(note, grammar)
    found.sort(key=lambda one: (_ORDER[one.severity], _place(one), one.check, one.key, one.message))
    reasons = _reasons(note.decisions)
    return [replace(one, settled=_settled(one, reasons)) for one in _distinct(found)]


def _place(one: Finding) -> int:
    return min((piece.first for piece in one.evidence), default=1 << 30)


def _distinct(found: Iterable[Finding]) -> list[Finding]:
    """Findings with keys of their own, so that a decision is about one of them."""
    seen: dict[str, int] = {}
    result: list[Finding] = []
    for one in found:
        seen[one.key] = seen.get(one.key, 0) + 1
        result.append(one if seen[one.key] == 1 else replace(one, key=f"{one.key}#{seen[one.key]}"))
    return result


def as_worked(one: Finding) -> str:
    """What a decision on a finding was about: its message and the sum as worked."""
    return f"{one.message} {one.arithmetic}".strip()


def settle(one: Finding, *, by: str, at: str, reason: str) -> Revision:
    """The decision that silences a finding. `at`: ISO 8601. Raises ValueError without a reason."""
    if not reason.strip():
        raise ValueError("a finding is settled only with a reason")
    return Revision(target=one.key, action="settle", by=by, at=at, before=as_worked(one), reason=reason.strip())


def _reasons(decisions: Iterable[Revision]) -> dict[str, Revision]:
    """The last decision on each finding, taken back ("ask") or held ("settle")."""
    last: dict[str, Revision] = {}
    for decision in decisions:
        if decision.action == "settle" and decision.reason.strip():
            last[decision.target] = decision
        elif decision.action == "ask":
            last.pop(decision.target, None)
    return last


def _settled(one: Finding, reasons: dict[str, Revision]) -> str:
    """The recorded reason, if the finding still says what was decided on; another sum needs a new decision."""
    decision = reasons.get(one.key)
    if decision is None or (decision.before and decision.before != as_worked(one)):
        return ""
    return decision.reason


@dataclass(frozen=True, slots=True)
class SignOutItem:
    """One line of the sign-out list. `state`: "none" where it was said that there is none. `facts`: ids behind it."""

    element: Element
    state: State
    facts: tuple[str, ...]
    required_by: str


def signout(note: OperativeNote, grammar: Grammar) -> list[SignOutItem]:
    """Everything that the profile and the procedure family want said, with its state, in the order of the files.

    Raises UnknownName for an unknown profile or family.
    """
    wanted = [(element, "profile") for element in elements(grammar, note.profile)]
    if note.family is not None:
        known = {element.id for element, _ in wanted}
        family = grammar.family(note.family)
        wanted += [(element, "family") for element in family.elements if element.id not in known]
    return [SignOutItem(element, *answered(note, element), required_by) for element, required_by in wanted]


def answered(note: OperativeNote, element: Element) -> tuple[State, tuple[str, ...]]:
    """(state, ids of the facts behind it) of one element."""
    about = [fact for fact in note.of(*element.kinds) if _counts(fact, element)]
    if not about:
        return "not said", ()
    none = all(fact.certainty == "negated" or (fact.text or "").lower() in ("none", "nil") for fact in about)
    return ("none" if none else "said"), tuple(fact.id for fact in about)


def _counts(fact: Fact, element: Element) -> bool:
    if fact.status in ("historical", "other_person"):
        return False
    names = {name.replace("-", "_") for name in element.names}
    return not names or (fact.name or "").replace("-", "_") in names
