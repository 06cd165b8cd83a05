"""Sides and words that only look like one. The truth is from reading the sentence."""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from reading_of import read

from pipeline import grammar, laterality
from pipeline.run import from_text, make_note

NO_SIDE = [
    "The drain was left in place.",
    "She left the room in good condition.",
    "The wound was left open.",
    "The screws were left in situ.",
    "A cage of the right size was chosen.",
    "A right angle clamp was passed.",
    "The right atrium was cannulated.",
    "The right colon was mobilised.",
    "A stone in the left hepatic duct.",
    "The head was turned to the left.",
    "Right lateral decubitus position.",
    "The patient is right hand dominant.",
    "The medial and lateral gutters were clear.",
    "Tenderness in the right upper quadrant.",
    "The table was tilted to the right.",
    "The cup was in the right position.",
    "Nothing was left to do.",
    "Both portals were closed.",
    "The suture was passed from left to right.",
    "Laparoscopic right hemicolectomy.",
    "Left hemihepatectomy.",
    "A cyst in the left lobe of a large liver.",
    "The surgeon stood at the right hand side of the table, monitor on the left.",
    "The left arm tucked.",
    "Washed out with 1 L.",
    "Pt rt handed, in rt lateral.",
    "Right, so the knee was opened.",
    "The table was tilted left side down.",
    "Lot L 4.",
]
SIDES = [
    ("Left knee arthroscopy.", "arthroscopy", "left"),
    ("Arthroscopy of the left knee.", "arthroscopy", "left"),
    ("Inguinal hernia, right.", "hernia", "right"),
    ("Carpal tunnel release, left wrist.", "release", "left"),
    ("Left open ray amputation of the index finger.", "amputation", "left"),
    ("Bilateral inguinal hernia.", "hernia", "bilateral"),
    ("Both knees were prepared.", "knees", "bilateral"),
    ("Attention was turned to the left shoulder.", "shoulder", "left"),
    ("There was left shoulder pain.", "shoulder", "left"),
    ("The right elbow and the left wrist were prepared.", "elbow", "right"),
    ("The right elbow and the left wrist were prepared.", "wrist", "left"),
    ("Right sided varicocele.", "varicocele", "right"),
    ("Marrow from the right iliac crest was injected into the left talus.", "crest", "right"),
    ("Marrow from the right iliac crest was injected into the left talus.", "talus", "left"),
    ("Marrow from the iliac crest was injected into the left talus.", "crest", None),
    ("the left tube was ruptured the right tube was scarred", "tube", "left"),
    ("Excision of a Baker's cyst, left knee, and a ganglion of the right wrist.", "cyst", "left"),
    ("Stenosis of the carotid, the right is occluded.", "stenosis", None),
    ("right total knee for osteoarthritis the left side was done in the spring", "osteoarthritis", "right"),
    ("Posterior fusion L4-L5 with a left transforaminal approach.", "fusion", None),
    ("Parathyroids preserved, one reimplanted on the left.", "preserved", None),
    ("left ovary had a six centimetre endometrioma right ovary was normal", "endometrioma", "left"),
    ("the right kidney contained a stone the left one was normal", "stone", "right"),
    ("Right hemicolectomy and repair of a left inguinal hernia.", "hernia", "left"),
    ("CTS b/l.", "cts", "bilateral"),
    ("Ankle block bilat.", "block", "bilateral"),
    ("Intercostal block L with 20 mL ropivacaine.", "block", "left"),
    ("Stenosing tenosynovitis, thumb and ring finger (L).", "finger", "left"),
    ("L: A1 pulley of the thumb divided.", "pulley", "left"),
    ("The left main bronchus was stapled.", "bronchus", "left"),
    ("positioned left lateral right hip replacement done", "replacement", "right"),
    ("Knee arthroscopy, not the left.", "arthroscopy", None),
    ("Knee arthroscopy on the right rather than the left.", "arthroscopy", "right"),
    ("Left knee arthroscopy instead of the right.", "arthroscopy", "left"),
    ("DIAGNOSIS: R-sided stenosis 80%, left occlusion.", "stenosis", "right"),
    ("Thyroid lobectomy, left.", "lobectomy", "left"),
    ("OS: bevacizumab 1.25 mg.", "bevacizumab", "left"),
    ("Bevacizumab OS, same sitting.", "bevacizumab", "left"),
    ("Aspirin 75 mg OD.", "aspirin", None),
    ("Osteoarthritis of both knees, right worse.", "osteoarthritis", "bilateral"),
    ("right total hip for arthritis the left one had been replaced", "arthritis", "right"),
]
_STREAM = (
    "the operation was done as planned and the consent was checked by me mister alan whitcombe forty six general "
    "anaesthetic supine skin prepared and draped in the usual way "
    "time out done antibiotics given {} wound closed in layers with vicryl and skin with monocryl dressing applied"
)
IN_STREAMS = [
    ("a cyst of six centimetres right ovary normal and kept", "cyst", None),
    ("marrow injection left knee for osteoarthritis grade three right crest harvested", "osteoarthritis", "left"),
    ("double stent placed left ureteric orifice normal catheter passed", "stent", None),
    ("uncinectomy on the right polyps removed from the left maxillary sinus", "polyps", "left"),
    ("eleven millimetre umbilical port inserted left ovary looked enlarged", "port", None),
]


def side(text: str, word: str) -> tuple[str | None, str | None]:
    """Side and doubt at the first mention that ends with the word, else at the word alone."""
    rules = grammar.load()
    for sentence in read(text).sentences:
        for index, token in enumerate(sentence.tokens):
            if token.norm == word:
                mention = next((m for m in sentence.mentions if m.first <= index <= m.last), None)
                first, last = (mention.first, mention.last) if mention else (index, index)
                return laterality.side_for(sentence, first, last, rules)
    raise LookupError(word)


@pytest.mark.parametrize("text", NO_SIDE)
def test_these_are_no_sides(text: str) -> None:
    found = [side for sentence in read(text).sentences for side in laterality.sides(sentence, grammar.load())]
    assert found == []


@pytest.mark.parametrize(("text", "word", "expected"), SIDES)
def test_whose_side_it_is(text: str, word: str, expected: str | None) -> None:
    assert side(text, word)[0] == expected


@pytest.mark.parametrize(("text", "word", "expected"), IN_STREAMS)
def test_a_side_that_opens_the_next_thing_in_a_stream(text: str, word: str, expected: str | None) -> None:
    assert side(_STREAM.format(text), word)[0] == expected


def test_a_side_in_the_name_of_an_operation_is_not_dropped() -> None:
    """The hemicolectomies are two operations (ICD-10-PCS, 0DTF and 0DTG) [from memory]."""
    note = make_note(from_text("Laparoscopic right hemicolectomy for a caecal cancer."), grammar.load())
    assert [fact.name for fact in note.facts if fact.kind == "procedure"] == ["laparoscopic-right-hemicolectomy"]


def test_two_sides_and_nothing_to_tell_them_apart_is_a_doubt() -> None:
    found, doubt = side("After the left one was done, right side also prepared, meniscectomy.", "meniscectomy")
    assert found is None
    assert doubt is not None


def test_a_relative_side_is_no_side_but_a_doubt() -> None:
    found, doubt = side("The contralateral knee was normal.", "knee")
    assert found is None
    assert doubt is not None


def test_a_side_in_a_stream_keeps_to_its_part() -> None:
    """Speech without marks: what follows "both sides", or a part that was told of already, is something else."""
    text = (
        "procedure left shoulder stabilization under examination the shoulder dislocated the right shoulder was stable "
        "the labrum was torn from seven to ten o'clock biceps anchor intact no cuff tear the anchors were placed at "
        "the rim with a needle on both sides balloons were not used both ovaries normal pus was seen portals closed "
        "with three oh nylon blood loss minimal counts correct sling for four weeks"
    )
    assert side(text, "torn")[0] != "right"
    assert side(text, "balloons")[0] is None
    assert side(text, "pus")[0] is None


def test_the_heading_of_a_list_that_tells_sides_is_not_doubted() -> None:
    assert side("Excision of skin cancers: left cheek 8 mm, right temple 12 mm.", "cancers") == (None, None)


def test_what_there_is_once_is_not_doubted_for_its_side() -> None:
    note = make_note(from_text("Cystoscopy. Cystoscopy with a stent on the left, the right was clear."), grammar.load())
    assert not any(fact.doubts for fact in note.facts if fact.name == "cystoscopy")


def test_a_side_behind_a_number_is_not_that_of_what_follows() -> None:
    text = "left elevation ninety degrees compared with seventy on the right posterior portal rotator interval thick"
    assert side(text, "portal")[0] != "right"


@pytest.mark.parametrize("text", [
    "hip injection right lateral no supine sorry five mils of concentrate made from marrow out of the left crest",
    "Knee injection with concentrate from the left crest, 5 mL.",
])  # fmt: skip
def test_an_operation_has_no_side_of_the_crest_that_marrow_came_from(text: str) -> None:
    note = make_note(from_text(text), grammar.load())
    assert {fact.laterality for fact in note.facts if fact.kind == "procedure"} == {None}


@pytest.mark.parametrize(
    ("text", "intact"),
    [
        ("LT intact, RT perforated.", "left"),
        ("Left intact, right perforated.", "left"),
        ("The posterior capsule was left intact.", None),
        ("Capsule left intact, tourniquet off.", None),
    ],
)
def test_left_before_a_state_is_a_side_where_it_leads(text: str, intact: str | None) -> None:
    (found,) = [fact for fact in facts_of(text) if fact.kind == "finding" and fact.name == "intact"]
    assert found.laterality == intact


@pytest.mark.parametrize("both", ["L + R", "R + L", "Left + right", "L & R", "L and R", "R/L"])
def test_two_sides_that_are_joined_before_a_part_are_both(both: str) -> None:
    told = [fact.laterality for fact in facts_of(f"{both} knee PRP injection.") if fact.kind == "procedure"]
    assert told == ["bilateral"]
