"""The demo recording through the whole main job (`make bench-demo`).

Prints word error and critical-word error against the script, facts found, missed and wrong against the hand-written
truth (for the recording and for the script as text), findings against the expected ones, wall time, peak memory of the
main job in a process of its own, and the size of the installation.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import gold_scoring
import gold_truth
import words

from pipeline import grammar, run, wordlist
from pipeline.note import OperativeNote, load

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "audio_demo"


def main() -> int:
    rules = grammar.load()
    truth = gold_truth.read(DEMO / "truth.toml")
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder)
        began = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "pipeline.cli", "note", str(DEMO / "dictation.flac"), "--out", folder, "--quiet"],
            check=True, cwd=ROOT, env=os.environ,
        )  # fmt: skip
        seconds = time.perf_counter() - began
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        note = load(out / "note.json")
        heard = wordlist.read(out / "words.json")
        bundle = json.loads((out / "bundle.json").read_text(encoding="utf-8"))
    errors = words.compare((DEMO / "script.txt").read_text(encoding="utf-8"), heard.words, rules)
    print(f"recording {heard.seconds:.0f} s, main job {seconds:.1f} s (factor {seconds / heard.seconds:.2f}), "
          f"peak memory {peak:.0f} MB, {len(bundle['entry'])} resources")  # fmt: skip
    print(f"word error {100 * errors.word_error:.1f} % of {errors.words}, "
          f"critical-word error {100 * errors.critical_error:.1f} % of {sum(errors.critical.values())}")  # fmt: skip
    for kind in words.CLASSES:
        print(f"  {kind:9} {errors.critical_wrong[kind]} of {errors.critical[kind]} wrong")
    for kind, lost, made in errors.examples:
        print(f"  [{kind}] {lost!r} heard as {made!r}")
    report("recording", truth, note)
    report("script as text", truth, run.note_from_text(truth.text, "script.txt"))
    size = sum(path.stat().st_size for path in Path(sys.prefix).rglob("*") if path.is_file()) / 1e6
    print(f"installation {size:.0f} MB (with the parts that only tests need, if they are installed)")
    return 0


def report(title: str, truth: gold_truth.Narration, note: OperativeNote) -> None:
    """Facts and findings of one note against the truth."""
    result = gold_scoring.compare(truth, note.facts)
    required = [fact for fact in result.missed if not fact.optional]
    print(f"\n{title}: {len(truth.facts)} facts in the truth, {len(result.right)} right, {len(result.wrong)} wrong, "
          f"{len(required)} missed, {len(result.invented) + len(result.absent_hits)} invented")  # fmt: skip
    for expected, fact, bad in result.wrong:
        print(f"  wrong   {expected} <- {fact.evidence.heard!r}: {', '.join(bad)}")
    for expected in required:
        print(f"  missed  {expected}")
    for fact in result.invented:
        print(f"  invented {fact.kind} {fact.name or fact.text or ''} {fact.value or ''} <- {fact.evidence.heard!r}")
    for expected, fact in result.absent_hits:
        print(f"  must not be there: {expected} <- {fact.evidence.heard!r}")
    print("findings (blocking and warnings):")
    for finding in note.findings:
        if finding.severity != "note":
            print(f"  {finding.severity:8} {finding.check}: {finding.message} {finding.arithmetic}")


if __name__ == "__main__":
    sys.exit(main())
