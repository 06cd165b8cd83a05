"""Runs every check over a note and lays the recorded decisions over the findings."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from pipeline import plugins
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding, Revision
from pipeline.signout import SignOutItem, signout

__all__ = ["SignOutItem", "as_worked", "run_checks", "settle", "signout"]

_ORDER = {"blocking": 0, "warning": 1, "note": 2}


def run_checks(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """The findings of all checks, worst first, then in the order said. Pure: the same note, the same list.

    A finding that a recorded decision settles is kept with the reason in `settled`. Raises UnknownName for an
    unknown profile or family.
    """
    found: list[Finding] = []
    for module in plugins.every("pipeline.checks"):
        found += module.check(note, grammar)
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
