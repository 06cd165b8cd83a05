"""Amounts of a fat graft: "200 mL of tumescent infiltrated, 120 mL of lipoaspirate, 60 mL of purified fat, 15 mL to
each cheek".

Only where fat is spoken of as what is taken and given. What an amount is follows from the words of its own part of the
sentence, up to the next mark or number: what was infiltrated, what came out, what was poured off, what was made, and
what went in.
"""

from __future__ import annotations

from typing import Any

from pipeline import cues, laterality, sidewise
from pipeline.extractors import _direction, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("fluid_out", "discarded_volume", "product_volume", "injection_volume", "harvest_total")

_FAT = frozenset({"fat", "lipoaspirate", "microfat", "nanofat", "lipofilling", "lipofilled", "adipose"})
_TAKEN = frozenset("harvested lipoaspirate aspirated suctioned collected lipoaspirated harvest aspirate".split())
_POURED = frozenset("discarded decanted oil infranatant infranate waste wasted thrown poured supernatant".split())
_MADE = frozenset(
    "purified processed washed obtained yielded yield yields left remaining remained concentrated emulsified microfat "
    "nanofat spun centrifuged condensed usable".split()
)
_GIVEN = frozenset("injected injecting inject grafted placed into to deposited each lipofilled".split())
_TUMESCENT = frozenset("tumescent klein infiltrated infiltration tumescence wetting".split())
_ROLES = (("wetting", _TUMESCENT), ("poured", _POURED), ("taken", _TAKEN), ("made", _MADE), ("given", _GIVEN))
_ANOTHER = frozenset(
    "saline ns ringer ringers adrenaline epinephrine lidocaine bag bags syringe syringes cannula".split()
)
_LATER = frozenset({"aftercare", "follow-up", "history", "indication"})
_COST = -2  # the words right beside an amount tell more than any cue farther off


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    if not any(one.says(_FAT) for one in reading.sentences):
        return []
    if not any(_is_grafted(one, grammar) for one in reading.sentences):
        return []
    facts: list[Fact] = []
    told = ""
    for sentence in reading.sentences:
        if sentence.section in _LATER or cues.has(sentence, grammar, "blood-loss"):
            continue
        for index, quantity in base.quantities(sentence, "volume", ""):
            if quantity.form not in ("number", "range"):
                continue
            role = _role(sentence, index, told) if quantity.dimension else _goes_on(sentence, index, told)
            told = role or told
            facts += _fact(reading, sentence, grammar, index, role) if role else []
    return facts


def _is_grafted(sentence: Sentence, grammar: Grammar) -> bool:
    named = base.mentions(sentence, "injectates", "procedures", "acts", "processing")
    return any("fat" in m.id or "lipofill" in m.id or m.id == "emulsification" for m in named)


def _role(sentence: Sentence, index: int, told: str) -> str:
    """What an amount is by the words of its part of the sentence, those behind it first; "" where they do not tell."""
    behind, before = _part(sentence, index, 1), _part(sentence, index, -1)
    if _ANOTHER & {*behind[:3], *before[:1]} or before[:2] == ["with", "washed"]:
        return ""
    for words in (behind[:4], before[:5]):
        for word in words:
            role = next((role for role, said in _ROLES if word in said), "")
            if role == "given" and word in ("to", "each") and words is not behind[:4] and word != "each":
                continue
            if role:
                return role
    fat = bool(_FAT & {*behind[:4], *before[:3]})
    if fat:
        return "made" if told in ("taken", "poured") else ""
    sited = _direction.place(sentence, index) is not None or _direction.headed(sentence, index) is not None
    return "given" if sited and told in ("made", "given", "poured") else "taken" if told == "taken" else ""


def _goes_on(sentence: Sentence, index: int, told: str) -> str:
    """ "Four hundred mils from the left flank and three hundred and fifty from the right": the unit is left out."""
    behind = _part(sentence, index, 1)
    before = sentence.tokens[index - 1].norm if index else ""
    if before not in ("and", ",", "then", "another") or not {"left", "right", "other", "second"} & set(behind[:3]):
        return ""
    way = "taken" if behind[0] == "from" else "given" if behind[0] in ("into", "in", "to") else ""
    return told if told == way else ""


def _part(sentence: Sentence, index: int, way: int) -> list[str]:
    """The words from a number on, nearest first, up to a mark, a joining word behind which another amount stands, or
    a number."""
    found: list[str] = []
    at = index + way
    while 0 <= at < len(sentence.tokens):
        token = sentence.tokens[at]
        if token.punctuation or token.quantity is not None or token.norm == "then":
            break
        found.append(token.norm)
        at += way
    if way > 0 and at < len(sentence.tokens) and sentence.tokens[at].quantity is not None and "and" in found:
        found = found[: found.index("and")]
    return found


def _fact(reading: Reading, sentence: Sentence, grammar: Grammar, index: int, role: str) -> list[Fact]:
    def claim(kind: str, **fields: Any) -> list[Fact]:
        unit = sentence.tokens[index].quantity
        named = {"unit": unit.unit if unit is not None else None, **fields}
        return [base.claim(kind, reading, sentence, index, index, index, _COST, **named)]

    side = sidewise.side_of(sentence, index, grammar)
    summed = cues.scale(sentence, index) == "total"
    if role == "wetting":
        return claim("injection_volume", name="local-anaesthetic-mixture", scale=cues.scale(sentence, index))
    if role == "taken":
        if summed:
            return claim("harvest_total", scale="total")
        return claim("fluid_out", name="lipoaspirate", laterality=side)
    if role == "poured":
        unsure = ("poured off or what was left was not said",) if _says_poured(sentence, index) else ()
        return claim("discarded_volume", doubts=unsure, laterality=None)
    if role == "made":
        return claim("product_volume", name="autologous-fat", laterality=None)  # "280 mL of fat left"
    site = _direction.place(sentence, index) or _direction.headed(sentence, index)
    scale = cues.scale(sentence, index)
    where = laterality.side_for(sentence, site.first, site.last, grammar)[0] if site is not None and not scale else None
    return claim("injection_volume", name="autologous-fat", body_site=site.id if site else None,
                 laterality=side or where, scale=scale)  # fmt: skip


def _says_poured(sentence: Sentence, index: int) -> bool:
    return "decanted" in {*_part(sentence, index, 1)[:4], *_part(sentence, index, -1)[:5]}
