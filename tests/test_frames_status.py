"""A class of drugs that is taken back behind a drug of it that was named; and what is announced and then told as done.
The frames and what each says are common English usage, no source."""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from frame_rows import frames

from pipeline.records import Fact

# A drug with its dose, a word for its class, the drug's row.
CLASSES = (
    ("kenalog forty milligrams", "steroid", "triamcinolone"),
    ("ten millilitres of bupivacaine", "local", "bupivacaine"),
    ("cefazolin two grams", "antibiotic", "cefazolin"),
    ("enoxaparin forty milligrams", "anticoagulant", "enoxaparin"),
    ("depo-medrol eighty milligrams", "cortisone", "methylprednisolone-acetate"),
)
WITHDRAWN = """
DRUG no wait we leave out the CLASS | DRUG actually no CLASS | DRUG. Actually no CLASS today | DRUG. No CLASS was given
DRUG. We gave no CLASS | DRUG. No CLASS given in the end | DRUG, in the end without CLASS | DRUG. We skip the CLASS
DRUG. The CLASS was left out | DRUG. I decided against the CLASS | DRUG. CLASS withheld because of the infection
DRUG. She refused the CLASS | DRUG. The CLASS was cancelled | DRUG. Scrap the CLASS | DRUG. Forget the CLASS
DRUG. Then we did without CLASS | DRUG. The CLASS stays in the drawer | DRUG. The CLASS was not given
DRUG. Didn't give the CLASS after all | DRUG. No, no CLASS | DRUG. Rinsed. Closed. No CLASS | DRUG. Hold the CLASS
DRUG. I changed my mind about the CLASS | DRUG. CLASS omitted | DRUG. On reflection no CLASS | DRUG. CLASS: none
"""
NOT_WITHDRAWN = """
DRUG given. No further CLASS | DRUG given. No CLASS afterwards | DRUG given. No other CLASS was used
DRUG given. No CLASS postoperatively | DRUG given. No CLASS for six weeks | DRUG given. No more CLASS
DRUG given. Avoid CLASS for two weeks | DRUG given. No CLASS allergy | No known CLASS allergy. DRUG given
DRUG given. CLASS not repeated | DRUG given. No second dose of CLASS | DRUG given. No additional CLASS
"""
ANNOUNCED = """
We will give X. That's in | Now I'm going to inject X. That's in | I'll give X now. Done | Let me inject X. It's in
We're going to use X. It's in now | I am going to put in X. That is in now | Now we will use X that's in
Going to inject X and that's in | We will give X. Given | I'll now put in X. In it goes | We will use X. All in
I'm going to place X now. That went in nicely | I shall give X. That has gone in | We're going to give X. Yes, in
"""
ANNOUNCED_ONLY = """
We will give X. That's for later | We will give X. Skin closed | I'll give X tomorrow. That's in the letter
We will give X. Not in yet | We will give X. That's the plan | We will use X. Done with the scope
I'll put in X. No, that's not in | We will give X tomorrow. Done
"""
THINGS = (
    "forty milligrams of kenalog", "kenalog forty milligrams", "ten mils of bupivacaine", "a drain", "two anchors",
)  # fmt: skip


def _done(text: str) -> list[Fact]:
    return [f for f in facts_of(text) if (f.status, f.certainty) == ("performed", "affirmed")]


def _of_drug(frame: str, drug: str, word: str, name: str) -> list[Fact]:
    said = ". ".join(one[0].upper() + one[1:] for one in frame.replace("DRUG", drug).replace("CLASS", word).split(". "))
    return [f for f in _done(f"Right knee arthroscopy. {said}. Skin closed.") if f.name == name and f.role != "avoid"]


@pytest.mark.parametrize("frame", frames(WITHDRAWN))
def test_a_drug_whose_class_is_taken_back_is_in_doubt(frame: str) -> None:
    assert [f for one in CLASSES for f in _of_drug(frame, *one) if not f.doubts] == []


@pytest.mark.parametrize("frame", frames(NOT_WITHDRAWN))
def test_more_of_a_class_takes_nothing_back(frame: str) -> None:
    told = {one[2]: _of_drug(frame, *one) for one in CLASSES}
    assert [name for name, facts in told.items() if not facts or any(f.doubts for f in facts)] == []


_KINDS = ("medication_dose", "medication_volume", "device_count", "drain")


@pytest.mark.parametrize("frame", frames(ANNOUNCED))
def test_what_was_announced_and_is_in_was_done(frame: str) -> None:
    told = {thing: _done(f"Right knee arthroscopy. {frame.replace('X', thing)}. Rinsed.") for thing in THINGS}
    assert [thing for thing, facts in told.items() if not any(f.kind in _KINDS for f in facts)] == []


@pytest.mark.parametrize("frame", frames(ANNOUNCED_ONLY))
def test_what_was_only_announced_was_not_done(frame: str) -> None:
    told = {thing: _done(f"Right knee arthroscopy. {frame.replace('X', thing)}. Rinsed.") for thing in THINGS}
    assert [f for facts in told.values() for f in facts if f.kind in _KINDS and not f.doubts] == []


DENIED_ITSELF = """
DOSE. NAME was not given | DOSE no the NAME was left out | DOSE. In the end no NAME | DOSE. We left out the NAME
DOSE. NAME omitted | DOSE. No NAME given | DOSE and then we decided against the NAME | DOSE. She refused the NAME
DOSE. NAME cancelled | DOSE. We held the NAME | DOSE. Without NAME in the end | DOSE. I did not give the NAME
"""
DENIED_MORE = """
DOSE given. No further NAME | DOSE given. NAME not repeated | DOSE given. No NAME afterwards
DOSE given. No NAME allergy | DOSE given. No second NAME | DOSE given. Home without NAME
"""
NAMES = (("kenalog forty milligrams", "kenalog"), ("ten mils of bupivacaine", "bupivacaine"),
         ("a hundred of morphine", "morphine"))  # fmt: skip


def _named(frame: str, dose: str, name: str) -> list[Fact]:
    said = ". ".join(one[0].upper() + one[1:] for one in frame.replace("DOSE", dose).replace("NAME", name).split(". "))
    return [f for f in _done(f"Right knee arthroscopy. {said}. Skin closed.") if f.kind.startswith("medication")]


@pytest.mark.parametrize("frame", frames(DENIED_ITSELF))
def test_a_drug_that_is_denied_behind_its_dose_is_in_doubt(frame: str) -> None:
    assert [f for one in NAMES for f in _named(frame, *one) if not f.doubts] == []


@pytest.mark.parametrize("frame", frames(DENIED_MORE))
def test_more_of_a_drug_takes_nothing_back(frame: str) -> None:
    told = {name: _named(frame, dose, name) for dose, name in NAMES}
    assert [name for name, facts in told.items() if not facts or any(f.doubts for f in facts)] == []


def test_of_two_things_announced_together_neither_is_sure() -> None:
    facts = _done("Right knee. Now I'll give kenalog forty milligrams and bupivacaine ten mils. That's in.")
    doses = [f for f in facts if f.kind in _KINDS]
    assert len(doses) == 2
    assert all(f.doubts for f in doses)


# (narration, kind, name) of what must not stand as done without a doubt: common English usage, no source.
_FAR = (
    ("tubal ligation she had asked for it in the clinic but today she changed her mind so not done skin closed",
     "procedure", "tubal-ligation"),
    ("the middle finger does it too an injection there was offered she thinks about it", "act", "injection"),
    ("syndesmosis screw was planned but stable on stress so not put in medial two cannulated screws", "device",
     "syndesmotic-screw"),
    ("k wire considered splint for two weeks", "device", "k-wire"),
)  # fmt: skip


@pytest.mark.parametrize(("said", "kind", "name"), _FAR)
def test_what_was_left_out_at_a_distance_does_not_stand(said: str, kind: str, name: str) -> None:
    assert [f for f in _done(said) if f.kind == kind and f.name == name and not f.doubts] == []


# ... and of what stands: the words of denial or of thinking are of another thing.
_NEAR = (
    ("right knee arthroscopy spinal was planned but general anaesthetic given", "procedure", "knee-arthroscopy"),
    ("tourniquet for fifty two minutes ulnar styloid left alone k wire considered splint", "tourniquet_time", None),
    ("tubal ligation but today she changed her mind so not done cefazolin two grams given", "medication", "cefazolin"),
    ("screw was planned but stable on stress so not put in medial two cannulated screws", "device", "cannulated-screw"),
    ("diclofenac is forbidden metamizole one gram given by anaesthesia", "medication", "metamizole"),
)


@pytest.mark.parametrize(("said", "kind", "name"), _NEAR)
def test_what_was_left_out_takes_nothing_else_with_it(said: str, kind: str, name: str | None) -> None:
    assert [f for f in _done(said) if f.kind == kind and f.name == name]


def test_a_dose_between_two_drugs_of_which_the_first_has_none_is_in_doubt() -> None:
    facts = facts_of("Left hip. No drain, enoxaparin from tonight forty milligrams apixaban had been stopped.")
    assert all(f.doubts for f in facts if f.kind == "medication_dose")
