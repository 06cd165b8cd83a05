"""Twins of counts: a sentence whose numbers agree, and the same with one that does not. A row is a sentence with
{right|wrong}; the sentences are invented, the arithmetic is counted by hand, no source.

What is asked: the wrong one is warned of, the right one is not.
"""

from __future__ import annotations

import re

import pytest
from cases_runner import facts_of
from frame_rows import frames

from pipeline import run

CHECKS = ("listed_count", "count_result", "count_sums", "parts_and_total", "device_identity", "explanted",
          "implant_fit", "two_values")  # fmt: skip
PARTS = """
Six screws on the plate, two locking and {four|three} cortical.
Five cultures from the right knee, two of fluid and {three|two} of tissue.
Five specimens from the left hip, three of tissue and {two|one} of fluid, to the lab.
Six specimens, three swabs and {three|two} bone chips, from the right tibia.
Right wrist: we used six pegs and three screws, {nine|eight} pieces in the plate altogether.
Total screw count is {8|9}: four proximal, four distal.
The number of anchors was {five|six}: three glenoid, two humeral.
Loose bodies: one from the notch, two from the gutter, one from behind; {four|three} loose bodies went to pathology.
The lateral meniscus got three stitches and the medial {two|three}, five stitches altogether.
One anteromedial, one anterolateral and one posterolateral portal; all {three|four} portals were closed.
First anchor at one o'clock, second at two o'clock, third at three o'clock, and that's {three|four} anchors.
Left thumb: one anchor in the first metacarpal and one in the second, {two|three} anchors with their sutures.
Implants: medial row 2 anchors; lateral row 2 anchors; biceps 1 anchor; total {5|7} anchors.
we did a posterior portal an anterior portal and a lateral portal so {three|four} portals
"""
FATES = """
We opened four anchors, one pulled out and was thrown away, {three|four} stayed in.
Right shoulder: five anchors opened, one was dropped on the floor, leaving {four|five} implanted.
Six loops were opened, five used, {one|two} sent back unopened.
We opened five anchors, one broke and {four|five} are in the shoulder.
Four suture tapes were passed, two from each anchor, from {two|three} anchors.
Right hip labrum: five anchors out of the box, one would not seat and was binned, {four|five} in the rim.
Two portals, two stitches each, {four|five} stitches in the skin, right shoulder.
Six plates, {eighteen|twenty four} screws, three per plate.
"""
BACK = """
Needles: twelve out, {twelve|eleven} back.
Swabs twenty at the start, ten more added, {thirty|twenty nine} at the end. All correct.
We started with ten swabs, opened five more and had {fifteen|fourteen} back at the end.
Ten raytecs were opened and {ten|nine} were returned.
Needle count 8 out. Swab count 10 out. Needles {8|7} back. Swabs 10 back.
"""
LOG = """
Left wrist: headless screw 24 mm in the scaphoid. One headless screw {24|26} mm on the implant sheet.
Right ACL. Button 12 mm on the femur and screw 9 x 30 mm on the tibia. Implant list: button 12 mm, screw 9 x {30|25} mm.
Left shoulder: two knotless anchors, both 3.5 mm; stickers for {two|three} knotless anchors in the chart.
Left hip, cup 54 mm, head 32 mm, stem size 3. Device record: cup {54|56} mm, head 32 mm, stem size 3.
"""
CLEAN = """
Four needles went into the joint and out of the same portal. | Two swabs in the wound, both out, counts correct.
Four anchors; well, I had five on the table, one pulled out and was thrown away, so four are in her.
Six screws opened, one stripped and was replaced, six are in the plate.
"""
TWINS = [row for block in (PARTS, FATES, BACK, LOG) for row in block.strip().splitlines()]


def warned(told: str) -> list[str]:
    note = run.note_from_text(told, name="x")
    return [one.message for one in note.findings if one.check in CHECKS and one.severity != "note"]


@pytest.mark.parametrize("row", TWINS)
def test_a_number_that_does_not_agree_is_warned_of(row: str) -> None:
    right, wrong = (re.sub(r"\{([^|{}]*)\|([^{}]*)\}", rf"\{group}", row) for group in (1, 2))
    assert warned(right) == []
    assert warned(wrong)


@pytest.mark.parametrize("told", frames(CLEAN))
def test_numbers_that_agree_are_not_warned_of(told: str) -> None:
    assert warned(told) == []


# (what was said, kind, the values of it that stand as done, as text)
STANDING = (
    ("Right wrist pinned with two k wires left 2 mm proud of the skin.", "device_size", ()),
    ("Left wrist, three wires left 1 cm outside the skin.", "device_size", ()),
    ("Right ring finger ganglion, transverse cut, ring finger, 3 cm.", "device_size", ()),
    ("Right shoulder: two anchors in the pack, one used for the biceps.", "device_count", ("1",)),
    ("Right shoulder: three anchors on the shelf, two used.", "device_count", ("2",)),
    ("Left forearm: 3 plates x 4 screws, all locking.", "device_count", ("3",)),
    ("no drain blood loss five millilitres ten swabs out and ten back", "blood_loss", ("5",)),
    ("Left wrist: headless screw 24 mm in the scaphoid.", "device_size", ("24",)),
)


@pytest.mark.parametrize(("told", "kind", "values"), STANDING)
def test_only_what_is_there_stands(told: str, kind: str, values: tuple[str, ...]) -> None:
    assert tuple(str(fact.value) for fact in facts_of(told) if fact.kind == kind and fact.done) == values


def test_wires_left_proud_are_on_no_other_side() -> None:
    told = facts_of("Right wrist pinned with two k wires left 2 mm proud of the skin.")
    assert {fact.laterality for fact in told if fact.kind == "device"} <= {"right", None}
