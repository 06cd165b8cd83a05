"""Operations and the single acts within them.

An operation said in a history ("the first hip was done in twenty eleven"), refused, planned or not done keeps that
status. In the story before the operation ("presents for carpal tunnel release") it is planned until the note says
that it was done; `settle` lets the performed one stand.
"""

from __future__ import annotations

from dataclasses import replace

from pipeline import laterality, story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence

KINDS = ("procedure", "act")

_KIND = {"procedures": "procedure", "acts": "act"}
_BEFORE = frozenset({"indication", "history", "imaging"})
# Sections whose words name no operation of today.
_ELSEWHERE = frozenset({"preop-diagnosis", "postop-diagnosis", "both-diagnoses", "diagnosis", "specimens", "consent"})
# "the arthroscopy portal", "after the biopsy site was closed": a name used to name something else.
_NAMES_ANOTHER = frozenset(
    {"site", "sites", "portal", "portals", "port", "tray", "set", "pack", "drape", "table", "scar", "scars", "team",
     "clinic", "specimen", "specimens", "forceps", "sheath", "instruments", "trial", "stitch", "margin", "margins"}
)  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section in _ELSEWHERE:
            continue
        facts += _title(reading, sentence, grammar)
        for mention in base.mentions(sentence, *_KIND):
            if _KIND[mention.table] == "act" and _is_procedure_too(sentence, mention):
                continue
            if _names_another(sentence, mention):
                continue
            kind = _KIND[mention.table]
            if mention.id.endswith("-harvest") and sentence.section != "procedure":
                kind = "act"  # a step on the way, with its own site and side
            fact = base.named(kind, reading, sentence, mention, grammar)
            if fact.status == "conditional" and mention.table == "procedures" and _risk(sentence, mention):
                continue
            facts.append(_before(sentence, fact))
    return facts


def _title(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """An operation that no row names: under its heading, or as the first words of the narration with an act in them."""
    if any(mention.first < 15 for mention in base.mentions(sentence, "procedures")):
        return []
    acts = list(base.mentions(sentence, "acts"))
    if sentence.section == "procedure":
        first = story.after_heading(sentence)
        if first is None or _is_prose(sentence):
            return []
    elif sentence.section == "" and sentence.index <= 1 and acts and acts[0].first <= 6:
        first = 0
        risky = base.scope_at(sentence, "status", acts[0].first, "performed") != "performed"
        if risky or _is_prose(sentence, acts[0].last + 6):
            return []
    else:
        return []
    last = first
    while last + 1 < len(sentence.tokens) and last - first < 14 and (
        sentence.tokens[last + 1].norm not in _TITLE_ENDS and sentence.tokens[last + 1].quantity is None
    ):
        last += 1
    text = story.words(sentence, first, last)
    if not any(letter.isalpha() for letter in text):
        return []
    side = laterality.only_side(sentence, first, last, grammar)
    if side is None:
        side, _ = laterality.side_for(sentence, first, last, grammar)
    site = next((m.id for m in base.mentions(sentence, "sites") if m.first <= last), None)
    return [base.make("procedure", reading, sentence, first, last, text=text, laterality=side, body_site=site,
                      name=acts[0].id if acts else None)]  # fmt: skip


_TITLE_ENDS = frozenset({",", ".", ";", "for", "mister", "missus", "miss", "mr", "mrs", "patient", "under", "because"})
_PROSE = frozenset({"was", "were", "had", "has", "is", "are", "then", "we", "i"})


def _is_prose(sentence: Sentence, end: int | None = None) -> bool:
    return any(token.norm in _PROSE for token in sentence.tokens[:end])


def _before(sentence: Sentence, fact: Fact) -> Fact:
    if sentence.section in _BEFORE and fact.status == "performed" and fact.certainty == "affirmed":
        return replace(fact, status="historical" if sentence.section == "history" else "planned")
    return fact


def _is_procedure_too(sentence: Sentence, mention: Mention) -> bool:
    return any(
        other.table == "procedures" and other.first <= mention.first and mention.last <= other.last
        for other in sentence.mentions
    )


def _names_another(sentence: Sentence, mention: Mention) -> bool:
    after = mention.last + 1
    return after < len(sentence.tokens) and sentence.tokens[after].norm in _NAMES_ANOTHER


def _risk(sentence: Sentence, mention: Mention) -> bool:
    """Whether only a risk list or a purpose names the operation ("risk of reoperation")."""
    return any(
        scope.rule in ("risks", "purpose", "would") and scope.first <= mention.first <= scope.last
        for scope in sentence.scopes
    )
