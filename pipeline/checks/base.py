"""What every check is.

A check is a module of this folder; its name is the finding's `check` slug. It has `MEANING` (one plain sentence
for DEVELOPERS.md and `voxop checks`), and `check(note, grammar) -> list[Finding]`, a pure function that reads facts and never
changes them. Its cases lie in tests/cases/checks/<name>/: at least one that fires and one that stays silent.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Protocol

from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Severity


class Check(Protocol):
    MEANING: str

    def check(self, note: OperativeNote, grammar: Grammar) -> list[Finding]: ...


def finding(
    check: str,
    severity: Severity,
    message: str,
    facts: Iterable[Fact] = (),
    *,
    ask: str = "",
    arithmetic: str = "",
    about: str = "",
) -> Finding:
    """A finding whose key is stable: the check, what it is about, and the facts concerned."""
    concerned = tuple(facts)
    key = ":".join(part for part in (check, about, "+".join(fact.id for fact in concerned)) if part)
    return Finding(
        check=check,
        severity=severity,
        message=message,
        key=key,
        ask=ask,
        arithmetic=arithmetic,
        facts=tuple(fact.id for fact in concerned),
        evidence=tuple(fact.evidence for fact in concerned),
    )


def plain(value: Decimal) -> str:
    """A decimal without exponent and without needless zeros, for arithmetic in messages ("5", "2.5")."""
    text = format(value, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
