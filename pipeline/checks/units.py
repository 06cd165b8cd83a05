"""A unit that cannot measure what it was said for."""

from __future__ import annotations

from functools import lru_cache

from pipeline.checks.base import called, finding, shown
from pipeline.conversion import convertible
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.rows import Concept, Kind, Unit

MEANING = "A value whose unit cannot measure its kind: a volume in millimetres, a length in millilitres."

# A unit that convertibly measures the dimension, for units that no row of units.toml names.
_SAMPLES = {
    "volume": ("mL",), "length": ("mm",), "mass": ("mg",), "time": ("min",), "pressure": ("mm[Hg]",),
    "amount": ("[USP'U]",), "catalytic": ("U",), "molar": ("mmol", "meq"), "fraction": ("%",), "angle": ("deg",),
    "concentration": ("mg/mL", "[USP'U]/mL", "%", "mmol/L"), "mass_concentration": ("mg/mL", "[USP'U]/mL"),
    "rate": ("mL/h", "mg/h", "[USP'U]/h", "mg/kg/h"), "area": ("cm2",), "temperature": ("Cel",),
    "mass_per_mass": ("mg/kg",), "amount_per_mass": ("[USP'U]/kg", "mmol/kg"), "volume_per_mass": ("mL/kg",),
    "refraction": ("[diop]",),
    "french": ("[Ch]",), "gauge": ("{gauge}",), "turns": ("{turn}", "deg"), "ratio": ("1",),
}  # fmt: skip
# What sounds or looks alike and was likely meant. Only told, never put in.
_LIKELY = {("mm", "volume"): "mL", ("mL", "length"): "mm", ("cm", "volume"): "mL", ("mg", "volume"): "mL",
           ("mL", "mass"): "mg", ("mg", "length"): "mm", ("mm", "mass"): "mg", ("mm", "pressure"): "mmHg"}  # fmt: skip


_TOLD = ("volume", "length", "mass", "time", "pressure", "amount", "fraction", "angle", "concentration", "rate", "area",
         "temperature", "french", "gauge", "turns", "ratio")  # fmt: skip
# What a length or an angle is misheard as.
_SLIPS = frozenset({"volume", "mass", "pressure", "amount"})
# Groups of measures.toml whose values have one dimension; the others may be measured in anything.
_MEASURES = {"length": ("length", "area", "french", "none"), "angle": ("angle", "none"), "pressure": ("pressure",)}


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    kinds = grammar.table("kinds", Kind)
    measures = grammar.table("measures", Concept)
    dimensions = _dimensions(grammar)
    found: list[Finding] = []
    for fact in note.facts:
        kind = kinds.get(fact.kind)
        if kind is None or fact.unit is None or kind.value not in ("quantity", "count"):
            continue
        if fact.kind in ("fluid_in", "fluid_out") and fact.unit.startswith("{"):
            continue  # blood products are counted in units and packs
        allowed = kind.dimensions
        if fact.kind == "measurement":
            row = measures.get(fact.name or "")
            allowed = _MEASURES.get(row.group, ()) if row is not None else ()
            if row is None and _is_pressure(fact.text):
                allowed = ("pressure",)
            elif dimensions.get(fact.unit, "") not in _SLIPS:
                continue  # the words may well have meant something else that was measured
        if not allowed or dimensions.get(fact.unit) in allowed or _measures(fact.unit, allowed):
            continue
        wanted = " or ".join(one.replace("_", " ") for one in allowed if one in _TOLD) or "number without a unit"
        likely = next((_LIKELY[fact.unit, one] for one in allowed if (fact.unit, one) in _LIKELY), "")
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


def _is_pressure(text: str | None) -> bool:
    """ "Pressure in the volar compartment": the pressure itself, no place that is named after it."""
    return (text or "").lower().split()[:1] == ["pressure"] or (text or "").lower().split()[-1:] == ["pressure"]


@lru_cache(maxsize=4)
def _dimensions(grammar: Grammar) -> dict[str, str]:
    return {row.ucum: row.dimension for row in grammar.table("units", Unit).values()}


def _measures(unit: str, dimensions: tuple[str, ...]) -> bool:
    return any(convertible(unit, sample) for one in dimensions for sample in _SAMPLES.get(one, ()))
