"""How far a needle was turned, said with no word for degrees, is no amount of marrow. [common practice, no source]"""

import pytest

from pipeline import run

ANGLES = """
turn it ninety, five more|90
turned it one eighty and five more|180
rotate the needle ninety five more|90
rotated 180, 5 ml|180
swivelled it one twenty ten more|120
""".strip().splitlines()


@pytest.mark.parametrize("row", ANGLES)
def test_angle(row: str) -> None:
    said, angle = row.split("|")
    facts = run.note_from_text(f"Marrow from the left crest, five mils, {said}.", name="turned").facts
    turns = [fact for fact in facts if fact.kind == "needle_turns"]
    assert [(str(fact.value), fact.unit) for fact in turns] == [(angle, None)]
    drawn = [str(fact.value) for fact in facts if fact.kind == "draw"]
    assert len(drawn) == 2
    assert angle not in drawn


def test_what_is_drawn_behind_a_turn() -> None:
    said = "Marrow from the right crest, three mils turn thirty five mils turn."
    facts = run.note_from_text(said, name="turned").facts
    assert not [fact for fact in facts if fact.kind == "needle_turns" and fact.value == 30]
    said = "Marrow from the right crest, five mils, turned a quarter, six more."
    facts = run.note_from_text(said, name="turned").facts
    assert [(str(fact.value), fact.unit) for fact in facts if fact.kind == "needle_turns"] == [("0.25", "{turn}")]
    assert [str(fact.value) for fact in facts if fact.kind == "draw"] == ["5", "6"]
