"""Runs the case files of extractors: tests/cases/extractors/<name>/*.toml.

A file holds `[[case]]` tables:

say     the narration, as spoken or as typed
facts   what the extractor must find, exactly these of its KINDS and no more; only the fields given are compared
absent  what must not be there: a fact that has all the given fields (for kinds of other extractors too)
only    the kinds that `facts` lists completely; all kinds of the extractor when left out
source  where the truth is from, if not from reading the text

Values are strings ("2.50"); `value = "none"` (or unit, laterality, body_site ...) means that the field must be empty.
In `text` "none" is a value like any other ("Specimens: none").
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from pipeline import grammar, run
from pipeline.records import Fact

CASES = Path(__file__).parent / "cases" / "extractors"
FIELDS = {
    "kind", "name", "text", "value", "low", "high", "comparator", "unit", "laterality", "body_site", "status",
    "certainty", "role", "scale", "doubtful", "taken_back",
}  # fmt: skip


@dataclass(frozen=True)
class Case:
    extractor: str
    file: str
    number: int
    say: str
    facts: tuple[dict[str, Any], ...]
    absent: tuple[dict[str, Any], ...]
    only: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.extractor}/{self.file}:{self.number}"


def cases(*extractors: str) -> Iterator[Case]:
    """Every case of these extractors (all when none is named)."""
    for folder in sorted(CASES.iterdir()):
        if extractors and folder.name not in extractors:
            continue
        for file in sorted(folder.glob("*.toml")):
            content = tomllib.loads(file.read_text(encoding="utf-8"))
            for number, case in enumerate(content["case"], 1):
                unknown = {key for fact in case.get("facts", []) + case.get("absent", []) for key in fact} - FIELDS
                assert not unknown, f"{file}: unknown fields {unknown}"
                yield Case(
                    folder.name, file.name, number, case["say"], tuple(case.get("facts", ())),
                    tuple(case.get("absent", ())), tuple(case.get("only", ())),
                )  # fmt: skip


@lru_cache(maxsize=512)
def facts_of(text: str) -> tuple[Fact, ...]:
    """All facts of a narration, through the whole way (settled and numbered)."""
    return tuple(run.understand(run.from_text(text).words, grammar.load())[1])


def agrees(fact: Fact, wanted: dict[str, Any]) -> bool:
    """Whether a fact has all the wanted fields."""
    for key, value in wanted.items():
        if key == "doubtful":
            have: Any = bool(fact.doubts)
        elif key == "taken_back":
            have = " ".join(item.heard for item in fact.taken_back)
        else:
            have = getattr(fact, key)
        if value == "none" and key != "text":
            if have not in (None, "", "none"):
                return False
        elif isinstance(value, bool):
            if have is not value:
                return False
        elif have is None or str(have).lower() != str(value).lower():
            return False
    return True


def faults(case: Case, kinds: tuple[str, ...]) -> list[str]:
    """What is missed, what is there too many, and what is there and must not be; empty when all is right."""
    facts = facts_of(case.say)
    judged = set(case.only or kinds)
    left = [fact for fact in facts if fact.kind in judged]
    found: list[str] = []
    for wanted in sorted(case.facts, key=lambda item: -len(item)):
        pool = left if wanted["kind"] in judged else [fact for fact in facts if fact.kind == wanted["kind"]]
        match = next((fact for fact in pool if agrees(fact, wanted)), None)
        if match is None:
            found.append(f"missed {wanted}")
        elif match in left:
            left.remove(match)
    found += [f"too many {short(fact)}" for fact in left]
    for banned in case.absent:
        found += [f"must not be there {short(fact)}" for fact in facts if agrees(fact, banned)]
    return found


def short(fact: Fact) -> dict[str, str]:
    """The fields of a fact that hold something, for messages."""
    return {
        key: str(getattr(fact, key))
        for key in ("kind", "name", "text", "value", "low", "high", "comparator", "unit", "laterality", "body_site",
                    "role", "scale")
        if getattr(fact, key) is not None
    } | {"status": fact.status, "certainty": fact.certainty, "heard": fact.evidence.heard}  # fmt: skip
