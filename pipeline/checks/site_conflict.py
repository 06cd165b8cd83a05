"""The site of the operation across procedure, diagnosis, consent and time-out: another joint, another finger."""

from __future__ import annotations

import re

from pipeline.checks.base import called, finding, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Concept

MEANING = "The digit or joint of the diagnosis, consent or time-out is not that of the procedure."

# Words for any digit: they agree with every one.
_ANY_DIGIT = frozenset({"digit", "finger", "toe", "fingertip", "ray", "nail-bed"})
_FIRM = ("time_out", "site_marking", "consent", "preop_diagnosis", "postop_diagnosis", "diagnosis")


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    return _by_sites(note, grammar) or _bare_fingers(note)


def _by_sites(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    sites = grammar.table("sites", Concept)
    operated = [
        (fact, site)
        for fact in note.of("procedure")
        if fact.certainty == "affirmed" and fact.status in ("performed", "planned")
        and (site := site_of(fact, grammar)) is not None
    ]  # fmt: skip
    harvest = {site.id for fact in note.of("harvest_site") if (site := site_of(fact, grammar)) is not None}
    if not operated or _several(note, operated):
        return []
    found: list[Finding] = []
    for fact in note.of(*_FIRM):
        site = site_of(fact, grammar)
        if site is None or fact.certainty == "negated" or fact.status in ("historical", "other_person"):
            continue
        same_sort = [(one, place) for one, place in operated if place.group == site.group]
        if site.group not in ("joint", "digit") or not same_sort or len(same_sort) != len(operated):
            continue
        if {site.id, *(place.id for _, place in operated)} & _ANY_DIGIT:
            continue
        if site.id in harvest or any(_related(site, place, sites) for _, place in operated):
            continue
        found.append(_told(same_sort[0][0], same_sort[0][1], fact, site, grammar))
    return found


_FINGER = r"(?:thumb|index|middle|long|ring|little|small)(?: fingers?)?"
# "R ring + small", "left index and middle": names of fingers in a row behind a side, which no entry holds as a site.
_ROW = re.compile(rf"\b(?:left|right|L|R) ({_FINGER}(?:(?: ?[+&/,] ?| and ){_FINGER})+)(?=[\s.,;:]|$)", re.IGNORECASE)
_ONE = re.compile(r"thumb|index|middle|long|ring|little|small", re.IGNORECASE)
_SAME_FINGER = {"little": "small", "long": "middle"}
_AGREED = ("time_out", "site_marking", "consent")
_TITLES = frozenset({"procedure", "diagnosis", "preop-diagnosis", "postop-diagnosis"})


def _bare_fingers(note: OperativeNote) -> list[Finding]:
    """Fingers of the time-out that are not among those of the operation and its diagnosis."""
    titles = " . ".join(one.text for one in note.sections.description if one.section in _TITLES)
    named = _fingers(titles)
    for fact in note.of(*_AGREED) if named else ():
        other = _fingers(fact.evidence.heard) - named
        if other and fact.certainty == "affirmed":
            return [finding(
                "site_conflict", "blocking", f"The {' and '.join(sorted(named))} fingers are operated on, but the "
                f"{' and '.join(sorted(other))} was said as well ({fact.kind.replace('_', ' ')}).", [fact],
                ask="Say which is right.",
            )]  # fmt: skip
    return []


def _fingers(text: str) -> set[str]:
    names = {name.lower() for row in _ROW.finditer(text) for name in _ONE.findall(row[1])}
    return {_SAME_FINGER.get(name, name) for name in names}


def _several(note: OperativeNote, operated: list[tuple[Fact, Concept]]) -> bool:
    """Whether several operations are listed, one of them without a site: it may be that of the other diagnosis."""
    listed = [fact for fact in note.of("procedure") if fact.certainty == "affirmed" and fact.status == "performed"]
    return len(listed) > _FEW and any(all(fact is not one for one, _ in operated) for fact in listed)


_FEW = 2


def _related(first: Concept, second: Concept, sites: object) -> bool:
    table = sites if isinstance(sites, dict) else {}
    return bool(_chain(first, table) & _chain(second, table))


def _chain(site: Concept, table: dict[str, Concept]) -> set[str]:
    """The site and what it is part of, up to but without the whole limb or region."""
    found: set[str] = set()
    here: Concept | None = site
    while here is not None and here.id not in found and (here.group in ("joint", "digit") or here is site):
        found.add(here.id)
        here = table.get(here.within)
    return found


def _told(procedure: Fact, place: Concept, fact: Fact, site: Concept, grammar: Grammar) -> Finding:
    digit = site.group == "digit"
    return finding(
        "site_conflict",
        "blocking" if digit else "warning",
        f"{called(procedure, grammar, 'The operation')} is on the {place.name.lower()}, "
        f"but the {site.name.lower()} was said as well ({fact.kind.replace('_', ' ')}).",
        [procedure, fact],
        ask="Say which is right.",
    )
