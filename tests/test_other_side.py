"""What one side is told of with its number only. The truth is from reading the sentences."""

from __future__ import annotations

import pytest
from cases_runner import facts_of


def told(text: str, kind: str) -> list[tuple[str | None, str, bool]]:
    return [(fact.laterality, f"{fact.value}", bool(fact.doubts)) for fact in facts_of(text) if fact.kind == kind]


@pytest.mark.parametrize(("text", "kind", "meant"), [
    ("On the right the effusion was drained first, eighteen cc straw coloured, on the left four cc.",
     "fluid_out", [("right", "18", False), ("left", "4", False)]),
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


@pytest.mark.parametrize(
    ("text", "kind", "name", "expected"),
    [
        ("Bilateral TKA. TQ 300 both, R 58 min, L 63.", "tourniquet_time", "", [("58", "right"), ("63", "left")]),
        ("Bilateral TKA. TQ 300 both, R 58 min, L 63.", "tourniquet_pressure", "", [("300", "bilateral")]),
        ("Bilateral TKA. EBL R 150, L 220.", "blood_loss", "", [("150", "right"), ("220", "left")]),
        ("Bilateral ankle arthroscopy. Popliteal block R 15 mL, L 15 mL of ropi 0.375%.", "medication_volume", "",
         [("15", "right"), ("15", "left")]),
        ("Forty milligrams of triamcinolone and four millilitres of ropivacaine in the left knee, twenty milligrams "
         "and three millilitres in the right.", "medication_dose", "triamcinolone", [("40", "left"), ("20", "right")]),
        ("Both knees injected with PRP, five into the left four and a half into the right.", "injection_volume", "",
         [("5", "left"), ("4.5", "right")]),
        ("Both knees injected with PRP, into the left knee five into the right four and a half.", "injection_volume",
         "", [("5", "left"), ("4.5", "right")]),
        ("Mesh R 10 x 15 cm, L 12 x 15 cm.", "device_size", "mesh",
         [("10", "right"), ("15", "right"), ("12", "left"), ("15", "left")]),
        ("amputation of the right toe in a man of seventy one his left great toe was taken off last year ankle block "
         "with fifteen millilitres of lidocaine", "medication_volume", "", [("15", "right")]),
    ],
)  # fmt: skip
def test_rows_of_numbers_that_two_sides_tell_alike(
    text: str, kind: str, name: str, expected: list[tuple[str, str | None]]
) -> None:
    found = [fact for fact in facts_of(text) if fact.kind == kind and name in (fact.name or "")]
    assert [(str(fact.value), fact.laterality) for fact in found] == expected
    assert not any("not said again" in doubt for fact in found for doubt in fact.doubts)


_LINES = ("1) R CTR, open. TQ R 250, 12 min. Incision 3 cm.\n2) L trigger thumb release. TQ 8 min. 10 mg triamcinolone "
          "in 0.5 mL.\nNo complications. Blood loss 5 mL.")  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "expected"),
    [("incision_length", ["right"]), ("tourniquet_time", ["right", "left"]), ("medication_dose", ["left"]),
     ("blood_loss", [None])],
)  # fmt: skip
def test_a_line_that_begins_with_its_only_side_is_of_that_side(kind: str, expected: list[str | None]) -> None:
    assert [fact.laterality for fact in facts_of(_LINES) if fact.kind == kind] == expected
