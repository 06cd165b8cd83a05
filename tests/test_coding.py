"""Questions for a coder: candidates with the words behind them, never a code assigned."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline import coding, grammar, run
from pipeline.errors import BadContext
from pipeline.note import OperativeNote, Sections, Source
from pipeline.records import Evidence, Fact

# A cut of the tables as CMS lays them out. Values: 0FT44ZZ laparoscopic cholecystectomy (AHIMA answer key 2013).
TABLES = """<?xml version="1.0"?>
<ICD10PCS.tabular>
 <pcsTable>
  <axis pos="1" values="1"><title>Section</title><label code="0">Medical and Surgical</label></axis>
  <axis pos="2" values="1"><title>Body System</title><label code="F">Hepatobiliary System and Pancreas</label></axis>
  <axis pos="3" values="1"><title>Operation</title><label code="T">Resection</label></axis>
  <pcsRow codes="4">
   <axis pos="4" values="2"><title>Body Part</title><label code="4">Gallbladder</label>
    <label code="G">Pancreas</label></axis>
   <axis pos="5" values="2"><title>Approach</title><label code="0">Open</label>
    <label code="4">Percutaneous Endoscopic</label></axis>
   <axis pos="6" values="1"><title>Device</title><label code="Z">No Device</label></axis>
   <axis pos="7" values="1"><title>Qualifier</title><label code="Z">No Qualifier</label></axis>
  </pcsRow>
 </pcsTable>
</ICD10PCS.tabular>
"""


def _note(*facts: Fact) -> OperativeNote:
    return OperativeNote(
        id="case", made_at="2026-03-02T10:00:00+00:00", profile="us", facts=list(facts), sections=Sections(),
        source=Source(kind="text", name="case", sha256="0" * 64, engine="typed"),
    )  # fmt: skip


def _fact(kind: str, heard: str, **fields: object) -> Fact:
    return Fact(kind=kind, evidence=Evidence(0, 3, None, None, heard), id="f001", **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("heard", "name", "side", "code"),
    [  # ICD-10-CM tabular list: titles of these codes
        ("carpal tunnel syndrome", "carpal-tunnel-syndrome", "left", "G56.02"),
        ("carpal tunnel syndrome", "carpal-tunnel-syndrome", "right", "G56.01"),
        ("frozen shoulder", "frozen-shoulder", "left", "M75.02"),
    ],
)
def test_candidates_follow_words_and_side(heard: str, name: str, side: str, code: str) -> None:
    (question,) = coding.diagnosis_questions(
        _note(_fact("postop_diagnosis", heard, name=name, laterality=side)), grammar.load()
    )
    assert code in [one.code for one in question.candidates]
    assert all(one.words for one in question.candidates)
    other = {"left": "right", "right": "left"}[side]
    assert not any(other in one.title.lower() for one in question.candidates)


def test_no_side_said_leaves_the_side_open() -> None:
    (question,) = coding.diagnosis_questions(
        _note(_fact("diagnosis", "carpal tunnel syndrome", name="carpal-tunnel-syndrome")), grammar.load()
    )
    assert any({"left", "right"} & set(one.open) for one in question.candidates)


def test_what_was_denied_or_suspected_is_not_asked_for() -> None:
    note = _note(
        _fact("diagnosis", "carpal tunnel syndrome", name="carpal-tunnel-syndrome", certainty="negated"),
        _fact("diagnosis", "carpal tunnel syndrome", name="carpal-tunnel-syndrome", certainty="suspected"),
    )
    assert coding.diagnosis_questions(note, grammar.load()) == []


def test_axes_of_a_laparoscopic_cholecystectomy(tmp_path: Path) -> None:
    file = tmp_path / "tables.xml"
    file.write_text(TABLES)
    note = _note(_fact("procedure", "laparoscopic cholecystectomy", name="laparoscopic-cholecystectomy"))
    (question,) = coding.procedure_questions(note, grammar.load(), coding.read_tables(file))
    assert question.open == ()
    assert [axis.value for axis in question.axes[2:5]] == ["Resection", "Gallbladder", "Percutaneous Endoscopic"]


def test_an_approach_never_said_stays_open(tmp_path: Path) -> None:
    file = tmp_path / "tables.xml"
    file.write_text(TABLES)
    note = _note(_fact("procedure", "cholecystectomy", name="cholecystectomy"))
    (question,) = coding.procedure_questions(note, grammar.load(), coding.read_tables(file))
    assert question.open == ("approach",)


@pytest.mark.parametrize("content", ["no xml", "<other/>"])
def test_a_file_that_holds_no_tables_is_told(tmp_path: Path, content: str) -> None:
    file = tmp_path / "tables.xml"
    file.write_text(content)
    with pytest.raises(BadContext, match="tables"):
        coding.read_tables(file)


def test_a_first_operation_is_no_later_encounter() -> None:
    """ICD-10-CM: the seventh character is A for active treatment, D or S for what comes after it (guideline I.C.19.a);
    S83.24 is "other tear of medial meniscus"."""
    said = _fact("postop_diagnosis", "medial meniscal tear", name="medial-meniscal-tear", laterality="left")
    (question,) = coding.diagnosis_questions(_note(said), grammar.load())
    assert question.candidates
    assert not [one.code for one in question.candidates if one.code[-1] in "DS" and len(one.code) == 8]
    assert "S83.242A" in [one.code for one in question.candidates]


@pytest.mark.parametrize(("text", "first"), [
    # Titles of ICD-10-CM (CMS, public), read in simple-icd-10-cm.
    ("Diagnosis: stenosis L4-L5. Laminectomy L4-L5.", "M48.061"),
    ("Preoperative diagnosis: hypertension.", "I10"),
    ("Preoperative diagnosis: acute appendicitis.", "K35.80"),
])  # fmt: skip
def test_the_usual_code_is_the_first_candidate(text: str, first: str) -> None:
    note = run.make_note(run.from_text(text), grammar.load())
    question = coding.diagnosis_questions(note, grammar.load())[0]
    assert question.candidates[0].code == first


def test_codes_of_special_patients_come_last() -> None:
    note = run.make_note(run.from_text("Preoperative diagnosis: diabetes."), grammar.load())
    (question,) = coding.diagnosis_questions(note, grammar.load())
    assert not {code.code[0] for code in question.candidates} & {"O", "P", "Z"}
