"""Tools of a step, packages, talk of what might come and words beside others: what long typed notes tell that is no
fact of its own. Narrations written by hand; common practice, no source."""

from __future__ import annotations

import pytest

from pipeline import grammar, run
from pipeline.records import Fact


def told(text: str) -> list[Fact]:
    return list(run.make_note(run.from_text(text), grammar.load()).facts)


@pytest.mark.parametrize(("text", "name", "roles"), [
    ("The fragment was temporarily fixed with two 1.6 mm K-wires. A 3.5 mm screw was placed.", "k-wire", {"used"}),
    ("Two 1.2 mm K-wires were then inserted as guides for the osteotomy.", "k-wire", {"used"}),
    ("Two 1.6 mm K-wires were driven across and cut below the skin as temporary fixation.", "k-wire", {"implanted"}),
    ("A 1.6 mm K-wire was placed. This was then exchanged for a 50 mm cannulated screw.", "k-wire", {"explanted"}),
    ("The fracture was held with 2 mm K-wires and exchanging these for two 40 mm cancellous screws.", "k-wire",
     {"explanted"}),
    ("Our trial components were put in, a 10 mm tibial tray and a 9 mm insert. The knee was stable.",
     "tibial-baseplate", {"trial"}),
    ("A trial tibial tray of 10 mm was stable. The definitive tibial tray, 10 mm, was cemented.", "tibial-baseplate",
     {"trial", "implanted"}),
])  # fmt: skip
def test_what_a_device_was_there_for(text: str, name: str, roles: set[str]) -> None:
    assert {fact.role for fact in told(text) if fact.kind == "device" and fact.name == name} == roles


def test_a_trial_that_comes_out_is_no_explantation() -> None:
    facts = told("Left total knee replacement. The trial femoral component was placed and the knee was stable. The "
                 "prosthesis was removed. The real components were cemented.")  # fmt: skip
    assert not [fact for fact in facts if fact.name == "explantation-of-the-prosthesis"]
    facts = told("Left total knee revision. The infected prosthesis was removed. A trial spacer was placed.")
    assert [fact for fact in facts if fact.name == "explantation-of-the-prosthesis"]


def test_an_anchor_placed_earlier_today_is_not_from_before() -> None:
    facts = told("A 3 mm anchor was placed in the footprint. The tendon was tied down to the previously placed anchor.")
    assert {fact.status for fact in facts if fact.name == "suture-anchor"} == {"performed"}
    facts = told("A previously placed plate was seen and left.")
    assert {fact.status for fact in facts if fact.name == "plate"} == {"historical"}


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("The tourniquet was released and the flap was pink.", "act", "release"),
    ("One stitch was placed to release the tension on the skin edge.", "act", "release"),
    ("The real cup was opened and impacted.", "act", "opening"),
    ("His ankle was pinned under the horse.", "act", "internal-fixation"),
    ("The film revealed distraction of the fragments.", "act", "distraction"),
    ("Distraction pins were placed in C5 and C6.", "device", "pin"),
    ("The block was held with spring pins.", "device", "pin"),
    ("The nerve was watched with free-running EMG.", "closure", "running-suture"),
    ("A well padded splint was applied.", "position", "pressure-points-padded"),
    ("The swelling was two and a half times its normal size.", "finding", "normal"),
    ("There was no undue tissue tension.", "finding", "tension-free"),
    ("The wound was inspected for any bleeding points and gapping.", "finding", "gapping"),
    ("A marrow harvest was done. The pain began below the iliac crest.", "harvest_site", "iliac-crest"),
    ("Postoperative x-ray showed a good position of the plate.", "aftercare", "control-x-ray"),
    ("A two-level 60 mm plate was used.", "device_count", "plate"),
    ("The patient will go to the ward or the ICU as indicated.", "indication", None),
    ("The referring doctor called about the fracture and suggested surgery.", "warning_sign", None),
])  # fmt: skip
def test_words_that_tell_no_such_thing(text: str, kind: str, name: str | None) -> None:
    assert not [fact for fact in told(text) if fact.kind == kind and name in (None, fact.name)]


@pytest.mark.parametrize(("text", "kind", "name"), [
    ("The carpal ligament was released.", "act", "release"),
    ("The fascia was opened.", "act", "opening"),
    ("The fragment was pinned to the shaft with a 2 mm wire.", "act", "internal-fixation"),
    ("All pressure points were well padded.", "position", "pressure-points-padded"),
    ("The skin was closed with a running suture.", "closure", "running-suture"),
    ("The skin was closed with surgical clips.", "closure", "staples"),
    ("Two plates were used.", "device_count", "plate"),
    ("Bone graft was harvested from the left iliac crest.", "harvest_site", "iliac-crest"),
])  # fmt: skip
def test_the_same_words_where_they_tell_it(text: str, kind: str, name: str) -> None:
    assert [fact for fact in told(text) if fact.kind == kind and fact.name == name]


@pytest.mark.parametrize(("text", "length"), [
    ("An incision was made over the lateral malleolus approximately 7 cm long.", "7"),
    ("An incision was created over this area about 5 cm in length.", "5"),
    ("Incision along the border of the muscle at the marker, measuring 4 cm in length.", "4"),
])  # fmt: skip
def test_the_length_of_an_incision_over_the_place(text: str, length: str) -> None:
    assert [str(fact.value) for fact in told(text) if fact.kind == "incision_length"] == [length]


def test_the_length_of_what_was_found_under_the_incision() -> None:
    facts = told("An incision was made and the tear was found to be 2 cm long.")
    assert not [fact for fact in facts if fact.kind == "incision_length"]


def test_a_share_of_a_risk_is_no_size() -> None:
    facts = told("The chance of arthritis is nearly 100 % particularly because of the comminution.")
    assert not [fact for fact in facts if fact.kind == "measurement" and fact.text == "comminution"]


def test_what_was_tried_before_was_not_done_today() -> None:
    for text in ("The patient has failed epidural steroid injections.",
                 "She has tried physiotherapy and epidural steroid injections."):  # fmt: skip
        done = [fact for fact in told(text) if fact.name == "epidural-steroid-injection"]
        assert {fact.status for fact in done} == {"historical"}


def test_a_template_with_an_if_tells_of_nothing_that_was_done() -> None:
    facts = told("If cement was used, the canal was dried and the cement was injected.")
    assert not [fact for fact in facts if fact.status == "performed"]


def test_failed_before_a_thing_denies_nothing() -> None:
    facts = told("There was a fracture of the mandible beside a failed dental implant.")
    assert not [fact for fact in facts if fact.certainty == "negated"]
    facts = told("Closed reduction was attempted and failed.")
    assert [fact for fact in facts if fact.certainty == "negated" or fact.doubts]
