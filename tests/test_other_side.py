"""What one side is told of with its number only. The truth is from reading the sentences."""

from __future__ import annotations

import pytest
from cases_runner import facts_of


def told(text: str, kind: str) -> list[tuple[str | None, str, bool]]:
    return [(fact.laterality, f"{fact.value}", bool(fact.doubts)) for fact in facts_of(text) if fact.kind == kind]


@pytest.mark.parametrize(("text", "kind", "meant"), [
    ("On the right the effusion was drained first, eighteen cc straw coloured, on the left four cc.",
     "fluid_out", [("right", "18", False), ("left", "4", True)]),
    ("Tourniquet time on the right was 40 minutes. On the left 35 minutes.",
     "tourniquet_time", [("right", "40", False), ("left", "35", True)]),
    ("Right hip: 5 mL lidocaine 1%. Left hip: 4 mL.",
     "medication_volume", [("right", "5", False), ("left", "4", True)]),
])  # fmt: skip
def test_the_other_side_with_its_number_only(text: str, kind: str, meant: list[tuple[str, str, bool]]) -> None:
    assert told(text, kind) == meant


@pytest.mark.parametrize(("text", "kind", "count"), [
    ("Tourniquet time on the right was 40 minutes. On the left a wound 35 minutes old.", "tourniquet_time", 1),
    ("Right hip: 5 mL lidocaine 1%. Left hip: 4 mg.", "medication_volume", 1),
    ("Right hip: 5 mL lidocaine 1% and 3 mL ropivacaine 0.2%. Left hip: 4 mL.", "medication_volume", 2),
    ("Tourniquet time on the right was 40 minutes. 35 minutes.", "tourniquet_time", 1),
])  # fmt: skip
def test_nothing_is_lent_where_it_is_not_plain(text: str, kind: str, count: int) -> None:
    assert len(told(text, kind)) == count
