"""Rows of frames, each a sentence with an X for a thing, and what stands of the sentence that one makes."""

from __future__ import annotations

from collections.abc import Collection

from cases_runner import facts_of

from pipeline.records import Fact


def frames(text: str) -> list[str]:
    """The frames of a block: lines, cut at "|"."""
    return [frame.strip() for line in text.strip().splitlines() for frame in line.split("|")]


def standing_between(before: str, said: str, behind: str, kinds: Collection[str]) -> list[Fact]:
    """The facts of these kinds that stand as done or given in what is said between two other sentences."""
    facts = facts_of(f"{before} {said[0].upper()}{said[1:]}. {behind}")
    first, last = len(before.split()), len(f"{before} {said}".split()) - 1
    return [fact for fact in facts if fact.kind in kinds and first <= fact.evidence.first <= last
            and fact.done]  # fmt: skip
