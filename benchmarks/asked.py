"""Is what was said asked for again, and does what was not said count as said? Both ways, over benchmarks/asked.toml.

    python benchmarks/asked.py [--only NAME]

Each narration goes the whole way under the profiles of both countries. An element that was said must not be asked for
by a warning; one that was not said must stand as "not said" in the sign-out list.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

from checks import ASKED, MADE_AT, _as_said

from pipeline import grammar, run

NARRATIONS = Path(__file__).resolve().parent / "asked.toml"
PROFILES = ("us", "uk")
# Told or left out at will: nobody is asked for these by a warning.
_AT_WILL = frozenset({
    "surgeon", "assistants", "patient", "date", "equipment", "recovery", "implants", "drains", "drain", "indication",
    "pressure", "irrigation", "monitoring", "description",
})  # fmt: skip
# The same thing under another id.
_SAME = {"specimen": "specimens", "pathology": "specimens", "weight": "aftercare"}


@dataclass
class Asked:
    """What came of one or more narrations. `again`: asked for by a warning although said; `quiet`: by a note;
    `silent`: counted as said although it was not; each as "narration: element"."""

    said: int = 0
    unsaid: int = 0
    again: list[str] = field(default_factory=list)
    quiet: list[str] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)


def ask(name: str, text: str, unsaid: frozenset[str]) -> Asked:
    """What is asked of one narration, of which the elements `unsaid` were not told."""
    rules, found = grammar.load(), Asked()
    state: dict[str, str] = {}
    loud: dict[str, bool] = {}
    for profile in PROFILES:
        note = run.note_from_text(text, name=name, profile=profile, made_at=MADE_AT)
        for item in run.checking.signout(note, rules):
            state.setdefault(item.element.id, item.state)
        for one in note.findings:
            if one.check in ASKED:
                element = one.key.split(":")[-1]
                loud[element] = loud.get(element, False) or one.severity != "note"
    for element, told in sorted(state.items()):
        if element in _AT_WILL:
            continue
        if element in unsaid or _SAME.get(element) in unsaid:
            found.unsaid += 1
            found.silent += [f"{name}: {element}"] if told != "not said" else []
            continue
        found.said += 1
        if told == "not said" and element in loud:
            (found.again if loud[element] else found.quiet).append(f"{name}: {element}")
    return found


def narrations() -> dict[str, tuple[str, frozenset[str], frozenset[str]]]:
    """{name: (text, elements not said, elements known to be asked for although said)}."""
    rows = tomllib.loads(NARRATIONS.read_text(encoding="utf-8"))
    return {name: (_as_said(row), frozenset(row["unsaid"]), frozenset(row.get("open", ())))
            for name, row in rows.items()}  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default="", help="narrations whose name holds this")
    options = parser.parse_args()
    told = [(name, *row) for name, row in narrations().items() if options.only in name]
    found = [ask(name, text, unsaid) for name, text, unsaid, _ in told]
    again, quiet, silent = ([line for one in found for line in getattr(one, kind)]
                            for kind in ("again", "quiet", "silent"))  # fmt: skip
    said, unsaid = sum(one.said for one in found), sum(one.unsaid for one in found)
    print(f"narrations: {len(told)}; elements said: {said}, not said: {unsaid}")
    print(f"asked for by a warning although said: {len(again)}, by a note: {len(quiet)}")
    print(f"counted as said although not said: {len(silent)}")
    print("\nasked although said:", *again, "\ncounted as said:", *silent, sep="\n  ")
    return 0


if __name__ == "__main__":
    sys.exit(main())
