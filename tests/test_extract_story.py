"""Extractors of the story, on narrations written by hand; the truth is read from the text.

The case files lie under tests/cases/extractors/<name>/; tests/cases_runner.py tells their format.
"""

from __future__ import annotations

import pytest
from cases_runner import Case, cases, facts_of, faults

from pipeline import plugins

NAMES = (
    "procedures", "diagnoses", "findings", "findings_in_words", "grades", "setting", "team", "identity", "background",
    "consent", "spinal_levels", "complications", "disposition", "aftercare", "follow_up",
)  # fmt: skip


@pytest.mark.parametrize("case", list(cases(*NAMES)), ids=str)
def test_case(case: Case) -> None:
    module = plugins.find("pipeline.extractors", case.extractor)
    found = faults(case, tuple(kind for kind in module.KINDS if case.extractor != "setting" or kind != "act"))
    assert not found, case.say + "\n" + "\n".join(found)


def test_evidence_lies_on_the_words() -> None:
    for fact in facts_of("Left ankle arthroscopy. No complications. Aftercare. Crutches for two weeks."):
        assert fact.evidence.heard
        assert fact.evidence.first <= fact.evidence.last
