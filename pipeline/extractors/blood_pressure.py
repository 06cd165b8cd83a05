"""Blood pressures said as a pair: "132 over 78", "132/78 mmHg" are two values."""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence

KINDS = ("pressure",)

_PAIR = re.compile(r"^(\d{2,3})/(\d{2,3})$")
_NAMED = 8  # tokens between the words and the pair
_NONE = Quantity()
_MMHG = ("mmhg", "torr")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, quantity in base.quantities(sentence):
            pair = _PAIR.match(quantity.text) if quantity.form == "pair" else None
            if pair is None or int(pair[1]) <= int(pair[2]):
                continue
            unit = _unit(sentence, index)
            if unit is None and not _is_named(sentence, index):
                continue  # "20/40" is an acuity
            last = index + unit if unit else index
            group = f"bp{base.group_of(sentence, index)}"
            for name, value in (("systolic-pressure", pair[1]), ("diastolic-pressure", pair[2])):
                facts.append(
                    base.make("pressure", reading, sentence, index, last, name=name, value=Decimal(value),
                              unit="mm[Hg]" if unit else None, group=group)
                )  # fmt: skip
    return facts


def _unit(sentence: Sentence, index: int) -> int | None:
    """How many tokens of the unit stand behind the pair."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    if after[:1] and after[0] in _MMHG:
        return 1
    if after in (["millimetres", "of", "mercury"], ["millimeters", "of", "mercury"]):
        return 3
    return 2 if after[:2] in (["mm", "hg"], ["mm", "mercury"]) else None


def _is_named(sentence: Sentence, index: int) -> bool:
    """ "Pressure dropped to eighty over forty five" names it as well, in the span of blood pressures."""
    systolic, _, diastolic = (sentence.tokens[index].quantity or _NONE).text.partition("/")
    if 40 <= int(systolic) <= 260 and 20 <= int(diastolic) <= 160 and any(
        token.norm in ("pressure", "pressures") for token in sentence.tokens[max(0, index - _NAMED) : index]
    ):  # fmt: skip
        return True
    return any(
        mention.id in ("blood-pressure", "mean-arterial-pressure") and 0 < index - mention.last <= _NAMED
        for mention in base.mentions(sentence, "measures")
    )
