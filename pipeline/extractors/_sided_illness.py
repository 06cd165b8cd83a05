"""Whether a named illness has a side of its own, or only stands in a sentence that names one."""

from __future__ import annotations

from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Mention, Sentence
from pipeline.rows import Concept


def has_no_side(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """ "Right hip pain, hypertension": what is of the whole patient, or of a part that there is once, has a side only
    in its own item of the list."""
    row = grammar.tables[mention.table].get(mention.id)
    if not isinstance(row, Concept) or row.sided:
        return False
    tokens = sentence.tokens
    low, high = mention.first, mention.last + 1
    while low and not tokens[low - 1].punctuation and tokens[low - 1].norm != "and":
        low -= 1
    while high < len(tokens) and not tokens[high].punctuation and tokens[high].norm != "and":
        high += 1
    if any(token.norm in ("left", "right", "bilateral", "both") for token in tokens[low:high]):
        return False
    places = [grammar.table("sites", Concept)[m.id] for m in base.mentions(sentence, "sites") if low <= m.first < high]
    return bool(places) and not any(place.sided for place in places) or row.group in OF_THE_WHOLE and not places


def takes_anothers(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """ "Left VATS thymectomy for myasthenia", "fibroid uterus and a dermoid on the right ovary": an illness of the
    whole patient or of an organ that there is once has a side only where it stands right beside it."""
    row = grammar.table("diagnoses", Concept)[mention.id]
    site = grammar.table("sites", Concept).get(row.site) if row.site else None
    if row.sided or (site is None and row.group not in OF_THE_WHOLE | _OF_ONE) or (site is not None and site.sided):
        return False
    tokens = sentence.tokens
    near = (*tokens[max(0, mention.first - 3) : mention.first], *tokens[mention.last + 1 : mention.last + 4])
    return not any(token.norm in ("left", "right", "bilateral", "both", "l", "r") for token in near)


OF_THE_WHOLE = frozenset({"general-medicine", "heart-vessels-lungs"})
# Groups whose rows say so where an illness has sides.
_OF_ONE = frozenset({"gynaecology-and-obstetrics", "brain-and-nerve", "urology", "belly"})
