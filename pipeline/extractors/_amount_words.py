"""The words by which an amount of marrow, blood or product is told to come out, to be made, to go in or to be lost.

One place for both readers of a harvest (`harvest.py`, `marrow_amounts.py`) and for `_direction.py`. The cues of
grammars/cues.toml ("draw", "injected", "discarded") are phrases that make a distance; these are single words whose
place right beside a number tells its way.
"""

from __future__ import annotations

# Out of the bone or the vein.
DREW = frozenset(
    "drew draw draws drawn drawing pull pulls pulled aspirate aspirates aspirated withdrew withdrawn".split()
)
GOT = frozenset("got get gave gives took taken obtained collected yielded yields harvested another".split())
STARTS = frozenset({"got", "took", "taken", "obtained", "collected", "harvested", "harvest"})
OUT = DREW | {"collected", "obtained", "took", "taken", "harvested", "yielded", "yields", "removed", "drained", "got"}

# Into the patient.
PUT = frozenset("injected inject injecting instilled deposited delivered infiltrated placed put placing".split())
PUT |= {"putting"}
GIVEN = frozenset("injected instilled delivered deposited placed put given infiltrated".split())
GAVE = frozenset("gave give giving".split())
WENT = frozenset("went goes go going".split())
RECEIVED = frozenset({"got", "received", "gets", "receives"})

# Made of it, lost, kept, sent.
PRODUCTS = frozenset({"bmac", "concentrate", "bmc", "prp"})
MADE = frozenset("processed spun concentrated centrifuged filtered concentrate buffy spin spins".split())
MAKING = frozenset(
    "filtration centrifugation processing concentrated spun centrifuged filtered yield yielded yielding produced gave "
    "got made obtained left result prepared down final total available remaining remained kept discarded wasted sent "
    "back".split()
)
LOST = frozenset("lost waste wasted discarded spilled spilt thrown dropped".split())
REMAINS = frozenset({"to", "left", "with", "us", "leaving", "leaves", "back", "yield", "yielded", "yielding"})
KEPT = frozenset("saved kept stored sent frozen reserved retained".split())
BENCH = frozenset("lab laboratory pathology bench table culture centrifuge filter tube count freezer bank".split())

# What holds it, and what counts it.
VESSELS = frozenset(
    "syringe syringes syr syrs tube tubes bag bags cup cups bottle bottles pot pots container bowl".split()
)
# What has a size of its own and is not counted as draws: "a fourteen mil bucket".
SIZED = frozenset("bucket buckets chamber chambers canister canisters bowl bowls flask reservoir".split())
COUNTED = frozenset("draw draws pull pulls aspirate aspirates pass passes aliquot aliquots portion portions".split())
# What is told by the number of places that it went into or came from.
COUNTED_PLACES = frozenset("site sites point points spot spots place places location locations level levels".split())
COUNTED_VESSELS = frozenset("syringe syringes tube tubes".split())
COUNTED_ALL = COUNTED | COUNTED_VESSELS
TURNED = frozenset("rotated rotating rotate turned turning turn".split())
MOVES = frozenset(
    "rotated rotating rotate turned turning redirected advanced advance withdrawn back repositioned deeper".split()
)
