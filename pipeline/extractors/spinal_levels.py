"""Levels of the spine ("L4-L5") and digits ("ring finger") that an operation, diagnosis or act names."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from pipeline import laterality, sideshare
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence
from pipeline.rows import Concept

KINDS = ("spinal_level",)

_ABOUT = frozenset({"procedures", "diagnoses", "acts"})
_DONE_TO = frozenset("corrected released amputated pinned fused straightened operated correction amputation".split())


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    sites = grammar.table("sites", Concept)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        before: tuple[int, Fact] | None = None
        for index, quantity in base.quantities(sentence):
            if quantity.form != "level":
                continue
            if _is_label(sentence, index) or _is_stage(sentence, index) or any(
                m.first <= index <= m.last for m in base.mentions(sentence, "drugs")
            ):
                continue  # "C three F eight" is a gas
            fact = _fact(reading, sentence, index, index, quantity.text, None, grammar)
            if fact.laterality is not None and _of_addition(sentence, index, fact.laterality, grammar):
                fact = replace(fact, laterality=None)
            if before is not None and fact.laterality is None and _listed(sentence, before[0], index):
                fact = replace(fact, laterality=before[1].laterality)  # "bilateral, L4-L5 and L5-S1"
            before = (index, fact)
            facts.append(fact)
        about = any(mention.table in _ABOUT for mention in sentence.mentions)
        if not about and not sentence.says(_DONE_TO):
            continue
        for at in _before_trigger(sentence):
            called = f"{_LIKE.get(norm := sentence.tokens[at].norm, norm)} finger"
            facts += [_fact(reading, sentence, at, at, called, ident, grammar)
                      for ident, one in sites.items() if one.name.lower() == called]  # fmt: skip
        for mention in base.mentions(sentence, "sites"):
            row = sites[mention.id]
            if row.group == "digit" and mention.last > mention.first:
                facts.append(
                    _fact(reading, sentence, mention.first, mention.last, row.name.lower(), mention.id, grammar)
                )
                for at, other in _shared_noun(sentence, mention, sites):
                    facts.append(_fact(reading, sentence, at, at, other.name.lower(), other.id, grammar))
    return facts


_FINGERS = frozenset({"index", "middle", "ring", "little", "small", "long"})
_LIKE = {"little": "small", "long": "middle"}


def _before_trigger(sentence: Sentence) -> list[int]:
    """ "Right ring trigger finger release", "trigger ring release": the digit apart from its noun."""
    norms = [token.norm for token in sentence.tokens]
    return [at for at, norm in enumerate(norms) if norm in _FINGERS and (
        norms[at + 1 : at + 2] == ["trigger"] or (norms[max(0, at - 1) : at] == ["trigger"]
                                                  and norms[at + 1 : at + 2] not in (["finger"], ["fingers"]))
    )]  # fmt: skip


def _of_addition(sentence: Sentence, index: int, value: str, grammar: Grammar) -> bool:
    """ "Laminectomy at T12 with bilateral facetectomies": the side is of what was done besides."""
    sides = [side for side in laterality.sides(sentence, grammar) if side.value == value]
    return all(
        side.first > index and "with" in {token.norm for token in sentence.tokens[index + 1 : side.first]}
        for side in sides
    ) and sideshare.of_another_part(sentence, sides, value, Mention("levels", "", index, index), "")


_JOINS = frozenset({"and", ",", "&", "as", "well", "right", "left", "the"})
_MOST_JOINED = 12  # tokens


def _shared_noun(sentence: Sentence, mention: Mention, sites: Mapping[str, Concept]) -> list[tuple[int, Concept]]:
    """(token, digit) of those that share the noun of a mention: "index and middle fingers", "third, fourth and fifth
    toes"."""
    tokens = sentence.tokens
    noun = tokens[mention.last].norm.removesuffix("s")
    found: list[tuple[int, Concept]] = []
    joined = False
    for at in range(mention.first - 1, max(-1, mention.first - _MOST_JOINED), -1):
        word = tokens[at].norm
        row = next((row for row in sites.values() if row.group == "digit" and f"{word} {noun}" in row.say), None)
        if row is not None and joined:
            found.append((at, row))
            joined = False
        elif word in _JOINS:
            joined = joined or word in ("and", ",", "&", "well")
        else:
            break
    return found


_LABELLED = frozenset(
    "model type version series ref reference catalogue catalog lot article grade stage class category room bed table "
    "kit tray".split()
)
_PICTURED = frozenset({"weighted", "image", "images", "signal", "sequence", "lens", "valve", "model"})


def _is_label(sentence: Sentence, index: int) -> bool:
    """ "A model S2 valve", "on T2 weighted images": letters and digits that name something else."""
    tokens = sentence.tokens
    before = [token.norm for token in tokens[max(0, index - 2) : index]]
    named = before[-1:] and before[-1] in _LABELLED
    named = named or (before[-1:] == ["number"] and before[:1] and before[0] in _LABELLED)
    after = tokens[index + 1].norm if index + 1 < len(tokens) else ""
    turned = before[-1:] == ["ir"] or before == ["internal", "rotation"]  # "IR L2": how far the thumb reaches
    turned = turned or (before[-1:] == ["to"] and before[:1] in (["ir"], ["rotation"]))
    power = any(  # "a T5 +18.5 D lens"
        one.quantity is not None and one.quantity.dimension == "refraction" for one in tokens[index + 1 : index + 3]
    )
    return bool(named) or turned or power or after in _PICTURED


def _listed(sentence: Sentence, one: int, other: int) -> bool:
    """Whether two levels stand in one list with nothing of either between."""
    between = [token.norm for token in sentence.tokens[one + 1 : other]]
    return len(between) <= 2 and set(between) <= {",", "and", "&", "+", "/"}


def _is_stage(sentence: Sentence, index: int) -> bool:
    """ "T2 N1 M0": the stage of a tumour."""
    after = sentence.tokens[index + 1 : index + 3]
    if sentence.tokens[index].text[:1] not in "tT" or not after:
        return False
    return _NODES.match(after[0].norm) is not None or (
        len(after) == 2 and after[0].norm == "n" and (after[1].quantity is not None or after[1].norm in _SPOKEN)
    )


_NODES = re.compile(r"^p?n[0-3x]")
_SPOKEN = frozenset({"zero", "nought", "one", "two", "three", "x"})  # "T three N one"


def _fact(
    reading: Reading, sentence: Sentence, first: int, last: int, text: str, site: str | None, grammar: Grammar
) -> Fact:
    side, doubt = laterality.side_for(sentence, first, last, grammar, own_only=True)
    if site is None and sideshare.of_complaint(sentence, laterality.sides(sentence, grammar), last):
        side = None
    return base.make("spinal_level", reading, sentence, first, last, text=text, laterality=side, body_site=site,
                     doubts=(doubt,) if doubt else ())  # fmt: skip
