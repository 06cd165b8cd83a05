"""Measures and lengths of time of which an operation has one, told twice and otherwise: the weight of a child or of
what was taken out, the ejection fraction, the time on bypass; and the sex of a child."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline.checks.base import finding, shown, span
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

_ONCE = frozenset({"birth-weight", "gestational-age", "ejection-fraction", "cold-ischaemia", "bypass", "withdrawal",
                   "decision-to-delivery", "circulatory-arrest"})  # fmt: skip
_TWINS = re.compile(r"\b(?:twins?|triplets?|second (?:baby|infant|child)|both (?:babies|infants)|baby [ab2])\b", re.I)
# A second run, or what was measured before and after. Common practice, no source.
_AGAIN = re.compile(r"\b(?:second|again|back on|further|additional|before|after|improved|post|pre|first|total)\b", re.I)


def measured_twice(note: OperativeNote) -> list[Finding]:
    """One finding for the first such measure. Pure."""
    for first, later in (*_pairs(note), *_weighed(note), *_children(note), *_transfused(note)):
        label = (first.name or "value").replace("-", " ")
        return [
            finding(
                "two_values", "warning",
                f"{label.capitalize()} was said twice and differently: {_words(first)} and {_words(later)}.",
                [first, later], arithmetic=f"{_words(first)} is not {_words(later)}", ask="Say which is right.",
            )
        ]  # fmt: skip
    return []


def _words(fact: Fact) -> str:
    return shown(fact).replace("{unit}", "units") or (fact.name or "").replace("-", " ")


def _differ(first: Fact, later: Fact) -> bool:
    one, other = span(first), span(later, first.unit)
    return one is not None and other is not None and not one.meets(other)


def _text(note: OperativeNote) -> str:
    return " ".join(passage.text for passage in note.sections.description)


def _pairs(note: OperativeNote) -> Iterator[tuple[Fact, Fact]]:
    told: dict[str, Fact] = {}
    for fact in note.of("measurement", "duration", given=True):
        if fact.name not in _ONCE or fact.doubts or _AGAIN.search(fact.evidence.heard):
            continue
        first = told.setdefault(fact.name, fact)
        if _differ(first, fact) and not (fact.name == "birth-weight" and _TWINS.search(_text(note))):
            yield first, fact


def _weighed(note: OperativeNote) -> Iterator[tuple[Fact, Fact]]:
    """What was taken out weighed twice: there are two weights in all, of one side, and one names what the other may."""
    weights = [fact for fact in note.of("measurement", given=True) if fact.name == "specimen-weight"]
    if len(weights) != 2 or any(fact.scale for fact in weights):
        return
    first, later = weights
    names = {(fact.text or "").lower() for fact in weights} - {""}
    other = next((fact for fact in weights if not fact.text), None)
    about = next((one.text.lower() for one in note.sections.description
                  if other is not None and one.holds(other)), "")  # fmt: skip
    if any(_APART.search(one.text) for one in note.sections.description for fact in weights if one.holds(fact)):
        return
    same = other is None or bool((names | {"specimen"}) & set(re.findall(r"[a-z]+", about)))
    sure = same and len(names) == 1 and not any(fact.doubts for fact in weights)
    if sure and first.laterality == later.laterality and (
        _differ(first, later) and len(note.of("specimen", given=True)) < _SEVERAL
    ):  # fmt: skip
        yield first, later


# Two things of one name. Common English usage, no source.
_APART = re.compile(r"\b(?:accessory|together|both|each|respectively|left\b.*\bright|right\b.*\bleft)\b", re.I | re.S)
_SEVERAL = 3  # specimens; two are often one that is named twice


def _children(note: OperativeNote) -> Iterator[tuple[Fact, Fact]]:
    children = {fact.name: fact for fact in note.of("finding", given=True)
                if fact.name in ("male-infant", "female-infant") and fact.certainty == "affirmed"}  # fmt: skip
    if len(children) == 2 and not _TWINS.search(_text(note)):
        first, later = sorted(children.values(), key=lambda fact: fact.evidence.first)
        yield first, later


_BLOOD = frozenset({"packed-cells", "fresh-frozen-plasma", "platelets", "cryoprecipitate"})
_HEADING = re.compile(r"^(?:[\w .-]{0,20} )?(?:intake|input|fluids?|blood|products|transfus\w*|ebl|loss)\b[\w ]{0,12}:",
                      re.IGNORECASE)  # fmt: skip


def _transfused(note: OperativeNote) -> Iterator[tuple[Fact, Fact]]:
    """More blood in the text than its heading has, or another total."""
    for name in _BLOOD:
        bags = [fact for fact in note.of("fluid_in", given=True) if fact.name == name and fact.value is not None]
        listed = [fact for fact in bags if any(
            one.holds(fact) and _HEADING.match(one.text) for one in note.sections.description)]  # fmt: skip
        for fact in bags if len(listed) == 1 else ():
            if fact is listed[0] or fact.unit != listed[0].unit or fact.value is None or listed[0].value is None:
                continue
            if fact.value > listed[0].value or fact.scale == "total" and fact.value != listed[0].value:
                yield listed[0], fact
