"""Plants faults into good FHIR bundles and prints which validator catches which (fault x validator).

    python benchmarks/fhir_planted.py [--words]

`--words` adds what the first validator that caught it says. Needs the node tools (`make tools`).
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import fhir_planted  # noqa: E402
import fhir_tools  # noqa: E402


def main(arguments: list[str]) -> int:
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
