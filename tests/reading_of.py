"""What tests ask of a text: its scopes, for the stages before the extractors, the sides of its facts, its alarms."""

from __future__ import annotations

from cases_runner import facts_of

from pipeline import context, grammar, mentions, run, sections, tokens, utterances
from pipeline.extractors.base import scope_at
from pipeline.records import Reading, Sentence

ASKED = frozenset({"completeness", "family_elements"})  # what was not said in so short a text


def read(text: str) -> Reading:
    """Words, sentences, mentions, sections and scopes of a typed narration."""
    rules = grammar.load()
    words = tuple(tokens.words_from_text(text))
    marked = [mentions.mark(sentence, rules) for sentence in utterances.read(words)]
    placed = sections.place(marked, rules)
    return Reading(words, tuple(context.scopes(sentence, rules) for sentence in placed))


def at(reading: Reading, word: str) -> tuple[Sentence, int]:
    """The sentence and token index of the first token with that norm. Raises LookupError."""
    for sentence in reading.sentences:
        for index, token in enumerate(sentence.tokens):
            if token.norm == word:
                return sentence, index
    raise LookupError(word)


def state(text: str, word: str) -> tuple[str, str]:
    """(status, certainty) in force at a word of a text."""
    sentence, index = at(read(text), word)
    return scope_at(sentence, "status", index, "performed"), scope_at(sentence, "certainty", index, "affirmed")


def sides(text: str, kind: str, name: str = "") -> list[str | None]:
    """Sides of the facts of a kind, and of a name where one is given."""
    return [
        fact.laterality for fact in facts_of(text)
        if fact.kind == kind and name in (fact.name or fact.text or "")
    ]  # fmt: skip


def loud(text: str) -> list[str]:
    """Warnings and blocking findings of a note, elements asked for apart."""
    found = run.note_from_text(text, name="case").findings
    return [f"{one.check}: {one.message}" for one in found if one.severity != "note" and one.check not in ASKED]
