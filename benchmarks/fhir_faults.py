"""Plants faults into good FHIR bundles and prints which validator catches which (fault x validator); before that,
how long exports of short and very long notes take and how much memory.

    python benchmarks/fhir_planted.py [--words]

`--words` adds what the first validator that caught it says. Needs the node tools (`make tools`).
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import fhir_planted  # noqa: E402
import fhir_tools  # noqa: E402
import notes  # noqa: E402

from pipeline import grammar  # noqa: E402
from pipeline.exports import fhir_document, fhir_transaction, mdm  # noqa: E402
from pipeline.site import Site  # noqa: E402


def show_times() -> None:
    """Seconds and peak memory of each export."""
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


def main(arguments: list[str]) -> int:
    show_times()
    print()
    node = fhir_tools.node_is_here()
    if not node:
        print(fhir_tools.NO_NODE)
    texts = {fault.name: fhir_tools.dump(fhir_planted.broken(fault)) for fault in fhir_planted.FAULTS}
    good = {form: fhir_tools.dump(fhir_planted.good(form == "transaction")) for form in ("document", "transaction")}
    found = fhir_tools.verdicts({**texts, **good}, node)
    names = [name for name in fhir_tools.NAMES if name in found["document"]]
    width = max(map(len, texts))
    print(f"{'fault':{width}}  " + "  ".join(names))
    for fault in texts:
        caught = found[fault]
        print(f"{fault:{width}}  " + "  ".join(f"{'x' if caught[name] else '.':^{len(name)}}" for name in names))
        if "--words" in arguments:
            print("    " + next((f"{name}: {caught[name][0][:150]}" for name in names if caught[name]), "MISSED"))
    totals = [sum(bool(found[fault][name]) for fault in texts) for name in names]
    print(
        f"{f'caught of {len(texts)}':{width}}  "
        + "  ".join(f"{n:^{len(m)}}" for n, m in zip(totals, names, strict=True))
    )
    missed = [fault for fault in texts if not any(found[fault][name] for name in names)]
    others = [fault for fault in texts if not any(found[fault][name] for name in names if name != "own rules")]
    false = [form for form in good if any(found[form][name] for name in names)]
    print(f"missed by all: {len(missed)} {missed or ''}")
    print(f"caught by the own rules alone: {len(others)}")
    print(f"good bundles refused: {len(false)} {[found[form] for form in false] or ''}")
    return 1 if missed or false else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
