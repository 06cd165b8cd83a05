"""The terms of grammars/ as they sound, and the words that may stand as they are: what `repair.py` knows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from pipeline import sounds
from pipeline.engines.base import quantitative
from pipeline.grammar import Grammar
from pipeline.mentions import fold, split_phrase
from pipeline.rows import Confusion, Row

# A term has at most so many words and at least so many sounds.
LONGEST, LEAST_SOUNDS = 4, 4
# SCOWL sizes: common words; words that stand as they are; words that exist, many of them medical; names.
COMMON, ENGLISH, ATTESTED, NAME, UNHEARD = 35, 49, 70, 100, 999
# "Two oh Vicryl" is often heard as "two ovicral": the end of the size hangs on the material.
OH = "oh"
_TABLES = frozenset(
    "acts anaesthesia approaches closures complications devices diagnoses drains dressings drugs events findings "
    "fluids guidance injectates irrigation positions preparations procedures processing sites specimens sutures "
    "tourniquet".split()
)
# Common practice, no source.
DIRECTIONS = frozenset(
    "left right bilateral bilaterally unilateral contralateral ipsilateral both medial lateral anterior posterior "
    "proximal distal superior inferior dorsal volar plantar palmar ulnar radial cranial caudal internal external "
    "upper lower deep superficial above below side sided".split()
)
NEGATIONS = frozenset(
    "no not none nor never without neither nil negative absent denies denied deny free unremarkable un non "
    "cannot isn't wasn't weren't didn't don't doesn't hasn't haven't".split()
)
# Which letters stand for like sounds: a quick key for finding candidates, before the exact distance.
COARSE = str.maketrans({
    **dict.fromkeys("EIOWYRAaeUəɪiʌu", "a"), **dict.fromkeys("bpfv", "p"), **dict.fromkeys("dtTD", "t"),
    **dict.fromkeys("gkN", "k"), **dict.fromkeys("szSZCJ", "s"), **dict.fromkeys("mn", "n"),
    **dict.fromkeys("rlwj", "l"), "h": None,
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Term:
    """A target: as it is written, its folded words, how it sounds and the rows that say it."""

    text: str
    words: tuple[str, ...]
    sounds: str
    coarse: str
    rows: frozenset[tuple[str, str]]


class Lexicon:
    """The terms of a grammar that can be repaired to, and the words that may stand as they are."""

    def __init__(self, grammar: Grammar) -> None:
        self.ear = sounds.load()
        self.units = frozenset(
            part for row in grammar.tables.get("units", {}).values() for phrase in (*row.say, *_written(row))
            for part in phrase.casefold().split()
        )  # fmt: skip
        phrases: dict[str, set[tuple[str, str]]] = {}
        self.known: set[str] = set()
        self.firsts: set[tuple[str, ...]] = set()
        self.phrases: set[tuple[str, ...]] = set()
        for table, rows in grammar.tables.items():
            for ident, row in rows.items():
                self.firsts |= {tuple(split_phrase(phrase)) for phrase in row.say[:1]}
                for phrase in row.say:
                    parts = tuple(split_phrase(phrase))
                    self.known |= set(parts) | {part for word in phrase.lower().split() for part in word.split("-")}
                    if len(parts) > 1:
                        self.phrases.add(parts)
                    if table in _TABLES:
                        for target in self._targets(phrase):
                            phrases.setdefault(target, set()).add((table, ident))
        for row in grammar.tables.get("sutures", {}).values():
            for phrase in row.say:
                if " " not in phrase:
                    phrases.setdefault(f"{OH} {phrase}", set()).add(("sutures", row.id))
        self.terms = [self._term(text, rows) for text, rows in sorted(phrases.items())]
        self.terms = [term for term in self.terms if len(term.sounds) >= LEAST_SOUNDS]
        self.drugs = {term.text for term in self.terms if any(table == "drugs" for table, _ in term.rows)}
        self.keys = [term.coarse for term in self.terms]
        confusions = grammar.table("confusions", Confusion)
        self.mistaken = {
            tuple(row.pair[1].split()): row.pair[0] for row in confusions.values() if row.what == "other"
        }

    def _targets(self, phrase: str) -> Iterator[str]:
        """The phrase, when it can be a target, and each technical word of it."""
        parts = phrase.replace("-", " ").split()
        free = [not self.guarded(part) for part in parts]
        technical = [self.technical(part) for part in parts]
        if len(parts) <= LONGEST and all(free) and any(technical):
            yield " ".join(parts)
        if len(parts) <= 2 and all(free) and not any(technical):
            yield " ".join(parts)
        for part, is_free, is_technical in zip(parts, free, technical, strict=True):
            if is_free and is_technical:
                yield part
        if len(parts) == 1 and free[0] and len(self.ear.say(parts[0])) < LEAST_SOUNDS:
            # Too short to be told alone: with its article it may be.
            yield ("an " if parts[0][0] in "aeiou" else "a ") + parts[0]

    def _term(self, text: str, rows: set[tuple[str, str]]) -> Term:
        said = self.ear.phrase(text)
        return Term(text, tuple(split_phrase(text)), said, said.translate(COARSE), frozenset(rows))

    def technical(self, word: str) -> bool:
        return word.isascii() and word.isalpha() and len(word) > 2 and self.ear.level.get(word, UNHEARD) > COMMON

    def guarded(self, word: str) -> bool:
        """Whether a word must neither be touched nor made."""
        return (
            not word.isascii()
            or quantitative(word, self.units)
            or word in DIRECTIONS
            or word in NEGATIONS
            or word.rstrip("s") in DIRECTIONS
        )

    def stands(self, word: str) -> bool:
        """Whether a word is English or part of a term."""
        return any(form in self.known or self.ear.level.get(form, UNHEARD) <= NAME for form in _forms(word))

    def rare(self, word: str) -> bool:
        """Whether a word exists and is so rare that a term which sounds the same is likelier."""
        forms = _forms(word)
        levels = [self.ear.level[form] for form in forms if form in self.ear.level]
        return bool(levels) and ENGLISH < min(levels) <= ATTESTED and not forms & self.known


def _forms(word: str) -> set[str]:
    base = word.removesuffix("'s").replace("’", "'")
    return {form for form in (base, fold(base), *base.split("'")) if form}


def _written(row: Row) -> tuple[str, ...]:
    return tuple(getattr(row, "written", ()))


@lru_cache(maxsize=4)
def _lexicon(grammar: Grammar) -> Lexicon:
    return Lexicon(grammar)


def lexicon(grammar: Grammar) -> Lexicon:
    """The lexicon of a grammar, made once (about a second)."""
    return _lexicon(grammar)
