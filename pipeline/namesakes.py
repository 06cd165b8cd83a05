"""Words of the grammars that are somebody's name here: "Assistant: Tomas Weil", "Surgeon: B. Drain", "Dr Ann Cage"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from pipeline import people
from pipeline.clauses import word_set as _words
from pipeline.records import Sentence

_LABELS = _words("patient name pt dictated scribe author")  # beside the rows of team.toml
_BETWEEN = _words(", and & / +")
_KEPT = frozenset({"team", "sex", "anaesthesia"})  # "Anaes: Spinal Block" names nobody
_MOST = 4  # names behind one label


def drop(sentences: Sequence[Sentence]) -> list[Sentence]:
    """The sentences without the mentions that lie wholly in the name of a person."""
    return [_without(sentence) for sentence in sentences]


def _without(sentence: Sentence) -> Sentence:
    if all(mention.table in _KEPT for mention in sentence.mentions):
        return sentence
    spans = [(one.first + 1, one.last) for one in people.persons(sentence)] + list(_labelled(sentence))
    if not spans:
        return sentence
    kept = tuple(
        m for m in sentence.mentions
        if m.table in _KEPT or not any(first <= m.first and m.last <= last for first, last in spans)
    )  # fmt: skip
    return sentence if len(kept) == len(sentence.mentions) else replace(sentence, mentions=kept)


def _labelled(sentence: Sentence) -> Iterator[tuple[int, int]]:
    """Tokens first..last of each written name behind "Surgeon:", "Assistants:", "Patient:"."""
    tokens = sentence.tokens
    ends = [m.last for m in sentence.mentions if m.table == "team"]
    ends += [at for at, token in enumerate(tokens) if token.norm in _LABELS]
    for at in ends:
        start = at + 1
        if start >= len(tokens) or tokens[start].norm != ":":
            continue
        for _ in range(_MOST):
            start += 1
            end = people.name_end(tokens, start, {})
            if end == start or not any(people.is_capital(token.text) for token in tokens[start:end]):
                break
            yield start, end - 1
            while end < len(tokens) and tokens[end].norm not in _BETWEEN and people.is_credential(tokens[end]):
                end += 1
            while end + 1 < len(tokens) and tokens[end].norm == "," and people.is_credential(tokens[end + 1]):
                end += 2
            if end >= len(tokens) or tokens[end].norm not in _BETWEEN:
                break
            start = end
