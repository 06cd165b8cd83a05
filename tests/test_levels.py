"""Levels of the spine, digits and teeth across diagnosis, consent, time-out and operation.

The narrations are written by hand; common practice, no source.
"""

from __future__ import annotations

import pytest

from pipeline import grammar, run

_CHECKS = {"level_conflict", "site_conflict", "tooth_conflict"}


def conflicts(text: str) -> list[str]:
    note = run.make_note(run.from_text(text), grammar.load())
    return [one.severity for one in note.findings if one.check in _CHECKS]


@pytest.mark.parametrize("text", [
    "Hammer toe correction of the right second toe. The third toe was normal.",
    "procedure right second hammertoe correction the third toe normal the fourth toe normal",
    "Procedure: A1 pulley release, right ring finger. Consent: right ring finger. The middle finger was free of "
    "triggering.",
    "Procedure: trigger thumb release, left. The index finger was compared and normal.",
    "Diagnosis: stenosis L4-L5. The L3-L4 disc was unremarkable. Procedure: laminectomy L4-L5.",
    "diagnosis is disc herniation L5 S1 L4 L5 is normal procedure microdiscectomy L5 S1",
    "Time out: L4-L5 confirmed, not L3-L4. Microdiscectomy L4-L5.",
    "Diagnosis: stenosis L4-L5. L3-L4 was left alone. Laminectomy L4-L5.",
    "Procedure: kyphoplasty T12. T11 and L1 were intact.",
    "Diagnosis: L1 burst fracture. Procedure: posterior fixation T12 to L2.",
    "Consent: microdiscectomy L4-L5. Microdiscectomy L4-L5 was performed.",
    "laminectomy of L two three L three four and L four five for stenosis at L two three L three four and L four five",
    "Diagnosis: caries of tooth 36. Tooth 36 was extracted. Tooth 37 was intact.",
])  # fmt: skip
def test_a_neighbour_told_as_normal_or_left_alone_is_no_conflict(text: str) -> None:
    assert not conflicts(text)


@pytest.mark.parametrize("text", [
    "Diagnosis: trigger thumb. Procedure: release of the A1 pulley of the index finger.",
    "Diagnosis: right index finger mallet. Procedure: pinning of the DIP joint right long finger.",
    "Diagnosis hammertoe right second toe. The right third toe was corrected.",
    "timeout confirmed L three four we did the laminectomy at L four five",
    "diagnosis: C6 C7 disc herniation, fusion performed at C5 C6",
    "Vertebroplasty of T12. Diagnosis: L1 compression fracture.",
    "Consent: microdiscectomy L4-L5. Microdiscectomy L5-S1 was performed.",
    "Consent for arthrodesis of the right second toe. Arthrodesis of the right third toe was done.",
    "Tooth 36 was to be extracted as consented; tooth 46 was extracted.",
    "consent extraction of tooth three six extraction of tooth four six done",
    "Diagnosis: stenosis L3-L4. The L2-L3 level was normal. Laminectomy of L4-L5.",
])  # fmt: skip
def test_another_level_digit_or_tooth_is_blocking(text: str) -> None:
    assert "blocking" in conflicts(text)
