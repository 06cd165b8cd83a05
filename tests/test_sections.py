"""Sections by headings and spoken cues. The truth is from reading the text."""

from __future__ import annotations

import pytest
from reading_of import at, read, state


@pytest.mark.parametrize(
    ("text", "word", "section"),
    [
        ("POSTOPERATIVE DIAGNOSIS: Left inguinal hernia.", "hernia", "postop-diagnosis"),
        ("Preoperative diagnosis, gallstones.", "gallstones", "preop-diagnosis"),
        ("Pre operative diagnosis colic, post operative diagnosis gangrene.", "gangrene", "postop-diagnosis"),
        ("PREOP DX: Gallstones. POSTOP DX: Same.", "same", "postop-diagnosis"),
        ("Pre-op: Gallstones. Post-op: Same.", "same", "postop-diagnosis"),
        ("Ind: delay. Postop: same + 3b tear. Incision 0812.", "tear", "postop-diagnosis"),
        ("Ind: delay. Postop: same + 3b tear. Incision 0812.", "incision", ""),
        ("Pre-op: Gallstones. Post-op: Cholecystitis. Plan: Ice.", "ice", "aftercare"),
        ("preoperative diagnosis hernia postoperative diagnosis same procedure performed mesh", "mesh", "procedure"),
        ("Findings. Synovitis everywhere.", "synovitis", "findings"),
        ("Now moving on to aftercare, ice and elevation.", "ice", "aftercare"),
        ("Post-operative plan: crutches.", "crutches", "aftercare"),
        ("PROCEDURES\n1. Hernia repair.\n2. Orchidopexy.", "orchidopexy", "procedure"),
        ("Postoperative diagnosis is the same. The patient was placed supine.", "supine", ""),
        ("Indication. Hip pain. General anaesthesia. Supine.", "supine", ""),
        ("Indication. Hip pain for a year. The brace had failed.", "brace", "indication"),
        ("Preoperative diagnosis, hernia. SETTINGS: cut 40.", "cut", ""),
        ("The findings were discussed.", "discussed", ""),
        ("Postoperative diagnosis same. Procedure lower segment caesarean section.", "caesarean", "procedure"),
        ("Procedure was difficult. Carpal tunnel tight.", "tight", ""),
        ("Diagnosis before and after: supraspinatus tear.", "tear", "both-diagnoses"),
        ("Pre-op and post-op dx: gallstones.", "gallstones", "both-diagnoses"),
        ("doctor bain pre op medial meniscus tear post op the same", "tear", "preop-diagnosis"),
        ("before surgery we said gallstones after surgery it is cholecystitis", "cholecystitis", "postop-diagnosis"),
        ("After surgery, no lifting for six weeks.", "lifting", ""),
        ("We found the procedure easy.", "easy", ""),
        ("There were no complications and the patient was stable.", "stable", ""),
    ],
)
def test_where_words_stand(text: str, word: str, section: str) -> None:
    sentence, _ = at(read(text), word)
    assert sentence.section == section


def test_a_plan_is_planned_but_what_was_measured_among_it_is_not() -> None:
    text = "Aftercare. Crutches for two weeks. Blood loss was 50 mL. Ice."
    assert state(text, "crutches")[0] == "planned"
    assert state(text, "loss")[0] == "performed"
    assert state(text, "ice")[0] == "planned"


def test_a_history_is_historical() -> None:
    assert state("Past medical history, diabetes.", "diabetes")[0] == "historical"


def test_cutting_a_sentence_keeps_every_token_and_strike() -> None:
    text = "Preoperative diagnosis, left correction right hernia, postoperative diagnosis, same."
    reading = read(text)
    said = [token.text for sentence in reading.sentences for token in sentence.tokens]
    struck = [strike.taken_back.heard for sentence in reading.sentences for strike in sentence.strikes]
    assert [sentence.index for sentence in reading.sentences] == list(range(len(reading.sentences)))
    assert {"right", "same"} <= set(said)
    assert "left" not in said
    assert len(struck) == 1
    assert "left" in struck[0]


def test_every_item_of_a_numbered_list_belongs_to_its_heading() -> None:
    text = (
        "PREOPERATIVE DIAGNOSES:\n1. Ureteric stone.\n2. Forniceal rupture, left.\n3. Chronic prostatodynia.\n"
        "PROCEDURES PERFORMED:\n1. Left ureteroscopy.\n2. Meatal calibration.\nThe wound was closed."
    )
    found = [sentence.section for sentence in read(text).sentences]
    assert found == ["preop-diagnosis"] * 3 + ["procedure"] * 2 + [""]
