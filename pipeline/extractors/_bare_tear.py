"""The bare word "tear": of which structure it is, and whether one that was told of before is meant again."""

from __future__ import annotations

from pipeline.extractors import base
from pipeline.records import Mention, Sentence

ROW = "tear"
_AGAIN = frozenset("the this that its said same whole entire".split())
_ARTICLES = frozenset("the a an his her its left right most whole".split())
_TO_PART = frozenset("of in at to through within involving".split())
# What is said with a tear and tells of none: parts of a tear, and of the eye. Common English usage, no source.
_NO_TEAR = frozenset("film duct ducts trough drop drops break production test size sizes edge edges margin margins "
                     "pattern site sites bed rim end ends gas strip away off sheet".split())  # fmt: skip
_BEFORE = 4  # tokens of adjectives between a part and its tear, or an article and the tear
_SENTENCE = 3  # tokens before a tear that opens a statement
_RANK = (("medial-meniscus", "medial-meniscal-tear"), ("lateral-meniscus", "lateral-meniscal-tear"),
         ("meniscus", "meniscal-tear"), ("-horn", "meniscal-tear"), ("labrum", "labral-tear"))  # fmt: skip


def row(sentence: Sentence, mention: Mention) -> str | None:
    """The row that it is of by its structure, the bare one where none is said, None where no new tear is told."""
    tokens = sentence.tokens
    after = tokens[mention.last + 1].norm if mention.last + 1 < len(tokens) else ""
    if after in _NO_TEAR:
        return None
    parts = [*_ahead(sentence, mention), *_behind(sentence, mention)]
    before = [token.norm for token in tokens[max(0, mention.first - _BEFORE) : mention.first]]
    if not parts and (_AGAIN & set(before) or not (
        {"a", "an", "another", "no", "any", "small", "large"} & set(before) or mention.first < _SENTENCE
    )):
        return None
    said = [part.id for part in parts]
    return next((name for part, name in _RANK if any(part in one for one in said)), ROW)


def _ahead(sentence: Sentence, mention: Mention) -> list[Mention]:
    """The parts named right before it: "medial meniscus posterior horn tear"."""
    found: list[Mention] = []
    first = mention.first
    sites = {site.last: site for site in base.mentions(sentence, "sites")}
    others = {at for m in sentence.mentions if m.table != "sites" and m is not mention
              for at in range(m.first, m.last + 1)}  # fmt: skip
    at = first - 1
    while at >= 0 and first - at <= _BEFORE:
        if at in sites:
            found.append(sites[at])
            first = sites[at].first
            at = first - 1
            continue
        token = sentence.tokens[at]
        if token.punctuation or token.quantity is not None or at in others or token.norm in _ARTICLES or found:
            break
        at -= 1
    return found


def _behind(sentence: Sentence, mention: Mention) -> list[Mention]:
    """The parts that a preposition or a comma leads to: "tear of the posterior horn of the medial meniscus"."""
    tokens = sentence.tokens
    sites = {site.first: site for site in base.mentions(sentence, "sites")}
    found: list[Mention] = []
    at = mention.last + 1
    while at < len(tokens):
        if at in sites:
            found.append(sites[at])
            at = sites[at].last + 1
            continue
        comma = tokens[at].norm == "," and not found and at + 1 in sites
        if tokens[at].norm not in _TO_PART | _ARTICLES and not comma:
            break
        at += 1
    return found
