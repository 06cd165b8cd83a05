"""What one side got and the other got again. The truth is from reading the sentences."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline.records import Fact


def amounts(text: str, kind: str) -> list[tuple[str | None, str, bool]]:
    found: list[Fact] = [fact for fact in facts_of(text) if fact.kind == kind]
    return [(fact.laterality, f"{fact.value}", bool(fact.doubts)) for fact in found]


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        (
            "Right knee: forty milligrams of triamcinolone. Left knee the same.",
            "medication_dose", [("right", "40", False), ("left", "40", True)],
        ),
        (
            "Right hip: forty milligrams triamcinolone, left hip: the same.",
            "medication_dose", [("right", "40", False), ("left", "40", True)],
        ),
        (
            "Right knee: forty milligrams of triamcinolone. Ditto left.",
            "medication_dose", [("right", "40", False), ("left", "40", True)],
        ),
        (
            "Right knee: forty milligrams of triamcinolone. Same on the left.",
            "medication_dose", [("right", "40", False), ("left", "40", True)],
        ),
        (
            "Right knee: forty milligrams of triamcinolone. The same was then done on the other side.",
            "medication_dose", [("right", "40", False), ("left", "40", True)],
        ),
        (
            "Left shoulder: forty milligrams of triamcinolone. Other shoulder the same.",
            "medication_dose", [("left", "40", False), ("right", "40", True)],
        ),
        (
            "On the left, four mils of lidocaine one percent. Right side likewise.",
            "medication_volume", [("left", "4", False), ("right", "4", True)],
        ),
        (
            "Left shoulder eighty milligrams of methylprednisolone. The same dose was given on the right.",
            "medication_dose", [("left", "80", False), ("right", "80", True)],
        ),
        (
            "Right knee: forty milligrams of triamcinolone. Left knee the same incision.",
            "medication_dose", [("right", "40", False)],
        ),
        (
            "Right knee: 40 mg triamcinolone. Left knee: same, but 20 mg.",
            "medication_dose", [("right", "40", False)],
        ),
        (
            "Right knee: forty of triamcinolone and five of lidocaine. Left knee the same again, forty and five.",
            "medication_dose", [("right", "40", False), ("left", "40", True)],
        ),
        (
            "Right knee: forty milligrams of triamcinolone. Left knee the same but twenty milligrams.",
            "medication_dose", [("right", "40", False)],
        ),
        (
            "Right knee: forty milligrams of triamcinolone. Right knee the same.",
            "medication_dose", [("right", "40", False)],
        ),
    ],
)  # fmt: skip
def test_the_same_again(text: str, kind: str, expected: list[tuple[str | None, str, bool]]) -> None:
    assert amounts(text, kind)[: len(expected)] == expected
    assert len([one for one in amounts(text, kind) if one[1] == expected[0][1]]) == len(expected)


def test_nothing_is_given_twice_where_the_amount_is_said_again() -> None:
    text = (
        "Bilateral core decompression + BMAC. Harvest: both ant crests, 60 mL per side, 120 mL total. "
        "Spin 15 min -> 12 mL, 6 mL per hip. R hip: 8 mm core, 6 mL in. L hip: same, 6 mL in."
    )
    assert amounts(text, "injection_volume") == [("right", "6", False), ("left", "6", False)]
