"""Word error and critical-word error, after numbers and units are read on both sides.

"Critical" are the words that must not be wrong: side and direction, numbers, units, negations, drugs, anatomy.
A number with its unit is two words ("20", "mL"), so that twenty/twelve and millilitre/millimetre count apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import jiwer

from pipeline import mentions, tokens, utterances
from pipeline.grammar import Grammar
from pipeline.records import Word

SIDES = frozenset("left right bilateral medial lateral anterior posterior proximal distal superior inferior".split())
NEGATIONS = frozenset("no not none without never nor negative absent denies".split())
CLASSES = ("side", "number", "unit", "negation", "drug", "anatomy")
_TABLES = {"drugs": "drug", "sites": "anatomy", "diagnoses": "anatomy", "findings": "anatomy"}
FILLERS = frozenset("the a an and of is are was were to in on with at".split())


@dataclass(frozen=True, slots=True)
class Item:
    """One word as compared, with its class ("" when it is not critical) and the ids of the words behind it."""

    text: str
    kind: str = ""
    first: int = -1
    last: int = -1


@dataclass
class Errors:
    """Counts of one comparison or of several added up."""

    words: int = 0
    wrong: int = 0
    critical: Counter[str] = field(default_factory=Counter)
    critical_wrong: Counter[str] = field(default_factory=Counter)
    examples: list[tuple[str, str, str]] = field(default_factory=list)

    def add(self, other: Errors) -> None:
        self.words += other.words
        self.wrong += other.wrong
        self.critical.update(other.critical)
        self.critical_wrong.update(other.critical_wrong)
        self.examples += other.examples

    @property
    def word_error(self) -> float:
        return self.wrong / max(1, self.words)

    @property
    def critical_error(self) -> float:
        return sum(self.critical_wrong.values()) / max(1, sum(self.critical.values()))


def items(words: Sequence[Word], grammar: Grammar) -> list[Item]:
    """The words as compared: lower case, folded spelling, numbers as decimals, units as UCUM."""
    result: list[Item] = []
    for sentence in utterances.read([_plain(word) for word in words]):
        marked = mentions.mark(sentence, grammar)
        kinds = {
            place: _TABLES[mention.table]
            for mention in marked.mentions
            if mention.table in _TABLES
            for place in range(mention.first, mention.last + 1)
        }
        for place, token in enumerate(marked.tokens):
            quantity = token.quantity
            if quantity is not None:
                numbers = [str(n.normalize()) for n in (quantity.value, quantity.low, quantity.high) if n is not None]
                said = numbers or [quantity.text or token.norm]
                result += [Item(number, "number", token.first, token.last) for number in said]
                if quantity.unit:
                    result.append(Item(quantity.unit, "unit", token.first, token.last))
            elif not token.punctuation:
                text = mentions.fold(token.norm)
                kind = "side" if text in SIDES else "negation" if text in NEGATIONS else kinds.get(place, "")
                result.append(Item(text, "" if text in FILLERS else kind, token.first, token.last))
    return result


def _plain(word: Word) -> Word:
    """Corrections must not be settled here: what was said is compared, not what was meant."""
    text = "korrection" if word.text.lower().strip(",.") == "correction" else word.text
    return replace(word, text=text)


def compare(truth: str, heard: Sequence[Word], grammar: Grammar) -> Errors:
    """Errors of what was heard against the script that was read out."""
    wanted, given = items(tokens.words_from_text(truth), grammar), items(heard, grammar)
    result = Errors(words=len(wanted))
    result.critical.update(item.kind for item in wanted if item.kind)
    alignment = jiwer.process_words(" ".join(_glued(wanted)), " ".join(_glued(given)))
    for chunk in alignment.alignments[0]:
        if chunk.type == "equal":
            continue
        lost = wanted[chunk.ref_start_idx : chunk.ref_end_idx]
        made = given[chunk.hyp_start_idx : chunk.hyp_end_idx]
        result.wrong += max(len(lost), len(made))
        kinds = Counter(item.kind for item in lost if item.kind)
        if not lost:
            kinds = Counter(item.kind for item in made if item.kind)
        result.critical_wrong.update(kinds)
        result.examples.append(
            ("+".join(kinds) or "word", " ".join(item.text for item in lost), " ".join(item.text for item in made))
        )
    return result


def judged(truth: str, heard: Sequence[Word], grammar: Grammar) -> list[tuple[Item, bool, list[Word]]]:
    """Every item heard, whether it is as in the script, and the words behind it."""
    wanted, given = items(tokens.words_from_text(truth), grammar), items(heard, grammar)
    alignment = jiwer.process_words(" ".join(_glued(wanted)), " ".join(_glued(given)))
    return [
        (item, chunk.type == "equal", [word for word in heard if word.id <= item.last and word.last >= item.first])
        for chunk in alignment.alignments[0]
        for item in given[chunk.hyp_start_idx : chunk.hyp_end_idx]
    ]


def lost(truth: str, heard: Sequence[Word], grammar: Grammar) -> list[tuple[Item, list[Word]]]:
    """Every critical item of the script that was not heard as it was said, with the words heard there and beside."""
    wanted, given = items(tokens.words_from_text(truth), grammar), items(heard, grammar)
    alignment = jiwer.process_words(" ".join(_glued(wanted)), " ".join(_glued(given)))
    found = []
    for chunk in alignment.alignments[0]:
        if chunk.type in ("equal", "insert"):
            continue
        near = given[max(0, chunk.hyp_start_idx - 1) : chunk.hyp_end_idx + 1]
        beside = [word for word in heard if any(word.id <= one.last and word.last >= one.first for one in near)]
        found += [(item, beside) for item in wanted[chunk.ref_start_idx : chunk.ref_end_idx] if item.kind]
    return found


def holds(text: str, item: Item, grammar: Grammar) -> bool:
    """Whether a text says the item."""
    return item.text in {one.text for one in items(tokens.words_from_text(text), grammar)}


def _glued(these: Sequence[Item]) -> list[str]:
    return [item.text.replace(" ", "_") or "_" for item in these]
