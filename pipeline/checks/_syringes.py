"""Draws that were told once for several syringes: "27 mL of marrow on 3 mL of ACD-A in each of two syringes"."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline.checks._spoken_counts import count
from pipeline.checks.base import read
from pipeline.note import OperativeNote
from pipeline.records import Fact, Quantity, Token

_VESSELS = frozenset({"syringe", "syringes", "tube", "tubes", "bag", "bags", "barrels"})
_TO_VESSEL, _MOST = 3, 12  # tokens from a count to what it counts; more syringes are not filled


def explain(note: OperativeNote, draws: Sequence[Fact], total: Fact) -> bool:
    """Whether a total is one draw as often as there were syringes, with or without what keeps it from clotting. Pure.
    """
    values = {draw.value for draw in draws if draw.value is not None}
    if len(values) != 1 or total.value is None or total.comparator is not None:
        return False
    (each,) = values
    near = [passage for passage in note.sections.description
            if passage.holds(total) or any(passage.holds(draw) for draw in draws)]  # fmt: skip
    agents = {fact.value for fact in note.of("medication_volume", given=True) if fact.value is not None and any(
        passage.holds(fact) for passage in near) and (fact.role in ("anticoagulant", "prime") or fact.name in _KEEP)}
    agents |= {value for passage in near for value in _agents(read(passage))}
    many = {number for passage in near for number in how_many(read(passage))}
    return each is not None and any(
        number * (each + agent) == total.value for number in many for agent in (Decimal(0), *agents)
    )


def hold(tokens: Sequence[Token], said: Quantity) -> bool:
    """Whether what was told for each of several syringes comes to a volume of the same sentence."""
    if said.value is None or not any(token.norm in ("each", "both", "every") for token in tokens):
        return False
    values = [one.value for token in tokens if (one := token.quantity) is not None and one.value is not None
              and one.dimension in ("volume", "") and one.form == "number" and one is not said]  # fmt: skip
    pairs = [*values, *(one + two for one, two in pairwise(values))]
    return any(number * value == said.value for number in how_many(tokens) for value in pairs)


_KEEP = frozenset({"acd-a", "sodium-citrate", "cpd", "heparin"})  # what marrow and blood are drawn into


def _agents(tokens: Sequence[Token]) -> set[Decimal]:
    """ "2 mL of heparin saline", which may be no entry."""
    return {
        quantity.value for at, token in enumerate(tokens) if (quantity := token.quantity) is not None
        and quantity.value is not None and quantity.unit == "mL"
        and {one.norm for one in tokens[at + 1 : at + 1 + _TO_VESSEL]} & _AGENTS
    }  # fmt: skip


_AGENTS = frozenset({"heparin", "heparinised", "heparinized", "citrate", "acd", "acd-a", "acda", "anticoagulant"})


def how_many(tokens: Sequence[Token]) -> set[int]:
    """Numbers of syringes, and how often something is said to have been done."""
    found: set[int] = set()
    for at, token in enumerate(tokens):
        quantity = token.quantity
        if token.norm in ("twice", "both"):
            found.add(2)
        elif quantity is not None and quantity.form == "times" and quantity.value is not None:
            found.add(int(quantity.value))
        elif (number := count(token)) is not None and 1 < number <= _MOST:
            ahead = [one.norm for one in tokens[at + 1 : at + 1 + _TO_VESSEL]]
            if set(ahead) & _VESSELS or ahead[:1] == ["times"]:
                found.add(number)
    return found
