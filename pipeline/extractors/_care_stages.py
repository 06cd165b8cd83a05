"""The stages of an instruction: "splint 2/52, then removable 2/52", "drops qid 1/52, tid 1/52", "non weight bearing two
weeks then partial for two"."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pipeline import cues
from pipeline.clauses import word_set as _words
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Mention, Quantity, Sentence
from pipeline.rows import Concept

_PARTS = _words(", then and followed by -> + & for x of another further more a the at only in it on ( )")
_STAGES = _words(
    "night nights nighttime overnight day days daytime daily full half part time removable soft hard rigid light oral "
    "orally iv po mouth tablets capsules bd tds qds od tid bid qid nocte mane prn needed as locked unlocked free loose "
    "extension comfort outdoors outside walking sleep sleeping strength reduced reducing tapering taper weaning wean "
    "once twice times three four weekly fortnightly monthly"
)
_BORDERS = frozenset({"then", ",", "and", "->", "followed"})
_LOADS = {"partial": "partial-weight-bearing", "partially": "partial-weight-bearing", "pwb": "partial-weight-bearing",
          "full": "full-weight-bearing", "fully": "full-weight-bearing", "fwb": "full-weight-bearing"}  # fmt: skip
_LOAD_WORDS = _words("weight bearing weightbearing load loading wb")
_APART = 9  # tokens
_NAMING = frozenset({"aftercare", "drugs", "dressings", "devices", "drains", "procedures", "acts", "findings",
                     "diagnoses", "closures", "dispositions"})  # fmt: skip


@dataclass(frozen=True)
class Stage:
    """A further stage: where its words begin, the instruction that it is a stage of, and how it differs in words."""

    first: int
    mention: Mention
    text: str | None = None


def stage(
    sentence: Sentence, grammar: Grammar, before: tuple[int, Mention], index: int, quantity: Quantity
) -> Stage | None:
    """The stage that the time at `index` ends, where the one at `before` was of an instruction; None where it is none.
    """
    told, target = before
    between = range(told + 1, index)
    tokens = sentence.tokens
    if quantity.dimension not in ("time", "mass") or not between or len(between) > _APART:
        return None
    border = next((at for at in between if tokens[at].norm not in _STAGES), None)
    if border is None or tokens[border].norm not in _BORDERS:
        return None
    words = [at for at in between if at > border and tokens[at].norm not in _PARTS]
    row = grammar.table("aftercare", Concept).get(target.id) if target.table == "aftercare" else None
    load = row is not None and row.group == "load"
    if quantity.dimension == "mass":  # "15 kg for 2/52, 30 kg for 2/52"
        return Stage(index, _carrying(target)) if load and quantity.unit == "kg" and not words else None
    measured = [at for at in words if tokens[at].quantity is not None]
    if load:
        named = [_LOADS[tokens[at].norm] for at in words if tokens[at].norm in _LOADS]
        rest = [at for at in words if at not in measured and tokens[at].norm not in _LOADS
                and tokens[at].norm not in _LOAD_WORDS]  # fmt: skip
        if rest or len(named) > 1 or not (named or measured):
            return None
        return Stage(words[0], replace(target, id=named[0]) if named else _carrying(target) if measured else target)
    if not words or any(tokens[at].norm not in _STAGES and at not in measured for at in words):
        return None
    if any(m.table in _NAMING and told < m.first < index for m in sentence.mentions):
        return None
    said = cues.words(sentence, target.first, target.last)
    return Stage(words[0], target, f"{said}, {cues.words(sentence, words[0], words[-1])}")


def _carrying(target: Mention) -> Mention:
    """ "Non weight bearing two weeks then twenty kilos": a limb that carries so much is loaded in part."""
    return replace(target, id="partial-weight-bearing") if target.id == "non-weight-bearing" else target


def partly(sentence: Sentence) -> list[Mention]:
    """ "Boot, partial fifteen kilos for two weeks": what a limb may carry, "weight bearing" left out."""
    tokens = sentence.tokens
    return [
        Mention("aftercare", "partial-weight-bearing", at, at)
        for at, token in enumerate(tokens[:-1] if sentence.says(_PARTIAL) else ())
        if token.norm in _PARTIAL and (load := tokens[at + 1].quantity) is not None and load.unit == "kg"
    ]  # fmt: skip


_PARTIAL = frozenset({"partial", "partially"})


def is_of_a_rate(sentence: Sentence, index: int) -> bool:
    """Whether a time is part of how much flows: "if less than 30 mL in 24 hours"."""
    if index < 2 or sentence.tokens[index - 1].norm not in ("in", "over", "per", "/"):
        return False
    amount = sentence.tokens[index - 2].quantity
    return amount is not None and amount.dimension == "volume"


def elevated(sentence: Sentence, ahead: bool) -> list[Mention]:
    """ "Elevate for two days", "he will elevate his right foot": an instruction, and no flap that is raised."""
    tokens = sentence.tokens
    if not sentence.says({"elevate"}):
        return []
    return [
        Mention("aftercare", "elevation", at, at) for at, token in enumerate(tokens)
        if token.norm == "elevate" and _is_told(sentence, at, ahead) and _is_of_limb(sentence, at)
        and not any(m.table == "aftercare" and m.first <= at <= m.last for m in sentence.mentions)
    ]  # fmt: skip


def _is_told(sentence: Sentence, at: int, ahead: bool) -> bool:
    opens = at == 0 or sentence.tokens[at - 1].norm in (".", ";", ":")
    return ahead or opens or base.scope_at(sentence, "status", at, "") == "planned"


def _is_of_limb(sentence: Sentence, at: int) -> bool:
    after = at + 1
    while after < len(sentence.tokens) and sentence.tokens[after].norm in _OWN:
        after += 1
    if after >= len(sentence.tokens) or sentence.tokens[after].punctuation:
        return True
    return sentence.tokens[after].norm in _LIMBS or sentence.tokens[after].quantity is not None


_OWN = _words("the his her their your a operated affected left right upper lower and ice for above heart level as much")
_LIMBS = _words("leg arm foot hand limb extremity ankle knee wrist elbow finger fingers toes it possible pillows")
