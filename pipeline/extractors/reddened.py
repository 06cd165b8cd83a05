"""What was injected in the sense of reddened: "the nerve was injected", "the synovium looked red and injected"."""

from __future__ import annotations

from pipeline.extractors import _other_senses, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading

KINDS = ("finding",)

_NAME = "hyperaemia"  # row of grammars/findings.toml


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if not sentence.says({"injected"}):
            continue
        for mention in sentence.mentions:
            said = mention.table == "acts" and mention.id == "injection" and (
                sentence.tokens[mention.last].norm == "injected"
            )
            taken = any(m.table == "findings" and m.first <= mention.first <= m.last for m in sentence.mentions)
            if said and not taken and _other_senses.is_red(sentence, mention):
                facts.append(base.named("finding", reading, sentence, mention, grammar, name=_NAME))
    return facts
