"""Further ways to speak of what was not given, not seen and not done: stock and labels, questions, requests, studies,
letters and leaflets, what was nearly done. The frames and what each says are common English usage, no source.
"""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from frame_rows import frames

from pipeline.records import Fact

BEFORE, BEHIND = "Right knee arthroscopy.", "Rinsed with two litres."
DOSES = ("forty milligrams of kenalog", "tranexamic acid one gram")
SEEN = ("an effusion", "synovitis")
STEPS = ("a microfracture", "a lateral release")
GIVING = ("medication", "medication_dose", "medication_volume", "medication_concentration")
SEEING = ("finding", "complication", "diagnosis")
DOING = ("procedure", "act", "device", "device_count", "specimen")
NOT_GIVEN = """
X still in the pump | X is what she wanted | X slipped my mind | X got lost in the drape | we are short of X
the pharmacy could not supply X | X is on back order | they only had X | X had the wrong label
X was the wrong strength | X went past expiry yesterday | X looked cloudy | the syringe with X was dropped
half the X stayed in the syringe | X came back up the needle | X tracked back out | save X for the end
X at the end if time allows | X goes in later | X will follow at closure | X is next | X to go
X still outstanding | X not yet in | hold on with X | wait with X | X once we are dry | remind me about X
don't let me forget X | where is X | is X ready | did we give X | have we given X | was that X
should we give X | shall I give X | do you want X | who has X | X anyone | X is her usual dose at the clinic
the clinic gives X | at the pain clinic she gets X | X helped her in the past | X made her sick last year
she cannot tolerate X | X not advisable | X is ill advised in diabetics | X would be dangerous here
I am wary of X | I am not keen on X | the cardiologist advised against X | X vetoed by anaesthesia
anaesthesia would rather not have X | they plan X in the recovery room | nurses to give X on the ward
ward to continue X | script for X | X on the discharge letter | X on the take home sheet
in our unit X is routine | routine is X | X is the routine here | our standard is X | X as per the pathway
the pathway has X | the trial arm gets X | the control group gets X | in the study arm X
a dose of X is described | X has been described | reported doses are X | the literature supports X
the company recommends X | X is licensed | X is off label | X costs too much | X is banned here
X no longer stocked | equivalent to X | comparable to X | X equivalent
"""
NOT_GIVEN_EITHER = """
nurse read out X | X read back | X counted out | X vanished | X missing | X was floated | X sounds right to me
X signed for but not used | X by mistake on the chart | X from yesterday's list | X in her handbag
X was for the previous case
X rests in the kidney dish | X sits in the dish | in two minds about X | X for the dog | everything except X was given
all but X went in | everything was given except X
"""
NOT_SEEN = """
nothing to suggest X | X is a thing of the past | easily mistaken for X | at first glance X | X was my first thought
we worried over X | no hint of X | X never came | luckily no X | hoping not to find X
I hoped for X but no | I would love to see X but there is none | no trace left of X | the old X is healed
X has scarred over | X settled since the scan | only a scar of X | X seen on the outside scan only
reported X not seen | radiologist's X is not there | the so called X is an artefact | X is what they told her
she was told she had X | GP diagnosed X | labelled as X elsewhere | X in the letter | X on the form
X on the other side | contralateral X | X in her twin | X runs in the family | X would explain it
X would be typical | X is expected in time | X will come | X is likely to come back | watch out for X
to look for X | to check for X | checking for X | the question was X | question X | rule out X | X ruled out
X to be ruled out | X as a differential | differential includes X | X is less likely | X is improbable
X can be forgotten | X is out of the question | free from X | clean, no X | nothing in the way of X | void of X
X nowhere | X nowhere to be seen | not a trace of X | not much in the way of X | X never developed
X did not develop | X did not materialise | X was prevented | X averted | risk of X accepted
accepted risk of X | warned of X | X was mentioned as a risk | possible side effects are X
"""
NOT_DONE = """
we stopped short of X | anything but X | X went through my head | X under review | X up for discussion
my partner will do X | X to be decided | X would have to wait | not sure about X | we left X for the trauma team
X would be the next step | X crossed my mind | I toyed with X | X was tempting | X not worth it
X is not worth the risk | X was too risky | too risky for X | no room for X | bone too weak for X
X not feasible | X impossible | X was not an option | X off the table | X is off the table
X on the table for next time | X is a must next time | X down the line | X in due course | X sooner or later
X eventually | eventually X | X if all else fails | failing that X | X on request | X at her request cancelled
X called off | we called off X | aborted X | X aborted | started X but bailed out | bailed out of X
X only half done | X incomplete | X left unfinished | could not finish X | X attempted twice
had a go at X without luck | no luck with X | X would not work | X did not take | X gave no result
her surgeon did X before | the first surgeon did X | X by my colleague in may | X was his idea
someone else did X | X in the referral | sent to us for X | referred with X in mind
X was the referral question | X was her wish | she hoped for X | the family wanted X | she asked for X
I explained X | X explained | X was gone through | X on the leaflet | the leaflet on X was given | a video of X
the course on X | at the meeting X was shown | X in the registry | X coded | billing for X no | X not billed
X in the title only | X: nil | X none | X not this time | this time no X | not this time X | X another time
another day for X
in two minds about X | everything except X was done | all but X was done | everything was done except X
the case was turned over to them for X | my partner will dictate X
"""


def _silent(frame: str, thing: str, kinds: tuple[str, ...]) -> list[Fact]:
    """What stands without a doubt of the sentence in the middle."""
    said = frame.replace("X", thing)
    facts = facts_of(f"{BEFORE} {said[0].upper()}{said[1:]}. {BEHIND}")
    first, last = len(BEFORE.split()), len(f"{BEFORE} {said}".split()) - 1
    return [f for f in facts if f.kind in kinds and first <= f.evidence.first <= last and not f.doubts
            and (f.status, f.certainty) == ("performed", "affirmed") and f.text != "none"]  # fmt: skip


@pytest.mark.parametrize("frame", frames(NOT_GIVEN) + frames(NOT_GIVEN_EITHER))
def test_a_dose_that_was_only_spoken_of_does_not_stand(frame: str) -> None:
    assert [f for thing in DOSES for f in _silent(frame, thing, GIVING)] == []


@pytest.mark.parametrize("frame", frames(NOT_SEEN))
def test_a_finding_that_was_only_spoken_of_does_not_stand(frame: str) -> None:
    assert [f for thing in SEEN for f in _silent(frame, thing, SEEING)] == []


@pytest.mark.parametrize("frame", frames(NOT_DONE))
def test_a_step_that_was_only_spoken_of_does_not_stand(frame: str) -> None:
    assert [f for thing in STEPS for f in _silent(frame, thing, DOING)] == []
