"""The patient's age and weight."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading

KINDS = ("patient_age", "patient_weight")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, quantity in base.quantities(sentence, "time", "mass", ""):
            if quantity.form not in ("number", "range", "fraction"):
                continue
            cue = "weight" if quantity.dimension == "mass" else "age"
            near = cues.nearest(sentence, grammar, index, cue)
            if near is None or near[0] > (12 if quantity.dimension else 2):
                continue
            price, hit = near
            if quantity.dimension == "mass" and quantity.unit not in ("kg", "[lb_av]"):
                continue
            kind = "patient_weight" if quantity.dimension == "mass" else "patient_age"
            facts.append(base.claim(kind, reading, sentence, index, hit.first, hit.last, price))
    return facts
