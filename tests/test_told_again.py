"""A spoken correction that names its thing again takes back that thing's number and leaves what was said of others in
between. [common practice of dictation, no source]"""

from __future__ import annotations

from decimal import Decimal

import pytest
from cases_runner import facts_of

# what was said | kind, name and value of each amount that must stand, and no other
ROWS = """
Cefazolin two grams and tranexamic acid one gram. Correction, cefazolin three grams.|medication_dose cefazolin 3|medication_dose tranexamic-acid 1
Cefazolin 2 g, tranexamic acid 1 g, sorry, cefazolin 3 g.|medication_dose cefazolin 3|medication_dose tranexamic-acid 1
Two grams of cefazolin and one gram of tranexamic acid. Correction, three grams of cefazolin.|medication_dose cefazolin 3|medication_dose tranexamic-acid 1
Lidocaine ten mils, ropivacaine five mils. No, sorry, lidocaine eight mils.|medication_volume lidocaine 8|medication_volume ropivacaine 5
Ten mils of lidocaine and four mils of ropivacaine. Sorry, twelve mils of lidocaine.|medication_volume lidocaine 12|medication_volume ropivacaine 4
Ten mils of lidocaine and four mils of ropivacaine, no sorry, twelve mils of lidocaine.|medication_volume lidocaine 12|medication_volume ropivacaine 4
Blood loss fifty mils and urine two hundred mils. Correction, blood loss eighty mils.|blood_loss None 80|fluid_out urine 200
Tourniquet time forty minutes, irrigation six litres. I mean, tourniquet time fifty minutes.|tourniquet_time None 50|irrigation_in None 6
""".strip().splitlines()  # noqa: E501
KINDS = ("medication_dose", "medication_volume", "blood_loss", "fluid_out", "tourniquet_time", "irrigation_in")


@pytest.mark.parametrize("row", ROWS)
def test_only_the_number_of_what_is_named_again_is_taken_back(row: str) -> None:
    said, *wanted = row.split("|")
    facts = [fact for fact in facts_of(f"Left knee arthroscopy. {said}") if fact.kind in KINDS]
    assert sorted(f"{fact.kind} {fact.name} {fact.value}" for fact in facts) == sorted(wanted)


def test_the_struck_number_is_shown() -> None:
    text = "Left knee arthroscopy. Cefazolin two grams, tranexamic acid one gram. Correction, cefazolin three grams."
    dose = next(fact for fact in facts_of(text) if fact.kind == "medication_dose" and fact.name == "cefazolin")
    assert dose.value == Decimal(3)
    assert any("two grams" in one.heard for one in dose.taken_back)


def test_grades_of_two_parts() -> None:
    said = "Medial condyle grade two and trochlea grade three. Correction, medial condyle grade one."
    facts = facts_of(f"Left knee arthroscopy. {said}")
    grades = {fact.body_site: fact.value for fact in facts if fact.kind == "grade"}
    assert grades == {"femoral-condyle": 1, "trochlea": 3}
