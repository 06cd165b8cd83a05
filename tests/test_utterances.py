"""Sentences out of words: where they end, and what spoken corrections leave of them.

The sentences are of our own making; the phrases of correction are common practice of dictation, no source.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import pytest

from pipeline import grammar
from pipeline.records import Sentence, Word
from pipeline.rows import Correction
from pipeline.tokens import words_from_text
from pipeline.utterances import read

POOL = Path(__file__).resolve().parents[2] / "shared" / "notes_pool.jsonl"
CUES = grammar.load().table("corrections", Correction)


def of_text(text: str) -> list[Sentence]:
    return read(words_from_text(text))


def plain(sentences: Sequence[Sentence]) -> str:
    return " / ".join(" ".join(token.text for token in sentence.tokens) for sentence in sentences)


def struck(sentences: Sequence[Sentence]) -> list[str]:
    return [strike.taken_back.heard for sentence in sentences for strike in sentence.strikes if strike.clear]


def unclear(sentences: Sequence[Sentence]) -> list[str]:
    return [strike.cue.heard for sentence in sentences for strike in sentence.strikes if not strike.clear]


def timed(*parts: tuple[str, float]) -> list[Word]:
    """Words of 0.3 s each; every part is followed by so many seconds of silence."""
    words: list[Word] = []
    now = 0.0
    for segment, (text, silence) in enumerate(parts):
        for item in text.split():
            words.append(Word(len(words), item, start=now, end=now + 0.3, confidence=0.9, segment=segment))
            now += 0.3
        now += silence
    return words


CUT = [
    ("The wound was closed. No drain.", "The wound was closed . / No drain ."),
    ("At 9 a.m. The patient left.", "At 9 a.m. / The patient left ."),
    ("Seen by Dr. Reed. Stable.", "Seen by Dr. Reed . / Stable ."),
    ("0.5 mL was given. 2 mL followed.", "0.5 mL was given . / 2 mL followed ."),
    (
        "PREOPERATIVE DIAGNOSIS:\nTorn cuff.\nFINDINGS:\nA tear.",
        "PREOPERATIVE DIAGNOSIS : Torn cuff . / FINDINGS : A tear .",
    ),
    ("ESTIMATED BLOOD LOSS\n100 mL.\n\nDRAINS\nNone.", "ESTIMATED BLOOD LOSS : 100 mL . / DRAINS : None ."),
    ("COMPLICATIONS: None\nDRAINS: None", "COMPLICATIONS : None / DRAINS : None"),
    ("1. Right hip pain.\n2. Fracture.", "1. Right hip pain . / 2. Fracture ."),
]


@pytest.mark.parametrize(("text", "expected"), CUT, ids=lambda item: str(item)[:40])
def test_typed_text_is_cut(text: str, expected: str) -> None:
    assert plain(of_text(text)) == expected


def test_a_list_mark_is_no_number() -> None:
    assert all(
        token.quantity is None for sentence in of_text("1. Right hip pain.\n2. Fracture.") for token in sentence.tokens
    )


def test_a_pause_ends_a_sentence_where_there_is_no_punctuation() -> None:
    words = timed(("the wound was closed", 1.2), ("no drain was placed", 0.0))
    assert plain(read(words, pause=0.7)) == "the wound was closed / no drain was placed"


def test_no_pause_no_cut() -> None:
    words = timed(("the wound was closed", 0.2), ("in layers", 0.0))
    assert len(read(words, pause=0.7)) == 1


def test_a_short_pause_is_enough_before_a_word_that_opens_a_sentence() -> None:
    words = timed(("the wound was closed", 0.4), ("the drain was removed", 0.0))
    assert plain(read(words, pause=0.7)) == "the wound was closed / the drain was removed"
    assert len(read(timed(("we injected into", 0.4), ("the joint", 0.0)), pause=0.7)) == 1
    assert len(read(timed(("it took five mils", 0.4), ("no six mils", 0.0)), pause=0.7)) == 1


@pytest.mark.parametrize(
    ("first", "second", "whole"),
    [
        ("we injected five", "millilitres of saline", "five millilitres"),
        (
            "tourniquet at two hundred",
            "and fifty millimetres of mercury",
            "two hundred and fifty millimetres of mercury",
        ),
        ("twenty", "to thirty millilitres", "twenty to thirty millilitres"),
        ("closed with three", "oh vicryl", "three oh"),
    ],
)
def test_a_pause_cuts_no_number_from_its_unit(first: str, second: str, whole: str) -> None:
    sentences = read(timed((first, 1.5), (second, 0.0)), pause=0.7)
    assert len(sentences) == 1
    assert whole in [token.text for token in sentences[0].tokens if token.quantity is not None]


def test_a_pause_after_a_preposition_is_inside_a_phrase() -> None:
    assert len(read(timed(("we harvested from the", 1.5), ("left iliac crest", 0.0)), pause=0.7)) == 1


# (said, what stands, what was taken back)
CORRECTED = [
    ("Total nineteen. Correction, twenty.", "Total twenty .", ["nineteen."]),
    ("Total nineteen millilitres. Correction. Twenty.", "Total Twenty .", ["nineteen millilitres."]),
    ("total nineteen correction twenty millilitres", "total twenty millilitres", ["nineteen"]),
    (
        "Tourniquet up at eight fifty, at two hundred and fifty, ... correction, two hundred and eighty.",
        "Tourniquet up at eight fifty , at two hundred and eighty .",
        ["two hundred and fifty,"],
    ),
    ("condyle grade two tibia grade three scratch that grade one", "condyle grade two tibia grade one",
     ["grade three"]),
    ("six draws of ten mils no eight draws of ten mils", "eight draws of ten mils", ["six draws of ten mils"]),
    ("EBL 550 -> corrected 650 ml.", "EBL 650 ml .", ["550"]),
    ("Sling 1/52 - change to 2/52.", "Sling 2/52 .", ["1/52"]),
    ("Position: prone. No, supine.", "Position : supine .", ["prone."]),
    ("Beach chair - no, lateral.", "lateral .", ["Beach chair"]),
    ("Marrow from the calcaneus - no, iliac crest, 60 mL.", "Marrow from the iliac crest , 60 mL .", ["calcaneus"]),
    ("Marrow from the left calcaneus, no, right iliac crest, 60 mL.", "Marrow from the right iliac crest , 60 mL .",
     ["left calcaneus,"]),
    ("Medial meniscus, no, lateral, torn.", "lateral meniscus , torn .", ["Medial"]),
    ("Spinal - no, general anaesthetic.", "general anaesthetic .", ["Spinal"]),
    ("Right hip core decompression, no, left hip, in spinal.", "left hip core decompression , in spinal .",
     ["Right hip"]),
    ("Pain in the knee, no, hip, yes.", "Pain in the knee , no , hip , yes .", []),
    ("Knee swollen, no, warm.", "Knee swollen , no , warm .", []),
    ("three by eighteen stent no three point five by eighteen stent", "three point five by eighteen stent",
     ["three by eighteen"]),
    ("Done with five holes. Strike that: six holes.", "Done with six holes .", ["five holes."]),
    ("Total 12 mL? No, 10 mL.", "Total 10 mL", ["12 mL?"]),
    ("the left i mean the right knee was opened", "the right knee was opened", ["left"]),
    ("five, no six millilitres", "six millilitres", ["five,"]),
    ("heparin five thousand units no ten thousand units", "heparin ten thousand units", ["five thousand units"]),
    ("fifty milligrams scratch that forty milligrams", "forty milligrams", ["fifty milligrams"]),
    ("two grams no sorry one gram of cefazolin", "one gram of cefazolin", ["two grams"]),
    ("we placed two anchors sorry three anchors", "we placed three anchors", ["two anchors"]),
    ("five or rather six millilitres", "six millilitres", ["five"]),
    ("Depth two centimetres, make that three centimetres.", "Depth three centimetres .", ["two centimetres,"]),
    ("Five screws were placed. Actually make that six.", "six screws were placed .", ["Five"]),
    ("Cefazolin two grams. Let me correct that. One gram.", "Cefazolin One gram .", ["two grams."]),
    ("fifty milligrams, change that to forty milligrams", "forty milligrams", ["fifty milligrams,"]),
    ("left knee scope, correction, right knee scope", "right knee scope", ["left knee scope,"]),
    ("Left knee. Correction. Right knee was prepped.", "Right knee was prepped .", ["Left knee."]),
    ("diagnosis is left, no, right inguinal hernia", "diagnosis is right inguinal hernia", ["left,"]),
    ("L4 L5 discectomy, correction, L5 S1 discectomy", "L5 S1 discectomy", ["L4 L5 discectomy,"]),
    ("three oh vicryl, no, two oh vicryl", "two oh vicryl", ["three oh vicryl,"]),
    ("Incision at nine fifteen, correction, nine twenty.", "Incision at nine twenty .", ["nine fifteen,"]),
    (
        "We injected five millilitres into the left knee, correction, six millilitres.",
        "We injected six millilitres into the left knee .",
        ["five millilitres"],
    ),
    ("Ten millilitres of lidocaine, correction, bupivacaine.", "Ten millilitres of bupivacaine .", ["lidocaine,"]),
    ("Two drains were left. Scratch that. One drain was left.", "One drain was left .", ["Two drains were left."]),
    ("A drain was placed. Strike that sentence. No drain.", "No drain .", ["A drain was placed."]),
    ("Counts correct. Strike the last. Counts were wrong.", "Counts were wrong .", ["Counts correct."]),
    (
        "First draw five millilitres. Second draw six millilitres. No, make that seven.",
        "First draw five millilitres . / Second draw seven .",
        ["six millilitres."],
    ),
    ("one, correction, two, correction, three screws", "three screws", ["one,", "two,"]),
    # Two cues in a row are one.
    ("Loss of thirty mils. No wait, make that forty.", "Loss of forty .", ["thirty mils."]),
    ("Loss of thirty mils, no, hang on, forty mils.", "Loss of forty mils .", ["thirty mils,"]),
    ("Loss of thirty mils. Sorry, no. Forty mils.", "Loss of Forty mils .", ["thirty mils."]),
    # A time is said anew like a time, and never like the dose before it.
    (
        "cefazolin two grams at eight ten incision at eight twenty five no wait eight thirty five",
        "cefazolin two grams at eight ten incision at eight thirty five",
        ["eight twenty five"],
    ),
    ("closed at 9:15 no 9:30", "closed at 9:30", ["9:15"]),
    ("blood loss nine hundred no let me look at the suction eleven hundred", "blood loss eleven hundred",
     ["nine hundred"]),
    ("we resected i would say twenty no thirty percent", "we resected thirty percent", ["twenty"]),
    ("it was twelve no doctor it was nine", "it was nine", ["twelve"]),
    ("second three third four no wait the third was five", "second three the third was five", ["third four"]),
    ("eighteen mils of levobupivacaine no bupivacaine half percent", "eighteen mils of bupivacaine half percent",
     ["levobupivacaine"]),
    # A time written or said without its mark, a row of numbers, a place said with its preposition, a thing named again.
    ("Incision at 0912, should read 0921.", "Incision at 0921 .", ["0912,"]),
    ("In room at seven forty, my mistake, seven fourteen.", "In room at seven fourteen .", ["seven forty,"]),
    ("draws were five five and four, no, five six and five", "draws were five six and five", ["five five and four,"]),
    ("screws of 50, 60, sorry, 55 and 65 mm", "screws of 50 , 55 and 65 mm", ["60,"]),
    ("a drain on the right, excuse me, on the left side", "a drain on the left side", ["right,"]),
    ("anaesthetic was spinal, sorry general", "anaesthetic was general", ["spinal,"]),
    ("weight bearing as tolerated, no, toe touch for six weeks", "toe touch for six weeks",
     ["weight bearing as tolerated,"]),
    ("skin with Vicryl, no, Monocryl, and glue", "skin with Monocryl , and glue", ["Vicryl,"]),
    ("gave forty of kenalog scratch the kenalog we gave betamethasone", "gave we gave betamethasone",
     ["forty of kenalog"]),
    ("Two drains were left in. Forget the drains. Closed.", "Closed .", ["Two drains were left in."]),
    ("cefazolin two grams, actually it was three grams", "cefazolin three grams", ["two grams,"]),
    ("blood loss two hundred no I tell a lie two fifty mils", "blood loss two fifty mils", ["two hundred"]),
    ("ropivacaine 0.5, I misspoke, 0.2 percent", "ropivacaine 0.2 percent", ["0.5,"]),
    ("cefazolin two grams no cefuroxime one gram was given", "cefuroxime one gram was given", ["cefazolin two grams"]),
]


@pytest.mark.parametrize(("text", "stands", "back"), CORRECTED, ids=lambda item: str(item)[:50])
def test_correction(text: str, stands: str, back: list[str]) -> None:
    sentences = of_text(text)
    assert plain(sentences) == stands
    assert struck(sentences) == back
    assert not unclear(sentences)


@pytest.mark.parametrize(
    ("text", "stands"),
    [
        ("no c s f leak and the a c l intact", "no csf leak and the acl intact"),
        ("five m l of saline i v", "five ml of saline iv"),
        ("grade i i i at c five six", "grade i i i at c five six"),
        ("a d and c", "a d and c"),
    ],
)
def test_letters_of_an_abbreviation_are_one_word(text: str, stands: str) -> None:
    assert plain(of_text(text)) == stands


ORDINARY = [
    "correction of deformity was achieved with a correction osteotomy of ten degrees",
    "Full correction was obtained. The angle measured two degrees.",
    "There was a scratch on the cartilage that was two millimetres.",
    "I mean well.",
    "no six week follow up was needed and no drains were placed",
    "I would rather have used three screws. Rather than two plates one was used.",
    "A rather large tear of two centimetres was seen.",
    "The arm should be kept in a sling for two weeks.",
    "The scar was excised, no malignancy, two margins.",
    "The tear was two centimetres. No correction was needed.",
    "There was no left sided hernia and the right side was closed.",
    "To make it stable two screws were placed.",
    "Hallux valgus correction was done on the left foot.",
    "Sorry, the knee was flexed to ninety degrees.",
    "metronidazole five hundred milligrams no gentamicin",
    "lidocaine ten mils no adrenaline ten mils of saline",
    "effusion on the right no on the left",
    "Screws of thirty and forty, no cages, thirty and forty minutes each.",
    "In room at 0740, no delay, 250 on the cuff.",
    "Kenalog given, and we scratch the skin with a needle.",
]


@pytest.mark.parametrize("text", ORDINARY)
def test_ordinary_words_correct_nothing(text: str) -> None:
    sentences = of_text(text)
    assert not struck(sentences)
    assert not unclear(sentences)


UNCLEAR = [
    "Left leg was plated, correction, and dressed.",
    "Change that to forty milligrams.",
    "lidocaine with epinephrine correction without epinephrine",
    "five millilitres each, no, ten in total",
    "two five millimetre ports correction three",
    "cefazolin two grams at eight ten no wait four",
    "We placed a drain on the left, ten French, and closed the skin, scratch that",
]


@pytest.mark.parametrize("text", UNCLEAR)
def test_an_unclear_correction_removes_nothing_and_says_so(text: str) -> None:
    sentences = of_text(text)
    assert unclear(sentences)
    assert not struck(sentences)
    kept = {
        ident for sentence in sentences for token in sentence.tokens for ident in range(token.first, token.last + 1)
    }
    assert kept == {word.id for word in words_from_text(text)}


def test_what_replaces_keeps_the_unit_that_was_said() -> None:
    (sentence,) = of_text("Total nineteen millilitres. Correction, twenty.")
    quantity = sentence.tokens[1].quantity
    assert quantity is not None
    assert (str(quantity.value), quantity.unit) == ("20", "mL")
    assert sentence.strikes[0].at == 1


def test_an_apology_before_no_leaves_the_no_alone() -> None:
    assert plain(of_text("Loss of thirty mils, sorry, no drains.")).endswith("no drains .")


def test_a_strike_points_at_what_replaces_it_after_a_second_correction() -> None:
    (sentence,) = of_text("five, correction, six millilitres into the left, correction, the right knee")
    at = [sentence.tokens[strike.at].text for strike in sentence.strikes]
    assert at == ["six millilitres", "right"]


def test_evidence_of_a_strike_has_times_and_confidence() -> None:
    (sentence,) = read(timed(("total nineteen correction twenty", 0.0)))
    back = sentence.strikes[0].taken_back
    assert (back.first, back.last, back.confidence) == (1, 1, 0.9)
    assert back.start == pytest.approx(0.3)


@pytest.mark.parametrize("row", CUES.values(), ids=lambda row: row.id)
def test_every_row_of_corrections(row: Correction) -> None:
    assert row.examples
    for text in row.examples:
        found = [strike for sentence in of_text(text) for strike in sentence.strikes]
        assert any(strike.clear != (row.id == "actually") for strike in found), text  # "actually" only doubts
    for text in row.not_examples:
        assert not [strike for sentence in of_text(text) for strike in sentence.strikes], text


def test_the_pool_is_read_without_a_false_correction() -> None:
    if not POOL.exists():
        pytest.skip("the pool of notes is not beside this checkout")
    for line in POOL.read_text(encoding="utf-8").splitlines():
        words = words_from_text(json.loads(line)["text"])
        sentences = read(words)
        assert not struck(sentences)
        kept = {i for sentence in sentences for token in sentence.tokens for i in range(token.first, token.last + 1)}
        assert kept >= {word.id for word in words if any(letter.isalnum() for letter in word.text)}


def test_a_value_said_again_behind_a_hesitation_is_in_doubt() -> None:
    assert unclear(of_text("blood loss ten mils er five mils")) == ["er"]
    assert not unclear(of_text("ten mils um of bupivacaine"))
    assert not unclear(of_text("ten mils er ten mils"))


def test_a_value_taken_back_far_behind_it_is_in_doubt() -> None:
    (sentence,) = of_text("three anchors of 2.9 mm were placed, the cuff was closed, the anchors were 2.4, not 2.9 mm")
    assert [strike.at for strike in sentence.strikes if not strike.clear]
