"""What surgeons of every specialty count, measure and agree on, tried as frames: operations against the words of a
time-out, numbers in the ways that they are said, and counts with one number wrong beside the same counts all right.

The frames and what each says are common usage of the specialties, no source.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from cases_runner import facts_of
from frame_rows import frames

from pipeline import run
from pipeline.note import OperativeNote
from pipeline.records import Fact

# Operation, and words for the place where it is marked: an X stands for the side.
MARKED = """
X carotid endarterectomy | X side of the neck ; X neck
X femoropopliteal bypass | X leg ; X groin
X brachiocephalic fistula | X arm
X upper lobectomy | X chest ; X side
X nephrectomy | X kidney ; X flank
X ureteroscopy | X side ; X ureter
X orchidopexy | X groin ; X testis ; X scrotum
X hydrocele repair | X scrotum ; X testicle
X inguinal hernia repair | X groin
X ovarian cystectomy | X ovary
X tympanoplasty | X ear
X parotidectomy | X cheek ; X face
X hemithyroidectomy | X lobe ; X side of the neck
X phacoemulsification | X eye
X dacryocystorhinostomy | X eye
X burr holes for subdural | X side
X axillary dissection | X axilla
X TAP block | X side
X maxillary antrostomy | X nostril
X adrenalectomy | X flank
X PCNL | X kidney
X femoral endarterectomy | X groin ; X leg
X submandibular gland excision | X neck
X pneumonectomy | X lung ; X chest
X turbinectomy | X nostril
"""
OTHER = {"left": "right", "right": "left"}


def _marked() -> list[tuple[str, str]]:
    return [
        (row.split(" | ")[0], words.strip())
        for row in MARKED.strip().splitlines() for words in row.split(" | ")[1].split(";")
    ]  # fmt: skip


def _note(text: str) -> OperativeNote:
    return run.note_from_text(text, name="frame")


def _loud(note: OperativeNote, check: str) -> list[str]:
    return [one.message for one in note.findings if check in one.check and one.severity != "note"]


@pytest.mark.parametrize(("operation", "words"), _marked())
def test_another_side_at_the_time_out_is_told(operation: str, words: str) -> None:
    for side, other in OTHER.items():
        title = operation.replace("X", side.capitalize())
        assert _loud(_note(f"{title}. Time out: {words.replace('X', other)} confirmed."), "side_conflict")
        assert not _loud(_note(f"{title}. Time out: {words.replace('X', side)} confirmed."), "side")


# What is told before; how it is said; the kind, words of the name or text, and the value that must stand.
SAID = """
Left axillary dissection | fourteen nodes were taken ; nodes: 14 ; nodal yield fourteen ; 14 LN ; we got fourteen nodes | specimen_count | nodes | 14
Left axillary dissection | two of five nodes were positive ; five nodes, two positive ; 2/5 nodes positive | specimen_count | nodes | 5
Caesarean section | Apgars nine at one and ten at five ; Apgar 9/10 ; Apgar 9 at 1 and 10 at 5 minutes ; Apgar 9, 10, 10 | measurement | apgar | 10
Caesarean section | at thirty eight weeks and three days ; 38+3 ; 38 3/7 weeks ; thirty eight plus three | measurement | gestational-age | 269
Caesarean section | boy, weight 3240 ; baby weighed 3240 ; infant weighed 3240 grams ; a boy of 3240 grams | measurement | birth-weight | 3240
Caesarean section | decision to delivery 25 minutes ; DDI 25 min ; decision-delivery interval 25 minutes | duration | decision-to-delivery | 25
Caesarean section | four hundred in the suction and two hundred on the swabs, so six hundred ; suction 400 mL, swabs 200 mL, total loss 600 mL | blood_loss | | 600
Aortic valve replacement | on bypass for ninety four minutes ; total bypass 94 minutes ; ninety four minutes of bypass ; CPB 94 min | duration | bypass | 94
Left partial nephrectomy | warm ischaemia 18 min ; WIT 18 min ; warm ischaemia time 18 minutes ; artery clamped for eighteen minutes | duration | clamp | 18
Kidney transplant | cold ischaemia eleven hours ; cold time 11 h ; CIT 11 h | duration | cold-ischaemia | 11
"""  # noqa: E501


def _said() -> list[tuple[str, str, str, str, str]]:
    rows = [[cell.strip() for cell in row.split("|")] for row in SAID.strip().splitlines()]
    return [(row[0], said.strip(), row[2], row[3], row[4]) for row in rows for said in row[1].split(";")]


@pytest.mark.parametrize(("before", "said", "kind", "name", "value"), _said())
def test_a_number_stands_however_it_is_said(before: str, said: str, kind: str, name: str, value: str) -> None:
    facts = facts_of(f"{before}. {said[0].upper()}{said[1:]}. Counts correct.")
    assert any(
        fact.kind == kind and name in (fact.name or fact.text or "") and fact.value == Decimal(value) for fact in facts
    )


# What is still to be arranged.
TO_COME = """
X to be listed | X to be booked | X to be arranged | X to be scheduled | X to be organised | X to be planned
X to be requested | X to be considered | X to be discussed | X to be repeated | X to be done later
X to be performed in six weeks | X to be offered | X for listing | list her for X | X on the list | X awaited
X pending | X still to do | for X in due course | referral for X | refer for X | will come back for X
back for X in six weeks
"""
OF_TODAY = """
X was done as listed | X was used, the scan is pending | X done, histology awaited | X placed and to be left for a day
"""


def _stand(frame: str) -> dict[str, list[Fact]]:
    """The facts of each thing that stand as done today, in the sentence in the middle."""
    found: dict[str, list[Fact]] = {}
    for thing in ("a drain", "a cholecystectomy", "the kenalog", "another anchor", "a nerve block"):
        said = frame.replace("X", thing)
        facts = facts_of(f"Right knee arthroscopy. {said[0].upper()}{said[1:]}. Rinsed with two litres.")
        found[thing] = [
            fact for fact in facts if 3 <= fact.evidence.first <= len(said.split()) + 2
            and (fact.status, fact.certainty) == ("performed", "affirmed") and not fact.doubts
        ]  # fmt: skip
    return found


@pytest.mark.parametrize("frame", frames(TO_COME))
def test_what_is_to_be_arranged_is_not_done(frame: str) -> None:
    assert not any(_stand(frame).values())


@pytest.mark.parametrize("frame", frames(OF_TODAY))
def test_what_was_done_beside_what_is_to_come_is_done(frame: str) -> None:
    assert all(_stand(frame).values())


def test_a_clamp_or_a_graft_has_no_tourniquet_time() -> None:
    for text in ("Left partial nephrectomy. Warm ischaemia time 18 minutes.", "CABG. Ischaemic time 61 minutes."):
        assert not [fact for fact in facts_of(text) if fact.kind == "tourniquet_time"]


PARTS_OF_ONE = (
    ("lidocaine, point three of a millilitre", "0.3"), ("0.05 of a mL of lidocaine", "0.05"),
    ("half of a millilitre of lidocaine", "0.5"), ("three quarters of a millilitre of lidocaine", "0.75"),
    ("two tenths of a mil of lidocaine", "0.2"), ("nought point one of a millilitre of lidocaine", "0.1"),
)  # fmt: skip


@pytest.mark.parametrize(("said", "value"), PARTS_OF_ONE)
def test_a_part_of_one_is_no_whole_one(said: str, value: str) -> None:
    facts = facts_of(f"Cataract right eye. {said[0].upper()}{said[1:]} was given.")
    assert [fact.value for fact in facts if fact.kind == "medication_volume"] == [Decimal(value)]


def test_names_of_people_are_no_things() -> None:
    for text in ("Right ureteroscopy. Surgeon doctor Stone, assistant Dr. Cast.", "Mrs Polyp, by doctor Carys Lee."):
        kinds = {fact.kind for fact in facts_of(text)}
        assert kinds.isdisjoint({"finding", "diagnosis", "dressing", "device", "complication"})


def test_a_drug_among_orders_for_afterwards_does_not_stand_as_given() -> None:
    for orders in ("Catheter out tomorrow, X, clinic 6 weeks", "Drain out day 2, X, stitches out", "Home today, X"):
        facts = facts_of(f"Myomectomy. {orders.replace('X', 'enoxaparin 40 mg')}.")
        given = [fact for fact in facts if fact.kind.startswith("medication")]
        assert given
        assert all(fact.doubts or fact.status == "planned" for fact in given)


def test_a_tract_in_french_is_no_age() -> None:
    assert not [fact for fact in facts_of("Right PCNL. 30F tract, stone 22 mm.") if fact.kind == "patient_age"]


def test_the_side_of_a_donor_is_not_that_of_the_operation() -> None:
    told = facts_of("Kidney transplant, right iliac fossa. It is a left kidney. Incision 16 cm. 19 French drain.")
    assert {fact.laterality for fact in told} == {None}


def test_an_operation_behind_an_unchanged_diagnosis_is_no_diagnosis() -> None:
    for title in ("Right mastectomy with axillary clearance levels I-II", "Laparoscopic pyloromyotomy"):
        facts = facts_of(f"Pre-op: tumour. Post-op: same. {title}. GA, supine.")
        assert any(fact.kind == "procedure" for fact in facts)
        assert [fact.text or fact.name for fact in facts if fact.kind == "postop_diagnosis"] == ["same"]


# Told all right, and with one number or word wrong; which check has to say so.
WRONG = (
    ("Right upper lobectomy. Station 5 (4), station 6 (3), 7 nodes in all.", "7 nodes", "17 nodes", "parts_and_total"),
    ("Right mastectomy. 16 nodes in the fat, 9 level I and 7 level II.", "16", "61", "parts_and_total"),
    ("Left lobectomy. 9 reloads, 5 vascular, 2 for bronchus, 2 for the fissure.", "9", "7", "listed_count"),
    ("Sleeve gastrectomy. Six loads, two black and four purple.", "two", "three", "listed_count"),
    ("Ovarian cystectomy left. Umbilical 10 mm port, three 5 mm ports, 4 ports in total.", "4", "3", "listed_count"),
    ("Sagittal split. One 4-hole plate each side, 4 screws 6 mm in each, 8 screws.", "8", "6", "listed_count"),
    ("Right mastectomy. 15 Fr Blake to the axilla, 15 Fr Blake to the flap, 2 drains.", "2 d", "3 d", "listed_count"),
    ("ACDF C5/6 and C6/7. Two screws each in C5, C6 and C7, six screws altogether.", "six", "four", "parts_and_total"),
    ("ACDF C5/6 and C6/7. Localised at C5/6 and C6/7. Discs removed.", "at C5/6 and C6/7", "at C4/5 and C5/6", "level"),
    ("Aortic valve replacement. A 23 mm Magna Ease went in, label read back 23.", "back 23", "back 21", "identity"),
    ("Cataract right eye. IOL +21.5 D, label checked 21.5.", "checked 21.5", "checked 22.5", "device_identity"),
    ("Caesarean section. Decision 14:10, delivery 14:35, DDI 25 min.", "25 min", "35 min", "duration_times"),
    ("AVR. On bypass at 09:10. Off bypass at 10:41, 91 minutes of bypass.", "91", "19", "duration_times"),
    ("Kidney transplant. Ice on at 22:30, out of ice 12:40, cold ischaemia 14 h 10 min.", "14 h", "11 h", "duration"),
    ("Kidney transplant right iliac fossa. A left kidney. The left kidney flushed.", "The left", "The right", "side"),
    ("Time out: right iliac fossa. Kidney transplant right iliac fossa.", "t: right", "t: left", "side_conflict"),
    ("Time out: right side. Radiofrequency of the right C4 and C5 nerves.", "the right C4", "the left C4", "side"),
    ("Bladder tumour resection. Mitomycin 40 mg in 40 mL into the bladder.", "40 mg", "400 mg", "drug_dose"),
    ("CABG. CPB 09:33-10:58 (85 min), X-clamp 09:41-10:39 (58 min).", "(58 min)", "(85 min)", "duration_times"),
    ("Craniotomy left. Three plates and two screws in each so six screws.", "six screws", "eight screws", "listed"),
    ("Breast reduction, both. One 12 Fr drain each side, 2 drains.", "2 drains", "4 drains", "listed_count"),
    ("Extraction of 54, 55, 64, 65 and 74, five teeth out.", "five", "seven", "listed_count"),
    ("Left trabeculectomy. MMC on 3 sponges, 2 minutes, 3 sponges out.", "3 sponges out", "2 sponges out", "packs"),
    ("Hysterectomy. The left ureter was seen. No complications.", "seen", "cut and reimplanted", "complication"),
    ("Left PCNL. Punctured the left lower pole calyx.", "the left", "the right", "side_unplaced"),
    ("Mitral repair. 2 pairs to A2 and 1 pair to P2, 3 pairs of neochords.", "3 pairs", "5 pairs", "listed_count"),
    ("Liver transplant. Cold ischaemia 7 h 10 min (03:25-10:35).", "7 h", "9 h", "stated_sums"),
    ("Myomectomy. 4 fibroids: 8, 5, 3 and 2 cm.", "4 fib", "6 fib", "listed_count"),
    ("AVR. Cardioplegia 1000 mL antegrade.", "1000", "10", "plausible"),
    ("Vitrectomy left eye. Cefuroxime 1 mg intracameral.", "1 mg", "10 mg", "drug_dose"),
    ("EVAR. Contrast 90 mL.", "90 mL", "900 mL", "plausible"),
    ("Pyloromyotomy. Mucosa intact. No complications.", "intact", "opened and closed with PDS", "complication"),
    ("Left L5 pain. Left L5 transforaminal injection, needle under the L5 pedicle.", "the L5", "the L3", "level"),
    ("Septoplasty. 1:1000 adrenaline on patties.", "1:1000", "1:100", "plausible"),
    ("Laparoscopic cholecystectomy. The duodenum was freed. No complications.", "freed", "perforated", "complication"),
)  # fmt: skip


@pytest.mark.parametrize(("text", "right", "wrong", "check"), WRONG)
def test_one_thing_wrong_is_told_and_nothing_of_it_where_all_is_right(
    text: str, right: str, wrong: str, check: str
) -> None:
    assert text.count(right) == 1
    assert not _loud(_note(text), check)
    assert _loud(_note(text.replace(right, wrong)), check)
