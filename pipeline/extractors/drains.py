"""Drains and tubes left in, their size, and that there was none."""

from __future__ import annotations

from pipeline import cues, laterality
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence

KINDS = ("drain", "drain_size")

_SIZE_REACH = 36  # nothing but tubes is measured in French
_BEFORE_NOUN = frozenset(
    ("a", "an", "the", "no", "one", "two", "three", "any", "this", "that", "without", "wound", "suction", "surgical",
     "french", "closed", "flat", "round", "left", "right", "deep", "subcutaneous", "and", "of", "each", "both")
)  # fmt: skip


_AFTER_NOUN = frozenset(
    ("a", "an", "one", "two", ":", ",", "none", "no", "was", "were", "is", "in", "left", "brought", "placed", "number")
)  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        drains = [mention for mention in base.mentions(sentence, "drains")
                  if _is_noun(sentence, mention) and not _is_out(sentence, mention)]  # fmt: skip
        drains = [mention for mention in drains if not _named_next(sentence, mention, drains)]
        for mention in drains:
            side, _ = laterality.side_for(sentence, mention.first, mention.last, grammar, own_only=True)
            facts.append(
                base.make("drain", reading, sentence, mention.first, mention.last, name=mention.id,
                          laterality=side,
                          group=f"t{base.group_of(sentence, mention.first)}")
            )  # fmt: skip
        for index, quantity in base.quantities(sentence, ""):
            for mention in drains:  # "a nineteen Blake drain": 7 to 36 French are made, common practice, no source
                sized = mention.id != "drain" and mention.first == index + 1 and quantity.form == "number"
                if sized and quantity.value is not None and 7 <= quantity.value <= 36:
                    facts.append(
                        base.claim("drain_size", reading, sentence, index, mention.first, mention.last, 2,
                                   name=mention.id, group=f"t{base.group_of(sentence, mention.first)}")
                    )  # fmt: skip
        for index, quantity in base.quantities(sentence, "french", "length"):
            ranked = [
                (cues.cost(sentence, index, mention.first, mention.last, postfix=2), mention.first, mention)
                for mention in drains
            ]
            if not ranked:
                continue
            price, _, mention = min(ranked, key=lambda item: item[:2])
            if quantity.dimension == "french" and len(drains) == 1 and not _other_tube(sentence):
                price = min(price, _ONLY_TUBE)  # "drain left in, ten French, on suction"
            reach = _SIZE_REACH if quantity.dimension == "french" else 8
            if price <= reach:
                facts.append(
                    base.claim("drain_size", reading, sentence, index, mention.first, mention.last, price,
                               name=mention.id, group=f"t{base.group_of(sentence, mention.first)}")
                )  # fmt: skip
    return facts


def _other_tube(sentence: Sentence) -> bool:
    return any(set(mention.id.split("-")) & _TUBES for mention in base.mentions(sentence, "devices"))


_TUBES = frozenset({"catheter", "sheath", "tube", "stent", "cannula", "introducer", "dilator", "balloon", "bougie"})
_ONLY_TUBE = 3


def _is_out(sentence: Sentence, mention: Mention) -> bool:
    """ "Foley removed at the end": none is left. With a day it is an instruction."""
    tokens = sentence.tokens
    at = next((index for index in range(mention.last + 1, min(mention.last + 4, len(tokens)))
               if tokens[index].norm in ("removed", "pulled")), None)  # fmt: skip
    if at is None or sentence.section in ("aftercare", "follow-up"):
        return False
    later = tokens[at + 1 : at + 6]
    return base.scope_at(sentence, "status", at, "performed") == "performed" and not any(
        token.quantity is not None or token.norm in ("tomorrow", "day", "when", "once", "if", "on") for token in later
    )


def _named_next(sentence: Sentence, mention: Mention, drains: list[Mention]) -> bool:
    """Whether "drain" only heads the name that follows it ("drain redon", "Drain 1/8 inch Hemovac")."""
    return mention.id == "drain" and any(
        0 < other.first - mention.last <= 3 and other.id != "drain"
        and all(token.quantity is not None for token in sentence.tokens[mention.last + 1 : other.first])
        for other in drains
    )  # fmt: skip


def _is_noun(sentence: Sentence, mention: Mention) -> bool:
    """The bare word "drain" may be a verb ("to drain the abscess"); the noun has an article or a number before it,
    stands at the head ("Drains: none"), or is followed by what is done with it."""
    if mention.id != "drain":
        return True
    if mention.first == 0:
        return True
    if any(token.quantity is not None and token.quantity.dimension == "french"
           for token in sentence.tokens[mention.last + 1 : mention.last + 4]):  # fmt: skip
        return True
    after = sentence.tokens[mention.last + 1 : mention.last + 2]
    if after and (after[0].norm in _AFTER_NOUN or after[0].quantity is not None):
        return True
    before = sentence.tokens[mention.first - 1]
    return before.norm in _BEFORE_NOUN or before.quantity is not None or before.punctuation
