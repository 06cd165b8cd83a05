"""Swab, needle and instrument counts: what was counted, and whether it is right."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("count",)

_REACH = 60
_ITEM_REACH = 24  # "swabs and needles correct"
_SORTS = {
    "swabs": frozenset("sponge sponges swab swabs lap laps laparotomy gauze gauzes".split()),
    "needles": frozenset("needle needles sharp sharps blade blades".split()),
    "instruments": frozenset({"instrument", "instruments"}),
}
_LISTED = 7  # tokens before the word of the count
# What was counted -> row of grammars/counts.toml; of one sort alone its own row is found.
_ROWS = {
    ("needles", "instruments"): "needle-and-instrument", ("swabs", "needles"): "swabs-and-needles",
    ("swabs", "instruments"): "swabs-and-instruments",
    ("swabs", "needles", "instruments"): "swabs-needles-instruments",
}  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        items = cues.hits(sentence, grammar, "swab-count", "count-item")
        if not items:
            continue
        results = [(hit, "incorrect") for hit in cues.hits(sentence, grammar, "count-incorrect")]
        wrong = {index for hit, _ in results for index in range(hit.first, hit.last + 1)}
        results += [
            (hit, "correct") for hit in cues.hits(sentence, grammar, "count-correct") if hit.first not in wrong
        ]
        for result, text in results:
            near = [
                item for item in items
                if cues.gap(sentence, min(item.last, result.last), max(item.first, result.first))
                <= (_REACH if item.id == "swab-count" else _ITEM_REACH)
            ]  # fmt: skip
            if near:
                first = min(near[0].first, result.first)
                last = max(near[-1].last, result.last)
                said = (m.id for m in base.mentions(sentence, "counts") if first <= m.last and m.first <= last)
                name = _counted(sentence, first, last) or next(said, "count")
                facts.append(
                    base.make("count", reading, sentence, first, last, name=name, text=text, status="performed",
                              certainty="affirmed")
                )
                break
    return facts


def _counted(sentence: Sentence, first: int, last: int) -> str | None:
    """The row of the sorts that were counted, where two or more were said: no needles in "sponge and instrument"."""
    tokens = sentence.tokens
    start = first
    while start and first - start < _LISTED and not (tokens[start - 1].punctuation and tokens[start - 1].norm != ","):
        start -= 1
    norms = {token.norm for token in tokens[start : last + 1]}
    return _ROWS.get(tuple(sort for sort, words in _SORTS.items() if words & norms))
