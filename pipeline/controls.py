"""Spoken control words (grammars/control.toml): found in the words, kept out of the facts, obeyed. Pure.

No word is discarded: the word list keeps all of them, only the reading of facts leaves some out, and whatever is left
out is told in a notice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from pipeline.grammar import Grammar
from pipeline.records import Word
from pipeline.rows import Control

# What the correction machinery (utterances.py) understands as: the sentence before this does not hold.
STRIKE = ("strike", "the", "last", "sentence.")
_PARTS = re.compile(r"[^\W_]+")
_SHOWN = 8


@dataclass(frozen=True, slots=True)
class Command:
    """A control phrase. `first`..`last`: places in the word sequence, inclusive; `at`: seconds, None in text."""

    action: str
    first: int
    last: int
    at: float | None


@dataclass(frozen=True, slots=True)
class Obeyed:
    """`words`: what is to be read for facts; `notices`: plain sentences on what was left out, taken back or marked."""

    words: tuple[Word, ...]
    commands: tuple[Command, ...]
    notices: tuple[str, ...]


def find(words: Sequence[Word], rules: Grammar, when: str = "always") -> tuple[Command, ...]:
    """The control phrases in the words, in order; of two at one place the longer one.

    `when`: whose rows are looked for (`rows.Control.when`). What keeps a row from counting (`unless`) is looked for in
    all the words given: hand in one utterance for those rows.
    """
    texts = [(word.heard or word.text).casefold() for word in words]
    said = _PARTS.findall(" ".join(texts))
    table = _table(rules, when, said)
    if not table:
        return ()
    places = [place for place, text in enumerate(texts) for _ in _PARTS.findall(text)]
    found: list[Command] = []
    at = 0
    while at < len(said):
        for phrase, action in table.get(said[at], ()):
            if tuple(said[at : at + len(phrase)]) == phrase:
                first, last = places[at], places[at + len(phrase) - 1]
                found.append(Command(action, first, last, words[first].start))
                at += len(phrase) - 1
                break
        at += 1
    return tuple(found)


_last: list[tuple[Sequence[Word], Grammar, Obeyed]] = []


def obey(words: Sequence[Word], rules: Grammar) -> Obeyed:
    """The words without the control phrases and what they leave out. The last tuple of words is remembered: the facts
    of a note and its notices both ask."""
    for known, by, obeyed in _last[:1]:  # a copy, since other threads may be at it
        if known is words and by is rules:
            return obeyed
    obeyed = _obey(words, rules)
    if isinstance(words, tuple):
        _last[:] = [(words, rules, obeyed)]
    return obeyed


def _obey(words: Sequence[Word], rules: Grammar) -> Obeyed:
    commands = find(words, rules)
    if not commands:
        return Obeyed(tuple(words), (), ())
    begins = next((command for command in commands if command.action == "begin"), None)
    kept: list[Word] = []
    notices: list[str] = []
    on, left_out = begins is None, 0
    at = 0
    for command in commands:
        stretch = words[at : command.first]
        at = command.last + 1
        if on:
            kept += stretch
        else:
            left_out += len(stretch)
        if command.action == "begin":
            on = True
        elif command.action == "end":
            on = False
        elif on and (kept or command.action == "mark"):
            notices.append(_told(command, kept))
            kept[-1:] = [replace(word, text=_closed(word.text)) for word in kept[-1:]]
            if command.action == "take_back":
                kept += _strike(words[command.first : command.last + 1])
    if on:
        kept += words[at:]
    else:
        left_out += len(words) - at
    if left_out:
        notices.append(f"{left_out} words said before the note was begun or after it was ended by voice are not in it.")
    return Obeyed(tuple(kept), commands, tuple(notices))


def _table(
    rules: Grammar, when: str, said: Sequence[str]
) -> Mapping[str, Sequence[tuple[tuple[str, ...], str]]]:
    """First word -> (phrase, action), longest phrase first, of the rows that count beside what was said."""
    table: dict[str, list[tuple[tuple[str, ...], str]]] = {}
    opened = set(said)
    whole = f" {' '.join(said)} "
    for action, phrases, unless in _rows(rules, when):
        spoken = [parts for parts in phrases if parts[0] in opened]
        if not spoken or any(other in whole for other in unless):
            continue
        for parts in spoken:
            table.setdefault(parts[0], []).append((parts, action))
    return {first: sorted(phrases, key=lambda item: -len(item[0])) for first, phrases in table.items()}


@lru_cache(maxsize=8)
def _rows(grammar: Grammar, when: str) -> tuple[tuple[str, tuple[tuple[str, ...], ...], tuple[str, ...]], ...]:
    """(action, its phrases in words, what keeps it from counting) of the rows of a time, cut once for all."""
    return tuple(
        (
            row.action,
            tuple(tuple(_PARTS.findall(phrase)) for phrase in row.say),
            tuple(f" {' '.join(_PARTS.findall(other))} " for other in row.unless),
        )
        for row in grammar.table("control", Control).values() if row.when == when
    )


def _told(command: Command, before: Sequence[Word]) -> str:
    when = "" if command.at is None else f" at {int(command.at // 60):02d}:{command.at % 60:04.1f}"
    said = f", after '... {_said(before[-_SHOWN:])}'" if before else ""
    what = "The sentence before was taken back" if command.action == "take_back" else "A place was marked"
    return f"{what} by voice{when}{said}."


def _closed(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else text.rstrip(",;:") + "."


def _strike(phrase: Sequence[Word]) -> Iterator[Word]:
    """The phrase as a correction, on the same word ids, in fewer or as many words."""
    head, tail = phrase[: len(STRIKE) - 1], phrase[len(STRIKE) - 1 :]
    if not tail:
        whole = phrase[0]
        yield replace(whole, text=" ".join(STRIKE), last=phrase[-1].last, heard=_said(phrase))
        return
    for text, word in zip(STRIKE, head, strict=False):
        yield replace(word, text=text, heard=word.heard or word.text)
    yield replace(tail[0], text=STRIKE[-1], last=tail[-1].last, end=tail[-1].end, heard=_said(tail))


def _said(words: Sequence[Word]) -> str:
    return " ".join(word.heard or word.text for word in words)
