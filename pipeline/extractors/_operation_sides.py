"""Whether a side in the sentence of an operation on what there is once is the operation's: "sinus lift left", but
"laparotomy and right salpingectomy"."""

from __future__ import annotations

from pipeline import clauses, laterality, sideshare
from pipeline.grammar import Grammar
from pipeline.laterality import Side
from pipeline.records import Mention, Sentence
from pipeline.rows import Concept


def takes_own_side_only(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """Whether an operation has no left and right of its own and the side in its sentence is another's: of an
    operation with it ("laparotomy and right salpingectomy") or of something that is told of."""
    row = grammar.tables[mention.table].get(mention.id)
    if mention.id.endswith("bronchoscopy"):
        return True  # "left lung collapsed on bronchoscopy"
    if not isinstance(row, Concept) or row.sided or _is_paired(row, grammar):
        return False
    tokens = sentence.tokens
    for side in laterality.sides(sentence, grammar):
        low, high = min(mention.last, side.last), max(mention.first, side.first)
        if any(token.norm in clauses.FINITE for token in tokens[low + 1 : high]):
            return True
    others = [m for m in sentence.mentions if m.table in ("procedures", "acts") and m.first > mention.last]
    return any(laterality.side_for(sentence, m.first, m.last, grammar, own_only=True)[0] for m in others)


def _is_paired(row: Concept, grammar: Grammar) -> bool:
    """Whether the site that a row implies has a left and a right."""
    site = grammar.table("sites", Concept).get(row.site) if row.site else None
    return site is not None and site.sided


def is_of_a_part(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """Whether a side lies in another phrase than the operation on an organ that there is once ("hysterectomy with
    bilateral node dissection")."""
    row = grammar.tables[mention.table].get(mention.id)
    if not isinstance(row, Concept) or row.sided or _is_paired(row, grammar):
        return False
    if mention.id.endswith("-transplant"):
        return True  # "left kidney of a living donor": a graft has the side of its donor
    if row.group == "spine" and sideshare.of_complaint(sentence, laterality.sides(sentence, grammar), mention.last):
        return True
    return bool(row.site) and not any(
        (mention.first - 2 <= side.last and side.first <= mention.last and not any(
            token.norm in ("and", "+", "&", "plus") for token in sentence.tokens[side.last + 1 : mention.first]
        )) or _leads_to(sentence, mention, side.first)
        or _in_its_place(sentence, mention, row.site, side.first) or _on_skin(sentence, mention, row, side)
        for side in laterality.sides(sentence, grammar)
    )


def _in_its_place(sentence: Sentence, mention: Mention, place: str, at: int) -> bool:
    """ "Dental implants lower jaw on the left": the side stands behind the operation's own place, with nothing else
    between."""
    if at <= mention.last:
        return False
    own = {index for m in sentence.mentions if m.table == "sites" and m.id == place
           for index in range(m.first, m.last + 1)}  # fmt: skip
    between = range(mention.last + 1, at)
    return any(index in own for index in between) and all(
        index in own or sentence.tokens[index].norm in _PLACING for index in between
    )


def _on_skin(sentence: Sentence, mention: Mention, row: Concept, side: Side) -> bool:
    """ "Split skin graft right forearm": what is done to the skin is done to the part that it names next."""
    part = laterality.own_noun(sentence, side)
    return row.site == "skin" and side.first == mention.last + 1 and part is not None


_PLACING = frozenset({"on", "the", "of", "in", "lower", "upper", ","})


def _leads_to(sentence: Sentence, mention: Mention, at: int) -> bool:
    """Whether an operation was done to the part with the side: "skin graft to the right forearm", "sinus lift left"."""
    between = {token.norm for token in sentence.tokens[mention.last + 1 : at]}
    if at > mention.last and between <= _PLACED and (at + 1 >= len(sentence.tokens) or (
        sentence.tokens[at + 1].punctuation and sentence.tokens[at + 1].norm != ":"
    )):
        return True
    return at > mention.last and "to" in between and between <= {"to", "the", "a", "his", "her"}


_PLACED = frozenset({"on", "the", "(", ","})
