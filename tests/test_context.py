"""Status and certainty at a word. The truth is from reading the sentence."""

from __future__ import annotations

import pytest
from reading_of import read, state

NEGATED = [
    ("No purulence, some fibrin.", "purulence"),
    ("There was no evidence of bleeding or bile leak.", "leak"),
    ("Closed without a drain.", "drain"),
    ("Heparin was drawn up but not given.", "heparin"),
    ("Protamine was prepared but I did not give it.", "protamine"),
    ("Infection was ruled out.", "infection"),
    ("We ruled out a perforation.", "perforation"),
    ("The tourniquet was not inflated.", "tourniquet"),
    ("A labral tear was not seen.", "tear"),
    ("Chondral damage and loose bodies were not seen.", "damage"),
    ("no fracture no nerve palsy weight bearing fifty percent for six weeks", "palsy"),
    ("Closed reduction was attempted but failed.", "reduction"),
    ("Drains, none.", "drains"),
    ("Cefazolin was given, vancomycin was not given.", "vancomycin"),
    ("The suspected cyst was not confirmed.", "cyst"),
    ("Frozen section negative for malignancy.", "malignancy"),
    ("Staples were used instead of sutures.", "sutures"),
    ("We were unable to pass the wire.", "wire"),
    ("No loose bodies, fracture or synovitis.", "synovitis"),
    ("Neither hernia nor hydrocele.", "hydrocele"),
    ("misoprostol was drawn from the cupboard but not given uterus closed with one vicryl", "misoprostol"),
]
AFFIRMED = [
    ("Labrum frayed, no full thickness tear, partial tear of about thirty percent.", "partial"),
    ("No chondral lesion, small loose body removed.", "loose"),
    ("No purulence, some fibrin.", "fibrin"),
    ("There was no bleeding, and the hernia was reduced.", "hernia"),
    ("There was no bleeding, the hernia was reduced.", "hernia"),
    ("no fracture no nerve palsy weight bearing fifty percent for six weeks", "bearing"),
    ("Cefazolin was given, vancomycin was not given.", "cefazolin"),
    ("The cup was seated without difficulty, the stem followed.", "stem"),
    ("There was no change in the synovitis.", "synovitis"),
    ("Not only a tear but a cyst was found.", "tear"),
    ("Negative aspiration before the injection.", "injection"),
    ("The lesion was seen, it was not treated.", "lesion"),
    ("misoprostol was drawn from the cupboard but not given uterus closed with one vicryl", "vicryl"),
    ("A tear of the cuff, no fraying.", "tear"),
    ("The drain was left in place.", "drain"),
    ("no gapping skin five oh nylon", "nylon"),
]
SUSPECTED = [
    ("Suspected meniscal tear.", "tear"),
    ("Possible infection of the plate.", "infection"),
    ("A tear was suspected.", "tear"),
    ("Infection could not be ruled out.", "infection"),
]


@pytest.mark.parametrize(("text", "word"), NEGATED)
def test_what_was_said_not_to_be_there(text: str, word: str) -> None:
    assert state(text, word)[1] == "negated"


@pytest.mark.parametrize(("text", "word"), AFFIRMED)
def test_what_stays_affirmed_beside_a_cue(text: str, word: str) -> None:
    assert state(text, word)[1] == "affirmed"


@pytest.mark.parametrize(("text", "word"), SUSPECTED)
def test_what_is_unsure(text: str, word: str) -> None:
    assert state(text, word)[1] == "suspected"


def test_a_suspicion_that_is_confirmed_is_none() -> None:
    assert state("The suspected meniscal tear was confirmed.", "tear")[1] == "affirmed"


@pytest.mark.parametrize(
    ("text", "word", "status"),
    [
        ("Sutures will be removed in two weeks.", "sutures", "planned"),
        ("She should keep the sling on.", "sling", "planned"),
        ("A radiocephalic fistula had been planned.", "fistula", "planned"),
        ("If the pain persists, we will repeat the injection.", "injection", "conditional"),
        ("Risks including infection and nerve injury were discussed.", "infection", "conditional"),
        ("Padding was placed to prevent nerve palsy.", "palsy", "conditional"),
        ("A larger head would overstep the joint.", "joint", "conditional"),
        ("He has a history of deep vein thrombosis.", "thrombosis", "historical"),
        ("Right lumpectomy in 2015.", "lumpectomy", "historical"),
        ("the first hip was done on the left in twenty eleven", "hip", "historical"),
        ("A carpal tunnel release was done two years ago.", "release", "historical"),
        ("Her mother had a deep vein thrombosis.", "thrombosis", "other_person"),
        ("the first hip was done in twenty eleven general anaesthesia supine", "supine", "performed"),
        ("The plan was discussed prior to the incision.", "incision", "performed"),
        ("It should be noted that the nerve was seen.", "nerve", "performed"),
        ("The previously marked incision was opened.", "incision", "performed"),
        ("Incision at eight fifty.", "incision", "performed"),
    ],
)
def test_when_something_holds(text: str, word: str, status: str) -> None:
    assert state(text, word)[0] == status


def test_the_rule_that_fired_is_kept() -> None:
    (sentence,) = read("No loose bodies.").sentences
    assert [(scope.axis, scope.value, scope.rule) for scope in sentence.scopes] == [("certainty", "negated", "no")]


def test_every_rule_fires_in_one_of_its_examples() -> None:
    from pipeline import grammar
    from pipeline.rows import ContextRule

    for ident, row in grammar.load().table("context", ContextRule).items():
        for example in row.examples:
            fired = {scope.rule for sentence in read(example).sentences for scope in sentence.scopes}
            assert ident in fired, f"{ident}: {example}"
        for example in row.not_examples:
            fired = {scope.rule for sentence in read(example).sentences for scope in sentence.scopes}
            assert ident not in fired, f"{ident}: {example}"


@pytest.mark.parametrize(
    ("text", "word", "expected"),
    [
        ("the right side was not touched gentamicin two hundred milligrams", "gentamicin", ("performed", "affirmed")),
        ("the cyst was not infected", "cyst", ("performed", "affirmed")),
        ("no arthroscopy was performed", "arthroscopy", ("performed", "negated")),
        (
            "we did a left tarsal tunnel release the nerve was swollen if there is numbness an emg will be done",
            "release", ("performed", "affirmed"),
        ),
        (
            "the nerve was swollen if there is numbness a revision would be considered",
            "revision", ("conditional", "affirmed"),
        ),
        ("history of an ectopic in 2012 veress entry at the umbilicus", "veress", ("performed", "affirmed")),
    ],
)  # fmt: skip
def test_a_cue_keeps_to_its_clause(text: str, word: str, expected: tuple[str, str]) -> None:
    assert state(text, word) == expected
