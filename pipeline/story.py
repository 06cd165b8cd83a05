"""Where things stand in a sentence: the site of a thing, whether it was seen, what follows a heading."""

from __future__ import annotations

from pipeline.grammar import Grammar
from pipeline.records import Mention, Sentence
from pipeline.rows import Concept


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# What may stand between a thing and the site that it is in ("tear in the posterior horn of the meniscus").
_TO_SITE = _words(
    "of the in at on over to from within into through a an left right his her both bilateral was seen noted "
    "found along involving around side"
)


def site_of(sentence: Sentence, mention: Mention, grammar: Grammar) -> str | None:
    """Where a named thing is: a site said in its own phrase, else the one that its row implies, else None."""
    sites = [other for other in sentence.mentions if other.table == "sites" and other != mention]
    ahead = {site.first: site for site in sites}
    for index in range(mention.last + 1, min(mention.last + 9, len(sentence.tokens))):
        if index in ahead:
            return ahead[index].id
        token = sentence.tokens[index]
        if token.norm not in _TO_SITE and index > mention.last + 1 and sentence.tokens[index - 1].norm not in _TO_SITE:
            break
        if token.punctuation or any(other.first == index for other in sentence.mentions):
            break
    for site in sites:
        if 0 <= mention.first - site.last - 1 <= 2 and not any(
            token.punctuation or token.norm in ("and", "or", "was", "is", "of", "with")
            for token in sentence.tokens[site.last + 1 : mention.first]
        ):
            return site.id
    row = grammar.tables.get(mention.table, {}).get(mention.id)
    return row.site if isinstance(row, Concept) and row.site else None


def site_before(sentence: Sentence, mention: Mention) -> str | None:
    """The last site said before a thing in the same sentence ("Medial compartment: grade two changes")."""
    before = [site for site in sentence.mentions if site.table == "sites" and site.last < mention.first]
    return before[-1].id if before and len(sentence.tokens) <= 40 else None


_SEEN = _words(
    "seen found noted identified showed revealed visualized visualised encountered there appreciated observed "
    "confirmed demonstrated evident palpated"
)
_PICTURES = _words(
    "mri ct xray radiograph radiographs ultrasound scan sonogram mammogram arthrogram films film imaging "
    "angiogram mr venogram echocardiogram dexa pet us"
)
_TOLD = _words(
    "showed shows show shown revealed reveals demonstrated demonstrates on confirmed suggested suggestive "
    "consistent with had reported as by"
)
_NOW = _words(
    "intraoperative intraoperatively guided guidance under intraop fluoroscopy final obtained taken repeat "
    "probe portable"
)


def is_seen(sentence: Sentence, mention: Mention) -> bool:
    """Whether the words around a thing tell that it was looked at: "there was", "was found", "showed"."""
    near = sentence.tokens[max(0, mention.first - 8) : mention.last + 6]
    return any(token.norm in _SEEN for token in near)


def is_imaging(sentence: Sentence) -> bool:
    """Whether a sentence tells what imaging before the operation showed."""
    if sentence.section == "imaging":
        return True
    norms = {token.norm for token in sentence.tokens}
    if not norms & _PICTURES or norms & _NOW:
        return False
    return bool(norms & _TOLD) and sentence.section not in ("aftercare", "follow-up", "description")


def after_heading(sentence: Sentence) -> int | None:
    """The first token after the heading of a sentence ("Indication: ..."), 0 where it has none, None if no more."""
    marks = {":", ",", ".", "-", "—", "–"}
    for index, token in enumerate(sentence.tokens[:7]):
        if token.norm in marks:
            return index + 1 if index + 1 < len(sentence.tokens) else None
        if token.norm in ("is", "was", "are", "were") and index >= 1:
            return index + 1 if index + 1 < len(sentence.tokens) else None
    return 0


def words(sentence: Sentence, first: int, last: int) -> str:
    """The words of tokens first..last as read, marks attached."""
    text = ""
    for token in sentence.tokens[max(first, 0) : last + 1]:
        text += token.text if token.punctuation or not text else f" {token.text}"
    return text.strip(" ,;:.")
