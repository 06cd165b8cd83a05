"""Doses where no drug is named: "eighty milligrams through each needle". Kept without a name, and asked about."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading

KINDS = ("medication_dose", "medication_concentration")

_DOSES = {
    "mass": "medication_dose", "amount": "medication_dose", "catalytic": "medication_dose",
    "molar": "medication_dose", "concentration": "medication_concentration",
    "mass_concentration": "medication_concentration",
}  # fmt: skip
# Units in which drugs are given; a weight in kg or a haemoglobin in g/dL is none.
_UNITS = ("g", "mg", "ug", "[USP'U]", "[iU]", "U", "mg/mL", "ug/mL", "[USP'U]/mL", "[iU]/mL", "mmol", "meq")
_LATER = ("aftercare", "follow-up")
_REACH = 40
_COST = 88  # any other claim on the number is better


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section in _LATER or any(True for _ in base.mentions(sentence, "drugs")):
            continue
        for index, quantity in base.quantities(sentence, *_DOSES):
            if quantity.unit not in _UNITS or quantity.form not in ("number", "range", "fraction"):
                continue
            near = cues.nearest(sentence, grammar, index, "given", "injected", "each")
            if near is None or near[0] > _REACH:
                continue
            facts.append(
                base.claim(_DOSES[quantity.dimension], reading, sentence, index, near[1].first, near[1].last, _COST,
                           scale=cues.scale(sentence, index), doubts=("which drug was not said",))
            )  # fmt: skip
    return facts
