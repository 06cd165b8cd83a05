"""What was thrown away of anything, where no harvest is told."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import _account_parts, _account_roles, _direction, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

_COST = -12  # before any other claim


def told(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Ten mils of bupivacaine were drawn up, six were given and four thrown away": what was thrown away of anything.
    """
    if not cues.has(sentence, grammar, "discarded") and not sentence.says(_THROWN):
        return []
    return [
        base.claim("discarded_volume", reading, sentence, amount.index, amount.index, amount.index, _COST,
                   unit=amount.quantity.unit, **_direction.as_ordered(sentence, amount.index))
        for amount in _account_parts.amounts(sentence)
        if not amount.bare and (_direction.thrown(sentence, amount.index) or _account_roles.is_lost(amount))
    ]  # fmt: skip


_THROWN = frozenset({"threw", "throw", "thrown", "wasted"})
