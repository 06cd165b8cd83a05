"""Findings under their heading that no row names: what follows the heading, in its own words."""

from __future__ import annotations

from pipeline import laterality, story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Token

KINDS = ("finding",)

_NAMED = ("findings", "diagnoses", "complications", "grades")
_HEADS = frozenset({"exam", "examination", "findings", "and", "&", "indications", "diagnostic", "operative", "gross"})


def _is_heading(token: Token) -> bool:
    """A word, a mark or a list number that belongs to the heading ("Findings &", "EXAM: 1.")."""
    return token.punctuation or token.norm in _HEADS or token.norm.rstrip(".)").isdigit()


_DONE = ("procedures", "approaches", "devices", "drugs", "anaesthesia", "sutures", "positions", "closures")
_SHARED = frozenset("relayed explained shared discussed communicated conveyed told described reviewed".split())
_LONGEST = 160


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    under = [sentence for sentence in reading.sentences if sentence.section == "findings"]
    if any(mention.table in _NAMED for sentence in under for mention in sentence.mentions):
        return []
    for sentence in under:
        first = story.after_heading(sentence)
        while first is not None and first < len(sentence.tokens) and _is_heading(sentence.tokens[first]):
            first += 1
        if first is None or not any(token.norm.isalpha() for token in sentence.tokens[first:]):
            continue
        last = len(sentence.tokens) - 1
        norms = [token.norm for token in sentence.tokens[first : last + 1]]
        if norms and (norms[0] in _SHARED or norms[0] in ("were", "was") and _SHARED & set(norms[1:3])):
            return []  # "the findings were explained to the father"
        text = story.words(sentence, first, last)
        if len(text) > _LONGEST or any(mention.table in _DONE for mention in sentence.mentions):
            return []
        side = laterality.only_side(sentence, first, last, grammar)
        return [base.make("finding", reading, sentence, first, last, text=text, laterality=side)]
    return []
