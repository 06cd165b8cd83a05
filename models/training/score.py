"""What tune.py's weights heard at each strength, in figures: python models/training/score.py --heard FILE --check DIR

The last step of tune_all.py. Counts as the gate does (benchmarks/words.py, gate_tuned.py), but over whole lines decoded
greedily without voice activity detection, so that strengths can be compared at once; the gate itself judges what the
product hears. Strength 0, the base, must be among them. Halves are those of benchmarks/dictations.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "benchmarks")]
import gate_tuned as gate  # noqa: E402
import jiwer  # noqa: E402
import words  # noqa: E402

from pipeline import grammar, tokens  # noqa: E402

Pairs = Sequence[tuple[str, str]]  # script, heard


def people(pairs: Pairs, rules: grammar.Grammar) -> list[tuple[int, int]]:
    """(errors, words) of each utterance, numbers read on both sides."""
    found = []
    for script, heard in pairs:
        told = gate.plain(script.lower(), rules)
        result = jiwer.process_words(told, gate.plain(heard, rules))
        found.append((result.substitutions + result.deletions + result.insertions, len(told.split())))
    return found


def errors(pairs: Pairs, rules: grammar.Grammar) -> words.Errors:
    total = words.Errors()
    for script, heard in pairs:
        total.add(words.compare(script, tokens.words_from_text(heard), rules))
    return total


def table(heard: dict[str, Any], halves: dict[str, list[str]], rules: grammar.Grammar) -> list[str]:
    """One line a strength and a kind of sound. `halves`: name of the sound -> the half of each of its lines."""
    base = heard["0.0"]
    before = people(base["read"], rules)
    told = [f"{'':26}{'critical %':>12}{'words %':>9}{'numbers':>10}{'units':>9}{'made up':>9}"]
    for strength, row in heard.items():
        after = people(row["read"], rules)
        mean, upper = gate.worse_by(before, after)
        error = 100 * sum(wrong for wrong, _ in after) / max(1, sum(count for _, count in after))
        told.append(f"strength {strength}: {len(after)} utterances of people, words {error:.2f} %, {mean:+.2f} points, "
                    f"at most {upper:+.2f}")  # fmt: skip
        for name in (name for name in row if name != "read"):
            kinds = halves[name.split()[0]]
            for half in sorted(set(kinds), reverse=True):
                some = [at for at, kind in enumerate(kinds) if kind == half]
                scripts, said, was = ([store[name][at][part] for at in some] for store, part in
                                      ((row, 0), (row, 1), (base, 1)))  # fmt: skip
                found = errors(list(zip(scripts, said, strict=True)), rules)
                new = sum(len(gate.new(*lines, rules)) for lines in zip(scripts, was, said, strict=True))
                counts = (f"{found.critical_wrong[kind]}/{found.critical[kind]}" for kind in ("number", "unit"))
                told.append(f"  {f'{name}, {half}':24}{100 * found.critical_error:12.1f}{100 * found.word_error:9.1f}"
                            + "".join(f"{count:>{wide}}" for count, wide in zip(counts, (10, 9), strict=True))
                            + f"{new:9}")  # fmt: skip
    return told


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("heard", "check"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--out", type=Path, help="also into this file")
    given = take.parse_args()
    halves = {path.stem: [row["half"] for row in json.loads(path.read_text(encoding="utf-8"))]
              for path in given.check.glob("*.json") if path.stem != "bias"}  # fmt: skip
    told = table(json.loads(given.heard.read_text(encoding="utf-8")), halves, grammar.load())
    print("\n".join(told))
    if given.out:
        given.out.write_text("\n".join(told) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
