"""Doses and volumes against the strengths in which a drug is sold: "forty milligrams of depo, ten millilitres it"."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from pipeline.checks.base import amount, exact, finding, plain, rounded, shown
from pipeline.conversion import convert
from pipeline.dosing import Dose, strength
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug

_CURATED = frozenset({"steroid"})  # of these the table has all strengths that are sold
_ROUNDING = Decimal("0.02")
_FAR = 2
_OF_IT = re.compile(r"\b(?:of it|of that|of this|of the same)\b", re.I)
_MADE_UP = re.compile(r"\b(?:dilut\w*|made up|make up|mix\w*|combin\w*|total|together|saline|water|with|plus|and|in)\b|"
                      r"[+&]", re.I)  # fmt: skip


def sold(drug: Drug) -> list[Decimal]:
    """The strengths of a drug in mg/mL; [] where one of them is no solution of its mass."""
    found: list[Decimal] = []
    for text in drug.strengths:
        number, _, unit = text.partition(" ")
        read = strength(Decimal(number), unit) if number.replace(".", "", 1).isdigit() else None
        if read is None or read[1] != "mg":
            return []
        found.append(read[0])
    return found


def not_sold(note: OperativeNote, dose: Dose, grammar: Grammar) -> Finding | None:
    """A dose in a volume that would be a strength in which the drug is not sold: one of the two has the wrong unit or
    number. What was diluted is weaker."""
    drug = grammar.table("drugs", Drug).get(dose.drug)
    said, volume = dose.one("medication_dose"), dose.one("medication_volume")
    if drug is None or said is None or volume is None or dose.of("medication_concentration"):
        return None
    mass, room, strengths = exact(said, "mg"), exact(volume, "mL"), sold(drug)
    if mass is None or not room or not strengths or said.scale != volume.scale:
        return None
    worked = mass / room
    if any(abs(worked - one) <= one * _ROUNDING for one in strengths) or not _is_neat(note, said, volume, worked, drug):
        return None
    listed = ", ".join(f"{plain(one)} mg/mL" for one in strengths)
    return finding(
        "dose_arithmetic", "warning",
        f"{drug.name}: {shown(said)} in {shown(volume)} would be {rounded(worked)} mg/mL, in which it is not sold.",
        [said, volume], arithmetic=f"{shown(said)} / {shown(volume)} = {rounded(worked)} mg/mL, sold as {listed}",
        ask="Say the dose and the volume again, with their units.", about="sold",
    )  # fmt: skip


def _is_neat(note: OperativeNote, said: Fact, volume: Fact, worked: Decimal, drug: Drug) -> bool:
    """Whether the volume is told of the drug as it came: "of it", or with nothing that it was mixed with."""
    strengths = sold(drug)
    if worked > max(strengths) * _FAR:
        return bool(_CURATED & set(drug.classes))
    passage = next((one for one in note.sections.description if one.holds(volume)), None)
    if passage is None or not _CURATED & set(drug.classes):
        return False
    at = volume.evidence.last - passage.evidence.first
    behind = " ".join(passage.text.split()[at : at + 4])
    if _OF_IT.search(behind) or (said.evidence.last < volume.evidence.last and _is_bracketed(passage.text, volume)):
        return True
    alone = all(one.name in (None, drug.id) for one in note.of("medication_volume", "medication") if passage.holds(one))
    low, high = sorted((said, volume), key=lambda one: one.evidence.last)
    words = passage.text.split()[low.evidence.first - passage.evidence.first : high.evidence.last + 1]
    return alone and worked * _FAR < min(strengths) and not _MADE_UP.search(" ".join(words))


def _is_bracketed(text: str, volume: Fact) -> bool:
    """ "80 mg (2 mL)": the volume of that dose."""
    heard = volume.evidence.heard.split("(")
    return len(heard) > 1 and f"({heard[-1].rstrip('.,;')}" in text and heard[-1].rstrip(".,;").endswith(")")


def too_much(note: OperativeNote, grammar: Grammar, drugs: Mapping[str, Drug], volume: Fact) -> Finding | None:
    """A volume that is far above the usual dose even at the weakest strength that is sold."""
    drug = drugs.get(volume.name or "")
    strengths = sold(drug) if drug is not None else []
    room = exact(volume, "mL")
    row = limit(grammar, note.profile, "dose", drug=volume.name or "", unit="mg") if strengths else None
    if drug is None or row is None or row.high is None or room is None:
        return None
    least = room * min(strengths)
    if least <= convert(row.high, row.unit, "mg") * _FAR:
        return None
    return finding(
        "drug_volume", "warning", f"{drug.name}: {shown(volume)} is far above the usual dose at any strength.",
        [volume], arithmetic=f"{shown(volume)} x {plain(min(strengths))} mg/mL = {rounded(least)} mg against at most "
        f"{amount(row.high, row.unit)} ({row.source})", ask="Say the dose again, with its unit.", about="much",
    )  # fmt: skip
