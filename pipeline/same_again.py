"""What one side got and the other got again: "right knee: forty milligrams of triamcinolone. Left knee the same."

Doses and volumes that the first side was given are given to it by side, and stand once more for the other side, with
a doubt that says so. What hangs on them (drug, strength) is shared. Nothing is repeated where numbers are said again,
where the sides are not told apart, or where "the same" is of something else ("the same size").
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import laterality
from pipeline.extractors.base import token_evidence
from pipeline.grammar import Grammar
from pipeline.laterality import Side
from pipeline.records import Fact, Laterality, Reading, Sentence, replace
from pipeline.standing import is_other, opposite

_AMOUNTS = frozenset({"medication_dose", "medication_volume", "injection_volume"})
_SAME = frozenset({"same", "likewise", "ditto", "idem"})
_ENDS = frozenset({"again", "dose", "doses", "amount", "volume", "injection", "mixture", "was", "were", "done", "given",
                   "injected", "there", "on", "for", "in", "thing", "too", "also"})  # fmt: skip
_TO_SIDE = frozenset({"the", "at", "to", "then", "side", ":", ","})
_PARTS = frozenset("side knee hip shoulder wrist elbow ankle hand foot eye ear groin".split())
_LONG = 12  # words of a statement that only says "the same"


def repeat(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, with those of the first side repeated for the second. Pure; order kept, repeated ones at the end."""
    result = list(facts)
    before: tuple[Sentence, list[Side]] | None = None
    for sentence in reading.sentences:
        said = [side for side in _resolved(sentence, before, grammar) if side.value in ("left", "right")]
        at = _same(sentence, said)
        if at is not None and len(said) == 1 and before is not None and len(before[1]) == 1:
            source, other = before[0], before[1][0].value
            if {other, said[0].value} == {"left", "right"} and len(sentence.tokens) <= _LONG:
                span = source.tokens[0].first, source.tokens[-1].last
                result = _again(result, reading, sentence, span, other, said[0])
        elif at is not None and len(said) == 2 and {said[0].value, said[1].value} == {"left", "right"}:
            span = sentence.tokens[0].first, sentence.tokens[said[1].first].first - 1
            result = _again(result, reading, sentence, span, said[0].value, said[1])
        before = (sentence, said) if said else None
    return result


def _resolved(
    sentence: Sentence, before: tuple[Sentence, list[Side]] | None, grammar: Grammar
) -> list[Side]:
    """The sides of a sentence; "the other side" is the other one than the sentence before said."""
    sides = laterality.sides(sentence, grammar)
    other = opposite(before[1][0].value) if before is not None and len(before[1]) == 1 else None
    return [replace(side, value=other) if side.value is None and is_other(sentence, side) else side for side in sides]


def _same(sentence: Sentence, said: list[Side]) -> int | None:
    """The token of "same" behind the last side, where it says that as much was given."""
    if not said:
        return None
    tokens = sentence.tokens
    if tokens[0].norm in _SAME | {"the"} and len(said) == 1 and all(
        token.norm in _SAME | _ENDS | _TO_SIDE for token in tokens[: said[0].first]
    ) and all(token.punctuation or token.norm in _ENDS or token.norm in _PARTS for token in tokens[said[0].last + 1 :]):
        return 0  # "ditto left", "the same was done on the left"
    for at in range(said[-1].first + 1, len(tokens)):  # "left the same" is one saying
        if tokens[at].quantity is not None:
            return None
        if tokens[at].norm in _SAME:
            if any(one.quantity is not None and one.quantity.dimension in ("volume", "mass") for one in tokens[at:]):
                return None  # "L hip: same, 6 mL in"
            after = tokens[at + 1] if at + 1 < len(tokens) else None
            return at if after is None or after.punctuation or after.norm in _ENDS else None
    return None


def _again(
    facts: list[Fact], reading: Reading, sentence: Sentence, span: tuple[int, int], side: Laterality | None, other: Side
) -> list[Fact]:
    """Facts of the span by their side, and once more for the other."""
    moved: list[Fact] = []
    more: list[Fact] = []
    given = {fact.value for fact in facts if fact.kind in _AMOUNTS and span[0] <= fact.evidence.first <= span[1]}
    behind = [token.quantity.value for token in sentence.tokens[other.last + 1 :] if token.quantity is not None]
    if any(value not in given for value in behind):
        return facts  # "left knee: same, but twenty milligrams"
    told = token_evidence(reading, sentence, other.first, len(sentence.tokens) - 1)
    for fact in facts:
        ours = (
            fact.kind in _AMOUNTS and span[0] <= fact.evidence.first and fact.evidence.last <= span[1]
            and fact.laterality in (None, side) and fact.scale not in ("total", "per_side")
            and fact.done
        )  # fmt: skip
        moved.append(replace(fact, laterality=side) if ours else fact)
        if ours:
            doubt = f"said as the same as on the {side}"
            more.append(replace(fact, laterality=other.value, evidence=told, doubts=(*fact.doubts, doubt)))
    return moved + more
