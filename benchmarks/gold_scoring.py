"""Compares the facts of a note with the hand-written truth.

A predicted fact is right when kind, value or low/high, unit, side, status and certainty are those of the truth, and,
for kinds whose value is a concept or words, when the name or text is (spelling, order and articles aside, and any
saying of the grammar row counts as its name). Every truth takes at most one prediction. What is left is missed
(truth), wrong (a prediction of the same thing with a wrong unit, side, status or certainty), said twice, or invented.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from gold_likeness import (
    CLOSED,
    INSTRUCTIONS,
    faults,
    hits,
    is_numeric,
    judged,
    named,
    shape,
    told_as_diagnosis,
    told_as_not_done,
)
from gold_truth import Expected, Narration

from pipeline.note import OperativeNote
from pipeline.records import Fact


@dataclass
class Result:
    """What became of one narration. `right`: (truth, fact, name right); `wrong`: (truth, fact, faults)."""

    narration: Narration
    right: list[tuple[Expected, Fact, bool]] = field(default_factory=list)
    wrong: list[tuple[Expected, Fact, list[str]]] = field(default_factory=list)
    missed: list[Expected] = field(default_factory=list)
    twice: list[Fact] = field(default_factory=list)
    invented: list[Fact] = field(default_factory=list)
    absent_hits: list[tuple[Expected, Fact]] = field(default_factory=list)
    unjudged: list[Fact] = field(default_factory=list)
    flagged: frozenset[str] = frozenset()


def compare(narration: Narration, facts: Sequence[Fact], doubted: frozenset[str] = frozenset()) -> Result:
    """Pairs truth and predictions: right pairs first (required before optional), then wrong ones. `doubted`: ids of
    the facts that do not stand as sure."""
    sides = narration.sides()
    result = Result(narration, flagged=doubted)
    pairs: list[tuple[int, int, int, list[str]]] = []
    for n, truth in enumerate(narration.facts):
        for m, fact in enumerate(facts):
            if fact.kind not in truth.kinds:
                continue
            bad = faults(truth, fact, sides)
            cost = 10 * len(bad) + (4 if truth.optional else 0) + (0 if named(truth, fact) else 2)
            cost += (fact.kind != truth.kind) + (truth.laterality is None and fact.laterality is not None)
            pairs.append((cost, n, m, bad))
    pairs.sort(key=lambda pair: pair[0])
    free_truth = set(range(len(narration.facts)))
    free_fact = set(range(len(facts)))
    for _, n, m, bad in pairs:
        if not bad and n in free_truth and m in free_fact:
            free_truth.discard(n)
            free_fact.discard(m)
            truth, fact = narration.facts[n], facts[m]
            result.right.append((truth, fact, named(truth, fact)))
    for _, n, m, bad in pairs:
        # Only one thing wrong: it is the same fact, told wrongly. The name of a concept or a number alone is no link.
        truth = narration.facts[n]
        same_thing = len(bad) == 1 and bad[0] not in ("value", "name")
        if same_thing and not truth.optional and n in free_truth and m in free_fact:
            free_truth.discard(n)
            free_fact.discard(m)
            result.wrong.append((truth, facts[m], bad))
    right = [truth for truth, _, _ in result.right]
    for m in sorted(free_fact):
        fact = facts[m]
        again = any(fact.kind in truth.kinds and not faults(truth, fact, sides) for truth in right)
        again = again or (fact.kind == "diagnosis" and any(told_as_diagnosis(truth, fact) for truth in narration.facts))
        hit = next((absent for absent in narration.absent if hits(absent, fact)), None)
        if again:
            (result.twice if is_numeric(fact) else result.unjudged).append(fact)
        elif hit is not None:
            result.absent_hits.append((hit, fact))
        elif judged(fact) and not any(told_as_not_done(absent, fact) for absent in narration.absent):
            result.invented.append(fact)
        else:
            result.unjudged.append(fact)
    result.missed = [narration.facts[n] for n in sorted(free_truth) if not narration.facts[n].optional]
    for _, fact, _ in result.wrong:
        hit = next((absent for absent in narration.absent if hits(absent, fact)), None)
        if hit is not None:
            result.absent_hits.append((hit, fact))
    return result


def flagged(note: OperativeNote) -> frozenset[str]:
    """Ids of the facts that do not stand as sure: with a doubt, or named by a finding that speaks of them."""
    named = {ident for finding in note.findings if finding.check not in _LISTS for ident in finding.facts}
    return frozenset(fact.id for fact in note.facts if fact.doubts or fact.alternatives or fact.id in named)


_LISTS = frozenset(["completeness", "family_elements"])  # they tell what was not said


@dataclass
class Tally:
    """Counts of one row of the table. `extra`: predictions that are not in the truth."""

    right: int = 0
    wrong: int = 0
    missed: int = 0
    extra: int = 0
    open: bool = False

    @property
    def truths(self) -> int:
        return self.right + self.wrong + self.missed

    @property
    def precision(self) -> float | None:
        given = self.right + self.wrong + self.extra
        return None if self.open or not given else self.right / given

    @property
    def recall(self) -> float | None:
        return self.right / self.truths if self.truths else None

    @property
    def f1(self) -> float | None:
        precision, recall = self.precision, self.recall
        if precision is None or recall is None:
            return None
        return 2 * precision * recall / (precision + recall) if precision + recall else 0.0


def extras(result: Result) -> list[Fact]:
    """Predictions that are not in the truth (those paired as wrong are not among them)."""
    wrong = {id(fact) for _, fact, _ in result.wrong}
    hit = [fact for _, fact in result.absent_hits if id(fact) not in wrong]
    return [*result.invented, *result.twice, *hit]


def by_kind(results: Sequence[Result]) -> dict[str, Tally]:
    """Kind -> counts; a kind whose truth is not complete has recall only, unless the fact carries a number."""
    table: dict[str, Tally] = defaultdict(Tally)
    for result in results:
        for truth, _, _ in result.right:
            if not truth.optional:
                table[truth.kind].right += 1
        for truth, _, _ in result.wrong:
            table[truth.kind].wrong += 1
        for truth in result.missed:
            table[truth.kind].missed += 1
        for fact in extras(result):
            table[fact.kind].extra += 1
    for kind, tally in table.items():
        numeric = shape(kind) in ("quantity", "count") or kind in ("clock_time", "grade", "aftercare")
        tally.open = kind not in CLOSED and not numeric
    return dict(table)


def group(results: Sequence[Result], name: str) -> Tally:
    """Counts over a group: "number", "side", "context" (negated, planned, historical ...), "closed", "all"."""
    tally = Tally()

    def of_truth(truth: Expected) -> bool:
        if name == "number":
            return truth.numeric or truth.kind == "clock_time"
        if name == "side":
            return truth.laterality not in (None, "none")
        if name == "context":
            settled = truth.status != "performed" or truth.certainty != "affirmed"
            return settled and truth.kind not in INSTRUCTIONS
        return truth.kind in CLOSED if name == "closed" else True

    def of_fact(fact: Fact) -> bool:
        if name == "number":
            return is_numeric(fact) or fact.kind == "clock_time"
        if name == "side":
            return fact.laterality is not None
        if name == "context":
            return (fact.status != "performed" or fact.certainty != "affirmed") and fact.kind not in INSTRUCTIONS
        return fact.kind in CLOSED if name == "closed" else True

    for result in results:
        for truth, _, _ in result.right:
            if not truth.optional and of_truth(truth):
                tally.right += 1
        for truth, fact, bad in result.wrong:
            if name == "side":
                # A wrong unit is no wrong side.
                if of_truth(truth) and "side" not in bad:
                    tally.right += 1
                elif of_truth(truth) and fact.laterality is None:
                    tally.missed += 1
                elif "side" in bad:
                    tally.wrong += of_truth(truth)
                    tally.extra += not of_truth(truth)
            elif of_truth(truth):
                tally.wrong += 1
            elif of_fact(fact):
                tally.extra += 1
        tally.missed += sum(of_truth(truth) for truth in result.missed)
        tally.extra += sum(of_fact(fact) for fact in extras(result))
    return tally


def invention(results: Sequence[Result]) -> tuple[int, int, int, int]:
    """(facts that can be judged, hits on what must not be there, said twice, other inventions)."""
    given = sum(
        sum(judged(fact) for _, fact, _ in result.right) + sum(judged(fact) for _, fact, _ in result.wrong)
        + len(extras(result))
        for result in results
    )  # fmt: skip
    hits_ = sum(len(result.absent_hits) for result in results)
    twice = sum(len(result.twice) for result in results)
    other = sum(len(result.invented) for result in results)
    return given, hits_, twice, other


def silent(results: Sequence[Result]) -> tuple[list[Fact], int, int]:
    """(wrong facts that carry a number, a time or a side and stand without a flag; such wrong facts altogether; such
    facts that were given). What is missing is not wrong here."""

    def grave(fact: Fact) -> bool:
        return is_numeric(fact) or fact.kind == "clock_time" or fact.laterality is not None

    mute: list[Fact] = []
    bad = given = 0
    for result in results:
        wrong = [fact for _, fact, why in result.wrong if why != ["side"] or fact.laterality is not None]
        wrong = [fact for fact in [*wrong, *extras(result)] if grave(fact)]
        mute += [fact for fact in wrong if fact.id not in result.flagged]
        bad += len(wrong)
        given += len(wrong) + sum(grave(fact) for _, fact, _ in result.right)
    return mute, bad, given


def side_faults(results: Sequence[Result]) -> Counter[str]:
    """What the faults of the group "side" are: a side that is wrong, one that is not given, one where none belongs, and
    facts with a side that are not there or that are too many, whatever their side."""
    found: Counter[str] = Counter()
    for result in results:
        for truth, fact, bad in result.wrong:
            if "side" in bad:
                asked = truth.laterality not in (None, "none")
                found["wrong" if asked and fact.laterality else "not given" if asked else "where none belongs"] += 1
        found["of a missed fact"] += sum(truth.laterality not in (None, "none") for truth in result.missed)
        found["of an invented fact"] += sum(fact.laterality is not None for fact in extras(result))
    return found
