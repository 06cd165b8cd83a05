"""Drains and tubes left in, their size, and that there was none."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

from pipeline import changed_plans, cues, laterality, people, sidewords
from pipeline.extractors import base
from pipeline.extractors._things import ATTRIBUTES, whole
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Mention, Reading, Sentence

KINDS = ("drain", "drain_size", "device_count")

_SIZE_REACH = 36  # nothing but tubes is measured in French
_BEFORE_NOUN = frozenset(
    ("a", "an", "the", "no", "one", "two", "three", "any", "this", "that", "without", "wound", "suction", "surgical",
     "french", "closed", "flat", "round", "left", "right", "bilateral", "deep", "subcutaneous", "and", "of",
     "each", "both")
)  # fmt: skip


_AFTER_NOUN = frozenset(
    ("a", "an", "one", "two", ":", ",", "none", "no", "was", "were", "is", "in", "left", "brought", "placed", "number")
)  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences if reading.speaks_of("drains") else ():
        if sentence.section in ("indication", "history", "imaging"):
            continue  # a tube that the patient came with
        drains = [mention for mention in base.mentions(sentence, "drains")
                  if _is_noun(sentence, mention) and not _is_out(sentence, mention)
                  and not _is_sling(sentence, mention) and not people.is_name(sentence, mention)]  # fmt: skip
        drains = [mention for mention in drains if not _named_next(sentence, mention, drains)]
        out = {mention.id for mention in base.mentions(sentence, "drains") if _is_out(sentence, mention)}
        facts = [fact for fact in facts if not (fact.kind.startswith("drain") and fact.name in out - {"drain"})]
        if "drain" in out:  # which one it was cannot be told
            facts = [replace(fact, doubts=(*fact.doubts, OUT_AGAIN)) if fact.kind == "drain" else fact
                     for fact in facts]  # fmt: skip
        sides = {one.first: None if _none_left(sentence, one) or _one_by_one(sentence, one) else
                 laterality.own_side(sentence, one.first, one.last, grammar) for one in drains}  # fmt: skip
        for mention in drains:
            side = sides[mention.first]
            facts.append(
                base.make("drain", reading, sentence, mention.first, mention.last, name=mention.id,
                          laterality=side,
                          group=f"t{base.group_of(sentence, mention.first)}")
            )  # fmt: skip
            if side in ("left", "right"):
                facts += _on_the_other(reading, sentence, mention, side)
        for mention in drains:
            facts += _count(reading, sentence, mention) + _called(reading, sentence, mention)
        for index, quantity in base.quantities(sentence, ""):
            for mention in drains:  # "a nineteen Blake drain": 7 to 36 French are made, common practice, no source
                sized = mention.id != "drain" and mention.first == index + 1 and quantity.form == "number"
                behind = quantity.form == "number" and _ends_size(sentence, mention, index)
                if (sized or behind) and quantity.value is not None and 7 <= quantity.value <= 36:
                    facts.append(
                        base.claim("drain_size", reading, sentence, index, mention.first, mention.last, 2,
                                   name=mention.id, group=f"t{base.group_of(sentence, mention.first)}",
                                   doubts=("its unit was not said",) if behind else ())
                    )  # fmt: skip
        for index, quantity in base.quantities(sentence, "french", "length"):
            ranked = [
                (cues.cost(sentence, index, mention.first, mention.last, postfix=2), mention.first, mention)
                for mention in drains
            ]
            if not ranked or quantity.dimension == "length" and _ends_pair(sentence, index):
                continue
            price, _, mention = min(ranked, key=lambda item: item[:2])
            bracket = any(token.norm == "(" for token in sentence.tokens[mention.last + 1 : index])
            if bracket and base.scope_at(sentence, "certainty", mention.first, "affirmed") == "negated":
                continue  # "no drain (8 Fr dripping stent)"
            if quantity.dimension == "french" and len(drains) == 1 and not _other_tube(sentence):
                price = min(price, _ONLY_TUBE)  # "drain left in, ten French, on suction"
            reach = _SIZE_REACH if quantity.dimension == "french" else 8
            if price <= reach:
                facts.append(
                    base.claim("drain_size", reading, sentence, index, mention.first, mention.last, price,
                               name=mention.id,
                               laterality=_side_behind(sentence, index, grammar) or sides[mention.first],
                               group=f"t{base.group_of(sentence, mention.first)}")
                )  # fmt: skip
    return facts


def _ends_pair(sentence: Sentence, index: int) -> bool:
    """ "Stent 6 Fr x 26 cm nephrostomy 16 Fr": the second size of what was named before the first."""
    tokens = sentence.tokens
    paired = index > 2 and tokens[index - 1].norm in ("x", "by") and tokens[index - 2].quantity is not None
    return paired and any(m.table == "devices" and m.last == index - 3 for m in sentence.mentions)


def _side_behind(sentence: Sentence, index: int, grammar: Grammar) -> Laterality | None:
    """ "Drain none on the left, ten French on the right": the side right behind a size is its own; "a 28 French
    right angled tube" has none."""
    said = {side.first: side.value for side in sidewords.sides(sentence, grammar)}
    at = index + 1
    while at < len(sentence.tokens) and sentence.tokens[at].norm in ("on", "the") and at < index + 3:
        at += 1
    return said.get(at)


def _ends_size(sentence: Sentence, mention: Mention, index: int) -> bool:
    """ "Foley sixteen with a burette": a bare number right behind the name of a drain, which counts nothing."""
    tokens = sentence.tokens
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    named = mention.id != "drain" and not tokens[mention.last].norm.endswith("s") and index == mention.last + 1
    return named and (after is None or after.punctuation or after.norm in _AFTER_SIZE)


_AFTER_SIZE = frozenset({"with", "to", "in", "on", "and", "left", "right", "was", "for", "at"})


def _one_by_one(sentence: Sentence, mention: Mention) -> bool:
    """ "Two drains one mediastinal one in the right pleura": each has a place of its own."""
    ones = [token.text.lower() for token in sentence.tokens[mention.last + 1 : mention.last + 10]].count("one")
    return ones > 1 and sentence.tokens[mention.last].norm.endswith("s")


def _none_left(sentence: Sentence, mention: Mention) -> bool:
    """ "No drain left": left behind, no side."""
    after = sentence.tokens[mention.last + 1].norm if mention.last + 1 < len(sentence.tokens) else ""
    return after == "left" and mention.first > 0 and sentence.tokens[mention.first - 1].norm in ("no", "without")


def _on_the_other(reading: Reading, sentence: Sentence, mention: Mention, side: str) -> list[Fact]:
    """ "Two drains on the left, one on the right": the noun is not said twice."""
    tokens = sentence.tokens
    other: Laterality = "right" if side == "left" else "left"
    for at in range(mention.last + 1, min(len(tokens) - 1, mention.last + _REACH)):
        if tokens[at].norm in (".", ";"):
            break
        counted = tokens[at].norm in ("one", "another", "a") or tokens[at].norm == "#number"
        if not counted or tokens[at - 1].norm not in (",", "and"):
            continue
        ahead = [token.norm for token in tokens[at + 1 : at + 5]]
        there = ahead.index(other) if other in ahead else -1
        closes = at + 2 + there >= len(tokens) or tokens[at + 2 + there].punctuation
        if there >= 0 and closes and set(ahead[:there]) <= {"on", "the", "second", "to", "in", "from", "more"}:
            return [base.make("drain", reading, sentence, at, at + 1 + there, name=mention.id, laterality=other,
                              group=f"t{base.group_of(sentence, at)}")]  # fmt: skip
    return []


_REACH = 10  # words
_FRENCH = frozenset({"ch", "charriere", "charrière", "fr", "french"})
_TO_SIZE = _FRENCH | frozenset({":", "x", "one", "two", ",", "on", "in", "to", "the", "left", "right", "side", "size",
                                "sized", "each", "was", "placed"})  # fmt: skip


def _called(reading: Reading, sentence: Sentence, mention: Mention) -> list[Fact]:
    """ "Drain, size ten": French was not said, and is not given."""
    tokens = sentence.tokens
    for at in range(mention.last + 1, min(len(tokens), mention.last + 8)):
        quantity = tokens[at].quantity
        if quantity is None and tokens[at].norm not in _TO_SIZE:
            break
        if quantity is None or quantity.value is None or quantity.dimension:
            continue
        french = tokens[at - 1].norm in _FRENCH
        if (french or tokens[at - 1].norm in ("size", "sized")) and quantity.form in ("label", "number"):
            return [base.claim("drain_size", reading, sentence, at, mention.first, mention.last, 2, name=mention.id,
                               unit="[Ch]" if french else None,
                               group=f"t{base.group_of(sentence, mention.first)}")]  # fmt: skip
    return []


def _count(reading: Reading, sentence: Sentence, mention: Mention) -> list[Fact]:
    """ "Two nineteen French Blake drains", "drains times two", "a pair of JP drains": how many."""
    tokens = sentence.tokens
    said: dict[str, Any] = {
        "text": cues.words(sentence, mention.first, mention.last), "name": None,
        "group": f"t{base.group_of(sentence, mention.first)}",
    }  # fmt: skip
    pair = [token.norm for token in tokens[max(0, mention.first - 3) : mention.first]]
    if "pair" in pair and "of" in pair:
        at = mention.first - len(pair) + pair.index("pair")
        return [base.make("device_count", reading, sentence, at, mention.last, value=Decimal(2), **said)]
    behind = mention.last + 1
    for index in [*range(mention.first - 1, max(-1, mention.first - 5), -1), behind, behind + 1]:
        if not 0 <= index < len(tokens):
            continue
        quantity = tokens[index].quantity
        used = changed_plans.outdone(sentence).get(index)
        if used is not None:  # "drains x2 planned, one placed"
            return [base.claim("device_count", reading, sentence, used, mention.first, mention.last, 2, **said)]
        if quantity is None:
            if index < mention.first and tokens[index].norm == "x" and whole(sentence, index - 1) is not None:
                return [base.claim("device_count", reading, sentence, index - 1, mention.first, mention.last, -1,
                                   unit=None, **said)]  # "1 x 12F Redivac"
            if index < mention.first and tokens[index].norm not in _ADJECTIVES:
                break
            continue
        if index > mention.last:
            if quantity.form == "times" or (quantity.form == "number" and tokens[index - 1].norm in ("x", "times")):
                return [base.claim("device_count", reading, sentence, index, mention.first, mention.last, 2, **said)]
            continue
        sort = tokens[index + 1].norm in ATTRIBUTES  # "a 3-way catheter"
        if quantity.form == "number" and not quantity.dimension and quantity.value in _FEW and not sort:
            return [base.claim("device_count", reading, sentence, index, mention.first, mention.last, 2, **said)]
    return []


_FEW = frozenset(Decimal(count) for count in range(2, 7))  # 7 French is the thinnest drain
_ADJECTIVES = frozenset(
    "more further additional large small suction closed flat round wound surgical silicone vacuum subcutaneous "
    "subfascial deep superficial intercostal redivac pigtail open corrugated apical basal french".split()
)


def _other_tube(sentence: Sentence) -> bool:
    return any(set(mention.id.split("-")) & _TUBES for mention in base.mentions(sentence, "devices"))


_TUBES = frozenset({"catheter", "sheath", "tube", "stent", "cannula", "introducer", "dilator", "balloon", "bougie"})
_ONLY_TUBE = 3


def _is_out(sentence: Sentence, mention: Mention) -> bool:
    """ "Foley removed at the end": none is left. With a day it is an instruction."""
    tokens = sentence.tokens
    at = _out_at(sentence, mention)
    if at is None or sentence.section in ("aftercare", "follow-up"):
        return False
    later = [token for index, token in enumerate(tokens[at + 1 : at + 6], at + 1)
             if [other.norm for other in tokens[index : index + 3]] != ["on", "the", "table"]]  # fmt: skip
    return base.scope_at(sentence, "status", at, "performed") == "performed" and not any(
        (token.quantity is not None and token.quantity.form != "ordinal")
        or token.norm in ("tomorrow", "day", "when", "once", "if", "on") for token in later
    )


def _out_at(sentence: Sentence, mention: Mention) -> int | None:
    """The word that says a drain came out: "was pulled", "both came out", "we took the drain out again"."""
    norms = [token.norm for token in sentence.tokens]
    for at in range(mention.last + 1, min(mention.last + _OUT_REACH, len(norms))):
        if norms[at] in (".", ";") or any(m.table == "drains" and m.first == at for m in sentence.mentions):
            break
        told = at == mention.last + 1 or norms[at - 1] in ("was", "were", "then", "again", "both")
        told = told or (norms[at - 1] == "and" and (*norms, ".")[at + 1] in _OVER)  # "put and pulled before closing"
        if norms[at + 1 : at + 2] and norms[at + 1] in _WAYS:
            continue  # "the drain was pulled out superiorly": where it leaves the wound
        if norms[at] in _PULLED and told:
            return at
        if norms[at] == "out" and norms[at - 1] in ("came", "taken", "pulled"):
            return at
    before = norms[max(0, mention.first - 4) : mention.first]
    behind = norms[mention.last + 1 : mention.last + 2]
    if behind in (["none"], ["nil"], ["no"], ["not"]):
        return None  # "one removed drain none"
    if _PULLED & set(before) or ({"took", "pulled"} & set(before) and ("out" in before or behind == ["out"])):
        return mention.first
    return None


_WAYS = frozenset("superiorly inferiorly laterally medially distally proximally through anteriorly posteriorly".split())
_PULLED = frozenset({"removed", "pulled", "withdrawn"})
_OVER = frozenset({"before", "again", "at", "as", "later", ".", ",", ";"})
_OUT_REACH = 10  # tokens
OUT_AGAIN = "a drain is said to be taken out again"


_SLUNG = frozenset({"around", "round", "encircled", "encircling", "looped", "sling", "slung", "retraction", "retract",
                    "retracted", "traction", "isolate", "isolated", "tourniquet"})  # fmt: skip


def _is_sling(sentence: Sentence, mention: Mention) -> bool:
    """ "A Penrose drain was passed round the cord for retraction": a sling that comes out again. One that is brought
    out of the wound drains."""
    if mention.id != "penrose":
        return False
    near = {token.norm for token in sentence.tokens[max(0, mention.first - _SLING) : mention.last + _SLING]}
    return bool(near & _SLUNG) and not near & {"wound", "brought", "drainage", "sutured", "secured", "left"}


_SLING = 12  # tokens


def _named_next(sentence: Sentence, mention: Mention, drains: list[Mention]) -> bool:
    """Whether "drain" only heads the name that follows it ("drain redon", "Drain 1/8 inch Hemovac", "Drains: 1 x 12F
    Redivac")."""
    after = sentence.tokens[mention.last + 1 : mention.last + 2]
    headed = mention.first == 0 and bool(after) and after[0].norm == ":"
    if headed and any(other.id != "drain" for other in drains):
        return mention.id == "drain"
    if mention.first and sentence.tokens[mention.first - 1].norm in ("no", "without"):
        return False  # "no drain Foley fourteen French"
    return mention.id == "drain" and any(
        0 < other.first - mention.last <= 3 and other.id != "drain"
        and all(token.quantity is not None for token in sentence.tokens[mention.last + 1 : other.first])
        for other in drains
    )  # fmt: skip


_WHETHER = frozenset({"if", "when", "whether", "should", "until"})


def _is_noun(sentence: Sentence, mention: Mention) -> bool:
    """The bare word "drain" may be a verb ("to drain the abscess"); the noun has an article or a number before it,
    stands at the head ("Drains: none"), or is followed by what is done with it."""
    if mention.id != "drain":
        return True
    heading = sentence.tokens[mention.last + 1 : mention.last + 2]
    if heading and heading[0].norm == ":" and any(
        other.id != "drain" and other.first > mention.last for other in base.mentions(sentence, "drains")
    ):
        return False  # "Drains: a Foley catheter": the heading of what is named
    if mention.first == 0:
        return True
    if sentence.tokens[mention.last].norm == "drains" and _WHETHER & {
        token.norm for token in sentence.tokens[max(0, mention.first - 3) : mention.first]
    }:
        return False  # "call if the wound drains"
    if any(token.quantity is not None and token.quantity.dimension == "french"
           for token in sentence.tokens[mention.last + 1 : mention.last + 4]):  # fmt: skip
        return True
    after = sentence.tokens[mention.last + 1 : mention.last + 2]
    if after and (after[0].norm in _AFTER_NOUN or after[0].norm == "not" or after[0].quantity is not None):
        return True
    before = sentence.tokens[mention.first - 1]
    if mention.first > 1 and sentence.tokens[mention.first - 2].norm in ("no", "without") and before.norm.isalpha():
        return before.norm not in ("to", "need")  # "no abdominal drain"
    return before.norm in _BEFORE_NOUN or before.quantity is not None or before.punctuation
