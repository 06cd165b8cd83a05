"""The words by which an amount of marrow, blood or product is told to come out, to be made, to go in or to be lost.

One place for the account of a harvest (`account.py`) and for `_direction.py`. The cues of
grammars/cues.toml ("draw", "injected", "discarded") are phrases that make a distance; these are single words whose
place right beside a number tells its way.
"""

from __future__ import annotations

from pipeline.records import Sentence

# Out of the bone or the vein.
DREW = frozenset(
    "drew draw draws drawn drawing pull pulls pulled aspirate aspirates aspirated withdrew withdrawn".split()
)
CRESTS = frozenset({"crest", "crests", "psis", "asis", "spine"})
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
ALL_PRODUCTS = PRODUCTS | {"product", "plasma", "microfat", "nanofat", "buffy", "fat", "conc", "lysate"}
MADE = frozenset(
    "processed spun concentrated centrifuged filtered concentrate buffy spin spins spinning condensed "
    "centrifuging centrifugation".split()
)
MAKING = frozenset(
    "filtration centrifugation processing concentrated spun centrifuged filtered yield yielded yielding produced gave "
    "got made obtained left result prepared down final total available remaining remained kept discarded wasted sent "
    "back".split()
)
HAD, OFF = frozenset("back got yield made obtained recovered yielded".split()), frozenset({"back", "out", "off"})
HAVE = frozenset({"got", "get", "have", "had"})  # "I've got eight mils back"
LOST = frozenset("lost waste wasted discarded spilled spilt thrown dropped".split())
KEPT = frozenset("saved kept stored sent frozen refrozen banked reserved retained".split())
BENCH = frozenset("lab laboratory pathology bench table culture centrifuge filter tube count freezer bank".split())

# What holds it, and what counts it.
VESSELS = frozenset(
    "syringe syringes syr syrs tube tubes bag bags cup cups bottle bottles pot pots container bowl".split()
)
# What has a size of its own and is not counted as draws: "a fourteen mil bucket".
SIZED = frozenset("bucket buckets chamber chambers canister canisters bowl bowls flask reservoir".split())
COUNTED = frozenset(
    "draw draws pull pulls aspirate aspirates aspiration aspirations "
    "pass passes aliquot aliquots portion portions".split()
)
COUNTED_VESSELS = frozenset("syringe syringes tube tubes".split())
COUNTED_ALL = COUNTED | COUNTED_VESSELS
TURNED = frozenset("rotated rotating rotate turned turning turn".split())
MOVES = frozenset(
    "rotated rotating rotate turned turning redirected advanced advance withdrawn back repositioned deeper".split()
)

# How the words between two amounts are shared out (`_account_parts.py`): what opens something new, what goes on about
# the amount before it, and what tells at its end what became of that amount.
IS = frozenset("is was were are been be being".split())
SOURCES = frozenset("marrow aspirate blood bma lipoaspirate".split())
# Ways into a part, told without a preposition; a hyphen parts two words ("intra-articular").
ROUTES = frozenset(
    "intra extra ia intraarticular intraarticularly subchondral subchondrally intraosseous intraosseously "
    "intratendinous".split()
)
PREPOSITIONS = frozenset(
    "of on in into to from at for with by under over around through per inside onto beneath beside within along".split()
)
OPENS = frozenset(
    "and then now so we i he she they but while next another again last rest remaining remainder which that this "
    "that's thats plus other makes making gives leaves leaving yielding no without + -> = => \u2192 turn turned "
    "turning rotate rotated rotating advance advanced redirected".split()
)
TRAILS = PREPOSITIONS | IS | GIVEN | LOST | KEPT | frozenset(
    "prepared ready available usable used handed medially laterally anteriorly posteriorly superficially deeply "
    "each every total altogether all left back more went came out away overall together combined made spun apiece "
    "aspirated drawn collected obtained taken used down slowly not".split()
) | ROUTES
DOES = DREW | GIVEN | GAVE | (GOT - {"another"}) | frozenset(
    "spun spin spins filtered centrifuged concentrated threw throw discarding inject injecting came".split()
)
FATE = LOST | GIVEN | frozenset(
    "in all total altogether each overall together combined told away binned up was were and out apiece clotted "
    "coagulated frothy".split()
)


def is_counted_behind(sentence: Sentence, at: int) -> bool:
    """ "40 mL over 4 pulls": whether draws are counted at a token."""
    tokens = sentence.tokens
    return at + 1 < len(tokens) and tokens[at].quantity is not None and tokens[at + 1].norm in COUNTED | {"sites"}
SPUN = frozenset({"spun", "centrifuged", "filtered", "processed", "concentrated"})
