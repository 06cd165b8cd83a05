"""How large a lesion was, said as a pair of bare numbers: "lesion of the talar dome ten by eight", "defect 10 x 8".

Millimetres or centimetres were not said, so the unit stays empty and in doubt.
"""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import _number_sides, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence

KINDS = ("measurement",)

_BY = frozenset({"x", "by", "×"})
_BACK = 9  # tokens from a pair back to what it is of
_COST = 30  # dearer than any reader that knows a thing of that size
_MOST = 200
_DOUBT = "its unit was not said"
_NO_SIZE = frozenset({"times", "day", "days", "week", "weeks", "gauze", "swab", "swabs"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.says(_BY):
            facts += _pairs(reading, sentence, grammar)
    return facts


def _pairs(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    tokens = sentence.tokens
    facts: list[Fact] = []
    hits = cues.hits(sentence, grammar, "lesion")
    for at in range(1, len(tokens) - 1):
        if tokens[at].norm not in _BY or not (_is_bare(tokens[at - 1].quantity) and _is_bare(tokens[at + 1].quantity)):
            continue
        behind = tokens[at + 2].norm if at + 2 < len(tokens) else "."
        led = [hit for hit in hits if hit.last < at - 1 and at - 1 - hit.last <= _BACK]
        if not led or behind in _NO_SIZE | _BY or (at > 1 and tokens[at - 2].norm in _BY):
            continue
        between = tokens[led[-1].last + 1 : at - 1]
        named = any(m.table in ("devices", "sutures", "dressings") and led[-1].last < m.first < at
                    for m in sentence.mentions)  # fmt: skip
        if named or any(token.quantity is not None or token.norm in (".", ";") for token in between):
            continue
        hit = led[-1]
        side = _number_sides.of_measure(sentence, at - 1, (hit.first, hit.last), grammar)
        for index in (at - 1, at + 1):
            facts.append(
                base.claim("measurement", reading, sentence, index, hit.first, hit.last, _COST, name="size",
                           text=cues.words(sentence, hit.first, hit.last), unit=None, doubts=(_DOUBT,), laterality=side)
            )  # fmt: skip
    return facts


def _is_bare(quantity: Quantity | None) -> bool:
    if quantity is None or quantity.form != "number" or quantity.dimension or quantity.value is None:
        return False
    return 0 < quantity.value <= _MOST
