"""Two readings of the same sound: where they differ in a number, a unit, a side or a negation, both are kept. Pure.

The other reading lies in `Word.others` of the words concerned, so that the facts made of them carry it and a finding
asks. Nothing is overwritten.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from itertools import groupby

from pipeline import tokens, utterances
from pipeline.lexicon import DIRECTIONS, NEGATIONS
from pipeline.mentions import fold
from pipeline.records import Token, Word

# What is written on a word that the other reading does not have at all.
NOTHING = "(not heard)"


@dataclass(frozen=True, slots=True)
class _Item:
    """A token as compared: `same` is equal where two readings mean the same; `critical`: must not be wrong."""

    same: str
    text: str
    critical: bool
    first: int
    last: int


def compared(words: Sequence[Word], others: Mapping[int, Sequence[str]]) -> tuple[Word, ...]:
    """The words with the other readings noted on them. `others`: segment -> its other readings, as text."""
    noted: dict[int, list[str]] = {}
    by_segment: dict[int, list[Word]] = {}
    for word in words:
        by_segment.setdefault(word.segment, []).append(word)
    for segment, texts in others.items():
        own = _items(by_segment.get(segment, []))
        for text in texts:
            for ident, other in _differences(own, _items(tokens.words_from_text(text))):
                noted.setdefault(ident, []).append(other)
    return tuple(
        replace(word, others=tuple(dict.fromkeys((*word.others, *found))))
        if (found := [text for ident in range(word.id, word.last + 1) for text in noted.get(ident, ())])
        else word
        for word in words
    )


def left_open(words: Sequence[Word], held: Iterable[tuple[int, int]]) -> list[tuple[Word, str, list[str]]]:
    """(first word, what was heard, what the other readings have) where no entry of the note rests on words that have
    another reading with a number, side or negation in it. `held`: word ids (inclusive) that entries rest on."""
    taken = {ident for first, last in held for ident in range(first, last + 1)}
    found: list[tuple[Word, str, list[str]]] = []
    for others, run in groupby(words, key=lambda word: (word.segment, word.others)):
        these = list(run)
        if not others[1] or any(ident in taken for word in these for ident in range(word.id, word.last + 1)):
            continue
        told = [other for other in others[1]
                if other != NOTHING and any(one.critical for one in _items(tokens.words_from_text(other)))]  # fmt: skip
        if told:
            found.append((these[0], " ".join(word.text for word in these), told))
    return found


def _items(words: Sequence[Word]) -> list[_Item]:
    return [
        _item(token)
        for sentence in utterances.read([replace(word, others=()) for word in words])
        for token in sentence.tokens
        if not token.punctuation
    ]


def _item(token: Token) -> _Item:
    quantity = token.quantity
    if quantity is None:
        low = fold(token.norm)
        return _Item(low, token.text, low in DIRECTIONS or low in NEGATIONS, token.first, token.last)
    values = [str(value.normalize()) for value in (quantity.value, quantity.low, quantity.high) if value is not None]
    same = "#" + " ".join([*(values or [quantity.text or token.norm]), quantity.unit or ""])
    return _Item(same, token.text, True, token.first, token.last)


def _differences(own: Sequence[_Item], other: Sequence[_Item]) -> list[tuple[int, str]]:
    """(word id, what the other reading says there) for every critical difference."""
    matcher = SequenceMatcher(None, [item.same for item in own], [item.same for item in other], autojunk=False)
    found: list[tuple[int, str]] = []
    for tag, start, end, other_start, other_end in matcher.get_opcodes():
        if tag == "equal":
            continue
        mine, theirs = own[start:end], other[other_start:other_end]
        if not any(item.critical for item in (*mine, *theirs)):
            continue
        text = " ".join(item.text for item in theirs) or NOTHING
        # A number that only the other reading has is noted on the words beside it.
        marked = [item for item in mine if item.critical] or list(mine) or list(own[max(0, start - 1) : start + 1])
        found += [(ident, text) for item in marked for ident in range(item.first, item.last + 1)]
    return found
