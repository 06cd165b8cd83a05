"""What is told of one side and of the other with its number only: "on the right the effusion was drained, eighteen
millilitres, on the left four".

A number that no extractor took and that the words give a side of its own is what the number of the other side is, where
that one is told in the same sentence or in the one before. Nothing is lent where the other side has more than one such
number, where the units are not alike, or where the statement says more than a side, a part of the body and the number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline import laterality, sidewise
from pipeline.extractors.base import make, mentions, quantities, scope_at
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Quantity, Reading, Sentence

_KINDS = frozenset({
    "fluid_out", "injection_volume", "medication_volume", "medication_dose", "measurement", "draw", "tourniquet_time",
    "tourniquet_pressure", "draw_count", "harvest_total", "pressure", "injection_depth", "device_size", "device_count",
    "blood_loss", "incision_length", "injection_needle", "drain_size", "specimen_count",
})  # fmt: skip
_FORMS = frozenset({"number", "range", "fraction"})
_LONG = 40  # tokens; in a longer stretch a side may be of anything
# What a statement of nothing but a side and its number may hold besides.
_AND = frozenset(
    "and then on the in at for with only just about again another left right side knee , . ; : - was".split()
)


def fill(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, and those of the other side beside them. Pure; order kept, new ones at the end."""
    result = list(facts)
    before: Sentence | None = None
    for sentence in reading.sentences:
        sided = sidewise.told(sentence, grammar) or bool(before and laterality.sides(sentence, grammar))
        for index, quantity in quantities(sentence) if sided else ():
            like = sidewise.parallel(sentence, grammar).get(index)
            if like is not None and not [one for one in _of(result, sentence, index, quantity) if not _weak(one)]:
                result = _from_like(result, reading, sentence, index, quantity, like, grammar) or result
                continue
            past = scope_at(sentence, "status", index, "performed") != "performed"
            if quantity.form not in _FORMS or past:
                continue
            if not all(_weak(one) for one in _of(result, sentence, index, quantity)):
                continue
            result = _from_sentence(result, reading, sentence, index, quantity, grammar) or (
                _from_before(result, reading, sentence, index, quantity, before, grammar) if before else None
            ) or result  # fmt: skip
        before = sentence
    return result


def _weak(fact: Fact) -> bool:
    """A length or a time that is told of nothing by name."""
    return fact.kind in ("duration", "measurement") and fact.name in (None, "size") and fact.group is None


_SIDES = frozenset({"l", "r", "left", "right"})


def _of(facts: Sequence[Fact], sentence: Sentence, index: int, quantity: Quantity) -> list[Fact]:
    """Facts that hold the number at a token."""
    token, said = sentence.tokens[index], (quantity.value, quantity.low, quantity.high)
    return [
        fact for fact in facts
        if (fact.value, fact.low, fact.high) == said
        and any(piece.first <= token.first and token.last <= piece.last for piece in (fact.evidence, *fact.also))
    ]  # fmt: skip


def _from_like(
    facts: list[Fact], reading: Reading, sentence: Sentence, index: int, quantity: Quantity,
    like: tuple[Laterality, int], grammar: Grammar,
) -> list[Fact] | None:  # fmt: skip
    """From the number of the other side that is told alike: "R 58 min, L 63"."""
    side, at = like
    other = sentence.tokens[at].quantity
    start = max((one.first for one in laterality.sides(sentence, grammar) if one.first < index), default=index)
    named = any(m.table not in ("sites", "sides") and start <= m.first < index for m in sentence.mentions)
    if other is None or named or scope_at(sentence, "status", index, "performed") != scope_at(
        sentence, "status", at, "performed"
    ):
        return None
    others = _of(facts, sentence, at, other)
    if all(_weak(one) for one in others) and (
        not any(one.text for one in others) or any(one.text for one in _of(facts, sentence, index, quantity))
    ):
        return None
    return _lent(facts, others, reading, sentence, index, quantity, side, alike=True)


def _from_sentence(
    facts: list[Fact], reading: Reading, sentence: Sentence, index: int, quantity: Quantity, grammar: Grammar
) -> list[Fact] | None:
    """From the number of the other side in the same sentence."""
    side = sidewise.side_of(sentence, index, grammar) if len(sentence.tokens) <= _LONG else None
    if side is None:
        return None
    others: list[Fact] = []
    for at, other in quantities(sentence, quantity.dimension):
        if at < index and sidewise.side_of(sentence, at, grammar) not in (None, side):
            others += _of(facts, sentence, at, other)
    return _lent(facts, others, reading, sentence, index, quantity, side)


def _from_before(
    facts: list[Fact], reading: Reading, sentence: Sentence, index: int, quantity: Quantity, before: Sentence,
    grammar: Grammar,
) -> list[Fact] | None:  # fmt: skip
    """From the one number of the sentence before, where this one says a side and a number and nothing else."""
    said = {one.value for one in laterality.sides(sentence, grammar)}
    told = {one.value for one in laterality.sides(before, grammar)}
    if len(said) != 1 or len(told) != 1 or {*said, *told} != {"left", "right"} or not _bare(sentence, index):
        return None
    others: list[Fact] = []
    for at, other in quantities(before, quantity.dimension):
        others += _of(facts, before, at, other)
    return _lent(facts, others, reading, sentence, index, quantity, "left" if "left" in said else "right")


def _bare(sentence: Sentence, index: int) -> bool:
    sites = {at for one in mentions(sentence, "sites") for at in range(one.first, one.last + 1)}
    return all(at == index or at in sites or token.norm in _AND for at, token in enumerate(sentence.tokens))


def _lent(
    facts: list[Fact], others: list[Fact], reading: Reading, sentence: Sentence, index: int, quantity: Quantity,
    side: Laterality, *, alike: bool = False,
) -> list[Fact] | None:  # fmt: skip
    """The facts with the one of the other side told of this side too; None where it is not one, or not alike. `alike`:
    told in a row with the other, so that one of the two may stand without its unit."""
    others = [one for one in others if one.kind in _KINDS and not _weak(one)] or others
    if len(others) != 1 or others[0].kind not in _KINDS or (
        others[0].unit != quantity.unit and not (alike and None in (others[0].unit, quantity.unit))
    ):
        return None
    source = others[0]
    if source.laterality == side or source.scale in ("total", "per_side") or source.status == "historical":
        return None
    away: Laterality = "left" if side == "right" else "right"
    weak = [one for one in _of(facts, sentence, index, quantity) if _weak(one)]
    kept = [replace(fact, laterality=away) if fact is source else fact for fact in facts if fact not in weak]
    doubts = () if alike else ("what it is was not said again; taken as what was said of the other side",)
    words = [word for word in (source.text or "").split() if word.lower() not in _SIDES] if alike else []
    text = " ".join(words) or None
    more = make(
        source.kind, reading, sentence, index, index, name=source.name, text=text, value=quantity.value,
        low=quantity.low, high=quantity.high, comparator=quantity.comparator, unit=quantity.unit, laterality=side,
        role=source.role, body_site=source.body_site, scale=source.scale, group=None,
        doubts=(*quantity.doubts, *doubts),
    )  # fmt: skip
    return [*kept, more]
