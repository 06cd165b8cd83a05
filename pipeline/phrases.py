"""Finds phrases in a row of words: a tree of their words, walked from every word on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field


@dataclass(slots=True)
class _Node:
    """What was said so far. `further`: by the next word; `whole`: what phrases that end here stand for."""

    further: dict[str, _Node] = field(default_factory=dict)
    whole: list[str] = field(default_factory=list)


class Phrases:
    """Phrases as rows of words, each with what it stands for. Not changed once it is made."""

    def __init__(self, phrases: Iterable[tuple[Sequence[str], str]]) -> None:
        self._root = _Node()
        for words, meaning in phrases:
            node = self._root
            for word in words:
                node = node.further.setdefault(word, _Node())
            if words and meaning not in node.whole:
                node.whole.append(meaning)

    def find(self, words: Sequence[str]) -> list[tuple[int, int, str]]:
        """(first word, word behind the last, meaning) of all phrases in the words, also of those inside others."""
        found: list[tuple[int, int, str]] = []
        openers, size = self._root.further, len(words)
        for first, word in enumerate(words):
            node, end = openers.get(word), first + 1
            while node is not None:
                if node.whole:
                    found += [(first, end, meaning) for meaning in node.whole]
                if end == size:
                    break
                node, end = node.further.get(words[end]), end + 1
        return found
