"""Operations that put something in, named as what is taken out: "removal of the left total hip arthroplasty"."""

from __future__ import annotations

from pipeline import laterality, story
from pipeline.clauses import word_set as _words
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence
from pipeline.rows import Concept

_EXPLANTATION = "explantation-of-the-prosthesis"  # row of grammars/procedures.toml
_MADE = _words("arthroplasty arthroplasties hemiarthroplasty replacement replacements prosthesis implant implants")
_REMOVAL = _words(
    "removal explantation explanting explant extraction removing removed explanted extracted resection takedown"
)
_BETWEEN = _words(
    "of the a an his her their infected loose loosened failed failing painful worn broken dislocated old previous "
    "prior existing retained left right bilateral cemented uncemented hybrid and chronic chronically septic primary"
)
_REACH = 8  # tokens
_WERE = _words("was were is are then both all also subsequently carefully easily")


def explanted(reading: Reading, sentence: Sentence, mention: Mention, grammar: Grammar) -> Fact | None:
    """The operation that took a joint replacement out; None where the replacement is put in."""
    out = _removal_at(sentence, mention, grammar) if mention.table == "procedures" else None
    if out is None:
        return None
    side, doubt = laterality.side_for(sentence, mention.first, mention.last, grammar)
    return base.make(
        "procedure", reading, sentence, min(out, mention.first), max(out, mention.last), name=_EXPLANTATION,
        laterality=side, body_site=story.site_of(sentence, mention, grammar), doubts=(doubt,) if doubt else (),
    )  # fmt: skip


def _removal_at(sentence: Sentence, mention: Mention, grammar: Grammar) -> int | None:
    """The token of the word of removal whose object a joint replacement is; None where the replacement is put in."""
    row = grammar.tables["procedures"].get(mention.id)
    tokens = sentence.tokens
    if not isinstance(row, Concept) or row.group != "arthroplasty" or tokens[mention.last].norm not in _MADE:
        return None
    for at in range(mention.first - 1, max(-1, mention.first - _REACH), -1):
        if tokens[at].norm in _REMOVAL:
            return at
        if tokens[at].norm not in _BETWEEN:
            break
    for at in range(mention.last + 1, min(mention.last + _REACH, len(tokens))):
        if tokens[at].norm in ("removed", "explanted", "extracted"):
            return at
        if tokens[at].norm not in _WERE:
            break
    return None
