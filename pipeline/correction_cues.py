"""Where a spoken correction begins and ends: the phrases of grammars/corrections.toml in a row of tokens."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TypeAlias

from pipeline import grammar
from pipeline.mentions import mark
from pipeline.records import Sentence, Token
from pipeline.restated import Cue
from pipeline.rows import Correction

_BARE = frozenset({"no", "rather", "actually", "wait"})  # a cue behind a cue only where a number follows
Cues: TypeAlias = dict[str, tuple[tuple[tuple[str, ...], Correction], ...]]


@lru_cache(maxsize=2)
def cues() -> tuple[Cues, grammar.Grammar]:
    """Phrases by their first word, longest first."""
    loaded = grammar.load()
    table: dict[str, list[tuple[tuple[str, ...], Correction]]] = {}
    for row in loaded.table("corrections", Correction).values():
        for phrase in row.say:
            words = tuple(phrase.split())
            table.setdefault(words[0], []).append((words, row))
    ordered = {word: tuple(sorted(items, key=lambda item: -len(item[0]))) for word, items in table.items()}
    return ordered, loaded


def next_cue(tokens: Sequence[Token], start: int, by_first: Cues) -> Cue | None:
    for index in range(start, len(tokens)):
        if tokens[index].norm not in by_first or tokens[index].quantity is not None:
            continue
        cue = _cue_at(tokens, index, by_first)
        while cue is not None and (further := _goes_on(tokens, cue, by_first)) is not None:
            cue = Cue(further.row, further.phrase, cue.first, further.end)
        if cue is not None:
            return cue
    return None


def _cue_at(tokens: Sequence[Token], index: int, by_first: Cues) -> Cue | None:
    for phrase, row in by_first.get(tokens[index].norm, ()):
        end = _match(tokens, index, phrase)
        if end:
            return Cue(row, " ".join(phrase), index, end)
    return None


def _goes_on(tokens: Sequence[Token], cue: Cue, by_first: Cues) -> Cue | None:
    """The cue right behind a cue that only announces it ("no wait, make that", "hold on, no")."""
    at = cue.end
    while at < len(tokens) and tokens[at].punctuation:
        at += 1
    if cue.row.action != "replace" or at >= len(tokens):
        return None
    further = _cue_at(tokens, at, by_first)
    if further is None or further.row.action == "strike_sentence":
        return None
    if further.phrase in _BARE and (further.end >= len(tokens) or tokens[further.end].quantity is None):
        return None  # "sorry, no drains"
    return further


def _match(tokens: Sequence[Token], index: int, phrase: tuple[str, ...]) -> int:
    """Index after the phrase, over commas ("no, make that"); 0 if it does not stand here."""
    at = index
    for number, word in enumerate(phrase):
        while number and at < len(tokens) and tokens[at].norm == ",":
            at += 1
        if at >= len(tokens) or tokens[at].norm != word:
            return 0
        at += 1
    return at


_LYING = frozenset({"supine", "prone", "lateral-decubitus", "beach-chair", "lithotomy"})
_NAMED = 4  # tokens


def laid_otherwise(
    told: Sequence[Token], tokens: Sequence[Token], cue: Cue
) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """ "Prone no lateral position": (first, last) of the two ways to lie at the end of what was told before a "no" and
    right behind it, the second counted from the end of the cue; None where there are none."""
    end = len(told)
    while end and told[end - 1].punctuation:
        end -= 1
    start = max(0, end - _NAMED)
    loaded = cues()[1]
    old = [m for m in mark(Sentence(0, tuple(told[start:end])), loaded).mentions
           if m.table == "positions" and m.id in _LYING and start + m.last == end - 1]  # fmt: skip
    skip = next((n for n, token in enumerate(tokens[cue.end : cue.end + _NAMED]) if not token.punctuation), 0)
    new = [m for m in mark(Sentence(0, tuple(tokens[cue.end + skip : cue.end + skip + _NAMED])), loaded).mentions
           if m.table == "positions" and m.id in _LYING and m.first == 0] if old else []  # fmt: skip
    if not new or new[0].id == old[-1].id:
        return None
    return (start + old[-1].first, end - 1), (skip, skip + new[0].last)
