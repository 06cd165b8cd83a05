"""How much of a medicine would be allowed: "max ropivacaine 216 mg", "the toxic dose would be three hundred". It was
not given and is no dose; a maximum a day of a medicine to be taken is part of its order and left to that."""

from __future__ import annotations

from pipeline.clauses import word_set as _words
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence

KINDS = ("measurement",)

_LIMITS = _words("max max. maximum maximal limit ceiling toxic allowed allowable permitted permissible threshold")
_SAFE = _words("safe")
_GIVEN = _words("gave given used injected infiltrated received had got giving total so . ;")
_MASSES = frozenset({"mg", "g", "ug", "mg/kg", "ug/kg"})
_A_DAY = _words("a per / daily in every each day od bd tds qds prn")
_REACH, _BEHIND = 7, 5  # tokens
_FIRST = -2  # before whoever reads doses


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section == "aftercare" or not sentence.says(_LIMITS | _SAFE) and not _bound(sentence):
            continue
        drugs = list(base.mentions(sentence, "drugs"))
        for index, quantity in base.quantities(sentence, "mass", "volume", "dose", ""):
            at = _limit(sentence, index, quantity)
            if at is None or not (quantity.unit in _MASSES or (drugs and quantity.unit in ("mL", None))):
                continue
            if any(token.norm in _A_DAY for token in sentence.tokens[index + 1 : index + 2]):
                continue
            drug = min(drugs, key=lambda mention: abs(mention.first - index), default=None)
            named = sentence.tokens[drug.first : drug.last + 1] if drug is not None else ()
            text = " ".join(["maximum", *(token.text.strip(",.;:") for token in named)])
            facts.append(base.claim("measurement", reading, sentence, index, min(at, index), index, _FIRST, text=text))
    return facts


def _bound(sentence: Sentence) -> bool:
    return any(token.quantity is not None and token.quantity.comparator == "<=" for token in sentence.tokens)


def _limit(sentence: Sentence, index: int, quantity: Quantity) -> int | None:
    """Where the word of a limit stands that a number is told with; None if there is none."""
    tokens = sentence.tokens
    if quantity.comparator == "<=" and "max" in tokens[index].text.lower():
        return index
    for at in range(index - 1, max(-1, index - 1 - _REACH), -1):
        norm = tokens[at].norm
        if norm in _LIMITS or (norm in _SAFE and tokens[at + 1].norm in ("dose", "amount", "volume")):
            return at
        if norm in _GIVEN or tokens[at].quantity is not None:
            break
    behind = [token.norm for token in tokens[index + 1 : index + 1 + _BEHIND]]
    if behind[:1] in (["is"], ["was"], ["being"], ["would"]):
        found = next((n for n, norm in enumerate(behind) if norm in _LIMITS), None)
        return index + 1 + found if found is not None else None
    return None
