"""Clips that close the skin, told by their place behind a suture: "two oh Vicryl clips", "Vicryl, clips to skin"."""

from __future__ import annotations

from pipeline.extractors import base
from pipeline.records import Fact, Reading, Sentence


def behind_sutures(reading: Reading, sentence: Sentence) -> list[Fact]:
    """Closures of the name "staples" for the clips that stand right behind a suture."""
    ends = {mention.last for mention in base.mentions(sentence, "sutures")}
    return [
        base.make("closure", reading, sentence, clip.first, clip.last, name="staples", body_site=None)
        for clip in base.mentions(sentence, "devices")
        if clip.id == "surgical-clip" and sentence.tokens[clip.first].norm == "clips" and clip.first - 1 in ends
    ]
