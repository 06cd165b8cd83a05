"""Volumes that go in where no verb of injecting is said: cement, what is told with its place, and what is "of it"."""

from __future__ import annotations

from pipeline import cues, laterality
from pipeline.extractors import _direction, _drug_mixture, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence


def cement(reading: Reading, sentence: Sentence, index: int, quantity: Quantity) -> list[Fact]:
    """ "Cement four millilitres at T12": cement that is measured in millilitres goes in by a needle."""
    facts: list[Fact] = [
        base.claim("injection_volume", reading, sentence, index, mention.first, mention.last, 6, name=mention.id,
                   unit=quantity.unit, group=f"i{base.group_of(sentence, mention.first)}")
        for mention in base.mentions(sentence, "injectates", "devices")
        if mention.id == "bone-cement" and quantity.dimension == "volume"
        and cues.cost(sentence, index, mention.first, mention.last) <= _CEMENT_REACH
    ]  # fmt: skip
    return facts[:1]


_CEMENT_REACH = 6


def _right_behind(sentence: Sentence, index: int) -> Mention | None:
    """ "Two mils to the left elbow": the part, where nothing tells what it was that went there."""
    tokens = sentence.tokens
    if index + 1 >= len(tokens) or tokens[index + 1].norm not in ("to", "into") or any(
        True for _ in base.mentions(sentence, "drugs", "fluids", "injectates", "irrigation")
    ):  # fmt: skip
        return None
    site = next((m for m in base.mentions(sentence, "sites") if 0 < m.first - index - 1 <= _NEAR_SITE), None)
    if site is None or "crest" in site.id or site.id in ("skin", "abdomen"):
        return None
    between = {token.norm for token in tokens[index + 2 : site.first]}
    return site if between <= {"the", "left", "right", "each", "both"} else None


_NEAR_SITE = 3  # tokens


def _of_it_to(sentence: Sentence, index: int) -> Mention | None:
    """ "Twelve mils of that went into the right shoulder": the part, where what it was is told before."""
    if not _drug_mixture.is_of_it(sentence, index) or any(True for _ in base.mentions(sentence, "drugs", "injectates")):
        return None
    tokens = sentence.tokens
    into = next((at for at in range(index + 1, min(len(tokens), index + _TO_PLACE))
                 if tokens[at].norm in _TOWARDS), None)  # fmt: skip
    if into is None or any(token.punctuation or token.quantity is not None for token in tokens[index + 1 : into]):
        return None
    return next((m for m in base.mentions(sentence, "sites") if 0 < m.first - into <= _NEAR_SITE), None)


_TO_PLACE = 9  # tokens
_TOWARDS = frozenset("into in to around round about at under beneath".split())


def put_into(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity
) -> list[Fact]:
    """ "BMAC four millilitres into the right hip": no verb, but what and where."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 6]]
    if quantity.dimension == "volume" and (site := _right_behind(sentence, index)) is not None:
        side = laterality.side_for(sentence, site.first, site.last, grammar, own_only=True)[0]
        return [base.claim("injection_volume", reading, sentence, index, site.first, site.last, _LED_ON,
                           unit=quantity.unit, body_site=site.id, laterality=side)]  # fmt: skip
    if quantity.dimension == "volume" and (site := _of_it_to(sentence, index)) is not None:
        side = laterality.side_for(sentence, site.first, site.last, grammar, own_only=True)[0]
        return [base.claim("injection_volume", reading, sentence, index, site.first, site.last, _LED_ON,
                           unit=quantity.unit, body_site=site.id, laterality=side)]  # fmt: skip
    if quantity.dimension != "volume" or "into" not in after:
        return []
    if sentence.tokens[index - 1].norm == "all" and after[0] == "into":  # "80 mg with 5 mL, all 7 mL into the joint"
        return [base.claim("injection_total", reading, sentence, index, index - 1, index + 1, 8, unit=quantity.unit,
                           scale="total")]  # fmt: skip
    facts: list[Fact] = [
        base.claim("injection_volume", reading, sentence, index, mention.first, mention.last, 8, name=mention.id,
                   unit=quantity.unit, group=f"i{base.group_of(sentence, mention.first)}")
        for mention in base.mentions(sentence, "injectates")
        if cues.cost(sentence, index, mention.first, mention.last) <= _CEMENT_REACH
    ]  # fmt: skip
    if not facts and {"concentrate", "bmac", "bmc"} & set(after) and not _direction.to_bench(sentence, index):
        facts.append(base.claim("injection_volume", reading, sentence, index, index, index + 1, 8, unit=quantity.unit))
    return facts[:1]


_LED_ON = 12
