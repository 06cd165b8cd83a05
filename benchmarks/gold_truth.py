"""Reads the hand-written truth of tests/gold/ (format and conventions: tests/gold/README.md)."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any, Literal

ROOT = Path(__file__).resolve().parent.parent
GOLD = ROOT / "tests" / "gold"
Part = Literal["train", "test", "heard", "sides", "fresh", "devices", "others", "scopes", "told", "marrow", "sided"]
# Further parts, each with figures of its own; every other folder is the train part.
FURTHER: tuple[Part, ...] = ("heard", "sides", "fresh", "devices", "others", "scopes", "told", "marrow", "sided")

FACT_FIELDS = frozenset(
    [
        "kind",
        "or_kind",
        "name",
        "text",
        "value",
        "low",
        "high",
        "comparator",
        "unit",
        "or_unit",
        "laterality",
        "body_site",
        "status",
        "certainty",
        "role",
        "scale",
        "optional",
        "note",
        "why",
    ]
)
LATERALITIES = frozenset({"left", "right", "bilateral", "none"})
STATUSES = frozenset({"performed", "planned", "conditional", "historical", "other_person"})
CERTAINTIES = frozenset({"affirmed", "negated", "suspected"})
SCALES = frozenset({"each", "per_side", "total"})
COMPARATORS = frozenset({"<", ">", "<=", ">=", "~"})


@dataclass(frozen=True)
class Expected:
    """A fact of the truth, or (with `why`) something that must not be extracted.

    `laterality` "none" means that a side is wrong; None means that it is not looked at closely (see README).
    """

    kind: str
    or_kind: tuple[str, ...] = ()
    name: str | None = None
    text: str | None = None
    value: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    comparator: str | None = None
    unit: str | None = None
    or_unit: str | None = None
    laterality: str | None = None
    body_site: str | None = None
    status: str = "performed"
    certainty: str = "affirmed"
    role: str | None = None
    scale: str | None = None
    optional: bool = False
    note: str | None = None
    why: str | None = None

    @property
    def kinds(self) -> tuple[str, ...]:
        return (self.kind, *self.or_kind)

    @property
    def numeric(self) -> bool:
        return self.value is not None or self.low is not None

    def __str__(self) -> str:
        amount = f"{self.low}..{self.high}" if self.low is not None else "" if self.value is None else str(self.value)
        parts = [self.name, self.text, amount, self.unit, self.laterality]
        if self.status != "performed":
            parts.append(self.status)
        if self.certainty != "affirmed":
            parts.append(self.certainty)
        return f"{self.kind}: " + " | ".join(part for part in parts if part)


@dataclass(frozen=True)
class ExpectedFinding:
    about: str
    check: str | None = None
    severity: str | None = None


@dataclass(frozen=True)
class Narration:
    """One narration with its truth. `part`: train, test, or one of FURTHER; `form`: spoken or typed."""

    id: str
    family: str
    form: str
    part: Part
    text: str
    facts: tuple[Expected, ...]
    absent: tuple[Expected, ...]
    findings: tuple[ExpectedFinding, ...]

    def sides(self) -> frozenset[str]:
        """The sides that this operation has (not those of the history or of other persons)."""
        return frozenset(
            fact.laterality
            for fact in self.facts
            if fact.laterality not in (None, "none") and fact.status not in ("historical", "other_person")
        )


def _expected(row: dict[str, Any], where: str) -> Expected:
    unknown = row.keys() - FACT_FIELDS
    if unknown:
        raise ValueError(f"{where}: unknown field {', '.join(sorted(unknown))}")
    row = dict(row)
    row["or_kind"] = tuple(row.get("or_kind", ()))
    for field in ("value", "low", "high"):
        if field in row:
            if not isinstance(row[field], str):
                raise ValueError(f"{where}: {field} must be a string, so that the decimal stays exact")
            try:
                row[field] = Decimal(row[field])
            except InvalidOperation as problem:
                raise ValueError(f"{where}: {field} is no decimal: {row[field]}") from problem
    for field, allowed in (
        ("laterality", LATERALITIES),
        ("status", STATUSES),
        ("certainty", CERTAINTIES),
        ("scale", SCALES),
        ("comparator", COMPARATORS),
    ):
        if row.get(field) is not None and row[field] not in allowed:
            raise ValueError(f"{where}: {field} is {row[field]}, allowed are {', '.join(sorted(allowed))}")
    if ("low" in row) != ("high" in row) or ("low" in row and "value" in row):
        raise ValueError(f"{where}: either value, or low and high")
    return Expected(**row)


def _widen(facts: list[Expected]) -> tuple[Expected, ...]:
    """Adds the kinds that say the same (README, convention 13)."""
    wide = []
    main_procedure_seen = False
    for fact in facts:
        more: tuple[str, ...] = ()
        if fact.kind == "procedure":
            more = ("act",) if main_procedure_seen else ()
            main_procedure_seen = True
        elif fact.kind == "diagnosis":
            more = ("preop_diagnosis", "indication")
        elif fact.kind == "finding" and fact.certainty != "negated":
            more = ("diagnosis",)
        elif fact.kind == "injection_needle":
            more = ("device_size",)
        elif fact.certainty == "negated" and fact.kind == "finding":
            more = ("complication",)
        elif fact.certainty == "negated" and fact.kind == "complication" and fact.name != "none":
            more = ("finding",)
        wide.append(replace(fact, or_kind=tuple(dict.fromkeys((*fact.or_kind, *more)))))
    return tuple(wide)


def read(path: Path) -> Narration:
    """One file. Raises ValueError that names the file and the fault."""
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    unknown = content.keys() - {"id", "family", "form", "text", "facts", "absent", "findings"}
    if unknown:
        raise ValueError(f"{path.name}: unknown key {', '.join(sorted(unknown))}")
    folder = path.parent.name
    named: dict[str, Part] = {"test": "test"} | {name: name for name in FURTHER}
    part = named.get(folder, "train")
    return Narration(
        id=content["id"],
        family=content["family"],
        form=content["form"],
        part=part,
        text=content.get("text") or (path.parent / "script.txt").read_text(encoding="utf-8"),
        facts=_widen([_expected(row, f"{path.name}: fact {n}") for n, row in enumerate(content["facts"], 1)]),
        absent=tuple(_expected(row, f"{path.name}: absent {n}") for n, row in enumerate(content["absent"], 1)),
        findings=tuple(ExpectedFinding(**row) for row in content["findings"]),
    )


def load(part: Part | None = None) -> list[Narration]:
    """All narrations of a part (train and test if none is named), in the order of their names."""
    parts: tuple[Part, ...] = ("train", "test") if part is None else (part,)
    return [read(path) for name in parts for path in sorted((GOLD / name).glob("*.toml"))]
