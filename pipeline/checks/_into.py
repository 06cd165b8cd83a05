"""Volumes that went into the patient by the words of a sentence: "seven of it into the head, three into the joint"."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from pipeline.checks.base import read
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact

_INTO = frozenset({"into", "along", "around", "beneath", "behind"})
_NOT_INTO = frozenset(
    "saline syringe syringes tube tubes kit bag bags contrast water irrigation bowl cup minutes".split()
)
_AHEAD = 4  # tokens between a volume and its "into"


def shares(note: OperativeNote, passage: Passage, made: Fact) -> Iterator[Decimal]:
    """Volumes of a sentence, behind the words of the product, that went "into" something; bare numbers behind one."""
    tokens = read(passage)
    drugs = {fact.value for fact in note.of("medication_volume", "irrigation_in", "fluid_in", "medication_dose")
             if passage.holds(fact)}  # fmt: skip
    told = passage.holds(made)
    for at, token in enumerate(tokens[:-1]):
        quantity = token.quantity
        if quantity is None or quantity.value is None:
            continue
        if quantity.dimension == "volume" and quantity.unit == "mL" and quantity.value == made.value and told:
            told = False  # the product itself
            continue
        bare = quantity.dimension == "" and quantity.form == "number"
        if told or quantity.value in drugs or not (bare or quantity.unit == "mL"):
            continue
        ahead: list[str] = []
        for one in tokens[at + 1 : at + 1 + _AHEAD]:
            if one.quantity is not None or one.punctuation:
                break
            ahead.append(one.norm)
        into = next((place for place, norm in enumerate(ahead) if norm in _INTO), None)
        if into is None or (bare and ahead[:into] not in ([], ["went"], ["of", "it"], ["of", "this"], ["of", "that"])):
            continue
        behind = {one.norm for one in tokens[at + 2 + into : at + 6 + into]}
        if _NOT_INTO & (set(ahead) | behind) or "each" in behind | set(ahead):
            continue
        yield quantity.value
