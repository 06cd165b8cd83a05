"""How well narrations are understood, against the hand-written truth of tests/gold/.

    python benchmarks/understanding.py [--errors] [--unblind] [--only ID] [--part PART]
                                       [--told unmarked|hesitant]

Prints, for each part of the truth apart: precision, recall and F1 by kind and for groups with a target,
the rate of invented facts, how many of the facts that are wrong stand without a flag (no doubt on them, no finding
that names them), and narrations a second on one core after loading. `--errors` lists every fault of the
train part; those of the test part are listed only with `--unblind`, so that nobody tunes on it by accident.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence

import gold_scoring as scoring
import gold_truth
import retold
from gold_scoring import Result, Tally
from gold_truth import Narration, Part

from pipeline.note import OperativeNote
from pipeline.records import Fact

PARTS: tuple[Part, ...] = ("train", "test", *gold_truth.FURTHER)
TARGETS = {"number": 0.95, "side": 0.97, "context": 0.95}
TITLES = {
    "number": "carries a number",
    "side": "side",
    "context": "negated, planned, historical",
    "closed": "closed kinds",
    "all": "all facts",
}


def run(text: str, name: str = "gold") -> OperativeNote:
    """A narration through every stage but the exports."""
    from pipeline import run as stages

    return stages.note_from_text(text, name=name)


def measure(narrations: Sequence[Narration], reader: Callable[[str, str], OperativeNote] = run) -> list[Result]:
    """Compares each narration's note with its truth."""
    notes = ((item, reader(item.text, item.id)) for item in narrations)
    return [scoring.compare(item, note.facts, scoring.flagged(note)) for item, note in notes]


def _show(number: float | None) -> str:
    return "    -" if number is None else f"{number:5.3f}"


def _line(title: str, tally: Tally, target: float | None = None) -> str:
    goal = "" if target is None else f"   target {target:.2f}"
    return (
        f"{title:30}{tally.truths:6}{tally.right:7}{tally.wrong:7}{tally.missed:8}{tally.extra:7}"
        f"   {_show(tally.precision)}  {_show(tally.recall)}  {_show(tally.f1)}{goal}"
    )


def report(part: str, results: Sequence[Result]) -> str:
    """The table of one part."""
    forms = Counter(result.narration.form for result in results)
    lines = [
        f"== {part}: {len(results)} narrations ({forms['spoken']} spoken, {forms['typed']} typed)",
        f"{'':30}{'truth':>6}{'right':>7}{'wrong':>7}{'missed':>8}{'extra':>7}   {'prec.':>5}  {'rec.':>5}  {'F1':>5}",
    ]
    for name, title in TITLES.items():
        lines.append(_line(title, scoring.group(results, name), TARGETS.get(name)))
    lines.append("-" * 98)
    for kind, tally in sorted(scoring.by_kind(results).items(), key=lambda item: (-item[1].truths, item[0])):
        lines.append(_line(kind, tally))
    given, hits, twice, other = scoring.invention(results)
    bad = hits + twice + other
    share = 100 * bad / given if given else 0.0
    lines.append(
        f"invented: {bad} of {given} facts = {share:.1f} in 100 (target 1.0): "
        f"{hits} that must not be there, {twice} said twice, {other} other"
    )
    mute, wrong, told = scoring.silent(results)
    lines.append(
        f"wrong without a flag: {len(mute)} of {told} facts with a number, a time or a side = "
        f"{100 * len(mute) / max(told, 1):.1f} in 100 ({wrong} wrong altogether)"
    )
    sorts = ("wrong", "not given", "where none belongs", "of a missed fact", "of an invented fact")
    sides = scoring.side_faults(results)
    lines.append("sides: " + ", ".join(f"{sides[name]} {name}" for name in sorts))
    numbered = [name for result in results for truth, _, name in result.right if truth.numeric and truth.name]
    if numbered:
        lines.append(f"right number under the right name: {sum(numbered)} of {len(numbered)}")
    return "\n".join(lines)


def _describe(fact: Fact) -> str:
    amount = f"{fact.low}..{fact.high}" if fact.low is not None else "" if fact.value is None else str(fact.value)
    parts = [fact.name, fact.text, amount, fact.unit, fact.laterality]
    parts += [item for item in (fact.status, fact.certainty) if item not in ("performed", "affirmed")]
    return f"{fact.kind}: " + " | ".join(part for part in parts if part) + f"   <{fact.evidence.heard}>"


def errors(results: Sequence[Result]) -> str:
    """Every missed, wrong and invented fact, narration by narration."""
    lines = []
    for result in results:
        lines.append(f"-- {result.narration.id}")
        lines += [f"   missed    {truth}" for truth in result.missed]
        for truth, fact, bad in result.wrong:
            lines.append(f"   wrong     {truth}   ({', '.join(bad)})   got {_describe(fact)}")
        lines += [f"   absent    {_describe(fact)}   ({absent.why})" for absent, fact in result.absent_hits]
        lines += [f"   twice     {_describe(fact)}" for fact in result.twice]
        lines += [f"   invented  {_describe(fact)}" for fact in result.invented]
        lines += [f"   no flag   {_describe(fact)}" for fact in scoring.silent([result])[0]]
    return "\n".join(lines)


def speed(narrations: Sequence[Narration]) -> str:
    """Narrations of 150 words a second of processor time (so of one core), after one narration as warm-up: to the
    checked note, and from words to facts alone. The best of three rounds, since machines are noisy."""
    run(narrations[0].text)
    words = sum(len(item.text.split()) for item in narrations)
    note, facts = (
        words / 150 / min(_seconds(narrations, reader) for _ in range(_ROUNDS)) for reader in (run, _to_facts)
    )
    return (
        f"speed: {note:.1f} narrations of 150 words a second to the checked note, {facts:.1f} from words to facts "
        f"({len(narrations)} narrations, {words} words, one core, after loading, best of {_ROUNDS}; target 100)"
    )


_ROUNDS = 3


def _seconds(narrations: Sequence[Narration], reader: Callable[[str, str], object]) -> float:
    begin = time.process_time()
    for item in narrations:
        reader(item.text, item.id)
    return time.process_time() - begin


def _to_facts(text: str, name: str) -> object:
    from pipeline import grammar
    from pipeline import run as stages

    return stages.understand(stages.from_text(text, name).words, grammar.load())


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--errors", action="store_true", help="list every fault of the train part")
    parser.add_argument("--unblind", action="store_true", help="list those of the test part too")
    parser.add_argument("--only", help="only this narration")
    parser.add_argument("--part", choices=PARTS, help="only this part")
    parser.add_argument("--told", choices=list(retold.WAYS), default="plain", help="without marks, or with hesitations")
    options = parser.parse_args(arguments)
    ran: list[Narration] = []
    for part in PARTS:
        if options.part not in (None, part):
            continue
        narrations = [item for item in gold_truth.load(part) if options.only in (None, item.id)]
        if not narrations:
            continue
        ran += narrations
        results = measure(narrations, lambda text, name: run(retold.WAYS[options.told](text), name))
        print(report(part, results))
        if options.errors and (part != "test" or options.unblind):
            print(errors(results))
        print()
    if not ran:
        print("No narration of that name.", file=sys.stderr)
        return 2
    print(speed(ran))
    return 0


if __name__ == "__main__":
    sys.exit(main())
