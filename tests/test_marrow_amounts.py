"""Marrow harvests told in short. The narrations and what they mean are written by hand; how a harvest is told is common
practice, no source. A volume that was said without a unit has none in the fact, and a check asks for it."""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline import grammar, run
from pipeline.records import Fact

KINDS = set("draw draw_count harvest_total discarded_volume product_volume injection_volume harvest_depth".split())


def told(text: str) -> tuple[list[Fact], list[str]]:
    note = run.make_note(run.from_text(text), grammar.load())
    return [fact for fact in note.facts if fact.kind in KINDS], [finding.check for finding in note.findings]


def brief(facts: list[Fact]) -> list[tuple[str, str, str | None, str | None]]:
    return [(fact.kind, str(fact.value), fact.unit, fact.laterality) for fact in facts]


@pytest.mark.parametrize(("text", "meant"), [
    ("From the left iliac crest we drew thirty, then from the right another thirty, sixty all together, spun it, eight "
     "left, four in each knee.",
     [("draw", "30", None, "left"), ("draw", "30", None, "right"), ("harvest_total", "60", None, None),
      ("product_volume", "8", None, None), ("injection_volume", "4", None, None)]),
    ("Marrow draw today was 52 mL from the left PSIS, BMC 6 mL, 3 mL right hip under fluoro and 3 mL left hip.",
     [("draw", "52", "mL", "left"), ("product_volume", "6", "mL", None), ("injection_volume", "3", "mL", "right"),
      ("injection_volume", "3", "mL", "left")]),
    ("Bone marrow aspiration. Trephine two centimetres deep to the cortex at the right ASIS. Draws: ten, ten, eight, "
     "seven. That's thirty five.",
     [("harvest_depth", "2", "cm", "right"), ("draw", "10", None, "right"), ("draw", "10", None, "right"),
      ("draw", "8", None, "right"), ("draw", "7", None, "right"), ("harvest_total", "35", None, "right")]),
    ("Iliac crest marrow. The first aspirate was a dry tap, the second gave four, repositioned a centimetre lateral "
     "and got twelve.",
     [("draw", "4", None, None), ("draw", "12", None, None)]),
    ("Bone marrow for the right knee. I took five syringes of twelve from the left crest.",
     [("draw_count", "5", None, "left"), ("draw", "12", None, "left")]),
    ("We got eighty mils of marrow, five of it was lost on the floor.",
     [("draw", "80", "mL", None), ("discarded_volume", "5", None, None)]),
    ("Right crest marrow, sixty mils in four syringes. Filtered. It gave us seven mils back.",
     [("harvest_total", "60", "mL", "right"), ("product_volume", "7", "mL", None)]),
    ("BMAC injection. Five cc of concentrate to the lateral compartment of the left knee, three cc to the "
     "patellofemoral joint.",
     [("injection_volume", "5", "mL", "left"), ("injection_volume", "3", "mL", "left")]),
    ("Bone marrow from the right crest, ten draws of two. Filtered. Twelve were injected into the left ankle, the "
     "remaining eight went to waste.",
     [("draw_count", "10", None, "right"), ("draw", "2", None, "right"), ("injection_volume", "12", None, "left"),
      ("discarded_volume", "8", None, None)]),
    ("Marrow from the right iliac crest. First draw one centimetre below the cortex five mils then half a turn back "
     "three mils then another half turn three mils that is eleven total. Spun and we get six mils of concentrate. "
     "Under fluoroscopy I went into the medial condyle and gave three mils and two mils in the tibial plateau.",
     [("draw", "5", "mL", "right"), ("harvest_depth", "1", "cm", "right"), ("draw", "3", "mL", "right"),
      ("draw", "3", "mL", "right"), ("harvest_total", "11", None, "right"), ("product_volume", "6", "mL", None),
      ("injection_volume", "3", "mL", None), ("injection_volume", "2", "mL", None)]),
    ("Marrow from the left posterior crest, prone, eight passes, sixty mils into two thirty mil syringes. Spun down to "
     "seven mils.",
     [("draw_count", "8", None, "left"), ("harvest_total", "60", "mL", "left"), ("product_volume", "7", "mL", None)]),
    ("Marrow was taken before from both crests thirty right and twenty eight left fifty eight total six mils ACD.",
     [("draw", "30", None, "right"), ("draw", "28", None, "left"), ("harvest_total", "58", None, None)]),
    ("Marrow from the left crest, then draws five five four five five six that makes thirty.",
     [*(("draw", value, None, "left") for value in "554556"),
      ("harvest_total", "30", None, "left")]),
    ("Marrow from the right crest: 11 draws, 55 mL. Concentrated to 6 mL. Cell count sent. Right hip: trocar into the "
     "necrotic zone, 4 mL given over 2 minutes. Left hip: 2 mL.",
     [("draw_count", "11", None, "right"), ("harvest_total", "55", "mL", "right"), ("product_volume", "6", "mL", None),
      ("injection_volume", "4", "mL", "right"), ("injection_volume", "2", "mL", "left")]),
    ("Bilateral intraarticular injections. R knee: aspirated 22 mL clear, then 5 mL BMAC + 1 mL hyaluronate. L knee: "
     "dry tap, 5 mL BMAC. Harvest R PSIS, 2 x 30 mL syringes, total 58 mL (2 mL lost). 1% lidocaine 8 mL crest.",
     [("injection_volume", "5", "mL", "right"), ("injection_volume", "5", "mL", "left"),
      ("harvest_total", "58", "mL", "right"), ("discarded_volume", "2", "mL", None)]),
    ("bone marrow concentrate into both knees prone both posterior crests prepped left crest four pulls of ten "
     "millilitres right crest three pulls of ten millilitres seventy millilitres altogether spun to twelve millilitres",
     [("draw_count", "4", None, "left"), ("draw", "10", "mL", "left"), ("draw_count", "3", None, "right"),
      ("draw", "10", "mL", "right"), ("harvest_total", "70", "mL", None), ("product_volume", "12", "mL", None)]),
    ("BMAC: fifty five mils from the ipsilateral crest, concentrated to four mils.",
     [("draw", "55", "mL", None), ("product_volume", "4", "mL", None)]),
    # a row told again, and the sum of each side
    ("left posterior crest first five mils then a turn five more and needle back one centimetre and the same two again "
     "so four pulls twenty mils in the syringes",
     [*(("draw", "5", unit, "left") for unit in ("mL", None, None, None)), ("draw_count", "4", None, "left"),
      ("harvest_total", "20", "mL", "left")]),
    ("marrow from both anterior crests twelve pulls of five millilitres on each side sixty and sixty so one hundred "
     "and twenty millilitres",
     [("draw_count", "12", None, "bilateral"), ("draw", "5", "mL", "bilateral"),
      ("harvest_total", "60", None, "bilateral"), ("harvest_total", "120", "mL", None)]),
    # the drug behind a sum has its own amount
    ("left posterior crest fourteen pulls of five mils that's seventy mils heparin two thousand units in the syringes",
     [("draw_count", "14", None, "left"), ("draw", "5", "mL", "left"), ("harvest_total", "70", "mL", "left")]),
    ("Marrow of the left crest. Fifty four mils of marrow with six mils of ACD-A, sixty mils in the bag.",
     [("draw", "54", "mL", "left"), ("harvest_total", "60", "mL", "left")]),
    # no word of marrow or crest, letters, another's, a whole into the joint
    ("Left posterior ilium aspirated, sixty mils, spun to seven mils, all seven mils into the right ankle.",
     [("draw", "60", "mL", "left"), ("product_volume", "7", "mL", None), ("injection_volume", "7", "mL", "right")]),
    ("Marrow. Syringe A ten mils, syringe B twelve mils, syringe C eight mils. Thirty mils in all.",
     [("draw", "10", "mL", None), ("draw", "12", "mL", None), ("draw", "8", "mL", None),
      ("harvest_total", "30", "mL", None)]),
    ("Marrow. Her sister gave nine hundred millilitres of marrow in March. Today left crest fifty millilitres.",
     [("draw", "50", "mL", "left")]),
    ("right knee spun to five mils of concentrate under ultrasound nine mils of effusion off first then the whole five "
     "mils in blood loss about five mils",
     [("product_volume", "5", "mL", None), ("injection_volume", "5", "mL", "right")]),
    ("Left crest marrow. Eleven gauge, three centimetres. Ten mils drawn.",
     [("harvest_depth", "3", "cm", "left"), ("draw", "10", "mL", "left")]),
    ("Marrow of the right crest. Ten draws of five mils each that is fifty mils of marrow onto six mils of ACD-A "
     "so fifty six mils in the bag. Spun to four mils.",
     [("draw_count", "10", None, "right"), ("draw", "5", "mL", "right"), ("harvest_total", "50", "mL", "right"),
      ("harvest_total", "56", "mL", "right"), ("product_volume", "4", "mL", None)]),
    ("PRP both knees, 6 mL each. Blood 60 mL.", [("injection_volume", "6", "mL", None), ("draw", "60", "mL", None)]),
])  # fmt: skip
def test_short_harvests(text: str, meant: list[tuple[str, str, str | None, str | None]]) -> None:
    facts, checks = told(text)
    assert brief(facts) == meant
    assert ("unit_missing" in checks) == any(unit is None for kind, _, unit, _ in meant if kind != "draw_count")


@pytest.mark.parametrize("text", [
    "Marrow from the left crest, first draw five. Aspirated thirty five of straw coloured fluid from the right knee.",
    "Bone marrow was planned. Two anchors were placed, four sutures passed, and three portals closed.",
    "Marrow from the crest. Needle advanced three turns, half a centimetre a turn.",
    "Iliac crest marrow through a heparinised syringe, two passes. Mepivacaine ten for the skin.",
])  # fmt: skip
def test_other_numbers_of_a_harvest_are_no_marrow(text: str) -> None:
    facts, _ = told(text)
    others = (Decimal(35), Decimal(4), Decimal(3), Decimal("0.5"), Decimal(10))
    assert not [fact for fact in facts if fact.value in others]


@pytest.mark.parametrize("text", [
    "Left hip marrow concentrate. Drill forty centimetres under the cortex. Five mils injected.",
    "Left hip marrow concentrate. Spinal needle forty centimetres under the cortex, five mils injected.",
    "PRP right elbow. Twenty two gauge needle, forty centimetres under the skin, four mils in.",
    "Left crest marrow. Eleven gauge forty centimetres under the cortex. Ten mils drawn.",
])  # fmt: skip
def test_how_deep_it_went_is_no_size_of_a_needle(text: str) -> None:
    note = run.make_note(run.from_text(text), grammar.load())
    assert {fact.kind for fact in note.facts if fact.value == 40} <= {"harvest_depth", "injection_depth"}
    assert [one.severity for one in note.findings if one.check == "plausible" and "40 cm" in one.message] == ["warning"]


def test_an_amount_of_what_was_not_said_is_in_doubt() -> None:
    facts, checks = told("Tennis elbow. Two mils to the left elbow.")
    assert [(fact.kind, fact.value, fact.laterality, bool(fact.doubts)) for fact in facts] == [
        ("injection_volume", Decimal(2), "left", True)
    ]
    assert "doubtful" in checks


@pytest.mark.parametrize("text", [
    "Right knee arthroscopy. Three litres of Ringer's through the joint.",
    "Right knee arthroscopy. Joint rinsed with three litres of Ringer's.",
])  # fmt: skip
def test_a_fluid_through_the_joint_is_not_infused(text: str) -> None:
    note = run.make_note(run.from_text(text), grammar.load())
    assert [fact.kind for fact in note.facts if fact.value == 3] == ["irrigation_in"]


def test_the_whole_told_behind_its_parts_is_what_went_in_in_all() -> None:
    text = "BMAC L ankle. Spin 15 min -> 4 mL. 2.5 mL into the cyst, 1.5 mL into the joint, all 4 mL in."
    note = run.make_note(run.from_text(text), grammar.load())
    given = [(fact.kind, str(fact.value)) for fact in note.facts if fact.kind.startswith("injection_")]
    assert given == [("injection_volume", "2.5"), ("injection_volume", "1.5"), ("injection_total", "4")]
    assert "injection_total" not in {finding.check for finding in note.findings}


def test_a_drug_at_the_crest_is_no_draw() -> None:
    facts, _ = told("Marrow from the left crest, sixty mils in all. Lidocaine also ten mils at the crest.")
    assert not [fact for fact in facts if fact.value == 10]


def test_where_each_amount_went() -> None:
    facts, _ = told("Marrow concentrate six mils. I went into the medial condyle and gave three mils and two mils in "
                    "the tibial plateau, remaining one mil intraarticular.")  # fmt: skip
    given = [(fact.value, fact.body_site) for fact in facts if fact.kind == "injection_volume"]
    assert given == [(3, "femoral-condyle"), (2, "tibial-plateau"), (1, None)]


def test_a_side_that_is_done_first_numbers_no_draw() -> None:
    facts, _ = told("Bone marrow harvest, left side first: sixty mils in four syringes.")
    assert [(fact.kind, fact.name) for fact in facts] == [("harvest_total", None)]


def test_a_primed_syringe_is_no_heparin_for_the_patient() -> None:
    text = "Marrow was kept in a heparinised syringe and reduced to six mils."
    note = run.make_note(run.from_text(text), grammar.load())
    assert not {"systemic-heparinization", "reduction"} & {fact.name for fact in note.facts}


def test_scale_of_what_each_side_got() -> None:
    facts, _ = told("Bone marrow from both crests, forty pulled, spun down to eight, four into each knee.")
    assert [(fact.scale, fact.value) for fact in facts if fact.kind == "injection_volume"] == [("each", Decimal(4))]


@pytest.mark.parametrize(("last", "doubted"), [("ninety", False), ("eighty", True)])
def test_rows_and_what_they_come_to_are_no_contradiction(last: str, doubted: bool) -> None:
    said = (
        "Left crest marrow six pulls of ten mils sixty altogether then the needle one centimetre on and another three "
        f"of ten so thirty more makes {last} in all."
    )
    note = run.note_from_text(said, name="rows")
    totals = [fact for fact in note.facts if fact.kind == "harvest_total"]
    assert len(totals) == 3
    assert any("a different value" in doubt for fact in totals for doubt in fact.doubts) is doubted
