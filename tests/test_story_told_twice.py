"""What a note tells twice, in its headings and in its text, and what it only talked of. The sentences are invented;
right and wrong differ in one number, word or clause."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline import run

# (check, right words, wrong words, the text with ___ where they stand)
TWICE = (
    ("two_values", "Two 15 French drains", "One 15 French drain",
     "Drains: 2. PROCEDURE IN DETAIL: The flaps were raised. ___ were brought out laterally. Drains out below 30 mL."),
    ("two_values", "Three hot nodes", "Five hot nodes",
     "Specimens: 1. Left breast, 510 g. 2. Sentinel nodes, 3. DESCRIPTION: ___ were found and sent."),
    ("two_values", "Six 14 mm screws", "Four 14 mm screws",
     "IMPLANTS: Plate 38 mm with 6 screws, lot A1. DESCRIPTION: A 38 mm plate was applied. ___ were locked."),
    ("two_values", "A 7 mm cage", "A 9 mm cage",
     "IMPLANTS: PEEK cages: 7 mm (C5-C6), 6 mm (C6-C7). DESCRIPTION: ___ was tapped into C5-C6. At C6-C7 a 6 mm cage "
     "was placed."),
    ("two_values", "The uterus weighed 310 g", "The uterus weighed 130 g",
     "SPECIMENS: Uterus with cervix, 310 g, to pathology. DESCRIPTION: ___ and came out through the vagina."),
    ("two_values", "The baby, 3,410 g", "The baby, 4,310 g",
     "FINDINGS: Live female infant, 3,410 g, Apgars 8 and 9. ___, stayed with the mother."),
    ("two_values", "a live-born girl", "a live-born boy", "FINDINGS: Female infant, Apgars 8 and 9. The uterus was "
     "opened and ___ was delivered."),
    ("two_values", "red cells 4 units in total", "red cells 6 units in total",
     "INTAKE: Red cells 4 units, crystalloid 4,500 mL. DESCRIPTION: The patient received ___."),
    ("two_values", "loss again three hundred and fifty mils", "loss again eight hundred and fifty",
     "loss three hundred and fifty mils no specimens no complications ___ to the ward"),
    ("listed_count", "x3", "x4",
     "PROCEDURE: Coronary artery bypass grafting ___ (LIMA to LAD, vein to OM1, vein to PDA)."),
    ("listed_count", "three chest tubes", "two chest tubes",
     "Closed with wires; ___ (left pleural 32 Fr, mediastinal 32 Fr x2)."),
    ("listed_count", "SPECIMENS: 2", "SPECIMENS: 3", "___ (left and right sinus contents)"),
    ("listed_count", "two lesions", "three lesions",
     "Hepatocellular carcinoma, ___, four centimetres in segment eight and two in segment five, on the MRI."),
    ("listed_count", "so sixteen nodes", "so nineteen nodes", "left nodes nine right nodes seven ___ gland in one bag"),
    ("listed_count", "Four parathyroid glands", "Five parathyroid glands",
     "___ were seen and preserved, two on each side."),
    ("stated_sums", "so six point six millilitres", "so eight point eight millilitres",
     "Lidocaine two percent, three cartridges of two point two ___."),
    ("stated_sums", "so the loss is 750 mL", "so the loss is 950 mL", "Swabs 300 g, sucker 450 mL, ___."),
    ("stated_sums", "so a hundred mics", "so two hundred mics", "fifty and another fifty of fentanyl ___"),
    ("duration_times", "Withdrawal time 14 minutes", "Withdrawal time 24 minutes",
     "Scope in 10:05, cecum 10:13, scope out 10:27. ___."),
    ("duration_times", "Bypass time was 84 minutes", "Bypass time was 104 minutes",
     "On bypass 0835. Clamp on 0842. Clamp off 0944. Off bypass 0959. ___."),
    ("duration_times", "Warm ischemia 38 minutes", "Warm ischemia 58 minutes",
     "The graft was taken from ice at 02:00. Portal reperfusion at 02:38. ___."),
    ("side_conflict", "the right hemicolectomy", "the left hemicolectomy",
     "The operation was a laparoscopic right hemicolectomy. We started ___ from the ileocolic pedicle."),
    ("side_conflict", "from the left leg", "from the right leg",
     "PROCEDURE: Bypass grafting; endoscopic vein harvest, left leg. DESCRIPTION: Vein was taken ___ endoscopically. "
     "The left leg was closed."),
    ("side_conflict", "the right chest wall", "the left chest wall",
     "PROCEDURE: Right simple mastectomy. The breast came off the muscle. After closing ___ in layers a pad was put "
     "on."),
    ("side_conflict", "Right groin pressed", "Left groin pressed",
     "Supine, right groin prepped and draped. Right common femoral artery under ultrasound. ___ for fifteen minutes."),
    ("tooth_conflict", "lower left, thirty eight", "lower right, thirty eight",
     "Impacted wisdom tooth, ___. Buccal flap, crown sectioned, roots up."),
    ("complication_conflict", "no teeth touched", "we chipped a front tooth",
     "Adenoids out under the mirror, ___. Tonsils dry. No complications."),
)  # fmt: skip


@pytest.mark.parametrize(("check", "right", "wrong", "told"), TWICE)
def test_what_is_told_twice_and_otherwise_is_caught(check: str, right: str, wrong: str, told: str) -> None:
    def speaks(words: str) -> list[str]:
        note = run.note_from_text(told.replace("___", words), made_at="2026-03-02T18:00:00+00:00")
        return [one.message for one in note.findings if one.check == check and one.severity != "note"]

    assert speaks(right) == []
    assert speaks(wrong)


QUIET = (
    "crystalloid fifteen hundred mils urine not measured no implants",
    "Procedure: Left heart catheterization. Right heart catheterization. Complications: None.",
    "Cuff up 09:00 to 09:55, deflated, up again 10:10 to 10:30: total 75 minutes.",
    "Four pledgets soaked in oxymetazoline were placed, two on each side.",
    "Aspirin at 6 hours, chest tubes out on day 2 if under 150 mL in 8 hours.",
    "No drains, nothing for the lab but one swab from the trunk for culture.",
    "DRAINS: as above. Three chest tubes were placed. The left leg was closed over no drain and wrapped.",
    "No complications. Call for fever, headache or new weakness.",
    "Fentanyl a hundred mics, lidocaine one percent ten mils in the skin, so a hundred milligrams.",
    "Loss three hundred in the suction and one fifty on the swabs. Total blood loss four hundred and fifty mils.",
    "Drains: 2. A 15 French drain was placed in the breast and another drain in the axilla.",
    "IMPLANTS: 6 screws. DESCRIPTION: Four screws went into the plate and two lag screws outside it.",
    "SPECIMENS: 1. Right kidney, 310 g. 2. Ureter. DESCRIPTION: The adrenal nodule weighed 12 g.",
    "SPECIMENS: Septal cartilage, discarded, none sent.",
    "Live twin girls. Twin one, a girl, 2,410 g. Twin two, a boy, 2,210 g.",
)


@pytest.mark.parametrize("text", QUIET)
def test_nothing_is_asked_of_what_agrees(text: str) -> None:
    note = run.note_from_text(text, made_at="2026-03-02T18:00:00+00:00")
    asked = ("completeness", "family_elements", "missing_amount")
    assert [f"{one.check}: {one.message}" for one in note.findings if one.severity != "note"
            and one.check not in asked] == []  # fmt: skip


TALK = (
    "Hoarseness, dysphagia, nerve injury and nonunion were discussed; she consented.",
    "Bleeding, hernia and bowel injury were explained and he signed.",
    "She knows about incontinence and urethral stricture.",
    "He understands that stricture, sepsis and perforation can happen.",
    "He consented after seeing us twice; leak, bleeding and death were named.",
)


@pytest.mark.parametrize("text", TALK)
def test_what_was_only_discussed_is_no_finding(text: str) -> None:
    seen = ("diagnosis", "finding", "complication")
    assert [(fact.kind, fact.name) for fact in facts_of(f"{text} The patient was brought in.") if fact.kind in seen
            and fact.certainty == "affirmed" and fact.status == "performed"] == []  # fmt: skip


# (text, kind, name, value or text, unit): one fact that must stand so, done and without a doubt.
READ = (
    ("10 mL of 1% lidocaine (100 mg) with epinephrine 1:100,000 was injected.", "medication_dose", "lidocaine", "100",
     "mg"),
    ("four mils of one percent lidocaine with adrenaline so forty milligrams", "medication_dose", "lidocaine", "40",
     "mg"),
    ("1% preservative-free lidocaine 0.3 mL was placed.", "medication_concentration", "lidocaine", "1", "%"),
    ("EBL: 50 mL. INDICATION: Physical therapy failed. She was induced. Cefazolin 2 g at 12:40.", "medication_dose",
     "cefazolin", "2", "g"),
    ("temperature thirty nine two on the ward", "measurement", "temperature", "39.2", None),
    ("crystalloid two litres urine four hundred one suction drain in the groin", "fluid_out", "urine", "400", None),
    ("one suction drain in the groin twelve french none below", "drain_size", "suction-drain", "12", "[Ch]"),
    ("The patient was brought to the room at 07:15.", "clock_time", "in_room", "07:15", None),
    ("Sternotomy at 08:12.", "clock_time", "incision", "08:12", None),
    ("so loss is eight hundred millilitres.", "blood_loss", None, "800", "mL"),
    ("Bladder tumour. Diagnosis after is bladder tumour, awaiting histology.", "postop_diagnosis", "bladder-tumour",
     None, None),
    ("Diagnosis in and out: acute cholecystitis.", "postop_diagnosis", "acute-cholecystitis", None, None),
    ("apixaban not before two weeks staples out day ten", "aftercare", "suture-removal", "10", "d"),
)  # fmt: skip


@pytest.mark.parametrize(("text", "kind", "name", "value", "unit"), READ)
def test_it_stands_as_it_was_said(text: str, kind: str, name: str | None, value: str | None, unit: str | None) -> None:
    found = [fact for fact in facts_of(text) if fact.kind == kind and fact.name == name]
    told = [str(fact.value) if fact.value is not None else fact.text for fact in found]
    assert (value in told if value is not None else bool(found)), [(fact.kind, fact.name) for fact in facts_of(text)]
    one = found[told.index(value)] if value is not None else found[0]
    assert (one.certainty, one.doubts) == ("affirmed", ())
    assert value is None or kind in ("clock_time",) or one.unit == unit


def test_a_heading_behind_a_numbered_list_of_specimens_is_no_specimen() -> None:
    facts = facts_of("Specimens: 1. Right breast, 640 g. 2. Sentinel nodes, 3. Drains: 2. Complications: None.")
    assert [fact.text for fact in facts if fact.kind == "specimen"] == ["Right breast , 640 g", "Sentinel nodes"]


def test_the_story_under_a_second_heading_names_no_operations() -> None:
    facts = facts_of(
        "Operation: Left orchidopexy. Time-out: done, left side marked. Procedure: Groin crease incision. Canal "
        "opened. Cord freed. Testis to the scrotum in a dartos pouch."
    )
    assert [fact.name for fact in facts if fact.kind == "procedure"] == ["orchidopexy"]


def test_twisted_before_it_was_tied_is_no_torsion() -> None:
    facts = facts_of("Sac separated from vas and vessels, twisted and transfixed at the deep ring.")
    assert "torsion" not in [fact.name for fact in facts]
