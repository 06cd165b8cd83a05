"""What is only to be kept away is no finding. The truth is from reading the sentences."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

CONDITIONS = ("complication", "diagnosis", "finding")


@pytest.mark.parametrize("text", [
    "Aspirin eighty one milligrams daily for four weeks for DVT.",
    "Naproxen five hundred twice daily for three weeks against ossification.",
    "Cefazolin two grams against infection. Calf pumps for DVT.",
    "Discharge on enoxaparin 40 mg, for any possible pulmonary embolism.",
])  # fmt: skip
def test_what_a_medicine_keeps_away(text: str) -> None:
    assert not [fact for fact in facts_of(text) if fact.kind in CONDITIONS]


@pytest.mark.parametrize(("text", "name"), [
    ("Phenylephrine 100 micrograms for hypotension.", "hypotension"),
    ("Atropine half a milligram was given for bradycardia.", "bradycardia"),
])  # fmt: skip
def test_what_was_treated_happened(text: str, name: str) -> None:
    assert [fact.name for fact in facts_of(text) if fact.kind == "complication"] == [name]
