"""Several headings at once, with their answers in the same order: "EBL/IVF/UOP: 50/1200/300", "Specimens/drains: none",
and headings cut short with a nought: "Comp 0 / Spec 0". A number keeps the unit it was written with, or none."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("blood_loss", "fluid_in", "fluid_out", "specimen", "drain", "complication")

# Words of a heading -> kind and name of what stands under it; abbreviations are common practice, no source.
_LABELS = {
    ("ebl",): ("blood_loss", None), ("blood", "loss"): ("blood_loss", None),
    ("estimated", "blood", "loss"): ("blood_loss", None),
    ("ivf",): ("fluid_in", "intravenous-fluids"), ("iv", "fluids"): ("fluid_in", "intravenous-fluids"),
    ("fluids",): ("fluid_in", "intravenous-fluids"), ("iv", "fluid"): ("fluid_in", "intravenous-fluids"),
    ("crystalloid",): ("fluid_in", "crystalloid"), ("cryst",): ("fluid_in", "crystalloid"),
    ("uop",): ("fluid_out", "urine"), ("uo",): ("fluid_out", "urine"), ("u", "/", "o"): ("fluid_out", "urine"),
    ("urine",): ("fluid_out", "urine"), ("urine", "output"): ("fluid_out", "urine"),
    ("spec",): ("specimen", None), ("specs",): ("specimen", None), ("specimen",): ("specimen", None),
    ("specimens",): ("specimen", None),
    ("drain",): ("drain", "drain"), ("drains",): ("drain", "drain"),
    ("comp",): ("complication", "none"), ("comps",): ("complication", "none"), ("compl",): ("complication", "none"),
    ("cx",): ("complication", "none"),
    ("complication",): ("complication", "none"), ("complications",): ("complication", "none"),
}  # fmt: skip
_FIRST = frozenset(words[0] for words in _LABELS)
_SHORT = frozenset({"spec", "specs", "comp", "comps", "compl", "cx", "specimens", "specimen"})
_JOINS = frozenset({"/", "&", "+"})
_NONE = frozenset({"none", "nil", "0", "zero", "no", "\u00d8", "nill"})
_FEW = frozenset({"minimal", "min", "negligible", "trace", "scant"})
_SLASHED = re.compile(r"^\d+(?:[/]\d+)+$")
_AHEAD = -10  # what the headings say beats what stands nearer


@dataclass(frozen=True)
class _Label:
    first: int
    last: int
    kind: str
    name: str | None


@dataclass(frozen=True)
class _Answer:
    """`index`: its token; `word`: what was said where it is no number; `value`: a bare number within a slashed row."""

    index: int
    word: str = ""
    value: Decimal | None = None


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for heads in _rows(sentence):
            answers = _answers(sentence, heads[-1].last + 1)
            if len(answers) == 1 and answers[0].word and len(heads) > 1:
                answers *= len(heads)
            if not answers or len(answers) < len(heads) or (len(answers) > len(heads) > 1):
                continue
            if len(heads) == 1 and not _cut_short(sentence, heads[0], answers[0]):
                continue
            for head, answer in zip(heads, answers, strict=False):
                facts += _fact(reading, sentence, head, answer)
    return facts


def _rows(sentence: Sentence) -> Iterator[list[_Label]]:
    """Headings that stand together, joined by strokes; one alone is a row too."""
    at, tokens = 0, sentence.tokens
    if not sentence.says(_FIRST):
        return
    while at < len(tokens):
        label = _label(sentence, at)
        if label is None:
            at += 1
            continue
        row = [label]
        while label.last + 2 < len(tokens) and tokens[label.last + 1].norm in _JOINS:
            further = _label(sentence, label.last + 2)
            if further is None:
                break
            row.append(label := further)
        yield row
        at = label.last + 1


def _label(sentence: Sentence, at: int) -> _Label | None:
    if sentence.tokens[at].norm not in _FIRST:
        return None
    for length in (3, 2, 1):
        said = tuple(token.norm for token in sentence.tokens[at : at + length])
        if said in _LABELS:
            return _Label(at, at + length - 1, *_LABELS[said])
    return None


def _answers(sentence: Sentence, at: int) -> list[_Answer]:
    tokens = sentence.tokens
    while at < len(tokens) and tokens[at].norm in (":", "=", "-"):
        at += 1
    found: list[_Answer] = []
    while at < len(tokens):
        token = tokens[at]
        if _SLASHED.match(token.text) and (token.quantity is None or token.quantity.form == "pair"):
            found += [_Answer(at, "none" if part == "0" else "", Decimal(part)) for part in token.text.split("/")]
        elif token.norm == "no" and at + 1 < len(tokens) and not tokens[at + 1].punctuation:
            break  # "sent as specimen no drains were placed": the "no" is of what follows
        elif token.norm in _NONE | _FEW:
            found.append(_Answer(at, "none" if token.norm in _NONE else token.norm))
        elif token.quantity is not None and token.quantity.form == "number" and token.quantity.value is not None:
            found.append(_Answer(at, "" if token.quantity.value or token.quantity.unit else "none"))
        else:
            break
        if at + 1 >= len(tokens) or tokens[at + 1].norm not in _JOINS:
            break
        at += 2
    return found


def _cut_short(sentence: Sentence, head: _Label, answer: _Answer) -> bool:
    """One heading alone: only those that no other reader knows, and only where there was none."""
    if head.last - head.first == 2 and sentence.tokens[head.first].norm == "u":
        return True  # "u/o 200 mL"
    return sentence.tokens[head.first].norm in _SHORT and answer.word == "none"


def _fact(reading: Reading, sentence: Sentence, head: _Label, answer: _Answer) -> list[Fact]:
    sure: dict[str, Any] = {"status": "performed", "certainty": "affirmed"}
    shared: dict[str, Any] = {"name": head.name}
    first, last = min(head.first, answer.index), max(head.last, answer.index)
    if head.kind in ("specimen", "drain", "complication"):
        if answer.word != "none":
            return []  # "drains/specimens: 2/1": which of them, no heading tells
        text = "none" if head.kind == "specimen" else None
        return [base.make(head.kind, reading, sentence, head.first, head.last, text=text, status="performed",
                          certainty="negated", **shared)]  # fmt: skip
    if answer.word and head.kind == "blood_loss":
        return [base.make(head.kind, reading, sentence, first, last, text=answer.word, **sure, **shared)]
    if answer.value is not None:
        return [base.make(head.kind, reading, sentence, first, last, value=answer.value, **sure, **shared)]
    if answer.word:
        return []
    return [base.claim(head.kind, reading, sentence, answer.index, head.first, head.last, _AHEAD, **sure, **shared)]
