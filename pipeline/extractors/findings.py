"""What was seen or found, and where: rows of findings.toml, and diseases named as seen or as not there."""

from __future__ import annotations

from dataclasses import replace

from pipeline import story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence

KINDS = ("finding",)

_ELSEWHERE = frozenset(
    {"indication", "history", "imaging", "preop-diagnosis", "postop-diagnosis", "both-diagnoses", "diagnosis",
     "consent", "aftercare", "follow-up", "complications"}
)  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section in _ELSEWHERE or story.is_imaging(sentence):
            continue
        for mention in base.mentions(sentence, "findings", "diagnoses"):
            fact = _fact(reading, sentence, mention, grammar)
            if fact is not None:
                facts.append(fact)
    return facts


def _fact(reading: Reading, sentence: Sentence, mention: Mention, grammar: Grammar) -> Fact | None:
    if mention.table == "findings" and any(
        other.table in ("diagnoses", "complications") and (other.first, other.last) == (mention.first, mention.last)
        for other in sentence.mentions
    ):
        return None
    fact = base.named("finding", reading, sentence, mention, grammar)
    if fact.status != "performed":
        return None
    if mention.table == "diagnoses" and sentence.section not in ("findings", "description"):
        if fact.certainty == "affirmed" and not story.is_seen(sentence, mention):
            return None
    if fact.body_site is None:
        site = story.site_before(sentence, mention)
        if site is not None:
            fact = replace(fact, body_site=site)
    return fact
