"""Lengths of time that tell when something was done, and not how long it took: "ten minutes before the incision",
"half an hour later", "twenty minutes into the case"."""

from __future__ import annotations

from pipeline.clauses import word_set as _words
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Sentence
from pipeline.rows import Drug

_WHEN = _words("later earlier beforehand previously ago before prior after into ahead")
# "Forty minutes after inflation", "up forty minutes before we let it down": how long it was up after all.
_OF_THE_CUFF = _words("inflation inflating inflated deflation deflating release releasing let down deflated up")
_HOLDS = _words("for lasted lasting of was took taking")
_NEAR = 5  # tokens


def is_moment(sentence: Sentence, index: int) -> bool:
    """Whether a length of time tells when, by the word right behind it, or by "in the first" before it."""
    tokens = sentence.tokens
    behind = [token.norm for token in tokens[index + 1 : index + 1 + _NEAR]]
    before = [token.norm for token in tokens[max(0, index - 3) : index]]
    if _HOLDS & {*before[-1:]} or before[-2:-1] == ["for"]:
        return False
    if before[-3:] == ["in", "the", "first"] or before[-2:] == ["the", "first"] or before[-1:] == ["within"]:
        return True
    if behind[:1] == ["in"]:
        return len(behind) == 1 or behind[1] in (".", ",", ";")  # "ten minutes in"
    if not behind or behind[0] not in _WHEN:
        return False
    return behind[0] in ("later", "earlier", "ago", "into") or _OF_THE_CUFF.isdisjoint(behind[1:])


def is_of_a_dose(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """ "Tranexamic acid one gram eight ten, time out eight eighteen": when a drug was given, and no event."""
    dose = sentence.tokens[index - 1].quantity if index > 1 else None
    drugs = grammar.table("drugs", Drug)
    return dose is not None and dose.dimension == "mass" and any(
        mention.last == index - 2 and "antibiotic" not in drugs[mention.id].classes
        for mention in base.mentions(sentence, "drugs")
    )
