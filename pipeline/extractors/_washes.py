"""What is washed: a graft or an instrument on the table is no wound, and what it is washed in is not given."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.records import Sentence, Token

_VERBS = _words("washed rinsed wash rinse washing rinsing")
_PRODUCTS = _words(
    "fat lipoaspirate graft grafts autograft allograft homograft chips flap implant implants prosthesis mesh beads "
    "cells specimen specimens instruments membrane patch tissue stones fragments hardware plate screws valve "
    "oocyte embryo heart kidney liver lung hands hand gloves"
)
_KIT = _words("kit kits syringe syringes tubing trocar trocars")  # what it is wetted with goes in with the marrow
_PLACES = _words(
    "wound wounds joint knee shoulder hip ankle elbow wrist cavity abdomen pelvis peritoneum bed site canal incision "
    "socket space sinus eye ear skin field area pocket bladder chest"
)
_ORGANS = _words("heart kidney liver lung hand tissue")  # these are products on a table only: "the back table"
_TABLE = _words("table bench ex vivo basin strainer bowl cup dish container")
_OBJECT = 4  # tokens from the verb on


def in_joint(sentence: Sentence, first: int, last: int) -> bool:
    """ "Three litres of Ringer's through the joint", "the joint with three litres of Ringer's": it rinsed, and was not
    infused."""
    tokens = sentence.tokens
    if not sentence.says(_RINSED_PARTS) or sentence.says(_VEINS):
        return False
    behind = [token.norm for token in tokens[last + 1 : last + 5]]
    before = [token.norm for token in tokens[max(0, first - 7) : first]]
    through = behind[:1] in (["through"], ["into"], ["in"], ["via"]) and bool(_RINSED_PARTS & set(behind[1:]))
    led = any(norm in _RINSED_PARTS and {"with", "by"} & set(before[at + 1 : at + 3]) for at, norm in enumerate(before))
    return through or led


_RINSED_PARTS = _words("joint knee shoulder hip ankle elbow wrist arthroscope scope sheath cavity wound bursa portals")
_VEINS = _words("iv intravenous intravenously infusion infused drip cannula vein anaesthetist")


def of_product(sentence: Sentence, verb: int) -> bool:
    """Whether the verb at a token washes what lies on the table: "the fat was strained and washed with ..."."""
    return bool(_washed(sentence, verb))


def _washed(sentence: Sentence, verb: int) -> frozenset[str]:
    """The things on the table that are washed there; none where a part of the body is."""
    tokens = sentence.tokens
    if tokens[verb].norm not in _VERBS:
        return frozenset()
    low = clauses.bounds(sentence, verb)[0]
    if low and tokens[low].norm in ("then", "also", "again"):
        low = clauses.bounds(sentence, low - 1)[0]  # "the graft was then rinsed"
    was = [at for at in range(low, verb) if tokens[at].norm in ("was", "were", "is", "are", "been", "being")]
    # what was washed stands before "was": not "there was no pus, some necrotic fat, only washed with 500 mL"
    part = tokens[low : was[-1]] if was else _object(sentence, verb)
    if verb and tokens[verb - 1].norm in _PRODUCTS | _KIT:
        part = tokens[verb - 1 : verb]  # "fat washed with saline"
    norms = {token.norm for token in part}
    things = norms & (_PRODUCTS | _KIT)
    if not norms & _TABLE:
        things -= _ORGANS
    return frozenset() if norms & _PLACES else frozenset(things)


def _object(sentence: Sentence, verb: int) -> Sequence[Token]:
    """What the verb washes, up to what it is washed with: "rinsed the kit with saline"."""
    part = sentence.tokens[verb + 1 : verb + 1 + _OBJECT]
    end = next((at for at, token in enumerate(part) if token.norm in _BY), len(part))
    return part[:end]


_BY = _words("with through by via using")


def holds(sentence: Sentence, token: int) -> bool:
    """Whether a token stands in what a product is washed in: "washed with saline containing insulin"."""
    tokens = sentence.tokens
    if any(one.norm in clauses.FINITE for one in tokens[token + 1 : token + 3]):
        return False  # "... and lidocaine was given"
    return any(
        tokens[at].norm in _VERBS and bool(_washed(sentence, at) - _KIT)
        and not any(one.norm in clauses.FINITE for one in tokens[at + 1 : token])
        for at in range(token)
    )


def by_the_patient(sentence: Sentence, at: int) -> bool:
    """ "She can come out of it to wash": nothing is rinsed."""
    before = sentence.tokens[max(0, at - 1)].norm
    return sentence.tokens[at].norm == "wash" and before in _TO_WASH


_TO_WASH = frozenset({"to", "can", "may", "hand", "he", "she", "patient", "face", "body"})
