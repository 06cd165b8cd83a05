"""Runs every check over a note and lays the recorded decisions over the findings."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from pipeline import plugins
from pipeline.errors import BadDecision
from pipeline.grammar import Grammar
from pipeline.note import NoteInHand, OperativeNote
from pipeline.records import Finding, Revision
from pipeline.signout import SignOutItem, signout

__all__ = ["SignOutItem", "as_worked", "find", "reopen", "run_checks", "settle", "signout"]

_ORDER = {"blocking": 0, "warning": 1, "note": 2}


def run_checks(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """The findings of all checks, worst first, then in the order said. Pure: the same note, the same list.

    A finding that a recorded decision settles is kept with the reason in `settled`. Raises UnknownName for an
    unknown profile or family.
    """
    found: list[Finding] = []
    in_hand = NoteInHand.over(note)
    for module in plugins.every("pipeline.checks"):
        found += module.check(in_hand, grammar)
    found = _told_once(found)
    found.sort(key=lambda one: (_ORDER[one.severity], _place(one), one.check, one.key, one.message))
    reasons = _reasons(note.decisions)
    distinct = _distinct(found)
    return [replace(one, settled=_settled(one, reasons)) for one in distinct] if reasons else distinct


# Checks that read sentences; what a check of facts tells of the same total or time is not told a second time.
_IN_WORDS = frozenset({"count_sums", "listed_count", "stated_sums"})


def _told_once(found: list[Finding]) -> list[Finding]:
    told = {fact for one in found if one.check in _TOTALS for fact in one.facts}
    listed = [piece for one in found if one.check == "listed_count" for piece in one.evidence]
    return [
        one for one in found
        if (one.check not in _IN_WORDS or not told.intersection(one.facts))
        and not (one.check == "count_sums" and any(
            piece.first <= other.last and other.first <= piece.last for piece in one.evidence for other in listed))
    ]  # fmt: skip


_TOTALS = frozenset({"draw_total", "injection_total", "parts_and_total", "tourniquet_times", "duration_times"})


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


def find(note: OperativeNote, key: str) -> Finding:
    """The finding of that key; a slug names one too where a single open finding has it. Raises BadDecision."""
    slug = key.replace("-", "_")
    named = [one for one in note.findings if one.key == key]
    named = named or [one for one in note.open_findings() if one.check == slug]
    if len(named) > 1:
        keys = ", ".join(one.key for one in named)
        raise BadDecision(f"{len(named)} findings are called {key}.", f"Name one: {keys}.")
    if not named:
        raise BadDecision("This finding no longer stands.", "Load the page anew, or list the findings again.")
    return replace(named[0], settled="")


def settle(note: OperativeNote, key: str, *, by: str, at: str, reason: str) -> Revision:
    """The decision that silences a finding of the note. `at`: ISO 8601. Raises BadDecision without a reason, without
    a name, on a signed note, and where there is no such finding."""
    one = find(note, key)
    _may_decide(note, by)
    if not reason.strip():
        raise BadDecision("A finding is settled only with a reason.", "Say why it may stand.")
    return Revision(target=one.key, action="settle", by=by, at=at, before=as_worked(one), reason=reason.strip())


def reopen(note: OperativeNote, key: str, *, by: str, at: str, reason: str) -> Revision:
    """The decision that takes back what `settle` decided; both stay recorded. Raises BadDecision as that does."""
    _may_decide(note, by)
    standing = _reasons(note.decisions)
    slug = key.replace("-", "_")
    named = [key] if key in standing else [target for target in standing if target.split(":")[0] == slug]
    if len(named) != 1:
        raise BadDecision(f"{len(named) or 'No'} decision(s) stand on {key}.", "List them with --decisions.")
    if not reason.strip():
        raise BadDecision("A decision is taken back only with a reason.", "Say why it does not hold.")
    before = standing[named[0]]
    return Revision(target=named[0], action="reopen", by=by, at=at, before=before.reason, reason=reason.strip())


def _may_decide(note: OperativeNote, by: str) -> None:
    if note.signature is not None:
        raise BadDecision("A signed note never changes.", "Begin an amendment.")
    if not by.strip():
        raise BadDecision("Nobody is named as the one who decides.", "Name a person.")


def _reasons(decisions: Iterable[Revision]) -> dict[str, Revision]:
    """The last decision on each finding, taken back ("ask", "reopen") or held ("settle")."""
    last: dict[str, Revision] = {}
    for decision in decisions:
        if decision.action == "settle" and decision.reason.strip():
            last[decision.target] = decision
        elif decision.action in ("ask", "reopen"):
            last.pop(decision.target, None)
    return last


def _settled(one: Finding, reasons: dict[str, Revision]) -> str:
    """The recorded reason, if the finding still says what was decided on; another sum needs a new decision."""
    decision = reasons.get(one.key)
    if decision is None or (decision.before and decision.before != as_worked(one)):
        return ""
    return decision.reason
