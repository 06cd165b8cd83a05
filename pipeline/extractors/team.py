"""Who did what: role (row of team.toml) in `name`, the person in `text`."""

from __future__ import annotations

from pipeline import people
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("team_member",)

_REACH = 4
_NOBODY = frozenset({"no", "without", "nil", "unassisted"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        persons = people.persons(sentence)
        roles = list(base.mentions(sentence, "team"))
        taken: set[int] = set()
        for role in roles:
            if role.first and sentence.tokens[role.first - 1].norm in _NOBODY:
                continue  # "Doctor Sund, no assistant"
            near = people.beside(sentence, role.first, role.last, persons, _REACH, taken)
            if near is None or near.name.lower() in ("none", "nil"):
                continue
            if any(near.first <= m.first <= near.last for m in base.mentions(sentence, "anaesthesia")):
                continue  # "Anaes: GA + block"
            taken.add(near.first)
            facts.append(
                base.make("team_member", reading, sentence, min(role.first, near.first), max(role.last, near.last),
                          name=role.id, text=near.name, status="performed", certainty="affirmed")
            )  # fmt: skip
        facts += _doing(reading, sentence, persons, taken)
    return facts


def _doing(reading: Reading, sentence: Sentence, persons: list[people.Person], taken: set[int]) -> list[Fact]:
    """ "Doctor Sefton operating, Doctor Marsh assisting"."""
    facts: list[Fact] = []
    for person in persons:
        after = sentence.tokens[person.last + 1].norm if person.last + 1 < len(sentence.tokens) else ""
        if person.first not in taken and after in people.DOING:
            facts.append(
                base.make("team_member", reading, sentence, person.first, person.last + 1, name=people.DOING[after],
                          text=person.name, status="performed", certainty="affirmed")
            )  # fmt: skip
    return facts
