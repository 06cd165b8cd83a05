"""What is seen and what is not, in lists, against each other, in pictures, in the past, in others and suspected; and
suspicions that a later sentence settles. The frames and what each says are common English usage, no source.

A frame is a sentence with A, B and C for things that can be found, and what holds of each: + it was seen, - it does not
stand as seen without a doubt.
"""

from __future__ import annotations

import re

import pytest
from cases_runner import facts_of
from frame_rows import frames

from pipeline.records import Fact

THINGS = (
    (("a meniscal tear", "meniscal-tear"), ("synovitis", "synovitis"), ("loose bodies", "loose-body")),
    (("an effusion", "joint-effusion"), ("fraying", "fraying"), ("osteophytes", "osteophyte")),
)
SEEN = ("finding", "complication", "diagnosis")
FRAMES = """
no A, B or C => A- B- C- | neither A nor B => A- B- | neither A nor B nor C => A- B- C- | no A but B => A- B+
no A, but there is B => A- B+ | A not B => A+ B- | without A or B => A- B- | A without B => A+ B-
apart from A no B => A+ B- | no B apart from A => A+ B- | no B except A => A+ B- | other than A no B => A+ B-
A only, no B => A+ B- | A and no B => A+ B- | no A and no B => A- B- | A, no B => A+ B- | no A, some B => A- B+
no A, mild B => A- B+ | A, B and C not seen => A- B- C- | A or B was not seen => A- B- | A seen, B not => A+ B-
B not seen, A was => A+ B- | A yes, B no => A+ B- | A present, B absent => A+ B-
there was A but no B or C => A+ B- C- | no sign of A or B, some C => A- B- C+
A ruled out, B confirmed => A- B+ | not A but B => A- B+ | instead of A there was B => A- B+
A rather than B => A+ B- | A with no B => A+ B- | A has resolved => A- | A no longer present => A-
A previously, now B => A- B+ | MRI showed A, we found B => A- B+ | MRI showed A, arthroscopically no A => A-
suspected A was confirmed => A+ | suspected A was not found => A- | A suspected. The A was confirmed => A+
A suspected. No A was found => A- | A suspected. In the end it was B => A- B+ | query A. Confirmed => A+
query A. Not confirmed => A- | possible A on the scan. On inspection no A => A-
possible A on the scan. On inspection B => A- B+ | A in the other knee => A- | A at the last arthroscopy => A-
family history of A => A- | A in her mother => A- | risk of A => A- | we discussed A => A-
differential A or B => A- B- | DD A => A- | ? A => A- | A versus B => A- B- | could be A or B => A- B-
in such knees you often see A => A- | a patient last week had A => A- | typically A is found => A-
as a teaching point, A looks like a fold => A- | you would see A here if the ligament were torn => A-
the risks including A and B were explained => A- B- | she was told A may happen => A- | A can happen => A-
A may recur => A- | to prevent A => A- | for fear of A => A- | I looked for A and found B => A- B+
I expected A but found B => A- B+ | expecting A, saw B => A- B+ | I thought it was A, it was B => A- B+
what looked like A was B => A- B+ | what looked like A was nothing => A- | it seemed to be A but was not => A-
A? No => A- | A? Yes => A+ | is there A? no there isn't => A- | A was seen last year, today none => A-
A last time, today B => A- B+ | no A this time => A- | there used to be A => A- | A was gone => A-
A had healed => A- | A healed => A- | A is not seen any more => A- | the previous A has gone => A-
A had been removed at the first operation => A- | no A or B, and no C => A- B- C-
there was no A, B, or C => A- B- C- | A: none. B: yes => A- B+ | A nil, B nil => A- B-
no obvious A or B => A- B- | no convincing A => A- | I cannot see A or B => A- B- | couldn't find A => A-
didn't see A but did see B => A- B+ | saw no A => A- | found no A, only B => A- B+ | nothing but A => A+
nothing except A => A+ | nothing other than A => A+ | not even A => A- | hardly any A => A+ | barely any A => A+
minimal A => A+ | almost no A => A+ | A all but gone => A+ | A minimal, B none => A+ B- | more A than B => A+ B+
both A and B => A+ B+ | A as well as B => A+ B+ | A with B => A+ B+ | not just A but also B => A+ B+
A, not expected, was found => A+ | A although the MRI was normal => A+ | unexpectedly A and B => A+ B+
I had not expected A but there it was => A+ | A, no doubt => A+ | no doubt about A => A+
A cannot be denied => A+ | A was not missed => A+ | A, B, no C => A+ B+ C-
"""
SUSPECTED = """
suspected A | A suspected | possible A | query A | I think there is A | looks like A
"""
CONFIRMED = """
The suspicion was confirmed | Confirmed | That was confirmed | This was confirmed at arthroscopy | It was there
That proved right | And there is A | We did find A | Sure enough, A | A confirmed
"""
NOT_CONFIRMED = """
That was not confirmed | There was none | It was not there | That turned out to be nothing | Ruled out | Nothing there
It proved wrong | It was only a fold | This was not borne out | The suspicion was not confirmed | A excluded
We found no A
"""


def _told(said: str) -> list[Fact]:
    text = ". ".join(one[0].upper() + one[1:] for one in said.split(". "))
    return [f for f in facts_of(f"Right knee arthroscopy. {text}. Rinsed with two litres.") if f.kind in SEEN]


def _stands(facts: list[Fact], name: str) -> list[Fact]:
    return [f for f in facts if f.name == name and (f.status, f.certainty) == ("performed", "affirmed")]


@pytest.mark.parametrize("frame", frames(FRAMES))
def test_what_was_not_seen_does_not_stand_and_what_was_seen_does(frame: str) -> None:
    said, truth = frame.split(" => ")
    for things in THINGS:
        told = _told(re.sub(r"\b[ABC]\b", lambda found, row=things: row["ABC".index(found.group())][0], said))
        for letter, seen in truth.split():
            name = things["ABC".index(letter)][1]
            standing = _stands(told, name)
            assert standing if seen == "+" else not [f for f in standing if not f.doubts], (name, told)


@pytest.mark.parametrize("between", ["", "Standard portals. "])
@pytest.mark.parametrize(
    ("settled", "seen"), [(one, True) for one in frames(CONFIRMED)] + [(one, False) for one in frames(NOT_CONFIRMED)]
)
def test_a_suspicion_is_settled_by_what_is_said_later(settled: str, seen: bool, between: str) -> None:
    for thing, name in THINGS[0]:
        for suspicion in frames(SUSPECTED):
            later = re.sub(r"\bA\b", thing, settled).replace("no a ", "no ")
            told = _told(f"{suspicion.replace('A', thing)}. {between}{later}")
            assert bool(_stands(told, name)) is seen, (suspicion, told)
            assert seen or any(f.name == name and f.certainty == "negated" for f in told), (suspicion, told)


@pytest.mark.parametrize("said", ["No meniscal tear, no synovitis, loose bodies", "No chondral damage, a plica seen"])
def test_what_only_a_comma_joins_to_a_denial_may_be_there(said: str) -> None:
    assert _told(said)[-1].doubts
