"""Looks up configured limits and required elements for the profile of a note. Configuration, never advice."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache

from pipeline.conversion import convertible
from pipeline.grammar import Grammar
from pipeline.rows import Element, Limit

_STRICTNESS = {"note": 0, "warning": 1, "blocking": 2}


def lineage(profile: str, grammar: Grammar) -> tuple[str, ...]:
    """The profile and everything that it includes, nearest first. Raises UnknownName."""
    return _lineage(profile, grammar)


@lru_cache(maxsize=64)
def _lineage(profile: str, grammar: Grammar) -> tuple[str, ...]:
    found: list[str] = []
    waiting = [profile]
    while waiting:
        ident = waiting.pop(0)
        if ident not in found:
            found.append(ident)
            waiting += grammar.profile(ident).includes
    return tuple(found)


def limits(
    grammar: Grammar, profile: str, what: str, *, kind: str = "", name: str = "", drug: str = "", unit: str = ""
) -> list[Limit]:
    """Limits that apply, the most specific first: named before general, own profile before included before "".

    `unit`: UCUM; when given, only limits in a unit that converts to it. Raises UnknownName for the profile.
    """
    return list(_limits(grammar, profile, what, kind, name, drug, unit))


@lru_cache(maxsize=4096)
def _limits(
    grammar: Grammar, profile: str, what: str, kind: str, name: str, drug: str, unit: str
) -> tuple[Limit, ...]:
    order = (*lineage(profile, grammar), "")
    found = [
        row
        for row in _index(grammar).get((what, kind, drug), ())
        if row.name_of in ("", name)
        and row.profile in order
        and (not unit or unit == row.unit or convertible(row.unit, unit))
    ]
    return tuple(sorted(found, key=lambda row: (row.name_of == "", order.index(row.profile), row.id)))


@lru_cache(maxsize=4)
def _index(grammar: Grammar) -> dict[tuple[str, str, str], list[Limit]]:
    """Rows by (what, kind, drug)."""
    found: dict[tuple[str, str, str], list[Limit]] = {}
    for row in grammar.table("limits", Limit).values():
        found.setdefault((row.what, row.kind, row.drug), []).append(row)
    return found


def limit(grammar: Grammar, profile: str, what: str, **which: str) -> Limit | None:
    """The first of `limits`, or None when nothing is configured."""
    found = limits(grammar, profile, what, **which)
    return found[0] if found else None


def setting(grammar: Grammar, profile: str, name: str, default: str = "") -> str:
    """A setting of the profile, else of the nearest profile that it includes, else the default."""
    for ident in lineage(profile, grammar):
        settings = grammar.profile(ident).settings
        if name in settings:
            return settings[name]
    return default


def number(grammar: Grammar, profile: str, what: str, fallback: str) -> Decimal:
    """The value of a limit that belongs to no kind (a tolerance), or the fallback where none is configured."""
    row = limit(grammar, profile, what)
    return row.value if row is not None and row.value is not None else Decimal(fallback)


def elements(grammar: Grammar, profile: str) -> list[Element]:
    """Required elements of the profile and what it includes; of two with the same id the stricter rule holds."""
    return list(_elements(profile, grammar))


@lru_cache(maxsize=64)
def _elements(profile: str, grammar: Grammar) -> tuple[Element, ...]:
    merged: dict[str, Element] = {}
    for ident in lineage(profile, grammar):
        for element in grammar.profile(ident).elements:
            known = merged.get(element.id)
            if known is None:
                merged[element.id] = element
                continue
            stricter = max((known, element), key=lambda one: (not one.if_any, _STRICTNESS[one.severity]))
            merged[element.id] = known.model_copy(
                update={
                    "if_any": stricter.if_any,
                    "severity": stricter.severity,
                    "source": "; ".join(dict.fromkeys(part for part in (known.source, element.source) if part)),
                }
            )
    return tuple(merged.values())
