"""What is asked aloud of narrations of many specialties: right words beside wrong ones, and words that ask nothing.

The sentences are invented; right and wrong differ in one number, word or side.
"""

from __future__ import annotations

import pytest

from pipeline import run

ASKED = frozenset({"completeness", "family_elements"})  # what was not said in so short a text

# (check, right words, wrong words, the sentence with ___ where they stand)
TOLD = (
    ("listed_count", "so three screws", "so four screws",
     "shell fifty four two screws up top of twenty five and one of thirty ___ liner neutral"),
    ("listed_count", "three screws all up", "four screws all up",
     "three cannulated screws all six point five one home run from behind and two from the medial side ___"),
    ("parts_and_total", "eight screws in all", "nine screws in all",
     "One plate with four screws on the right and one plate with four screws on the left, ___."),
    ("listed_count", "five stones all told", "nine stones all told",
     "Balloon sweeps, three stones on the first pass and two on the second, ___, then a clear duct."),
    ("stated_sums", "680 mL (520", "860 mL (520", "Caesarean section. QBL ___ suction + 160 lap weight)."),
    ("stated_sums", "so forty one grams of chips", "so fourteen grams of chips",
     "lateral lobes nineteen grams then the median lobe twenty two grams ___ went to histology"),
    ("stated_sums", "so twelve percent excised", "so twenty percent excised",
     "chest six percent right arm three percent left arm three percent ___ to fat"),
    ("stated_sums", "seventy four minutes", "forty four minutes",
     "We started at seven fifty five. The line was oversewn. Over at nine oh nine. That makes ___."),
    ("stated_sums", "warm time of thirty eight minutes", "warm time of fifty eight minutes",
     "Out of ice at twenty two twenty. Artery sewn, clamps off at twenty two fifty eight, ___."),
    ("duration_times", "Bypass eighty nine minutes", "Bypass eighteen minutes",
     "Bypass from nine oh five to ten thirty four. ___."),
    ("dose_arithmetic", "one hundred and twenty milligrams", "one hundred and eighty milligrams",
     "sixty mils of ropivacaine point two percent so ___ of ropivacaine round the joint"),
    ("dose_by_weight", "(60 mg)", "(600 mg)", "Baby, weight 4.0 kg. Para 15 mg/kg ___ IV."),
    ("irrigation_deficit", "five hundred millilitres", "fifteen hundred millilitres",
     "eighteen litres of saline in and seventeen and a half litres out deficit of ___"),
    ("side_conflict", "TO 1016 RE", "TO 1016 LE", "Phaco + IOL RE. Dx: cataract RE. ___."),
    ("side_conflict", "L L3, L4 medial", "R L3, L4 medial", "RFA L lumbar facets. TO 1331 L side. ___ branch."),
    ("time_order", "scope out at eleven fifty two", "scope out at ten fifty two",
     "gastroscopy started at eleven twenty ___ no complications"),
)  # fmt: skip
QUIET = {
    "the side one lies on": "total hip replacement left spinal eleven milligrams of bupivacaine she lies on her right "
                            "side left hip up",
    "half thousands": "tinzaparin four and a half thousand units a day for six weeks",
    "ports are no loads": "Five ports. Stapled with two black and five purple loads, seven loads altogether.",
    "the end of an infusion": "Vancomycin one gram finished at eight twenty. Incision eight forty. Closed at ten.",
    "grams of what is dosed so": "levetiracetam one gram at induction",
    "per kilo and what it comes to": "mannitol one gram per kilo so seventy five grams dexamethasone ten milligrams",
    "a total before the next drug": "midazolam two milligrams then one more three milligrams in total fentanyl fifty "
                                    "micrograms",
    "what a drain gives": "ASA 81 mg, bed flexed, drains out < 30 mL/d.",
    "litres of cardioplegia": "Cold blood cardioplegia one litre.",
    "a time behind units": "UFH 5000 units 1008.",
}  # fmt: skip


def _loud(text: str) -> list[str]:
    found = run.note_from_text(text, name="case").findings
    return [f"{one.check}: {one.message}" for one in found if one.severity != "note" and one.check not in ASKED]


@pytest.mark.parametrize("text", QUIET.values(), ids=QUIET)
def test_nothing_is_asked_aloud(text: str) -> None:
    assert _loud(text) == []


@pytest.mark.parametrize(("check", "right", "wrong", "told"), TOLD, ids=[told[1] for told in TOLD])
def test_an_error_is_asked_aloud(check: str, right: str, wrong: str, told: str) -> None:
    assert _loud(told.replace("___", right)) == []
    assert [one for one in _loud(told.replace("___", wrong)) if one.startswith(f"{check}:")]
