"""Reads a text as far as its scopes, for tests of the stages before the extractors."""

from __future__ import annotations

from pipeline import context, grammar, mentions, sections, tokens, utterances
from pipeline.extractors.base import scope_at
from pipeline.records import Reading, Sentence


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
