"""Two amounts of one drug, of which one was drawn up and the other was given: "drew up 5 mL, and 3 mL was injected"."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from pipeline import gapped
from pipeline.extractors.base import Claim
from pipeline.records import Fact, Sentence

DOUBT = "drawn up or prepared; not said to be given"
_AMOUNTS = frozenset({"medication_volume", "medication_dose"})
_STRENGTHS = frozenset({"fraction", "concentration", "mass_concentration"})
_MADE = frozenset("prepared reconstituted dissolved diluted drawn drew draw loaded made mixed opened ready".split())
_WITH_UP = frozenset({"drawn", "drew", "draw", "made", "mixed"})  # only with "up": "made of", "drawn from"
_GIVEN = frozenset("injected inject given gave used infiltrated administered instilled went got received".split())
_BEFORE, _AFTER = 4, 9  # tokens


def settle(sentence: Sentence, facts: Iterable[Fact]) -> list[Fact]:
    """The facts with what was only drawn up as planned, where another amount of the same drug was given. Pure."""
    found = list(facts)
    told = {at: _told(sentence, fact) for at, fact in enumerate(found) if _is_amount(fact)}
    groups = {found[at].group for at, what in told.items() if what == "given"} & {
        found[at].group for at, what in told.items() if what == "prepared"
    }
    given = {found[at].group for at, what in told.items() if what == "given"}
    for at, what in told.items():
        fact = found[at]
        if what == "prepared" and fact.group not in given and _is_only_prepared(sentence, fact):
            found[at] = replace(fact, status="planned", doubts=tuple(dict.fromkeys((*fact.doubts, DOUBT))))
    for at, fact in enumerate(found):
        if fact.group is None or fact.group not in groups or fact.status not in ("performed", "planned"):
            continue
        others = tuple(doubt for doubt in fact.doubts if doubt != DOUBT)
        if told.get(at) == "prepared":
            found[at] = replace(fact, status="planned", doubts=(*others, DOUBT))
        else:
            found[at] = replace(fact, status="performed", doubts=others)
    return found


def and_given(sentence: Sentence, last: int) -> bool:
    """ "Drawn up, checked and injected": a row of verbs that ends with a giving."""
    for token in sentence.tokens[last + 1 : last + 1 + _AFTER]:
        if token.norm in _GIVEN:
            return True
        if token.norm not in _IN_ROW and not (token.norm.endswith("ed") and token.norm not in _NOT_USED):
            return False
    return False


_IN_ROW = frozenset(", and then was were with by sister the nurse anaesthetist team twice up".split())
_NOT_USED = frozenset("wasted discarded binned unused declined needed refused spilled dropped".split())


def _is_only_prepared(sentence: Sentence, fact: Fact) -> bool:
    """Whether another number of what was drawn up follows ("ten mils were drawn up, six were given"): how much of it
    was given is not this amount. "Drawn up and injected" is all of it."""
    assert isinstance(fact, Claim)
    tokens = sentence.tokens
    index = next((at for at, token in enumerate(tokens) if (token.first, token.last) == fact.number), None)
    if index is None or fact.status != "performed" or fact.certainty != "affirmed":
        return False
    for at in range(index + 1, min(len(tokens), index + 1 + _FURTHER)):
        if tokens[at].norm in ("and", "then") and at + 1 < len(tokens) and tokens[at + 1].norm in _GIVEN - {"gave"}:
            return False
        if any(m.table == "drugs" and m.first == at and m.id != fact.name for m in sentence.mentions):
            return False
        quantity = tokens[at].quantity
        if quantity is None or quantity.form not in ("number", "fraction") or quantity.dimension in _STRENGTHS:
            continue
        near = [token.norm for token in (*tokens[at - 2 : at], *tokens[at + 1 : at + 4])]
        return quantity.unit in (None, fact.unit) and bool(set(near) & (_GIVEN | _HAD | _WASTED))
    return False


def is_next_part(sentence: Sentence, index: int) -> bool:
    """ "6 mL palm, 4 mL wrist crease": an amount with its place behind it, right behind another one."""
    tokens = sentence.tokens
    own = tokens[index].quantity
    before = next((at for at in range(index - 1, max(-1, index - _FURTHER), -1)
                   if tokens[at].quantity is not None), None)  # fmt: skip
    sites = {m.first for m in sentence.mentions if m.table == "sites"}
    if own is None or before is None or (other := tokens[before].quantity) is None or other.unit != own.unit:
        return False
    placed = (bool(sites & {at + 1, at + 2, at + 3}) or gapped.went_somewhere(tokens, at) for at in (before, index))
    named = any(before < m.first < index for m in sentence.mentions if m.table in ("drugs", "injectates", "fluids"))
    return all(placed) and not named and tokens[index - 1].norm in (",", "and", "then", "+", "&")


_FURTHER = 16  # tokens
_WASTED = frozenset("wasted discarded thrown left remaining kept binned tossed leftover".split())
_HAD = frozenset({"got", "had", "received", "gets"})


def _is_amount(fact: Fact) -> bool:
    return isinstance(fact, Claim) and fact.kind in _AMOUNTS


def _told(sentence: Sentence, fact: Fact) -> str:
    """ "prepared", "given" or "" for the number of a fact: by the verb right before it, else by the one behind it."""
    assert isinstance(fact, Claim)
    tokens = sentence.tokens
    index = next((at for at, token in enumerate(tokens) if (token.first, token.last) == fact.number), None)
    if index is None:
        return ""
    behind = [token.norm for token in tokens[index + 1 : index + 3] if token.norm not in ("was", "were")]
    if behind and behind[0] in _GIVEN | {"given"}:
        return "given"  # "twenty mils drawn up fifteen given"
    for_part = [token.norm for token in tokens[index + 1 : index + 3]] == ["for", "the"] and any(
        m.table == "sites" and m.first == index + 3 for m in sentence.mentions
    )  # "5 mL for the skin and 5 mL for the capsule"
    beside = any(m.table == "sites" and m.first == index + 1 for m in sentence.mentions)  # "6 mL palm"
    if for_part or beside or gapped.went_somewhere(tokens, index) or (index and tokens[index - 1].norm in _HAD):
        return "given"  # "ten mils drawn up, six in the palm"
    for at in range(index - 1, max(-1, index - 1 - _BEFORE), -1):
        if tokens[at].quantity is not None or tokens[at].punctuation:
            break
        if (what := _verb(sentence, at)):
            return what
    for at in range(index + 1, min(len(tokens), index + 1 + _AFTER)):
        quantity = tokens[at].quantity
        if (quantity is not None and quantity.dimension not in _STRENGTHS) or tokens[at].norm in (".", ";", "and"):
            break
        if (what := _verb(sentence, at)):
            return what
    return ""


def _verb(sentence: Sentence, at: int) -> str:
    norm = sentence.tokens[at].norm
    if norm in _GIVEN:
        return "given"
    after = sentence.tokens[at + 1].norm if at + 1 < len(sentence.tokens) else ""
    if norm == "syringe" and "in" in (sentence.tokens[at - 1].norm, sentence.tokens[at - 2].norm):
        return "prepared"  # "ten mils were in the syringe, seven into the joint"
    return "prepared" if norm in _MADE and (norm not in _WITH_UP or after == "up") else ""
