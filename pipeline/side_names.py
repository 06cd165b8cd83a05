"""Phrases of grammars/sides.toml by their words, and which things of the grammars have a left and a right."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.mentions import split_phrase
from pipeline.records import Mention
from pipeline.rows import Concept

# What ends a noun phrase to the left.
BREAKS = _words(
    "of in on at to from with for by and or nor but was were is are be been being had has have did then which who "
    "that than through over under into onto around between no not without we i he she they it performed done "
    "presented presents underwent via using after before during while as"
)

_NAMES = frozenset({"side-of-organ", "side-of-position"})


class Phrases:
    """Phrases of sides with their rows, by their first two words, since "left" alone begins hundreds."""

    def __init__(self, rows: Iterable[Concept]) -> None:
        said = [(tuple(split_phrase(phrase)), row) for row in rows for phrase in row.say]
        self.openers = frozenset(words[0] for words, _ in said)
        self._by_two: dict[tuple[str, ...], list[tuple[tuple[str, ...], Concept]]] = {}
        for words, row in sorted(said, key=lambda entry: (-len(entry[0]), entry[1].side is None)):
            self._by_two.setdefault(words[:2], []).append((words, row))

    def at(self, norms: Sequence[str], at: int) -> list[tuple[tuple[str, ...], Concept]]:
        """(words, row) of the phrases that stand in folded words from `at` on, longest first."""
        if norms[at] not in self.openers:
            return []
        two = tuple(norms[at : at + 2])
        said = [*self._by_two.get(two, ()), *(self._by_two.get(two[:1], ()) if len(two) > 1 else ())]
        return [(words, row) for words, row in said if tuple(norms[at : at + len(words)]) == words]


@lru_cache(maxsize=4)
def phrases(grammar: Grammar) -> Phrases:
    return Phrases(grammar.table("sides", Concept).values())


@lru_cache(maxsize=4)
def names(grammar: Grammar) -> Phrases:
    """Names with a side in them that is none of the operation."""
    return Phrases(row for row in grammar.table("sides", Concept).values() if row.id in _NAMES)


@lru_cache(maxsize=4)
def site_rows(grammar: Grammar) -> dict[str, Concept]:
    return dict(grammar.table("sites", Concept))


def of_sided_part(mention: Mention, grammar: Grammar) -> bool:
    row = grammar.tables[mention.table].get(mention.id)
    part = site_rows(grammar).get(row.site or "") if isinstance(row, Concept) else None
    return part is not None and part.sided


def is_sided(mention: Mention, grammar: Grammar) -> bool:
    row = grammar.tables[mention.table].get(mention.id)
    if not isinstance(row, Concept):
        return False
    within = site_rows(grammar).get(row.site) if row.site else None
    return row.sided or (within is not None and within.sided)
