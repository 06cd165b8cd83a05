"""Real operative notes that lie beside the checkout: do they crash, and is every number that a note holds in its text?

Run: python benchmarks/pool.py   (make bench-pool, ARGS="--every 5" for each fifth note)

The notes are ../shared/notes_pool.jsonl (fields `id`, `text`); without it nothing is measured and the command says so.
Each is taken the whole way to a checked note and its exports. A number is in the text when the words that the fact
names as its evidence, read again by themselves, hold it. Nothing of the notes is printed but their ids.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path

from pipeline import grammar, quantities, run, tokens
from pipeline.records import Fact

POOL = Path(__file__).resolve().parents[2] / "shared" / "notes_pool.jsonl"


# Words that count without a numeral: "both screws", "a single wire", "another implant".
COUNTING = {"both": Decimal(2), "single": Decimal(1), "another": Decimal(1)}


def numbers(words: str) -> set[Decimal]:
    """Every number of these words, read by themselves; of a pair ("140/70") both, and what a word counts."""
    found: set[Decimal] = set()
    for token in quantities.merge(tokens.tokenize(tokens.words_from_text(words))):
        quantity = token.quantity
        if quantity is None:
            found |= {COUNTING[token.norm]} if token.norm in COUNTING else set()
            continue
        found |= {value for value in (quantity.value, quantity.low, quantity.high) if value is not None}
        if quantity.form in ("pair", "size"):
            found |= {Decimal(part) for part in quantity.text.replace("x", "/").split("/") if part.isdigit()}
    return found


def unsaid(facts: Iterable[Fact], text: str) -> list[Fact]:
    """Facts with a number that is not in their words, or whose words are not in the text."""
    whole = " ".join(text.split())
    result = []
    for fact in facts:
        held = {value for value in (fact.value, fact.low, fact.high) if value is not None}
        if not held:
            continue
        said = {value for piece in (fact.evidence, *fact.also) for value in numbers(piece.heard)}
        # words are cut apart at marks ("4cm", "x-ray"): letters and digits alone are compared
        there = _bare(fact.evidence.heard) in _bare(whole)
        if not held <= said or not there:
            result.append(fact)
    return result


def _bare(text: str) -> str:
    return "".join(letter for letter in text.lower() if letter.isalnum())


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Real notes: crashes, and numbers that are not in their text.")
    parser.add_argument("--every", type=int, default=1, help="take each n-th note")
    parser.add_argument("--exports", action="store_true", help="make the exports too")
    options = parser.parse_args(argv)
    if not POOL.exists():
        print(f"skipped: no {POOL.parent.name}/{POOL.name} beside the checkout")
        return 0
    rules, site = grammar.load(), run.Site()
    counts: Counter[str] = Counter()
    findings: Counter[str] = Counter()
    crashed: list[str] = []
    missing: list[str] = []
    for line in POOL.read_text(encoding="utf-8").splitlines()[:: options.every]:
        row = json.loads(line)
        counts["notes"] += 1
        try:
            note = run.make_note(run.from_text(row["text"], str(row["id"])), rules)
            if options.exports:
                run.export(note, run.OUTPUTS, rules, site)
        except Exception as problem:  # every crash counts, whatever its kind
            crashed.append(f"{row['id']}: {type(problem).__name__}")
            continue
        numbered = [fact for fact in note.facts if {fact.value, fact.low, fact.high} != {None}]
        counts["facts"] += len(note.facts)
        counts["facts with a number"] += len(numbered)
        counts["facts with a side"] += sum(fact.laterality is not None for fact in note.facts)
        counts["numbers left over, shown as such"] += sum(len(one.unplaced) for one in note.sections.description)
        missing += [f"{row['id']}: {fact.kind}" for fact in unsaid(numbered, row["text"])]
        findings.update(f"{one.severity} {one.check}" for one in note.findings)
    for name, count in counts.items():
        print(f"{name:40} {count}")
    print(f"{'crashed':40} {len(crashed)}  {', '.join(crashed)}")
    print(f"{'facts whose number is not in their words':40} {len(missing)}  {', '.join(missing)}")
    print("findings")
    for name, count in sorted(findings.items()):
        print(f"  {name:38} {count}")
    return 1 if crashed else 0


if __name__ == "__main__":
    sys.exit(main())
