"""A dose that was said and not given: a limit, what others give, what was lost, what is for later, what stood ready,
and a dose of which a part was given. A frame is a sentence with an X for the drug and its dose; the frames and what
each says are common English usage, no source.

What is asked is the one rule above all: no such dose stands as given without a doubt on it; and what was given stands.
"""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from frame_rows import frames, standing_between

from pipeline import grammar
from pipeline.records import Fact
from pipeline.rows import DoseTalk

DOSES = ("forty milligrams of kenalog", "ten millilitres of quarter percent bupivacaine", "tranexamic acid one gram")
KINDS = ("medication", "medication_dose", "medication_volume", "medication_concentration")
BEFORE, BEHIND = "Right knee arthroscopy.", "Rinsed with two litres."

LIMIT = """
the maximum is X | the maximum dose is X | not more than X | no more than X is allowed | up to X allowed
up to X is allowed | the limit is X | limit of X | the recommended dose is X | recommended dose X
the dose would be X | at most X | X maximum | X max | X is the maximum | X is the limit | X is the usual dose
X is what the book says | X is the standard dose | the textbook dose is X | never exceed X | do not exceed X
must not exceed X | X at most | X is too much | X would be too much | X was too much for her | not over X
we must stay under X | the ceiling is X | X is recommended | X is the recommended dose
she could have X at most | the vial holds X | the ampoule contains X | there is X in the vial
the standard is X | it comes as X
"""
LOST = """
X spilled | X was spilled | X spilt | we spilled X | X dropped | X leaked out | X ran into the drape
X squirted on the floor | X expired | X was expired | X was out of date | X past its date | X was contaminated
X lost | X was lost | X wasted | the vial of X broke | X had run out | we ran out of X | X went to waste
X crystallised and was not used | X in the bin | X sent back | X returned to the cupboard
"""
LATER = """
X at six hours | X in six hours | X in the morning | X tomorrow morning | X on the ward | X this evening
X later today | X at bedtime | X at home | X every six hours | X postop | X postoperatively | X after discharge
X in recovery if needed | X in recovery if sore | X in recovery | X to be repeated at eight hours
repeat X at eight hours | X if needed | X as required | X prn | X on standby | X next week | X in clinic
X at follow up | repeat X in three months | X for the journey home | X before she goes home
X six hours after the operation | X twelve hours from now | X on day one | X from tomorrow | X starting tonight
start X tomorrow | X when she eats | X when the drain is out | X once the block wears off | X after the scan
X at the six week visit | we will give X | going to give X | about to give X | just about to inject X
give X in recovery | I want X | I would like X | can I have X | may I have X please | hand me X | pass X
next I'll inject X | prepare X | draw up X | drawing up X | X is being drawn up | X being prepared
"""
READY = """
we had X ready | X ready | X is available | X available | X on the tray | X is still in the drawer
X is in the gallipot | X on hand | there was X on the table
X reserved | X ordered | X sent for | X charted | X written up | X on the chart | X written on the board
X requested | I asked for X | she asked for X | the anaesthetist suggested X | the rep suggested X
pharmacy recommends X | X in the fridge | X on the trolley | X labelled | X checked with sister
X in a syringe on the table | they opened X
"""
OTHERS = """
the paper used X | in the study they gave X | some give X | others use X | I used to give X | we used to use X
my boss always gave X | normally I give X | in children you would give X | for a bigger knee X
in a bigger knee I give X | in the textbook it is X | most people use X | people give X for this
the americans give X | years ago we gave X | for the fellows, X is what I use
"""
ANOTHER = """
the other knee got X last month | the other knee will get X | the next patient gets X | the patient before had X
the last patient got X | her sister had X | she had X in march | X two weeks ago | X at the last visit
X was given in clinic last month | she has had X before | X did not help last time | X in the other hospital
she usually has X | she had X in january with no effect | last time she got X | in the spring we gave X
X in casualty | the ward gave X this morning | her GP gave X in april | X given at the first operation
previously X | three months ago X
"""
DENIED = """
she declined X | she refused X | X refused | X was considered | X not given today | X could not be given
X was not available | X not in stock | X was forgotten | X cancelled | X crossed out | no X | without X
X wasn't necessary | X would have been next | had it bled X would have been given | if it bleeds X
X only if it hurts | X should she need it | X omitted | X was omitted because of the infection
X deliberately not given | she did not get X | nobody gave X | X never made it in | X was never injected
we spared her X | X not wanted | X against my advice not given | I held back X | X was saved for later
X postponed | instead of X only saline | saline in place of X | X proposed but not accepted | X, she said no
X ? no | X no | was X given? no | X or not, we decided not
"""
PART = """
half of X given | half of X | X, half of it given | X, only half went in | X, half was lost
X drawn up, half given | we used part of X | X but some spilled | X, most of it went in
X, some of it leaked back | X, but a bit leaked out | not quite X given | not all of X was given
X drawn up, two thirds given | a third of X | X, I gave half | X, we stopped halfway | X started but stopped
X, the injection was stopped | X drawn up, the rest discarded | X, half now and half later
"""
GIVEN = """
X by the anaesthetist | X from anaesthesia | anaesthesia gave X | X at knife to skin | X before the cuff
X before incision | X thirty minutes before incision | X on induction | X at the start | X at the end
X as a test dose | X slowly | X over ten minutes | X in divided doses | X in two portions | X mixed with saline
X in ten mils of saline | X split between the two portals | X went into the fat pad
X was placed into the joint | X was instilled | that's X in | X in | X is in | X now in | X has gone in
I gave X | gave X | we have given X | we gave her X | he got X | the joint got X
the knee received X | left X in the joint | finished with X | X for pain | X against bleeding
X intraoperatively | X was administered | X down the needle | X through the lateral portal | X under vision
X was given without a reaction | X given, no reaction | X given as recommended | X given, that is the maximum
X given, the rest discarded | X given, the rest of the vial wasted | X given at the end of the case
X injected at the end, none spilled | X given despite her worries | she wanted X and got it
X planned and given | X, given | X: given | X was ready and was given | X charted and given
X requested and given | I asked for X and gave it | X drawn up, checked and injected
"""


def _told(frame: str, thing: str) -> list[Fact]:
    """What stands as given of the sentence in the middle."""
    return standing_between(BEFORE, frame.replace("X", thing), BEHIND, KINDS)


@pytest.mark.parametrize(
    "frame", frames(LIMIT) + frames(LOST) + frames(LATER) + frames(READY) + frames(OTHERS) + frames(ANOTHER)
    + frames(DENIED) + frames(PART),
)  # fmt: skip
def test_a_dose_that_was_not_given_does_not_stand_as_given(frame: str) -> None:
    assert [(f.kind, f.evidence.heard) for dose in DOSES for f in _told(frame, dose) if not f.doubts] == []


@pytest.mark.parametrize("frame", frames(GIVEN))
def test_a_dose_that_was_given_stands(frame: str) -> None:
    assert [dose for dose in DOSES if not any(f.kind != "medication" for f in _told(frame, dose))] == []


@pytest.mark.parametrize("row", grammar.load().table("dose_talk", DoseTalk).values(), ids=lambda row: row.id)
def test_the_examples_of_a_row_are_in_doubt(row: DoseTalk) -> None:
    for example in row.examples:
        doubts = [doubt for f in facts_of(f"{BEFORE} {example}") for doubt in f.doubts]
        assert any(row.reason in doubt for doubt in doubts), example
