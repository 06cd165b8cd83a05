"""Amounts of platelets or marrow concentrate in short: "PRP yield 5 mL", "PRP 3.5 mL to tendon, 1 mL around",
and what was counted in them."""

from __future__ import annotations

from typing import Any

from pipeline import cues
from pipeline.extractors import _direction, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence

KINDS = ("product_volume", "injection_volume", "injection", "injection_needle", "draw", "measurement")

_PRODUCTS = ("platelet-rich-plasma", "bone-marrow-concentrate")
_YIELD = frozenset({"yield", "yielded", "yields", "yielding", "obtained", "product", "volume"})
_GOES = frozenset({"to", "into", "around", "in", "at", "onto", "under", "along"})
_SPUN = frozenset({"spin", "spun", "spins", "centrifuged", "centrifuge", "centrifugation", "processed", "drawn"})
_VENOUS = frozenset({"venous", "whole", "peripheral", "autologous"})
_LATER = frozenset({"aftercare", "follow-up", "history", "indication", "preop-diagnosis"})
_BETWEEN = frozenset({":", "-", "of", "was", ",", "a"})
_COST = 5


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    made: Mention | None = None
    spun = False
    named = any(mention.id.startswith("platelet-rich-plasma") for sentence in reading.sentences
                for mention in base.mentions(sentence, "procedures"))  # fmt: skip
    for sentence in reading.sentences:
        facts += _counts(reading, sentence)
        spoken = [mention for mention in base.mentions(sentence, "injectates") if mention.id in _PRODUCTS]
        named = named or any(mention.id == "platelet-rich-plasma" for mention in spoken) or any(
            mention.id == "platelet-rich-plasma-injection" for mention in base.mentions(sentence, "procedures")
        )
        facts += _blood(reading, sentence, bool(spoken) or named)
        if made is not None and not spoken:
            facts += _on(reading, sentence, made)
        given = cues.has(sentence, grammar, "injected")
        told = [fact for mention in spoken for fact in _spun_to(reading, sentence, mention) if not given]
        told = told or [fact for mention in spoken for fact in _made(reading, sentence, mention) if spun and not made]
        if named and not told and made is None and (plain := _spun_plasma(reading, sentence)) is not None:
            facts.append(plain[0])
            made = plain[1]
        spun = spun or any(mention.id == "centrifugation" for mention in base.mentions(sentence, "processing"))
        told = told or (_plasma(reading, sentence) if named and not given and made is None else [])
        facts += told
        made = spoken[0] if told and spoken else made
        if cues.has(sentence, grammar, "injected", "discarded"):
            continue  # told in a sentence, and read there
        for mention in base.mentions(sentence, "injectates"):
            if mention.id in _PRODUCTS:
                facts += _yield(reading, sentence, mention)
                facts += _given(reading, sentence, mention)
    return facts


def _spun_to(reading: Reading, sentence: Sentence, mention: Mention) -> list[Fact]:
    """ "Double spin, 6 mL PRP", "4 mL of PRP drawn up": what was made."""
    tokens = sentence.tokens
    at = mention.first - 1 - (mention.first > 1 and tokens[mention.first - 1].norm == "of")
    quantity = tokens[at].quantity if at >= 0 else None
    behind = [token.norm for token in tokens[mention.last + 1 : mention.last + 4]]
    if quantity is None or quantity.dimension != "volume" or quantity.form not in ("number", "range"):
        return []
    if set(behind[:2]) & (_GOES | {"injected"}) or not any(
        token.norm in _SPUN for token in (*tokens[:at], *tokens[mention.last + 1 : mention.last + 3])
    ):
        return []
    return [base.claim("product_volume", reading, sentence, at, mention.first, mention.last, _COST,
                       unit=quantity.unit, name=None)]  # fmt: skip


def _plasma(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Six millilitres of plasma were obtained": what was made, by the shorter name of it."""
    tokens = sentence.tokens
    for index, quantity in base.quantities(sentence, "volume"):
        behind = [token.norm for token in tokens[index + 1 : index + 6] if token.norm not in ("of", "the", "rich")]
        if behind[:1] == ["plasma"] and quantity.form in ("number", "range") and (
            _YIELD | {"left", "remained", "got"}
        ) & {token.norm for token in tokens}:
            return [base.claim("product_volume", reading, sentence, index, index, index, _COST, unit=quantity.unit)]
    return []


def _spun_plasma(reading: Reading, sentence: Sentence) -> tuple[Fact, Mention] | None:
    """ "One spin of five minutes, four millilitres of plasma": what was made, by its short name."""
    tokens = sentence.tokens
    for index, quantity in base.quantities(sentence, "volume"):
        at = index + 1 + (index + 2 < len(tokens) and tokens[index + 1].norm == "of")
        behind = tokens[at + 1].norm if at + 1 < len(tokens) else "."
        if at < len(tokens) and tokens[at].norm == "plasma" and quantity.form in ("number", "range") and (
            behind not in _GOES | {"injected", "poor"} and any(token.norm in _SPUN for token in tokens[:index])
        ):
            fact = base.claim("product_volume", reading, sentence, index, at, at, _COST, unit=quantity.unit, name=None)
            return fact, Mention("injectates", "platelet-rich-plasma", at, at)
    return None


def _made(reading: Reading, sentence: Sentence, mention: Mention) -> list[Fact]:
    """ "PRP 4 mL, PPP 9 mL discarded", the first after a spin: what was made, where nothing says that it went in."""
    tokens = sentence.tokens
    at = mention.last + 1
    quantity = tokens[at].quantity if at < len(tokens) else None
    ends = at + 1 >= len(tokens) or tokens[at + 1].punctuation
    if quantity is None or quantity.dimension != "volume" or quantity.form not in ("number", "range") or not ends:
        return []
    return [base.claim("product_volume", reading, sentence, at, mention.first, mention.last, _COST,
                       unit=quantity.unit, name=None)]  # fmt: skip


def _blood(reading: Reading, sentence: Sentence, product: bool) -> list[Fact]:
    """ "54 mL blood from the left arm + 6 mL ACD-A, double spin, 6 mL PRP": what it was made from."""
    tokens = sentence.tokens
    if not product:
        return []
    for index, quantity in base.quantities(sentence, "volume"):
        behind = [token.norm for token in tokens[index + 1 : index + 5]]
        while behind and behind[0] in _VENOUS | {"of"}:
            behind = behind[1:]
        led = index and tokens[index - 1].norm == "blood" and behind[:1] not in (["loss"], ["lost"])
        if led or behind[:1] == ["blood"] and behind[1:2] not in (["loss"], ["lost"], ["was"]):
            at = index - 1 if led else index + 1
            return [base.claim("draw", reading, sentence, index, at, at, _COST, unit=quantity.unit)]
    return []


def _on(reading: Reading, sentence: Sentence, made: Mention) -> list[Fact]:
    """ "4 mL into the joint, 2 mL along the sheath", "US, 21G, 3 mL into the tear, 1 mL bursa": a sentence of its own
    behind what was made."""
    if sentence.section in _LATER or any(True for _ in base.mentions(sentence, "drugs", "fluids")):
        return []
    shared: dict[str, Any] = {"name": made.id, "group": f"i{base.group_of(sentence, 0)}"}
    sites = {mention.first for mention in base.mentions(sentence, "sites")}
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "volume"):
        if quantity.form not in ("number", "range") or index + 1 >= len(sentence.tokens):
            continue
        went = sentence.tokens[index + 1].norm == "went"  # "three millilitres went into the thick part"
        ahead = sentence.tokens[min(index + 1 + went, len(sentence.tokens) - 1)].norm
        into = ahead in (_GOES if went else _GOES - {"in", "to", "at"})
        if into or (facts and index + 1 in sites):
            facts.append(base.claim("injection_volume", reading, sentence, index, index, index + 1, _COST + 4,
                                    unit=quantity.unit, scale=cues.scale(sentence, index), **shared))  # fmt: skip
    gauges = base.quantities(sentence, "gauge") if facts else iter(())
    return facts + [base.claim("injection_needle", reading, sentence, index, index, index, _COST + 20,
                               unit=quantity.unit) for index, quantity in gauges]  # fmt: skip


def _counts(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Count 38 million per mL", "platelets 1.1 million per microlitre"."""
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "concentration"):
        if not (quantity.unit or "").startswith("10*") or quantity.form not in ("number", "range"):
            continue
        said = [token.norm for token in sentence.tokens[max(0, index - _COUNT_REACH) : index + 3]]
        said += sentence.tokens[index].text.lower().split()
        name = "platelet-count" if "platelet" in " ".join(said) else "cell-count" if _CELLS & set(said) else None
        if name is not None:
            facts.append(base.claim("measurement", reading, sentence, index, index, index, _COST, name=name))
    return facts


_COUNT_REACH = 6
_CELLS = frozenset("count counts counted cell cells nucleated mononuclear mnc tnc".split())


def _yield(reading: Reading, sentence: Sentence, mention: Mention) -> list[Fact]:
    """ "PRP yield 5 mL", "yielded 5 mL of PRP"."""
    tokens = sentence.tokens
    for index, quantity in base.quantities(sentence, "volume"):
        low, high = (mention.last, index) if index > mention.last else (index, mention.first)
        between = [token.norm for token in tokens[low + 1 : high]]
        before = [token.norm for token in tokens[max(0, index - 3) : index]]
        named = bool(set(between) & _YIELD) and set(between) <= _YIELD | _BETWEEN
        ahead = index < mention.first and set(between) <= {"of"} and bool(set(before) & _YIELD)
        after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
        named = named or (index > mention.last and set(between) <= _BETWEEN and after == "from")  # of so much blood
        told = (index > mention.last and named) or ahead
        if told and quantity.form in ("number", "range"):
            return [base.claim("product_volume", reading, sentence, index, mention.first, mention.last, _COST,
                               unit=quantity.unit, name=None)]  # fmt: skip
    return []


def _given(reading: Reading, sentence: Sentence, mention: Mention) -> list[Fact]:
    """ "PRP 3.5 mL to tendon, 1 mL around": each amount that a place follows."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    last = mention.last
    shared: dict[str, Any] = {"name": mention.id, "group": f"i{base.group_of(sentence, mention.first)}"}
    for index, quantity in base.quantities(sentence, "volume"):
        if index <= mention.last or quantity.form not in ("number", "range"):
            continue
        between = [token.norm for token in tokens[last + 1 : index]]
        after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
        if _direction.to_bench(sentence, index):
            break
        if after not in _GOES or (not facts and not set(between) <= _BETWEEN) or len(between) > 6 or ";" in between:
            break
        facts.append(base.claim("injection_volume", reading, sentence, index, mention.first, mention.last, _COST,
                                unit=quantity.unit, **shared))  # fmt: skip
        last = index
    if facts:
        facts.append(base.make("injection", reading, sentence, mention.first, mention.last, **shared))
    return facts
