"""Anticoagulant and the marrow that it is mixed with: its share, and the two volumes when they are said in one breath.

"12 mL, that is twenty percent of the 60 mL of marrow", "ACD-A, 6 mL to 54 mL of marrow". Without this the volume of the
marrow would go to the drug, and the two volumes would be read as a range.
"""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence
from pipeline.rows import Drug

KINDS = ("anticoagulant_share", "medication_concentration", "medication_volume", "harvest_total")

_MARROW = frozenset({"marrow", "aspirate", "harvest"})
_WHOLE = _MARROW | {"volume", "whole", "mixture", "syringe", "total", "draw", "blood"}
_FILL = frozenset({"of", "the", "a", "bone", "aspirated", "total", "by", "whole", "in", "that"})
_AHEAD = 6  # tokens between a percent and what it is a share of
_OWN = -1  # before any other claim
_LEFT_IN = 10  # tokens between "anticoagulant" and its volume


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        drugs = _agents(sentence, grammar)
        if not drugs and not sentence.says({"anticoagulant"}):
            continue
        spoken = [index for index, token in enumerate(sentence.tokens) if token.norm == "anticoagulant"]
        for index, quantity in base.quantities(sentence):
            strength = _strength_of(sentence, index, quantity, drugs)
            if quantity.dimension == "fraction" and strength is not None:
                facts.append(base.claim("medication_concentration", reading, sentence, index, strength, strength, _OWN,
                                        name=drugs[strength], role="anticoagulant",
                                        group=f"m{base.group_of(sentence, strength)}"))  # fmt: skip
            elif quantity.dimension == "fraction" and (
                _is_share(sentence, index) or _is_acd(index, drugs) or _closes(sentence, index, drugs)
            ):
                at = next(iter([*drugs, *spoken]))
                facts.append(base.claim("anticoagulant_share", reading, sentence, index, at, at, _OWN))
            elif (first := _one_in(sentence, index)) is not None:
                text = cues.words(sentence, first, index)
                facts.append(base.claim("anticoagulant_share", reading, sentence, index, first, index, _OWN, text=text,
                                        value=None, low=None, high=None, unit=None))  # fmt: skip
            elif quantity.dimension == "volume":
                facts += _volume(reading, sentence, index, quantity, drugs, spoken)
    return facts


def _agents(sentence: Sentence, grammar: Grammar) -> dict[int, str]:
    """Last token -> id of every anticoagulant of the sentence."""
    rows = grammar.table("drugs", Drug)
    return {m.last: m.id for m in base.mentions(sentence, "drugs") if "anticoagulant" in rows[m.id].classes}


def _is_acd(index: int, drugs: dict[int, str]) -> bool:
    """ "ACD 20 percent": it has one strength, so that a percent beside it is its share."""
    return any(drugs.get(index - near) == "acd-a" for near in (1, 2))


def _closes(sentence: Sentence, index: int, drugs: dict[int, str]) -> bool:
    """ "ACD-A six mils with fifty four mils of blood, ten percent": behind the two volumes, and of no drug."""
    volumes = [at for at, one in base.quantities(sentence, "volume") if at < index]
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else "."
    named = any(0 < m.first - index <= _OF_NEXT for m in base.mentions(sentence, "drugs"))
    agent = any(name in _CITRATES for name in drugs.values())
    return agent and len(volumes) == 2 and after != "of" and not named


_CITRATES, _OF_NEXT = frozenset({"acd-a", "sodium-citrate"}), 2


def _strength_of(sentence: Sentence, index: int, quantity: Quantity, drugs: dict[int, str]) -> int | None:
    """The citrate of "citrate 15 mL 4 %", "4 % citrate": its strengths lie below any usual share."""
    if quantity.value is None or quantity.value > _STRONGEST:
        return None
    for at in sorted(drugs):
        between = sentence.tokens[at + 1 : index] if at < index else sentence.tokens[index + 1 : at - 1]
        plain = all(token.norm in ("sodium", "of", ",") or token.norm == "#volume" for token in between)
        if drugs[at] == "sodium-citrate" and len(between) <= 2 and plain:
            return at
    return None


_STRONGEST = 4  # percent; sodium citrate 3.2 %, 3.8 % and 4 % (US labels [from memory])


def _of_marrow(sentence: Sentence, index: int) -> bool:
    """Whether marrow follows the number ("60 mL of bone marrow", "the 60 mL aspirate")."""
    for token in sentence.tokens[index + 1 : index + 5]:
        if token.norm in _MARROW:
            return True
        if token.norm not in _FILL:
            return False
    return False


def _one_in(sentence: Sentence, index: int) -> int | None:
    """ "One part in ten", "one to nine": first token of such a share that ends at a token."""
    tokens = sentence.tokens
    whole = tokens[index].quantity
    if whole is not None and whole.form == "range" and not whole.dimension and whole.low == 1:
        return index if whole.high is not None and whole.high <= _PARTS else None
    if whole is None or whole.dimension or whole.form != "number" or not 1 < (whole.value or 0) <= _PARTS:
        return None
    words = [token.norm for token in tokens[max(0, index - 3) : index]]
    for form in (["part", "in"], ["part", "to"], ["part", "of"], ["in"], ["to"]):
        first = index - len(form) - 1
        if first < 0 or words[-len(form) :] != form:
            continue
        one = tokens[first].quantity
        if (one is not None and one.value == 1 and not one.dimension) or tokens[first].norm == "one":
            return first
    return None


_PARTS = 20  # more would be a dilution of a drug, not its share of the marrow


def _is_share(sentence: Sentence, index: int) -> bool:
    """Whether a percent is one of the marrow: "of the aspirate", "of the 60 mL of marrow", "by volume"."""
    after = sentence.tokens[index + 1 : index + 1 + _AHEAD]
    if not after or after[0].norm not in ("of", "by"):
        return False
    for token in after:
        if token.norm in _WHOLE:
            return True
        volume = token.quantity is not None and token.quantity.dimension == "volume"
        if token.norm not in _FILL and not volume:
            return False
    return False


def _volume(
    reading: Reading, sentence: Sentence, index: int, quantity: Quantity, drugs: dict[int, str], spoken: list[int]
) -> list[Fact]:
    tokens = sentence.tokens
    marrow = _of_marrow(sentence, index)
    ahead = next((at for at in sorted(drugs) if 0 < index - at <= 2), None)
    if quantity.form == "range" and marrow and ahead is not None:
        # "ACD-A 6 mL to 54 mL of marrow": so much of the one to so much of the other
        one = {"low": None, "high": None, "unit": quantity.unit}
        return [
            base.claim("medication_volume", reading, sentence, index, ahead, ahead, _OWN, value=quantity.low,
                       name=drugs[ahead], role="anticoagulant", group=f"m{base.group_of(sentence, ahead)}",
                       doubts=(_ONE_TO_ONE,), **one),
            base.make("harvest_total", reading, sentence, index, index, value=quantity.high, scale="total",
                      doubts=(_ONE_TO_ONE,), **one),
        ]  # fmt: skip
    before = [token.norm for token in tokens[max(0, index - 2) : index]]
    if marrow and before == ["of", "the"]:
        return [base.claim("harvest_total", reading, sentence, index, index, index + 1, _OWN, scale="total")]
    if not marrow and not drugs:
        spoken = [at for at in spoken if not at or tokens[at - 1].norm not in ("no", "without")]
        at = next((at for at in spoken if 0 < index - at <= _LEFT_IN), None)
        if at is not None and all(token.quantity is None and not token.punctuation for token in tokens[at:index]):
            return [base.claim("medication_volume", reading, sentence, index, at, at, _OWN, text="anticoagulant",
                               role="anticoagulant", scale=cues.scale(sentence, index))]  # fmt: skip
    return []


_ONE_TO_ONE = "read as so much anticoagulant to so much marrow; it could be a range"
