"""Operations, implants and drains that were meant, offered, begun in vain, left for later, done in others or hung on a
condition; and those that were done. A frame is a sentence with an X for the thing; the frames and what each says are
common English usage, no source."""

from __future__ import annotations

import pytest
from frame_rows import frames, standing_between

from pipeline.records import Fact

THINGS = ("a microfracture", "a lateral release", "a meniscal repair", "a biopsy", "two anchors")
KINDS = ("procedure", "act", "device", "device_count", "specimen")
BEFORE, BEHIND = "Right knee arthroscopy.", "Rinsed with two litres."
NOT_DONE = """
we were going to do X | we had meant to do X | I would have done X | X would have been possible
I wanted to do X but the bone was too soft | we tried X and failed | X attempted and failed
X attempted, abandoned | we attempted X without success | X abandoned | X was abandoned after two attempts
X failed, so we rinsed only | we started X but had to stop | X begun and given up | if it recurs then X
if it bleeds, X | X if she has pain | X unless it settles | unless it settles X | X should it recur
in case of pain X | X in case it fails | X only if needed | when it recurs X will be done
once the swelling is down X | X once the swelling is down | X after the swelling has gone
X as soon as the skin allows | X when she is older | until then no X | no X until the infection is gone
X not before six weeks | not X but a lavage | instead of X a lavage | a lavage instead of X
a lavage in place of X | a lavage rather than X | planned X, not done | X was planned but not done
X was planned, then decided against | X planned but the time ran out
we had planned X, the finding did not allow it | consented for X | consent for X not used | X as a bail out
X as plan B | plan B would be X | next would be X | the next step would be X | the next step is X | X next time
X at a later stage | X in a second stage | second stage: X | we keep X in reserve | X stays in reserve
X could follow | X might follow | she may come back for X | she will come back for X | to come back for X
listed for X | she is on the list for X | waiting for X | X booked for june | X is booked | he had X in 2019
X ten years ago | after X elsewhere | previous X | X on the left last year | X at another hospital
she has had X | she underwent X as a child | her brother had X | the next patient is for X
the last patient had X | on the list before her was X | in the morning we did X on another patient
for the students, X would start here | you could do X here | some would do X | others do X for this
the book says X | many do X in this situation | the textbook answer is X | one could argue for X
I considered X | we debated X | we discussed X at length | X was discussed with the family
X refused by the patient | the patient did not want X | patient declined X | X was not consented
no consent for X | X not in the consent | X forgotten | I forgot X | we ran out of time for X | no time for X
no equipment for X | no kit for X | X was not indicated | X contraindicated | X not necessary | no need for X
X could be avoided | X spared | we got away without X | we avoided X | nothing to justify X
X would have been overkill | too young for X | too old for X | not a candidate for X | not suitable for X
X is out of the question | X makes no sense here | the joint was too bad for X | X, no | X? No | X: no
X - none | X: not done | X nil | X omitted | X skipped | X deferred | X postponed | X cancelled
we will do X next week | I will do X at the next sitting | X tomorrow | we shall see about X
let's think about X | maybe X | perhaps X later | X perhaps later | I might do X | I may do X later
X to be considered | consider X | please arrange X | arrange X | book X | request X | ask for X | refer for X
X recommended | recommend X | I recommend X | suggest X | plan: X | plan for X | the plan is X | X is planned
X scheduled for monday | X after the MRI | X depending on the MRI | depending on the MRI X | X pending
X awaited | awaiting X
"""
DONE = """
we tried twice and then X succeeded | X at the second attempt | X done after one failed attempt
at first X failed, then it worked | X was planned and done | X as planned | as planned X | X done as consented
X had not been planned but was done | unplanned X | not planned but X was done | X was unavoidable
X could not be avoided | X became necessary | X proved necessary and was done | X had to be done
we had to do X | we were forced to do X | converted to X | we ended up doing X | so we did X | therefore X
we went on to X | we proceeded to X | we decided on X and did it | X was performed | I performed X | then X
next X | now X is done | X done | X completed | X finished | X carried out | X achieved | X successful
X went well | X without difficulty | X with some difficulty | not without difficulty X was done
X was no problem | X took ten minutes | X under vision | X through the lateral portal | X, no complications
X, nothing else | only X | just X | nothing but X | X and nothing more | X was all that was needed | X, not more
X was done although he declined a plasty | X was done, no plasty | no plasty, X was done | X instead of a plasty
X rather than a plasty was done
"""


def _stands(frame: str, thing: str) -> list[Fact]:
    """What stands as done of the sentence in the middle."""
    return standing_between(BEFORE, frame.replace("X", thing), BEHIND, KINDS)


@pytest.mark.parametrize("frame", frames(NOT_DONE))
def test_what_was_not_done_here_does_not_stand_as_done(frame: str) -> None:
    assert {thing: f for thing in THINGS for f in _stands(frame, thing) if not f.doubts} == {}


@pytest.mark.parametrize("frame", frames(DONE))
def test_what_was_done_stands(frame: str) -> None:
    assert [thing for thing in THINGS if thing != "a biopsy" and not _stands(frame, thing)] == []
