"""What a time in an order means: how long it holds, when it begins, when it ends; and orders that forbid.

"Full weight bearing not before six weeks" begins then, "brace off at six weeks" lasts so long, "driving not allowed for
six weeks" forbids.
"""

from __future__ import annotations

from itertools import pairwise

from pipeline.clauses import word_set as _words
from pipeline.records import Mention, Quantity, Sentence

_BEGINS = _words("from after at in starting beginning commencing start starts begin begins earliest once when")
_NOT_YET = frozenset({("not", "before"), ("not", "until"), ("not", "till"), ("not", "for"), ("never", "before")})
_SINCE = _words("postop postoperatively postoperative post")
_OVER = _words("passed over up gone elapsed")
_OFF = _words("off removed discontinued stopped discarded out ends ended stop stops finishes finished ceases")
_ENDS = _words("stop discontinue remove discard off wean out cease finish")
_BETWEEN = _words("the a his her their of off using wearing all")
_FORBIDS = frozenset({("not", "allowed"), ("not", "permitted"), ("not", "advised"), ("is", "forbidden"), ("not", "to"),
                      ("be", "avoided"), ("are", "forbidden")})  # fmt: skip
_FORBIDDEN = _words("forbidden prohibited banned disallowed")
_AVOID = _words("avoid avoiding forbid forbids prohibit")
_LEADS = _words("after from at")
_NEAR = 4  # tokens


def starts(sentence: Sentence, index: int, quantity: Quantity, target: Mention) -> bool:
    """Whether a time tells when an order begins, and not how long it holds."""
    if quantity.dimension != "time":
        return False
    tokens = sentence.tokens
    if target.first > index:
        return leads(sentence, index)
    between = [token.norm for token in tokens[target.last + 1 : index]]
    numbered = tokens[index].text.lower().startswith(("day ", "week "))
    if numbered and between[-1:] == ["on"] if target.table == "drugs" else numbered and not between:
        return True  # "restart apixaban on day three", "FWB day 1"
    if not _NOT_YET.isdisjoint(pairwise(between)):
        return True
    if ends(sentence, index, target):
        return False
    behind = [token.norm for token in tokens[index + 1 : index + 3]]
    if behind[:1] and behind[0] in _SINCE and not between:
        return True  # "full weight bearing six weeks postop"
    last = {*between[-3:]}
    if between[-1:] == ["in"] and target.table == "drugs" or between[-1:] in (["once"], ["when"]) and (
        _OVER.isdisjoint(behind)
    ):
        return False
    if last & {"in", "once", "when"} and between[-1] not in ("in", "once", "when"):
        last -= {"in", "once", "when"}  # "brace in extension for two weeks"
    return bool(_BEGINS & last) and not set(between) & {"for", "until", "till", "another"}


def leads(sentence: Sentence, index: int) -> bool:
    """ "After six weeks full weight bearing", "from week six crutches": a time at the head of a statement."""
    tokens = sentence.tokens
    if not index or tokens[index - 1].norm not in _LEADS:
        return False
    return index == 1 or tokens[index - 2].punctuation or tokens[index - 2].norm in ("and", "then", "but")


def ends(sentence: Sentence, index: int, target: Mention) -> bool:
    """ "Brace off at six weeks", "stop the crutches at six weeks": when an order ends. What is itself a taking out
    ("stitches out at ten days") begins then."""
    if target.id.endswith(("-removal", "-out")):
        return False
    tokens = sentence.tokens
    between = {token.norm for token in tokens[target.last + 1 : index]}
    at = target.first - 1
    while at > 0 and tokens[at].norm in _BETWEEN and tokens[at].norm not in _ENDS:
        at -= 1
    return bool(between & _OFF) or at >= 0 and tokens[at].norm in _ENDS


def forbids(sentence: Sentence, index: int, target: Mention) -> bool:
    """ "Avoid full weight bearing for six weeks", "driving not allowed for six weeks"."""
    tokens = sentence.tokens
    if target.id.startswith(("avoid-", "no-", "non-")) or target.last > index:
        return False
    before = [token.norm for token in tokens[max(0, target.first - 2) : target.first]]
    between = [token.norm for token in tokens[target.last + 1 : index]]
    if before[-1:] and (before[-1] in _AVOID or before[0] in _AVOID and before[-1] in ("any", "all", "full")):
        return True
    near = between[: _NEAR + 1]
    return not _FORBIDDEN.isdisjoint(near) or not (_FORBIDS - {("not", "to")}).isdisjoint(pairwise(near))
