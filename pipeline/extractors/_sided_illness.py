"""Whether a named illness has a side of its own, or only stands in a sentence that names one."""

from __future__ import annotations

from pipeline import laterality
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Sentence, replace
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


def elsewhere_too(fact: Fact, sentence: Sentence, mention: Mention, grammar: Grammar) -> list[Fact]:
    """The same illness of the further parts that follow its own in a list, each with its side: "osteoarthritis of the
    right hip and the left knee", "ganglion right wrist, left ankle". """
    rows = grammar.table("sites", Concept)
    row = grammar.tables[mention.table].get(mention.id)
    if fact.laterality not in ("left", "right") or not isinstance(row, Concept) or row.site or not fact.body_site:
        return []
    tokens = sentence.tokens
    sides = [one for one in laterality.sides(sentence, grammar) if one.first > mention.last]
    if not sides or sides[0].value != fact.laterality or any(
        tokens[at].norm not in _LED for at in range(mention.last + 1, sides[0].first)
    ):
        return []
    found: list[Fact] = []
    end = -1
    for side in sides:
        part = laterality.own_noun(sentence, side)
        if part is None or part.first != side.last + 1 or side.value is None or not rows[part.id].sided:
            break
        between = {tokens[at].norm for at in range(end + 1, side.first)} if end >= 0 else set()
        if end >= 0 and not (between <= _JOINED and between & _JOINTS):
            break
        end = part.last
        while end + 1 < len(tokens) and tokens[end + 1].norm in _PART_GOES_ON:
            end += 1
        found.append(replace(fact, laterality=side.value, body_site=part.id))
    last = end + 1 < len(tokens) and not tokens[end + 1].punctuation and tokens[end + 1].norm not in _ENDS_LIST
    if last:
        found = found[:-1]  # "... and left knee meniscal tear": of what follows
    return [one for one in found[1:] if one.body_site != fact.body_site]


_LED = frozenset({"of", "in", "the", "at", "on", "affecting", "involving", "his", "her", ",", ":"})
_JOINED = frozenset({"and", "&", "+", ",", "plus", "of", "the", "in", "also"})
_JOINTS = frozenset({"and", "&", "+", ",", "plus"})
_PART_GOES_ON = frozenset({"joint", "base", "region"})
_ENDS_LIST = frozenset({"and", "for", "with", "we", "today", "operation", "procedure", "op", "surgeon", "both", "&"})


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
