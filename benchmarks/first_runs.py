"""Where the reader is likely wrong: first runs of earlier code on gold that was written later, with today's doubts.

    python benchmarks/first_runs.py COMMIT [--list]

Checks COMMIT out beside the repository, lets its code read every narration that tests/gold/ (but for the test part)
got after it, and compares with the truth, so that the figures are those of text that the reader had never seen.
Then `pipeline/unsure.py` of today looks at the facts that stood without a flag. Printed are how many of the wrong ones
and of the right ones it doubts, by form of doubt; `--list` names each. A wrong fact that today's code tells in the same
way is left out: mostly the truth tells it as another kind.
"""

from __future__ import annotations

import argparse
import os
import pickle
import re
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import gold_scoring
import gold_truth

ROOT = Path(__file__).resolve().parent.parent
_FACT = ("id kind name text value low high comparator unit laterality body_site status certainty group role scale "
         "doubts alternatives").split()  # fmt: skip


def added_since(commit: str) -> list[Path]:
    """The narrations of tests/gold/ that came after a commit, but for the test part."""
    told = subprocess.run(
        ["git", "log", "--diff-filter=A", "--name-only", "--format=", f"{commit}..HEAD", "--", "tests/gold"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    ).stdout.split()  # fmt: skip
    paths = sorted({ROOT / name for name in told if name.endswith(".toml")})
    return [path for path in paths if path.exists() and path.parent.name != "test"]


def read(commit: str) -> list[dict[str, Any]]:
    """What the code on the import path makes of the narrations: plain data, whatever its records are."""
    from pipeline import run

    readings = []
    understand = run.understand

    def listen(*given: Any) -> Any:
        readings.append(understand(*given))
        return readings[-1]

    run.understand = listen
    rows = []
    for path in added_since(commit):
        item = gold_truth.read(path)
        note = run.note_from_text(item.text, name=item.id)
        result = gold_scoring.compare(item, note.facts, gold_scoring.flagged(note))
        wrong = {fact.id for _, fact, why in result.wrong if why != ["side"] or fact.laterality is not None}
        wrong |= {fact.id for fact in gold_scoring.extras(result)}
        right = {fact.id for _, fact, _ in result.right}
        facts = [
            {name: getattr(fact, name) for name in _FACT}
            | {"evidence": (fact.evidence.first, fact.evidence.last, None, None, fact.evidence.heard)}
            for fact in note.facts
        ]
        sentences = [
            ([(t.text, t.norm, t.first, t.last, t.quantity and tuple(
                getattr(t.quantity, name) for name in
                "value low high unit said_unit dimension comparator form text doubts".split()
            ), t.punctuation) for t in one.tokens], one.section,
             [(m.table, m.id, m.first, m.last) for m in one.mentions],
             [(s.axis, s.value, s.first, s.last, s.rule) for s in one.scopes])
            for one in readings[-1][0].sentences
        ]  # fmt: skip
        rows.append({"id": item.id, "facts": facts, "sentences": sentences, "wrong": wrong, "right": right,
                     "flagged": set(result.flagged)})  # fmt: skip
    return rows


def _same(fact: dict[str, Any]) -> tuple[Any, ...]:
    return tuple(fact[name] for name in ("kind", "value", "low", "high", "unit", "laterality", "status", "certainty"))


def count(then: list[dict[str, Any]], today: list[dict[str, Any]], listed: bool) -> str:
    """The figures of today's doubts on the facts of earlier code that stood without a flag."""
    from pipeline import grammar, unsure
    from pipeline.records import Evidence, Fact, Mention, Quantity, Reading, Scope, Sentence, Token

    still = {row["id"]: {_same(fact) for fact in row["facts"]} for row in today}
    seen: Counter[tuple[str, str]] = Counter()
    lines = []
    for row in then:
        sentences = tuple(
            Sentence(at, tuple(Token(*token[:4], token[4] and Quantity(*token[4]), token[5]) for token in tokens), (),
                     section, tuple(Mention(*one) for one in mentions), tuple(Scope(*one) for one in scopes))
            for at, (tokens, section, mentions, scopes) in enumerate(row["sentences"])
        )  # fmt: skip
        facts = [Fact(**fact | {"evidence": Evidence(*fact["evidence"])}) for fact in row["facts"]]
        for fact, told in zip(row["facts"], unsure.doubt(facts, Reading((), sentences), grammar.load()), strict=True):
            what = "wrong" if fact["id"] in row["wrong"] else "right" if fact["id"] in row["right"] else ""
            if not what or fact["id"] in row["flagged"] or (what == "wrong" and _same(fact) in still[row["id"]]):
                continue
            seen[what, ""] += 1
            for doubt in told.doubts:
                seen[what, "doubted"] += 1
                seen[what, re.sub(r"'[^']*'", "'...'", doubt.removeprefix(unsure.LEAD))] += 1
                lines.append(f"   {what}  {row['id']}  {fact['kind']} {fact['evidence'][4]}  {doubt}")
    table = [f"{'':90} wrong  right", *(
        f"{form or 'without a flag':90} {seen['wrong', form]:5}  {seen['right', form]:5}"
        for form in sorted({form for _, form in seen}, key=lambda form: -seen["wrong", form] - seen["right", form])
    )]  # fmt: skip
    return "\n".join([*table, *(lines if listed else [])])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("commit")
    parser.add_argument("--list", action="store_true", help="name every fact that is doubted")
    parser.add_argument("--dump", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.dump:
        options.dump.write_bytes(pickle.dumps(read(options.commit)))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        code, dump = Path(folder) / "code", Path(folder) / "dump"
        subprocess.run(["git", "worktree", "add", "--quiet", "--detach", code, options.commit], cwd=ROOT, check=True)
        try:
            path = os.pathsep.join([str(code), str(Path(__file__).parent)])
            subprocess.run([sys.executable, __file__, options.commit, "--dump", dump], cwd=code, check=True,
                           env=os.environ | {"PYTHONPATH": path, "VOXOP_CACHE": f"{folder}/cache"})  # fmt: skip
        finally:
            subprocess.run(["git", "worktree", "remove", "--force", code], cwd=ROOT, check=True)
        print(count(pickle.loads(dump.read_bytes()), read(options.commit), options.list))
    return 0


if __name__ == "__main__":
    sys.exit(main())
