"""A number that is said as one with its thing has the state of the thing: "two anchors, not needed", "no forty mg of
kenalog". A word that denies or plans a thing often reaches no further than to its name."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.records import Fact, replace

_THING = {"device_count": "device", "device_size": "device", "medication_dose": "medication",
          "medication_volume": "medication", "medication_concentration": "medication"}  # fmt: skip
_SHORT = 5  # words of a number with its name
DOUBT = "its number was not said to be so itself"


def share(facts: Sequence[Fact]) -> list[Fact]:
    """The facts, numbers that stood as done with the state of their thing where that was not done. Pure."""
    things: dict[tuple[str, str | None], Fact] = {
        (fact.kind, fact.group): fact for fact in facts if fact.kind in _THING.values() and fact.group
    }  # fmt: skip
    numbers = Counter((fact.kind, fact.group) for fact in facts)
    return [_shared(fact, things, numbers) for fact in facts]


def _shared(fact: Fact, things: dict[tuple[str, str | None], Fact], numbers: Counter[tuple[str, str | None]]) -> Fact:
    thing = things.get((_THING.get(fact.kind, ""), fact.group))
    if thing is None or not fact.done or thing.done or numbers[fact.kind, fact.group] > 1:
        return fact
    told, name = fact.evidence, thing.evidence
    if told.last - told.first >= _SHORT or told.last < name.first or told.first > name.last:
        return fact
    return replace(fact, status=thing.status, certainty=thing.certainty, doubts=(*fact.doubts, DOUBT))
