"""Numbers of the part that is operated on, and what has no side of its own. The narrations are invented; the truth is
read from them."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline import run
from pipeline.records import Fact

TITLE = (
    "Knee arthroscopy, right. Thigh tourniquet 280 mmHg for 22 minutes. Medial femoral condyle Outerbridge 3. "
    "Lateral meniscus tear 12 mm. Table tilted 15 degrees. Weight 80 kg."
)
GRAFT = "ACL reconstruction, left knee. Hamstring graft 8.5 mm thick. Tear of the medial meniscus 14 mm."
UNPAIRED = "Cystoscopy and left ureteroscopy. Bladder tumour 2 cm."
NERVES = (
    "Total thyroidectomy. R RLN found, signal 720 uV before, 700 uV after. "
    "Left lobe first: left recurrent nerve seen, signal 650 uV at the end."
)
LUNG = "VATS right upper lobectomy. Double lumen tube 37 French, left sided. Left lateral decubitus."
NECK = "ACDF C6/7 for right arm pain. Left sided approach. Drain left side."
CUFFS = "ACL reconstruction left knee. Tourniquet on the left thigh 300 mmHg for 82 minutes, none on the right."


def told(text: str, kind: str) -> list[tuple[str | None, str | None]]:
    return [(_amount(fact), fact.laterality) for fact in facts_of(text) if fact.kind == kind]


def findings(text: str, check: str) -> list[str]:
    return [one.severity for one in run.note_from_text(text).findings if one.check == check]


def _amount(fact: Fact) -> str | None:
    return None if fact.value is None else f"{fact.value} {fact.unit or ''}".strip()


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        (TITLE, "tourniquet_pressure", [("280 mm[Hg]", "right")]),
        (TITLE, "tourniquet_time", [("22 min", "right")]),
        (TITLE, "grade", [("3", "right")]),
        (TITLE, "measurement", [("12 mm", "right"), ("15 deg", None)]),
        (TITLE, "patient_weight", [("80 kg", None)]),
        (GRAFT, "measurement", [("14 mm", "left")]),
        (UNPAIRED, "measurement", [("2 cm", None)]),
        (NERVES, "measurement", [("720 uV", "right"), ("700 uV", "right"), ("650 uV", "left")]),
        (LUNG, "device_size", [("37 [Ch]", None)]),
        (NECK, "procedure", [(None, None)]),
        (NECK, "spinal_level", [(None, None)]),
        ("Microdiscectomy L4/5 left for left sciatica.", "procedure", [(None, "left")]),
        (CUFFS, "tourniquet_pressure", [("300 mm[Hg]", "left")]),
    ],
)
def test_a_number_has_the_side_of_its_own_part(text: str, kind: str, expected: list[tuple[str, str]]) -> None:
    assert told(text, kind) == expected


def test_none_on_the_other_side_denies_nothing_of_this_one() -> None:
    assert {fact.certainty for fact in facts_of(CUFFS) if fact.kind.startswith("tourniquet_")} == {"affirmed"}


def test_none_on_the_side_itself_does() -> None:
    facts = facts_of("Left knee replacement. Tourniquet on the left: none on the left.")
    assert "affirmed" not in {fact.certainty for fact in facts if fact.kind == "tourniquet"}


def test_drops_named_by_a_disease_are_no_diagnosis_and_no_contradiction() -> None:
    text = "Phaco right eye. Shield on. The left eye keeps its glaucoma drops."
    assert [fact.name for fact in facts_of(text) if fact.kind == "diagnosis"] == []
    assert findings(text, "side_conflict") == []


def test_an_approach_from_the_left_for_pain_on_the_right_is_no_contradiction() -> None:
    assert findings(NECK, "side_conflict") == []
