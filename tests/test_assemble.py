"""The sections of a note: from facts only, numbers as said, the description word for word."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from pipeline import assemble, grammar, run
from pipeline.note import Passage
from pipeline.records import Evidence, Fact

RULES = grammar.load()
TEXT = (
    "Left ankle arthroscopy. Cefazolin, 2 g intravenously. No loose bodies. Tourniquet 250 mmHg, correction, 280 mmHg. "
    "Estimated blood loss 2.50 mL. The weather was fine. Aftercare. Crutches for two weeks."
)


def fact(kind: str, **fields: Any) -> Fact:
    return Fact(kind, Evidence(0, 0, None, None, "heard"), id="f1", **fields)


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        (fact("blood_loss", value=Decimal("2.50"), unit="mL"), "2.50 mL"),
        (fact("blood_loss", low=Decimal("20"), high=Decimal("30"), unit="mL"), "20–30 mL"),
        (fact("blood_loss", value=Decimal("5"), unit="mL", comparator="~"), "about 5 mL"),
        (fact("blood_loss", value=Decimal("10"), unit="mL", comparator="<"), "less than 10 mL"),
        (fact("blood_loss", text="minimal"), "minimal"),
        (fact("blood_loss", value=Decimal("50")), "50"),
        (fact("medication_dose", value=Decimal("15"), unit="mg"), "15 mg"),
        (fact("medication_dose", value=Decimal("200"), unit="ug"), "200 µg"),
        (fact("medication_dose", value=Decimal("5000"), unit="[USP'U]"), "5000 units"),
        (fact("medication_dose", value=Decimal("1"), unit="[USP'U]"), "1 unit"),
        (fact("medication_concentration", value=Decimal("0.25"), unit="%"), "0.25%"),
        (fact("medication_concentration", value=Decimal("1000"), unit="[USP'U]/mL"), "1000 units/mL"),
        (fact("tourniquet_pressure", value=Decimal("280"), unit="mm[Hg]"), "280 mmHg"),
        (fact("aftercare", name="crutches", value=Decimal("1"), unit="wk"), "1 week"),
        (fact("follow_up", value=Decimal("6"), unit="wk"), "6 weeks"),
        (fact("adrenaline_ratio", value=Decimal("200000")), "1:200000"),
        (fact("spinal_level", text="L4-L5"), "L4-L5"),
        (fact("drain_size", value=Decimal("12"), unit="[Ch]"), "12 Fr"),
        (fact("grade", name="outerbridge", text="II-III", low=Decimal(2), high=Decimal(3)), "Outerbridge II-III"),
        (fact("finding", name="loose-body", certainty="negated"), "Loose body"),
    ],
)
def test_value_as_it_is_printed(given: Fact, shown: str) -> None:
    assert assemble.display(given, RULES) == shown


@pytest.mark.parametrize(
    ("given", "line"),
    [
        (fact("finding", name="loose-body", certainty="negated"), "No loose body"),
        (fact("finding", name="synovitis", certainty="suspected"), "Synovitis (suspected)"),
        (fact("procedure", name="carpal-tunnel-release", laterality="left"), "Carpal tunnel release, left"),
        (fact("procedure", name="carpal-tunnel-release", status="planned"), "Carpal tunnel release (planned)"),
        (fact("procedure", name="arthrodesis-x", status="historical"), "Arthrodesis x (before this operation)"),
        (fact("complication", name="none", certainty="negated"), "None"),
        (fact("blood_loss", value=Decimal("2.50"), unit="mL"), "Blood loss: 2.50 mL"),
        (fact("aftercare", name="crutches", value=Decimal("2"), unit="wk", status="planned"), "Crutches: 2 weeks"),
        (fact("preop_diagnosis", name="inguinal-hernia"), "Pre-operative diagnosis: Inguinal hernia"),
        (fact("equipment_problem", text="none", certainty="negated"), "Equipment: none"),
        (fact("medication", name="ibuprofen", role="avoid", status="planned"), "Avoid ibuprofen"),
        (fact("team_member", name="surgeon", text="Harper"), "Surgeon: Harper"),
    ],
)
def test_line_of_a_fact(given: Fact, line: str) -> None:
    assert assemble.line(given, RULES) == line


def test_every_fact_stands_in_exactly_one_entry_and_no_entry_without_one() -> None:
    note = run.note_from_text(TEXT)
    entries = [entry for name, listed in note.sections.items() if name != "description" for entry in listed]
    named = [ident for entry in entries for ident in entry.facts]  # type: ignore[union-attr]
    assert sorted(named) == sorted(item.id for item in note.facts)


def test_the_description_holds_every_word_and_what_was_taken_back() -> None:
    note = run.note_from_text(TEXT)
    passages = note.sections.description
    assert " ".join(passage.text for passage in passages) == " ".join(TEXT.split())
    struck = [piece.heard for passage in passages for piece in passage.taken_back]
    assert len(struck) == 1
    assert "250" in struck[0]
    assert all(isinstance(passage, Passage) for passage in passages)


def test_what_was_taken_back_apart_from_its_fact_is_shown_among_the_findings() -> None:
    """The side stands in no fact's own words: the preparation's are "prepped"."""
    note = run.note_from_text("The left knee was prepped, I beg your pardon, the right knee was prepped.")
    told = [one.message for one in note.findings if one.check == "corrected"]
    assert len(told) == 1
    assert "left knee" in told[0]


def test_a_doubt_is_marked_on_its_entry() -> None:
    note = run.note_from_text("EBL: 50 mL. Supine. Estimated blood loss was 500 mL.")
    assert [entry.doubtful for entry in note.sections.blood_loss] == [True, True]
    assert all(entry.doubts for entry in note.sections.blood_loss)


def test_an_unknown_unit_is_printed_as_it_is() -> None:
    assert assemble.unit_text("furlong", RULES) == "furlong"
    assert assemble.unit_text(None, RULES) == ""


def test_a_bare_number_that_counts_nothing_and_stands_nowhere_is_shown() -> None:
    """Common practice, no source: an amount is said with its unit; where both are lost the reader must see it."""
    from pipeline import run

    note = run.note_from_text("Tunnel length forty on the femur. Room 12 was used in 2019. Grade three of the talus.")
    shown = [piece.heard for passage in note.sections.description for piece in passage.unplaced]
    assert shown == ["forty"]


def test_two_bare_numbers_that_measure_something_and_a_bare_size_are_shown() -> None:
    """Common practice, no source: a size is said with its unit; gauze alone is named by two numbers."""
    from pipeline import run

    note = run.note_from_text(
        "It was about 4 x 3 on the bone. Reamers went to a size of 11 down the shaft. "
        "Dressed with 4 x 4 gauze. Xeroform 4 x 4 and tape. Sterile 2 by 2 sponges."
    )
    shown = [piece.heard for passage in note.sections.description for piece in passage.unplaced]
    assert shown == ["about 4", "3", "11"]
