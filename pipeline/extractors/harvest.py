"""The share of anticoagulant in a harvest, and how what was drawn was processed (`account.py` has the amounts)."""

from __future__ import annotations

from pipeline import cues, phases
from pipeline.extractors import _direction, _processing, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading

KINDS = ("anticoagulant_share", "processing")

_SHARE_OF_REACH, _SHARE_REACH, _SHARE_BESIDE = 90, 40, 16


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence, parts in zip(reading.sentences, phases.of(reading, grammar), strict=True):
        for index, _ in base.quantities(sentence, "fraction"):
            share = cues.nearest(sentence, grammar, index, "share")
            said = cues.nearest(sentence, grammar, index, "share-of")
            near_word = said is not None and said[0] <= _NEAR
            reach = _SHARE_OF_REACH if near_word and parts[index] else _SHARE_REACH if parts[index] else _SHARE_BESIDE
            if share is not None and share[0] <= reach and not _direction.is_size_of_vessel(sentence, index):
                facts.append(base.claim("anticoagulant_share", reading, sentence, index, share[1].first, share[1].last,
                                        0 if near_word else share[0] + 8, unit="%"))  # fmt: skip
        facts += _processing.told(reading, sentence, parts)
    return facts


_NEAR = 3
