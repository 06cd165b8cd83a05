"""What came before the operation: indication, imaging, history. In the words that were said; never a finding."""

from __future__ import annotations

from pipeline import story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("indication", "imaging", "history")

_PRESENTS = frozenset(
    {"presents", "presented", "complains", "complaining", "complained", "suffers", "suffering", "refractory",
     "conservative", "nonoperative", "failing", "symptomatic", "indicated"}
)  # fmt: skip
_NOT_BEFORE = frozenset({"aftercare", "follow-up", "description", "findings", "specimens", "complications"})
_CONSENT = frozenset({"risks", "consent", "consented", "alternatives"})
_PAST = ("year", "historical", "historical-before", "other-person", "section:history")

_HEADING_ONLY = frozenset({"history", "and", "indication", "indications", "background", "brief", "clinical", "the"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        kind = _kind(sentence)
        if kind is not None:
            facts += _whole(reading, sentence, kind)
        if kind != "history":
            facts += _past_parts(reading, sentence)
    return facts


def _kind(sentence: Sentence) -> str | None:
    """What a whole sentence is, if it is one of these at all."""
    norms = {token.norm for token in sentence.tokens}
    if norms & _CONSENT or any(scope.rule == "conditional" and scope.first == 0 for scope in sentence.scopes):
        return None
    if story.is_imaging(sentence):
        return "imaging"
    if sentence.section == "history":
        return "history"
    if sentence.section == "indication":
        return "indication"
    if sentence.section not in _NOT_BEFORE and norms & _PRESENTS and len(sentence.tokens) <= 60:
        return "indication"
    return None


def _whole(reading: Reading, sentence: Sentence, kind: str) -> list[Fact]:
    first = story.after_heading(sentence) if sentence.section else 0
    last = len(sentence.tokens) - 1
    if first is None or first > last:
        return []
    text = story.words(sentence, first, last)
    if not any(letter.isalpha() for letter in text):
        return []
    if all(token.punctuation or token.norm in _HEADING_ONLY for token in sentence.tokens[first:]):
        return []  # "History and gross findings:", cut at the second heading
    status = "historical" if kind == "history" else "performed"
    if any(scope.value == "other_person" for scope in sentence.scopes):
        status = "other_person"
    site = next((mention.id for mention in base.mentions(sentence, "sites")), None)
    return [base.make(kind, reading, sentence, first, last, text=text, status=status, certainty="affirmed",
                      body_site=site)]  # fmt: skip


def _past_parts(reading: Reading, sentence: Sentence) -> list[Fact]:
    """Parts of other sentences that a cue of the past or of another person governs, if they name a thing."""
    facts: list[Fact] = []
    for scope in sentence.scopes:
        if scope.axis != "status" or scope.rule not in _PAST:
            continue
        named = [
            mention
            for mention in base.mentions(sentence, "diagnoses", "procedures", "findings", "complications")
            if scope.first <= mention.first and mention.last <= scope.last
        ]
        if not named:
            continue
        first, last = scope.first, max(named[-1].last, scope.first)
        facts.append(
            base.make("history", reading, sentence, first, last, text=story.words(sentence, first, last),
                      status=scope.value, certainty=base.scope_at(sentence, "certainty", named[0].first, "affirmed"))
        )  # fmt: skip
    return facts
