"""How people say that something was done, was not done, or is not of today, tried with one thing of each sort; and how
they take back what they said, tried with one value of each sort.

A frame is a sentence with an X for the thing. The frames and what each says are common English usage, no source. What
is asked is the one rule above all: nothing that was not done today stands as done without a doubt on it, and what was
done is not denied.
"""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from frame_rows import frames

from pipeline.records import Fact

THINGS = ("a drain", "a microfracture", "the kenalog", "another anchor", "a nerve block")
KINDS = frozenset({
    "drain", "tourniquet", "procedure", "act", "medication", "device", "anaesthesia", "specimen", "medication_dose",
    "device_count",
})  # fmt: skip
_SEEN_KINDS = frozenset({"finding", "diagnosis", "complication"})
BEFORE, BEHIND = "Right knee arthroscopy.", "Rinsed with two litres."

NOT_DONE = """
we won't put X | we won't use X here | I won't do X | I won't be doing X today | we're not using X
I'm not going to do X | we are not putting in X | we don't need X | I don't think we need X | let's not do X
we'll skip X | skipping X | we can do without X | we leave out X | I'm leaving out X | holding off on X
no need of X | there was no point in X | I decided against X | we opted against X | we refrained from X
we forwent X | we forgo X | we dispensed with X | X is not required | X isn't needed | X won't be needed
X will not be used | we withheld X | we saw no reason for X | we did not see the need for X
didn't see the need for X | there's no indication for X | haven't used X | never got round to X | no call for X
rather than X we just rinsed | X was unnecessary | X is contraindicated | I nearly did X | X almost became necessary
X could be avoided | we managed without X | we no longer need X | without recourse to X | we thought about X but no
I was tempted to do X but didn't | X not available | X is not for today
"""
NOT_TODAY = """
X can wait | X has to wait for another sitting | X is for another day | I will do X next year
X at the next operation | X to follow in six weeks | we might do X | X may be needed | one could have used X
we could do X | I'm thinking of X | I wonder about X | X is an option | an option would be X | the alternative is X
X was mentioned | she came for X originally | listed as X | years ago X was done elsewhere | status post X | previous X
the GP had tried X | at the first operation X was used | usually I use X | I always do X in revisions
remember to order X | X is on the table in case | X was explained to her | reacted badly to X once | give me X
"""
DONE = """
the knee won't bend so we did X | it won't hold, so X was used | it doesn't bleed now, X is in
the graft doesn't move, X was done | I can't see well so I used X | X is done and we don't need more
X was used and it didn't bleed | X was used, I don't expect trouble | there aren't any loose bodies, X was used
we couldn't wait any longer and used X | we held the leg and used X | X was used and held
X was used, the rest can wait | we nearly lost the needle, X was used
X was not difficult | X did not take long | not only X but also a lavage
we've used X | we needed X after all | I ended up using X | X turned out to be needed and was used
"""

# ... and of what is seen: a finding in place of the X.
SEEN = ("an effusion", "synovitis", "loose bodies")
NOT_SEEN = """
there isn't X | I can't see X | I don't see X | nothing like X | X excluded | X was not confirmed
MRI said X but there is none | not a hint of X | X never showed | X didn't show | searched for X in vain
no longer any X | neither X nor bleeding | far from X | what we took for X was a fold | X turned out to be a fold
X proved to be an artefact | X did not occur | X has not developed | fortunately no X
"""
NOT_SURE = """
I think there is X | I suspect X | suspicious of X | maybe X | perhaps X | looks like X | as if there were X
X unlikely | X is unlikely | reminiscent of X | the referral letter mentions X | we were worried about X | fear of X
referred with X | X cannot be excluded | in case there is X | can't rule out X
"""
THERE = """
there is X | I can see X | we found X | X is seen | X was confirmed | X, as suspected | unexpectedly X | definitely X
not only X but also scarring | no bleeding, X | normal except for X | X which had not been known
X that could not be overlooked
"""


def _told(frame: str, thing: str) -> list[Fact]:
    """The facts of the sentence in the middle."""
    said = frame.replace("X", thing)
    facts = facts_of(f"{BEFORE} {said[0].upper()}{said[1:]}. {BEHIND}")
    last = len(f"{BEFORE} {said}".split()) - 1
    first = len(BEFORE.split())
    kinds = KINDS if thing in THINGS else _SEEN_KINDS
    return [f for f in facts if f.kind in kinds and f.text != "none" and first <= f.evidence.first <= last]


def _stands(fact: Fact) -> bool:
    return fact.status == "performed" and fact.certainty == "affirmed"


@pytest.mark.parametrize("frame", frames(NOT_DONE) + frames(NOT_TODAY))
def test_what_was_not_done_does_not_stand_as_done(frame: str) -> None:
    silent = {thing: fact for thing in THINGS for fact in _told(frame, thing) if _stands(fact) and not fact.doubts}
    assert silent == {}


@pytest.mark.parametrize("frame", frames(DONE))
def test_what_was_done_is_not_denied(frame: str) -> None:
    denied = {thing: fact for thing in THINGS for fact in _told(frame, thing) if not _stands(fact)}
    assert denied == {}


@pytest.mark.parametrize("frame", frames(NOT_SEEN) + frames(NOT_SURE))
def test_what_was_not_seen_does_not_stand_as_found(frame: str) -> None:
    silent = {thing: fact for thing in SEEN for fact in _told(frame, thing) if _stands(fact) and not fact.doubts}
    assert silent == {}


@pytest.mark.parametrize("frame", frames(THERE))
def test_what_was_seen_stands_as_found(frame: str) -> None:
    assert [thing for thing in SEEN if not any(_stands(fact) for fact in _told(frame, thing))] == []


IMPLANTS = ("an anchor", "the plate", "a size four femoral component")
DID_NOT_STAY = """
tried X, too big | X was too long | X fell on the floor | X broke on insertion | X did not hold | X misfired
X was missing from the set | X is not in the set | X does not fit | X had to come out | X replaced
X was contaminated | X opened by mistake
"""
WAS_THERE = """
X left over from 2018 | X from the previous operation seen | X stays | X stays in | X was left in | X is left in place
X still in place from before | X in situ from the last operation
"""
STAYED = """
X put in | X goes in | X was placed | I put in X | fixed with X | X implanted | X was cemented | X holds well
X with good purchase | X was put in and left in place
"""


def _put_in(frame: str, thing: str) -> list[Fact]:
    facts = facts_of(f"Right knee operation. {frame.replace('X', thing).capitalize()}. {BEHIND}")
    return [f for f in facts if f.kind in ("device", "device_count") and f.role == "implanted" and _stands(f)]


@pytest.mark.parametrize("frame", frames(DID_NOT_STAY) + frames(WAS_THERE))
def test_what_did_not_stay_or_was_there_is_no_implant_of_today(frame: str) -> None:
    assert {thing: f for thing in IMPLANTS for f in _put_in(frame, thing) if not f.doubts} == {}


@pytest.mark.parametrize("frame", frames(STAYED))
def test_what_was_put_in_is_an_implant(frame: str) -> None:
    assert [thing for thing in IMPLANTS if not _put_in(frame, thing)] == []


DOSES = ("forty milligrams of kenalog", "ten millilitres of bupivacaine", "one gram of vancomycin")
NOT_GIVEN = """
X drawn up | X prepared | X is in the syringe | X was thrown away | X went on the floor | X would have been the dose
the usual dose is X | the protocol says X | X prescribed | X tonight | X next time | X last year | she had X in spring
X from the GP in May | X given by the ambulance crew | he takes X at home | X was offered | X withheld | I forgot X
"""
GIVEN = """
X given | X went in | X into the joint | X at induction | she received X | X on board | X drawn up and given
X prepared and injected | X as planned | X used | with X | X half an hour before | X without problems
"""


def _doses(frame: str, thing: str) -> list[Fact]:
    facts = facts_of(f"{BEFORE} {frame.replace('X', thing).capitalize()}. {BEHIND}")
    return [f for f in facts if f.kind in ("medication", "medication_dose", "medication_volume") and _stands(f)]


@pytest.mark.parametrize("frame", frames(NOT_GIVEN))
def test_what_was_not_given_here_is_not_given(frame: str) -> None:
    assert {thing: f for thing in DOSES for f in _doses(frame, thing) if not f.doubts} == {}


@pytest.mark.parametrize("frame", frames(GIVEN))
def test_what_was_given_is_given(frame: str) -> None:
    assert [thing for thing in DOSES if not _doses(frame, thing)] == []


# (sentence, said first, said then, the two as they stand in a fact)
VALUES = (
    ("Left knee. We injected X into the joint.", "four millilitres", "six millilitres", "4", "6"),
    ("Right knee. Kenalog X given.", "forty milligrams", "eighty milligrams", "40", "80"),
    ("X knee arthroscopy.", "left", "right", "left", "right"),
    ("Right shoulder. We used X.", "two anchors", "three anchors", "2", "3"),
    ("Right knee. Injected X twenty millilitres.", "lidocaine", "bupivacaine", "lidocaine", "bupivacaine"),
)
TAKES_BACK = """
OLD, correction, NEW | OLD no NEW | OLD sorry NEW | OLD, I mean NEW | OLD, make that NEW | OLD, scratch that, NEW
OLD, no wait, NEW | OLD, I beg your pardon, NEW | OLD, my mistake, NEW | OLD, or rather NEW | OLD, strike that, NEW
OLD, oops, NEW | OLD, amend that to NEW | OLD, wrong, NEW | OLD, I misspoke, NEW | OLD, nope, NEW | OLD, disregard, NEW
OLD, no it was NEW | OLD, no it's NEW | OLD, yes, no, NEW | OLD, sister corrects me, NEW | OLD, that is to say NEW
NEW, not OLD | not OLD but NEW
"""
MAY_TAKE_BACK = """
OLD, wait, NEW | OLD, hold on, it's NEW | OLD, actually NEW | OLD, well NEW | OLD, in fact NEW | OLD, to be exact NEW
OLD, the nurse says NEW
"""


def _standing(frame: str, carrier: tuple[str, ...]) -> tuple[list[Fact], bool]:
    """The facts that hold what was said first, and whether what was said then stands."""
    sentence, said, then, old, new = carrier
    text = sentence.replace("X", frame.replace("OLD", said).replace("NEW", then))
    stands = [fact for fact in facts_of(text[0].upper() + text[1:]) if _stands(fact)]

    def holds(fact: Fact, value: str) -> bool:
        return value in (str(fact.value), fact.laterality, fact.name)

    return [fact for fact in stands if holds(fact, old)], any(holds(fact, new) for fact in stands)


@pytest.mark.parametrize("frame", frames(TAKES_BACK))
def test_what_was_taken_back_is_no_value(frame: str) -> None:
    told = {carrier[3]: _standing(frame, carrier) for carrier in VALUES}
    assert {value: old for value, (old, _) in told.items() if old} == {}
    assert [value for value, (_, new) in told.items() if not new] == []


@pytest.mark.parametrize("frame", frames(MAY_TAKE_BACK))
def test_what_may_have_been_taken_back_is_in_doubt(frame: str) -> None:
    for carrier in VALUES:
        old, _ = _standing(frame, carrier)
        assert [fact for fact in old if not fact.doubts] == []


# (sentence with the value taken back, what stands then, what does not): words of its own behind the value
TAILED = (
    ("Heparin two thousand units per mil, one mil in each of the six syringes, no, sorry, half a mil in each.",
     "0.5", "1"),
    ("Ten mils of bupivacaine into the joint, scratch that, twenty mils into the joint.", "20", "10"),
    ("We placed two anchors on the medial side, sorry, three.", "3", "2"),
    ("Cefazolin one gram given at induction, correction, two grams at induction.", "2", "1"),
)


@pytest.mark.parametrize(("said", "new", "old"), TAILED)
def test_a_value_is_taken_back_over_the_words_behind_it(said: str, new: str, old: str) -> None:
    values = [str(fact.value) for fact in facts_of(f"Left hip marrow and arthroscopy. {said}") if _stands(fact)]
    assert new in values
    assert old not in values


@pytest.mark.parametrize("cue", ["actually no", "rather", "no"])
def test_a_value_said_again_behind_a_soft_word_is_in_doubt(cue: str) -> None:
    said = f"Left knee arthroscopy. Ten mils of bupivacaine into the joint, {cue}, twenty mils."
    old = [fact for fact in facts_of(said) if _stands(fact) and fact.value == 10]
    assert [fact for fact in old if not fact.doubts] == []
