"""The procedure's own story in plain sentences: what was tried in vain, made ready and not given, put off and done,
asked and told, taken back by a "not"; who the patient is and what should bring them back. The sentences are common
English usage (some of them of speakers of another language), no source."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline import run
from pipeline.records import Fact

# Sentence; kind, name (None: any); status, certainty.
STATES = (
    ("The interscalene block was tried, didn't really take, so she had a general.",
     "anaesthesia", "interscalene-block", "performed", "negated"),
    ("Thoracic epidural attempted, abandoned after two attempts.", "anaesthesia", "epidural", "performed", "negated"),
    ("A lumbar drain was tried and could not be sited.", "drain", "lumbar-drain", "performed", "negated"),
    ("We had prepared the Kenalog but his sugar was too high, so this we not give.",
     "medication", "triamcinolone", "performed", "negated"),
    ("Kenalog forty was prepared, so this we did not give.", "medication", "triamcinolone", "performed", "negated"),
    ("Depomedrone eighty was asked for and never arrived.",
     "medication", "methylprednisolone-acetate", "performed", "negated"),
    ("The Kenalog stayed in the syringe because her sugar was high.",
     "medication", "triamcinolone", "performed", "negated"),
    ("The nerve was freed, decompressed in situ, and was not transposed.",
     "act", "decompression", "performed", "affirmed"),
    ("The drain was opened and was not inserted.", "drain", "drain", "performed", "negated"),
    ("I thought there was a dural tear but it turned out to be irrigation.",
     "complication", "dural-tear", "performed", "negated"),
    ("There was a question of a bladder injury, methylene blue showed none.",
     "complication", "bladder-injury", "performed", "negated"),
    ("A drain was going to be left but the bed was dry.", "drain", "drain", "planned", "affirmed"),
    ("Microfracture considered; not done, the lesion was stable.",
     "procedure", "microfracture", "performed", "negated"),
    ("Sterilisation requested antenatally - form unsigned, NOT performed.",
     "procedure", "tubal-ligation", "performed", "negated"),
    ("The fascia iliaca block was offered but she said no.",
     "anaesthesia", "fascia-iliaca-block", "performed", "negated"),
    ("Fibula osteotomy was discussed, I decided against it.", "act", "osteotomy", "performed", "negated"),
    ("Sub-Tenon's ready, don't think I'll need it.", "anaesthesia", "sub-tenon-block", "performed", "negated"),
    ("Antibiotic she get not.", "prophylaxis", "antibiotic", "performed", "negated"),
    ("The two FasT-Fix we had opened were not used.", "device", "meniscal-device", "performed", "negated"),
    ("Wound catheters not sited.", "drain", "pain-catheter", "performed", "negated"),
    ("BMAC: 60 ml planned, iliac crest right, 30 obtained.", "harvest_site", "iliac-crest", "performed", "affirmed"),
    ("Aspirin seventy five milligrams which she did not stop.", "medication", "aspirin", "historical", "affirmed"),
    ("Apixaban 5 mg BD - not stopped.", "medication", "apixaban", "historical", "affirmed"),
    ("AF on edoxaban 60 mg od (omitted this am).", "medication", "edoxaban", "historical", "affirmed"),
    ("Diabetic, no retinopathy, on tamsulosin so we expect a floppy iris.",
     "medication", "tamsulosin", "historical", "affirmed"),
    ("No complications. Blood loss nil. Ward overnight, hourly checks. Paracetamol and ibuprofen.",
     "medication", "paracetamol", "planned", "affirmed"),
    ("XR 1/52 not needed. OPD 6/52.", "follow_up", "x-ray", "planned", "negated"),
    ("A supraclavicular block was deferred until the nerve was seen. She woke. The block was then given.",
     "anaesthesia", None, "performed", "affirmed"),
    ("No ascites, no peritoneal disease.", "finding", None, "performed", "negated"),
    ("We'll take from the left anterior crest. Trocar in. First syringe, four mils.",
     "harvest_site", "anterior-iliac-crest", "performed", "affirmed"),
)  # fmt: skip


def _named(text: str, kind: str, name: str | None) -> list[Fact]:
    return [fact for fact in facts_of(text) if fact.kind == kind and name in (None, fact.name)]


@pytest.mark.parametrize(("text", "kind", "name", "status", "certainty"), STATES, ids=[row[0][:40] for row in STATES])
def test_states(text: str, kind: str, name: str | None, status: str, certainty: str) -> None:
    found = _named(text, kind, name)
    assert found
    assert {(fact.status, fact.certainty) for fact in found} == {(status, certainty)}


# What a correction takes back: sentence, words that no fact may be heard in, kind that stands.
TAKEN_BACK = (
    ("He got Synvisc, sorry not Synvisc, the Durolane, sixty milligrams.", "Synvisc", "medication_dose"),
    ("he received the synvisc sorry not the synvisc the durolane sixty milligrams", "synvisc", "medication_dose"),
    ("We used Vicryl, not Vicryl, PDS for the fascia.", "Vicryl", "suture"),
    ("A medium hemovac was placed, correction, no drain was placed.", "hemovac", "drain"),
    ("A drain went in, no wait it did not, no drain.", "went", "drain"),
    ("We gave cefazolin two grams, correction, we did not give cefazolin.", "grams", "medication"),
)


@pytest.mark.parametrize(("text", "gone", "kind"), TAKEN_BACK, ids=[row[0][:40] for row in TAKEN_BACK])
def test_taken_back(text: str, gone: str, kind: str) -> None:
    found = facts_of(text)
    assert any(fact.kind == kind for fact in found)
    assert not [fact for fact in found if gone in fact.evidence.heard.split()]
    assert not [fact.doubts for fact in found if fact.doubts]


def test_what_is_no_correction_stays() -> None:
    assert _named("No drain, no specimen, no complications.", "drain", "drain")
    (graft,) = _named("The graft was medial, not medial enough. Blood loss 20 mL.", "blood_loss", None)
    assert graft.value == 20


# Asked and told, visits, the patient: sentence, kind, value or text.
TOLD = (
    ("Swabs? All correct, thank you.", "count", "correct"),
    ("How much did we lose? About fifty mils.", "blood_loss", "50"),
    ("How much went in? Nine litres.", "irrigation_in", "9"),
    ("Tourniquet time? Forty two minutes.", "tourniquet_time", "42"),
    ("Drain? No. Specimen? None.", "specimen", "none"),
    ("Any allergies? Penicillin, she gets a rash.", "allergy", "Penicillin"),
    ("XR 1/52, clinic 6/52.", "follow_up", "1"),
    ("X rays at six weeks.", "follow_up", "6"),
    ("He comes again in four weeks.", "follow_up", "4"),
    ("If swelling or calf pain -> A&E.", "warning_sign", "swelling or calf pain"),
    ("Any trouble passing water, straight back in.", "warning_sign", "Any trouble passing water"),
    ("Scrotal swelling, can't PU, fever: SAU.", "warning_sign", "Scrotal swelling, can't PU, fever"),
    ("Nell Okafor-Dean, 6y, tonsillectomy.", "patient_age", "6"),
    ("Nell Okafor-Dean, 6y, tonsillectomy.", "patient_name", "Nell Okafor-Dean"),
    ("Patient is Salma Dietrich MRN five five two one.", "patient_name", "Salma Dietrich"),
    ("Operative dictation, Yusuf Amari, record number eight eight two.", "patient_name", "Yusuf Amari"),
    ("Gartland three, in Teddy Oduya, five years old.", "patient_name", "Teddy Oduya"),
    ("Vancomycin was given because of an anaphylaxis to cephalosporins.", "allergy", "cephalosporins"),
    ("GH OA (K-L 3).", "grade", "3"),
)


@pytest.mark.parametrize(("text", "kind", "said"), TOLD, ids=[f"{row[1]}: {row[0][:30]}" for row in TOLD])
def test_told(text: str, kind: str, said: str) -> None:
    found = [fact for fact in facts_of(text) if fact.kind == kind]
    assert said in [fact.text for fact in found] + [str(fact.value) for fact in found]


# Talk that is no fact: sentence, kind that must not stand.
NO_FACT = (
    ("Staging laparoscopy last week (Ms Harding) - no peritoneal disease.", "patient_name"),
    ("44M with 3y of knee pain.", "patient_name"),
    ("He moves his hand, pulse good, moves the fingers.", "aftercare"),
    ("She can come out of it to wash.", "irrigation"),
    ("No it had not clotted, it was fine.", "finding"),
    ("Vancomycin was given because of an anaphylaxis to cephalosporins.", "complication"),
    ("Supine, both crests prepped.", "harvest_site"),
    ("Consent incl chronic pain 10%, conversion.", "measurement"),
    ("We offered exchange nailing and bone graft, he preferred to wait.", "device"),
    ("Chevron cut, shifted four millimeters.", "incision_length"),
)


@pytest.mark.parametrize(("text", "kind"), NO_FACT, ids=[row[0][:40] for row in NO_FACT])
def test_no_fact(text: str, kind: str) -> None:
    assert not [fact for fact in facts_of(text) if fact.kind == kind]


def test_a_denied_complication_has_no_side_of_what_moves() -> None:
    (drop,) = _named("In recovery no foot drop, moving both feet.", "complication", "foot-drop")
    assert (drop.certainty, drop.laterality) == ("negated", None)


# Sentence, check; whether it speaks.
ALARMS = (
    ("Left knee arthroscopy. Drain 20F to the joint. Second drain opened, not used.", "none_but_said", False),
    ("Left knee arthroscopy. Specimen to histology, scratch that, nothing sent.", "none_but_said", False),
    ("Vancomycin because of an anaphylaxis to cephalosporins. No complications.", "complication_conflict", False),
    ("Left anterior crest. First draw four mils. Then four again. In total ten draws of four, forty mils.",
     "draw_total", False),
    ("Left anterior crest. First syringe four mils. Turn. Four mils. So five draws, twenty mils.", "draw_total", False),
    ("Left anterior crest. First syringe four mils. Turn. Four mils. So five draws, thirty mils.", "draw_total", True),
)  # fmt: skip


@pytest.mark.parametrize(("text", "check", "speaks"), ALARMS, ids=[f"{row[1]}: {row[0][-30:]}" for row in ALARMS])
def test_alarms(text: str, check: str, speaks: bool) -> None:
    findings = run.note_from_text(text, name="x").findings
    assert any(finding.check == check for finding in findings) is speaks
