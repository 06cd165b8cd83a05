"""How long exports of short and very long notes take and how much memory; then planted faults against validators.

python benchmarks/fhir.py [--words]
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "benchmarks")]

import fhir_faults as table  # noqa: E402
import notes  # noqa: E402

from pipeline import grammar  # noqa: E402
from pipeline.exports import fhir_document, fhir_transaction, mdm  # noqa: E402
from pipeline.site import Site  # noqa: E402


def main(arguments: list[str]) -> int:
    rules = grammar.load()
    parts = {"docx": b"x" * 60_000}
    print(f"{'note':12}{'form':14}{'facts':>7}{'kB':>8}{'seconds':>10}{'peak MB':>10}")
    for name in ("hip", "every_kind", "many_draws", "odd_text"):
        note = notes.NOTES[name]()
        for form, module in (("document", fhir_document), ("transaction", fhir_transaction), ("hl7 v2", mdm)):
            started = time.perf_counter()
            made = module.write(note, rules, Site(), parts)
            seconds = time.perf_counter() - started
            tracemalloc.start()
            module.write(note, rules, Site(), parts)
            peak = tracemalloc.get_traced_memory()[1] / 1e6
            tracemalloc.stop()
            print(f"{name:12}{form:14}{len(note.facts):7}{len(made) / 1000:8.0f}{seconds:10.2f}{peak:10.1f}")
    print()
    return table.main(arguments)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
