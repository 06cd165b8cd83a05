"""What every check is, and the arithmetic that several of them share.

A check is a module of this folder; its name is the finding's `check` slug. It has `MEANING` (one plain sentence
for DEVELOPERS.md and `voxop checks`), and `check(note, grammar) -> list[Finding]`, a pure function that reads
facts and never changes them. Its cases lie in tests/cases/checks/<name>/: at least one that fires and one that
stays silent.

Severity: "blocking" where two statements about side, level, patient, drug or unit cannot both be right or a
device or count is said to be wrong; "warning" where numbers do not add up, a limit is passed or a required
element is missing; "note" where a check cannot be sure.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from typing import Protocol

from pipeline import quantities, tokens
from pipeline.body_parts import related_sites as related_sites
from pipeline.conversion import convert
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import NOT_GIVEN as NOT_GIVEN
from pipeline.records import Evidence, Fact, Finding, Severity, Token, Word
from pipeline.rows import Concept

# Of these a person has two. Common practice, no source.
EACH_OF_TWO = re.compile(
    r"\b(?:each|either|both|per) (?:side|eye|ear|knee|hip|shoulder|elbow|wrist|hand|ankle|foot|groin|breast|tonsil|"
    r"thigh|cheek|buttock|arm|leg|heel)s?\b|\bboth sides\b", re.I,
)  # fmt: skip
# "about 20" agrees with 18 to 22. Convention of this project, no source.
ABOUT = Decimal("0.1")

# Kinds of which there is one value in a note, and how much two of them matter.
ONE_VALUE: dict[str, Severity] = {
    "blood_loss": "warning", "patient_weight": "warning", "patient_age": "warning", "patient_identifier": "blocking",
    "patient_sex": "warning", "handedness": "note", "date": "warning", "irrigation_deficit": "warning",
    "tourniquet_pressure": "note", "anticoagulant_share": "warning", "draw_count": "warning", "urgency": "note",
}  # fmt: skip
_UNIT_WORDS = {
    "[USP'U]": "units", "[IU]": "international units", "[iU]": "international units", "U": "units",
    "mm[Hg]": "mmHg", "cm[H2O]": "cmH2O", "ug": "micrograms", "[lb_av]": "lb", "[in_i]": "in", "{gauge}": "gauge",
    "[Ch]": "Fr", "{turn}": "turns", "{turns}": "turns", "deg": "degrees", "d": "days", "wk": "weeks",
    "mo": "months", "a": "years", "[USP'U]/mL": "units/mL", "[IU]/mL": "international units/mL",
    "[iU]/mL": "international units/mL", "ug/mL": "micrograms/mL", "[USP'U]/kg": "units/kg",
    "[IU]/kg": "international units/kg", "[iU]/kg": "international units/kg", "ug/kg": "micrograms/kg",
    "Cel": "degrees Celsius",
}  # fmt: skip


class Check(Protocol):
    MEANING: str

    def check(self, note: OperativeNote, grammar: Grammar) -> list[Finding]: ...


def placed(made: Finding, where: Evidence) -> Finding:
    """The finding with the words it came from, where no fact gave it any."""
    return made if made.evidence else replace(made, evidence=(where,))


def beside(made: Finding, where: Evidence) -> Finding:
    """The finding with words of its own after those of its facts."""
    return replace(made, evidence=(*made.evidence, where))


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


def rounded(value: Decimal, places: int = 2) -> str:
    """A computed decimal, rounded to at most that many places, for messages."""
    return plain(round(value, places))


def unit_words(ucum: str | None) -> str:
    """A UCUM code as people write it; "" for None."""
    return "" if ucum is None else _UNIT_WORDS.get(ucum, ucum)


def amount(value: Decimal, unit: str | None) -> str:
    """ "20 mL", "250 mmHg"; the number alone without a unit."""
    words = unit_words(unit)
    return f"{plain(value)} {words}".strip() if words != "%" else f"{plain(value)} %"


def shown(fact: Fact) -> str:
    """The number of a fact as said: "5 mL", "20 to 30 mL", "about 5 mL"; its text where it has no number."""
    mark = {"~": "about ", "<": "less than ", ">": "more than ", "<=": "at most ", ">=": "at least "}
    before = mark.get(fact.comparator or "", "")
    if fact.value is not None:
        return before + amount(fact.value, fact.unit)
    if fact.low is not None and fact.high is not None:
        return f"{before}{plain(fact.low)} to {amount(fact.high, fact.unit)}"
    return fact.text or ""


def same_name(name: str | None) -> str:
    """A concept id with one spelling: "tourniquet-up" and "tourniquet_up" are the same."""
    return (name or "").replace("-", "_")


def called(fact: Fact, grammar: Grammar, default: str = "") -> str:
    """The label of the concept that a fact is about, in lower case unless it is an abbreviation."""
    kind = grammar.tables.get("kinds", {}).get(fact.kind)
    row = grammar.tables.get(getattr(kind, "table", ""), {}).get(fact.name or "")
    text = row.name if row is not None else (fact.name or "").replace("-", " ").replace("_", " ")
    text = text or fact.text or default
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def prepared(fact: Fact) -> bool:
    """Whether a medicine was only said to be drawn up or made ready."""
    return fact.role == "prepared" or (fact.status == "planned" and any("prepared" in doubt for doubt in fact.doubts))


def given(note: OperativeNote, *kinds: str) -> list[Fact]:
    """Facts of these kinds that were done: performed, affirmed, and not prepared, discarded, held or a trial."""
    return [
        fact
        for fact in note.of(*kinds)
        if fact.status == "performed" and fact.certainty == "affirmed" and fact.role not in NOT_GIVEN
    ]


def read(passage: Passage) -> tuple[Token, ...]:
    """The tokens of a sentence with its numbers read, without what a spoken correction took back."""
    first, struck = passage.evidence.first, _NONE
    if passage.taken_back:
        struck = frozenset([at - first for one in passage.taken_back for at in range(one.first, one.last + 1)])
    return _read(passage.text, passage.evidence.last - first + 1, struck)


_NONE: frozenset[int] = frozenset()


def tokenized(text: str) -> tuple[Token, ...]:
    """The tokens of a few words with their numbers read."""
    return _read(text, len(text.split()), _NONE)


@lru_cache(maxsize=256)
def _read(text: str, length: int, struck: frozenset[int]) -> tuple[Token, ...]:
    """Kept for the checks that read the same sentence after one another."""
    parts = text.split()
    if not struck:
        return tuple(quantities.merge(tokens.of_parts(parts)))
    if len(parts) != length:
        return ()
    words = [Word(at, part, at) for at, part in enumerate(parts) if at not in struck]
    return tuple(quantities.merge(tokens.tokenize(words)))


@dataclass(frozen=True, slots=True)
class Span:
    """What a statement allows: low <= x <= high; None = open on that side."""

    low: Decimal | None
    high: Decimal | None

    def __add__(self, other: Span) -> Span:
        return Span(_both(self.low, other.low), _both(self.high, other.high))

    def times(self, factor: Decimal) -> Span:
        return Span(
            None if self.low is None else self.low * factor, None if self.high is None else self.high * factor
        )

    def meets(self, other: Span, slack: Decimal = Decimal(0)) -> bool:
        """Whether one number could satisfy both, give or take `slack`."""
        too_low = self.high is not None and other.low is not None and self.high + slack < other.low
        too_high = self.low is not None and other.high is not None and self.low - slack > other.high
        return not (too_low or too_high)


def _both(first: Decimal | None, second: Decimal | None) -> Decimal | None:
    return None if first is None or second is None else first + second


def span(fact: Fact, unit: str | None = None) -> Span | None:
    """What the number of a fact allows, in `unit` (the fact's own where None); None if it cannot be said."""
    low = fact.low if fact.low is not None else fact.value
    high = fact.high if fact.high is not None else fact.value
    if low is None or high is None:
        return None
    if unit is not None and unit != fact.unit:
        if fact.unit is None:
            return None
        try:
            low, high = convert(low, fact.unit, unit), convert(high, fact.unit, unit)
        except ValueError:
            return None
    if fact.comparator == "~":
        return Span(low - abs(low) * ABOUT, high + abs(high) * ABOUT)
    if fact.comparator in ("<", "<="):
        return Span(Decimal(0), high)
    if fact.comparator in (">", ">="):
        return Span(low, None)
    return Span(low, high)


def exact(fact: Fact, unit: str) -> Decimal | None:
    """The single number of a fact in `unit`; None for a range, a bound, or a unit that does not convert."""
    if fact.value is None or fact.comparator not in (None, "~") or fact.unit is None:
        return None
    try:
        return convert(fact.value, fact.unit, unit)
    except ValueError:
        return None


def as_millilitres(fact: Fact) -> Fact:
    """A volume for a sum with others; one that was said without a unit as it was said (`unit_missing` asks for it)."""
    return replace(fact, unit="mL") if fact.unit is None else fact


def added(spans: Sequence[Span]) -> Span:
    """The sum of what several statements allow."""
    total = Span(Decimal(0), Decimal(0))
    for one in spans:
        total = total + one
    return total


def span_words(one: Span, unit: str | None) -> str:
    """A span in words: "19 mL", "18 to 22 mL", "more than 5 mL"."""
    if one.low is not None and one.high is not None:
        if one.low == one.high:
            return amount(round(one.low, 4), unit)
        return f"{rounded(one.low, 4)} to {amount(round(one.high, 4), unit)}"
    if one.low is not None:
        return f"at least {amount(round(one.low, 4), unit)}"
    return f"at most {amount(round(one.high or Decimal(0), 4), unit)}"


def site_of(fact: Fact, grammar: Grammar) -> Concept | None:
    """The row of sites.toml that a fact is about: its body site, its own name, or the site of its concept."""
    sites = grammar.table("sites", Concept)
    if fact.body_site:
        row = _sites_by_name(grammar).get(fact.body_site.lower())
        if row is not None:
            return row
    if fact.name in sites:
        return sites[fact.name or ""]
    kind = grammar.tables.get("kinds", {}).get(fact.kind)
    concept = grammar.tables.get(getattr(kind, "table", ""), {}).get(fact.name or "")
    return sites.get(getattr(concept, "site", ""))


@lru_cache(maxsize=4)
def _sites_by_name(grammar: Grammar) -> dict[str, Concept]:
    """Rows of sites.toml by id, name and phrase; the first row that has a name keeps it."""
    found: dict[str, Concept] = {}
    for row in grammar.table("sites", Concept).values():
        for name in (row.id, row.name.lower(), *row.say):
            found.setdefault(name, row)
    return found
