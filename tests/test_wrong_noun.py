"""Numbers and findings beside the wrong noun. The truth is from reading the sentences."""

from __future__ import annotations

from decimal import Decimal

from cases_runner import facts_of


def test_a_number_before_a_tool_is_no_length_of_the_incision() -> None:
    facts = facts_of("Lateral approach, three centimetre incision eight millimetre trephine.")
    assert [fact.value for fact in facts if fact.kind == "incision_length"] == [Decimal(3)]
    assert [fact.value for fact in facts if fact.kind == "device_size"] == [Decimal(8)]


def test_a_role_that_ends_in_a_title_has_the_name_behind_it() -> None:
    told = facts_of("Scrub nurse Lindqvist, anaesthetist doctor Mbeki.")
    assert [(fact.name, fact.text) for fact in told if fact.kind == "team_member"] == [
        ("scrub-nurse", "Lindqvist"), ("anaesthetist", "Mbeki")
    ]  # fmt: skip


def test_a_part_that_no_row_has_is_not_the_part_before() -> None:
    facts = facts_of("Talar dome grade 3, shaved; syndesmotic ligament intact.")
    assert [fact.body_site for fact in facts if fact.name == "intact"] == [None]


def test_touch_weight_bearing_in_a_stream_stays_touch() -> None:
    told = facts_of(
        "portals three oh nylon no complications no drain counts right hinged brace locked in extension for two weeks "
        "then nought to ninety for four touch weight bearing six weeks physio next week clinic in a fortnight"
    )
    assert [fact.name for fact in told if fact.kind == "aftercare" and "weight" in (fact.name or "")] == [
        "touch-weight-bearing"
    ]


def test_how_a_patient_lies_is_no_dressing_and_less_traction_no_reduction() -> None:
    told = facts_of("Right arm over the bolster. Traction twelve pounds, then I reduced it to ten.")
    assert not [fact for fact in told if fact.kind == "dressing" or fact.name == "reduction"]
