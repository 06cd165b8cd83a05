"""A specimen that does not say where it was taken."""

from __future__ import annotations

import re
from functools import lru_cache

from pipeline.checks.base import finding, given, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Concept

MEANING = "A specimen was sent without a word on where it was taken."

# A specimen of these names is a part of the body itself. Common practice, no source.
_ANYWHERE = ("tissue", "fluid", "biops", "swab", "sample", "specimen", "mass", "lesion", "polyp", "node", "margin",
             "cyst", "pus", "lump", "fragment", "bone", "stone", "culture")  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    procedures = [fact for fact in note.of("procedure", given=True)]
    # One operation, one place; but a bare "biopsy" beside what was cut out may be from anywhere.
    bare = len(procedures) == 1
    if bare and _TAKEN.search(procedures[0].name or ""):
        return []
    return [
        finding(
            "specimen_site",
            "note",
            f"A specimen ({fact.text or fact.name or 'specimen'}) was sent; where it was taken was not said.",
            [fact],
            ask="Say the site, and the side if it has one.",
        )
        for fact in given(note, "specimen")
        if _anywhere(fact) and not _OF_ITSELF.search(_words(fact)) and not _placed(fact, grammar)
        and (not bare or _BARE.fullmatch(_words(fact)))
    ]


# Operations whose specimen needs no further word.
_TAKEN = re.compile(r"biopsy|excision|aspiration|drainage|debridement|endoscopy|scopy|polypectomy|removal|evacuation")
# Urine and sputum have one place; "cultures of this" are of what was told of just before.
_OF_ITSELF = re.compile(r"\b(?:urine|sputum|stool|blood culture|csf|cerebrospinal|of (?:this|these|it|the same))\b")
_BARE = re.compile(r"(?:an? |one |two |three |four |the |another )*(?:biops(?:y|ies)|swabs?|samples?|nodes?|"
                   r"cultures?)")


def _words(fact: Fact) -> str:
    return (fact.text or fact.name or "").lower().strip(" .,")


def _anywhere(fact: Fact) -> bool:
    words = f"{fact.text or ''} {fact.name or ''}".lower()
    return not words.strip() or any(word in words for word in _ANYWHERE)


def _placed(fact: Fact, grammar: Grammar) -> bool:
    if site_of(fact, grammar) is not None or fact.body_site or fact.laterality:
        return True
    words = f" {(fact.text or fact.evidence.heard).lower()} "
    return any(phrase in words for phrase in _phrases(grammar))


@lru_cache(maxsize=4)
def _phrases(grammar: Grammar) -> tuple[str, ...]:
    return tuple(f" {phrase} " for row in grammar.table("sites", Concept).values() for phrase in row.say)
