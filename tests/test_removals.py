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
    ("the old plate had eight screws in it we took out seven screws",
     [("plate", "implanted", "historical"), ("screw", "implanted", "historical"), ("screw", "explanted", "performed")]),
    ("There were six screws in the bone. Five screws came out.",
     [("screw", "implanted", "historical"), ("screw", "explanted", "performed")]),
    ("Four screws and one rod were removed. A new rod was placed.",
     [("screw", "explanted", "performed"), ("rod", "explanted", "performed"), ("rod", "implanted", "performed")]),
    ("The plate was fixed with six screws. The guide wires were removed.",
     [("plate", "implanted", "performed"), ("screw", "implanted", "performed")]),
    ("Open fixation of the left ankle. A plate and six screws were placed.",
     [("plate", "implanted", "performed"), ("screw", "implanted", "performed")]),
])  # fmt: skip
def test_what_came_out(text: str, meant: list[tuple[str, str, str]]) -> None:
    assert implants(text) == meant


def test_what_was_put_in_today_and_taken_out_is_no_removal_of_hardware() -> None:
    text = "Two K-wires were used for provisional fixation. The plate was fixed and the K-wires were removed."
    note = run.make_note(run.from_text(text), grammar.load())
    assert [fact.kind for fact in note.facts if fact.name == "removal-of-hardware"] == ["act"]


@pytest.mark.parametrize(("text", "severity"), [
    ("The old mesh, lot B22, was removed. The new mesh was placed. Its lot was B22.", "warning"),
    ("we took out the old generator serial number four four seven one and put in a new one serial four four seven one",
     "blocking"),
    ("Removed old breast implant serial 5531 on the right. Inserted new implant serial 5531 on the right.", "blocking"),
    ("removed implant serial five five three one then placed implant serial five five three one", "blocking"),
    ("The old generator with serial number 4471 was explanted. A new generator serial number 4471 was implanted.",
     "blocking"),
    ("the old plate had eight screws in it we took out seven screws", "warning"),
    ("Three of the four screws were removed.", "warning"),
    ("Two breast implants were in place, one was explanted.", "warning"),
    ("Seven screws were in situ; 6 were removed.", "warning"),
    ("Four screws out and five screws in, all replaced one for one.", "warning"),
])  # fmt: skip
def test_what_came_out_does_not_agree_with_what_was_in_or_goes_in(text: str, severity: str) -> None:
    note = run.make_note(run.from_text(text), grammar.load())
    assert [one.severity for one in note.findings if one.check == "explanted"] == [severity]


@pytest.mark.parametrize("text", [
    "Explanted generator serial 1122. I repeat, serial 1122 for the explanted generator. New generator serial 3344.",
    "The pacemaker had been implanted in 2015 and was removed, serial 4471. The new serial is 5582.",
    "The stem, lot C44, was implanted. Stem lot C44, expiry 2028.",
    "The old plate and its six screws were removed. A new plate with eight screws was placed.",
    "There were six screws in the plate. Five screws came out and one was left because it was stripped.",
    "we took out all six screws and the plate",
    "The plate was fixed with six screws, three proximally and three distally.",
])  # fmt: skip
def test_what_agrees_is_no_news(text: str) -> None:
    note = run.make_note(run.from_text(text), grammar.load())
    assert not [one for one in note.findings if one.check == "explanted"]


def test_a_count_has_the_fate_of_its_thing() -> None:
    for text, role, status in (("Wrist pinned. K-wire x1 temp, removed.", "explanted", "performed"),
                               ("One plate seen left in.", "implanted", "historical")):  # fmt: skip
        note = run.make_note(run.from_text(text), grammar.load())
        (count,) = [fact for fact in note.facts if fact.kind == "device_count"]
        assert (count.role, count.status) == (role, status), text
