"""Weights of what was taken out or born, apart from that of the patient."""

from __future__ import annotations

from pipeline import cues, laterality
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence
from pipeline.rows import Concept

_NAMED_REACH = 22


def weighed(reading: Reading, sentence: Sentence, grammar: Grammar, index: int) -> list[Fact]:
    quantity = sentence.tokens[index].quantity
    if quantity is None or any(0 < m.first - index <= 3 for m in base.mentions(sentence, "drugs", "devices")):
        return []
    placenta = any(token.norm == "placenta" for token in sentence.tokens[max(0, index - 3) : index])
    child = not placenta and any(token.norm in _CHILD for token in sentence.tokens) and not any(
        quantity.unit in ("wk", "mo", "d") and at < index and sentence.tokens[at - 1].norm not in ("at", "of")
        and not is_gestation(quantity) for at, quantity in base.quantities(sentence, "time")
    )  # "baby boy, five weeks, 3.8 kilos": no weight of birth; "a girl born at 39 weeks, 3.4 kg"
    if child and _is_birth_weight(quantity):
        born = next(at for at, token in enumerate(sentence.tokens) if token.norm in _CHILD)
        return [base.claim("measurement", reading, sentence, index, min(index, born), max(index, born), _BORN,
                           name="birth-weight")]  # fmt: skip
    near = cues.nearest(sentence, grammar, index, "weighed")
    if placenta:
        return [base.claim("measurement", reading, sentence, index, index - 1, index, 6, name="specimen-weight")]
    organ = _organ(sentence, index)
    if organ is None and quantity.unit in ("g", "kg") and sentence.tokens[0].norm in ("specimen", "specimens"):
        organ = next((at for at in range(2, index) if sentence.tokens[at].norm in _ORGANS - {"specimen"}), None)
    if quantity.unit in ("g", "kg") and organ is not None and near is None:
        side, _ = laterality.side_for(sentence, organ, organ, grammar, own_only=True)
        return [base.claim("measurement", reading, sentence, index, organ, index, 6, name="specimen-weight",
                           text=sentence.tokens[organ].text, laterality=side)]  # fmt: skip
    body = quantity.unit not in ("g", "mg") and not cues.has(sentence, grammar, "specimen")
    beside = index > 0 and any(m.last == index - 1 for m in base.mentions(sentence, "specimens"))
    beside = beside or (index > 0 and sentence.tokens[index - 1].norm in ("specimen", "placenta"))
    if near is None and quantity.unit == "g" and (beside or (quantity.value or 0) >= _TISSUE):
        near = cues.nearest(sentence, grammar, index, "specimen", "specimen-weight")
    if body or near is None or near[0] > _NAMED_REACH + 20 * (near[1].id == "specimen"):
        return []
    price, hit = near
    behind = sentence.tokens[hit.last + 1 : hit.last + 4]
    own = any(token.quantity is not None and token.quantity.dimension == "mass" for token in behind)
    if hit.first > index and own and not any(token.norm in _SIDES for token in behind):
        return []  # "5 mg, weight 70 kg", but "right 640 g resected, left 515 g"
    name = "birth-weight" if child else "specimen-weight"
    return [base.claim("measurement", reading, sentence, index, hit.first, hit.last, price + 3, name=name)]


def is_of_one_born(reading: Reading, sentence: Sentence, grammar: Grammar, quantity: Quantity) -> bool:
    """Whether a weight is that of a child that was born in this operation."""
    if not _is_birth_weight(quantity) or not sentence.says(_CHILD):
        return False
    rows = grammar.table("procedures", Concept)
    return sentence.says(_BORN_BY) or any(
        m.table == "procedures" and rows[m.id].group == "obstetrics" for one in reading.sentences for m in one.mentions
    )


_BORN_BY = frozenset({"born", "delivered", "delivery", "apgar", "apgars", "placenta", "forceps", "ventouse"})


def _organ(sentence: Sentence, index: int) -> int | None:
    """The organ right before a weight, over its other measures ("uterus 14 wk, 412 g", "R lobe 5 x 3 x 2 cm 18 g")."""
    at = index - 1
    while at > 0 and index - at < _MEASURES and (
        sentence.tokens[at].quantity is not None or sentence.tokens[at].norm in _BETWEEN
    ):
        at -= 1
    return at if at >= 0 and sentence.tokens[at].norm in _ORGANS else None


_MEASURES = 9  # tokens
_BETWEEN = frozenset({"x", "by", ",", "and", "\u00d7", "~"})


def is_gestation(quantity: Quantity) -> bool:
    """22 to 43 weeks, also in days: how far a pregnancy is, and no age of a child that one would give in weeks."""
    days = (quantity.value or 0) * {"wk": 7, "d": 1}.get(quantity.unit or "", 0)
    return 22 * 7 <= days <= 43 * 7


def _is_birth_weight(quantity: Quantity) -> bool:
    """400 g to 7 kg (from the smallest that live to the largest born; common practice, no source)."""
    value = quantity.value or 0
    return (quantity.unit == "g" and 400 <= value <= 7000) or (quantity.unit == "kg" and 0 < value <= 7)


_ORGANS = frozenset("lobe uterus kidney spleen gland breast thyroid prostate chips mass tumour tumor fibroid fibroids "
                    "omentum parathyroid lobectomy specimen adenoma chippings".split())  # fmt: skip
_SIDES = frozenset({"left", "right"})
_TISSUE, _BORN = 40, 12
_CHILD = frozenset({"infant", "baby", "newborn", "neonate", "boy", "girl", "twin", "apgar", "apgars"})
