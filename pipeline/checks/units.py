"""A unit that cannot measure what it was said for."""

from __future__ import annotations

from pipeline.checks.base import called, finding, shown
from pipeline.conversion import convertible
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.rows import Kind, Unit

MEANING = "A value whose unit cannot measure its kind: a volume in millimetres, a length in millilitres."

# A unit that convertibly measures the dimension, for units that no row of units.toml names.
_SAMPLES = {
    "volume": ("mL",), "length": ("mm",), "mass": ("mg",), "time": ("min",), "pressure": ("mm[Hg]",),
    "amount": ("[USP'U]",), "catalytic": ("U",), "molar": ("mmol", "meq"), "fraction": ("%",), "angle": ("deg",),
    "concentration": ("mg/mL", "[USP'U]/mL", "%", "mmol/L"), "mass_concentration": ("mg/mL", "[USP'U]/mL"),
    "rate": ("mL/h", "mg/h", "[USP'U]/h", "mg/kg/h"), "area": ("cm2",), "temperature": ("Cel",),
    "french": ("[Ch]",), "gauge": ("{gauge}",), "turns": ("{turn}", "deg"), "ratio": ("1",),
}  # fmt: skip
# What sounds or looks alike and was likely meant. Only told, never put in.
_LIKELY = {("mm", "volume"): "mL", ("mL", "length"): "mm", ("cm", "volume"): "mL", ("mg", "volume"): "mL",
           ("mL", "mass"): "mg", ("mg", "length"): "mm", ("mm", "mass"): "mg", ("mm", "pressure"): "mmHg"}  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    kinds = grammar.table("kinds", Kind)
    dimensions = {row.ucum: row.dimension for row in grammar.table("units", Unit).values()}
    found: list[Finding] = []
    for fact in note.facts:
        kind = kinds.get(fact.kind)
        if kind is None or fact.unit is None or kind.value not in ("quantity", "count"):
            continue
        if dimensions.get(fact.unit) in kind.dimensions or _measures(fact.unit, kind.dimensions):
            continue
        if not kind.dimensions:
            continue
        wanted = " or ".join(one.replace("_", " ") for one in kind.dimensions if one != "none") or "no unit"
        likely = next((_LIKELY[fact.unit, one] for one in kind.dimensions if (fact.unit, one) in _LIKELY), "")
        found.append(
            finding(
                "units",
                "blocking",
                f"{' '.join((kind.name, called(fact, grammar))).strip()}: {shown(fact)} is no {wanted}.",
                [fact],
                ask="Say the value again with its unit." + (f" Was it {likely}?" if likely else ""),
            )
        )
    return found


def _measures(unit: str, dimensions: tuple[str, ...]) -> bool:
    return any(convertible(unit, sample) for one in dimensions for sample in _SAMPLES.get(one, ()))
