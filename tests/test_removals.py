"""What was taken out is no implant of today. The narrations are written by hand; common practice, no source."""

from __future__ import annotations

import pytest

from pipeline import grammar, run


def implants(text: str) -> list[tuple[str | None, str | None, str]]:
    note = run.make_note(run.from_text(text), grammar.load())
    return [(fact.name, fact.role, fact.status) for fact in note.facts if fact.kind == "device"]


@pytest.mark.parametrize(("text", "meant"), [
    ("Removal of hardware right ankle. Plate and nine screws out, one screw head stripped and was left in place.",
     [("plate", "explanted", "performed"), ("screw", "explanted", "performed"), ("screw", "implanted", "historical")]),
    ("Hardware removal of the left elbow. Both K wires were backed out. One anchor stays.",
     [("k-wire", "explanted", "performed"), ("suture-anchor", "implanted", "historical")]),
    ("Plate removal of the left clavicle. Seven screws, one plate.",
     [("screw", "explanted", "performed"), ("plate", "explanted", "performed")]),
    ("Removal of hardware and fixation with a new plate, right tibia. Intramedullary nail taken out. Six "
     "screws were inserted.",
     [("plate", "implanted", "performed"), ("screw", "implanted", "performed")]),
    ("Open fixation of the left ankle. A plate and six screws were placed.",
     [("plate", "implanted", "performed"), ("screw", "implanted", "performed")]),
])  # fmt: skip
def test_what_came_out(text: str, meant: list[tuple[str, str, str]]) -> None:
    assert implants(text) == meant
