"""Local anaesthetics: what all injections of the operation come to, against the configured maxima."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from pipeline.checks._mixed import mixtures_of
from pipeline.checks._spoken_counts import shares
from pipeline.checks.base import EACH_OF_TWO, NOT_GIVEN, exact, finding, read, rounded, shown, span
from pipeline.dosing import Dose, doses, in_solution, maximum, told_behind, weight
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug, Limit

MEANING = "The running total of local anaesthetic is above the configured maximum, alone or as a sum of fractions."

# kg: of a child an absolute maximum for adults says nothing. Common practice, no source.
_LIGHT = Decimal(40)
_ADRENALINE = frozenset({"adrenaline", "epinephrine"})


@dataclass(slots=True)
class _Total:
    milligrams: Decimal = Decimal(0)
    terms: list[str] = field(default_factory=list)
    facts: list[Fact] = field(default_factory=list)
    with_adrenaline: bool = True


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    drugs = grammar.table("drugs", Drug)
    usable = [fact for fact in note.facts if fact.status == "performed" and fact.certainty == "affirmed"
              and fact.role not in NOT_GIVEN | {"aftercare"}]  # fmt: skip
    vasoconstricted = {fact.group for fact in usable if fact.kind == "adrenaline_ratio" or fact.name in _ADRENALINE}
    vasoconstricted |= set(_joined(note, usable, drugs))
    totals: dict[str, _Total] = {}
    found: list[Finding] = []
    strengths, times = _strengths(usable), _times(note, usable)
    for dose in told_behind(note, doses(usable)):
        drug = drugs.get(dose.drug)
        if drug is None or "local_anaesthetic" not in drug.classes:
            continue
        given = _milligrams(dose, strengths.get(dose.drug, []), times)
        if given is None:
            found += _left_out(dose, drug)
            continue
        total = totals.setdefault(dose.drug, _Total())
        if given[0] == total.milligrams and len(total.terms) > 1 and not dose.of("medication_volume"):
            continue  # "eighty milligrams of lidocaine", twice forty: the sum of what was told
        total.milligrams += given[0]
        total.terms.append(given[1])
        total.facts += [fact for fact in dose.facts if fact.value is not None]
        total.with_adrenaline &= any(fact.group in vasoconstricted for fact in dose.facts if fact.group)
    found += _shared(note, grammar, drugs, totals, vasoconstricted)
    return found + _against(note, grammar, drugs, totals)


_WITH = frozenset({"with", "plus", "and", "&", "+", "/", "containing"})
_TO_ADRENALINE = 8  # words between a local anaesthetic and the adrenaline in it


def _joined(note: OperativeNote, usable: list[Fact], drugs: Mapping[str, Drug]) -> Iterator[str | None]:
    """The groups of local anaesthetics that were said "with adrenaline", its ratio not told."""
    named = [fact for fact in usable if fact.kind == "medication" and fact.name in drugs]
    for fact in named:
        passage = next((one for one in note.sections.description if one.holds(fact)), None)
        if fact.name not in _ADRENALINE or passage is None:
            continue
        lead = passage.text.lower().split()[: fact.evidence.first - passage.evidence.first]
        before = [one for one in named if one.evidence.last < fact.evidence.first and passage.holds(one)]
        drug = max(before, key=lambda one: one.evidence.last, default=None)
        if drug is None or lead[-1:] == [] or lead[-1].strip(",") not in _WITH:
            continue
        near = fact.evidence.first - drug.evidence.last <= _TO_ADRENALINE
        if near and "local_anaesthetic" in drugs[drug.name or ""].classes:
            yield drug.group


def _shared(
    note: OperativeNote, grammar: Grammar, drugs: Mapping[str, Drug], totals: dict[str, _Total],
    vasoconstricted: set[str | None],
) -> list[Finding]:  # fmt: skip
    """Adds what is in a volume that was said of a mixture; tells where the shares or a strength were not said."""
    found: list[Finding] = []
    for mixture in mixtures_of(note, grammar):
        local = [at for at, fact in enumerate(mixture.drugs) if "local_anaesthetic" in drugs[fact.name or ""].classes]
        volume = exact(mixture.volume, "mL")
        if not local or mixture.own or volume is None:
            continue
        names = " and ".join(drugs[fact.name or ""].name for fact in mixture.drugs)
        if mixture.parts is None or any((mixture.drugs[at].name or "") not in mixture.strengths for at in local):
            why = "in what shares was not said" if mixture.parts is None else "not every strength was said"
            found.append(
                finding(
                    "local_anaesthetic", "note",
                    f"{shown(mixture.volume)} of {names} cannot be checked against a maximum: {why}.",
                    [mixture.volume, *mixture.drugs], ask="Say how much of each, and its strength.", about="shares",
                )
            )  # fmt: skip
            continue
        for at in local:
            name, part = mixture.drugs[at].name or "", volume * mixture.parts[at]
            given = _one([replace(mixture.volume, value=part, unit="mL", scale=None)], mixture.strengths[name], {})
            if given is None:
                continue
            total = totals.setdefault(name, _Total())
            total.milligrams += given[0]
            total.terms.append(f"share of {shown(mixture.volume)}: {given[1]}")
            total.facts += [mixture.volume, mixture.strengths[name]]
            total.with_adrenaline &= mixture.strengths[name].group in vasoconstricted
    return found


def _strengths(facts: list[Fact]) -> dict[str, list[tuple[int, Fact]]]:
    """Every place where a strength of a drug was said, in order. A strength said again is one fact with two places."""
    said: dict[str, list[tuple[int, Fact]]] = {}
    for fact in facts:
        if fact.kind == "medication_concentration" and fact.value is not None and fact.unit and fact.name:
            said.setdefault(fact.name, []).extend((one.last, fact) for one in (fact.evidence, *fact.also))
    return {drug: sorted(places, key=lambda place: place[0]) for drug, places in said.items()}


def _times(note: OperativeNote, facts: list[Fact]) -> dict[str, int]:
    """Fact id -> of how many its sentence says "each" ("5 mL through each of four portals")."""
    return {
        fact.id: number
        for fact in facts if fact.scale == "each"
        for passage in note.sections.description if passage.holds(fact)
        if (number := shares(read(passage)) or (2 if EACH_OF_TWO.search(passage.text) else None)) is not None
    }  # fmt: skip


def _milligrams(
    dose: Dose, strengths: list[tuple[int, Fact]], times: Mapping[str, int]
) -> tuple[Decimal, str] | None:
    """(mg, the sum as worked) of one giving; the stated dose where there is one. None when it cannot be told."""
    said = _whole(dose.of("medication_dose"), "mg", times)
    if said is not None:
        return said[0], f"{said[1]} mg"
    volumes = dose.of("medication_volume")
    own = sorted(dose.of("medication_concentration"), key=lambda fact: fact.evidence.last)
    if not own and volumes:
        own = _said_nearest(volumes, strengths)
    if len(own) > 1 and len(own) == len(volumes):
        # "10 mL of 1 %, then 10 mL of 2 %": in the order said.
        ordered = sorted(volumes, key=lambda fact: fact.evidence.last)
        return _added([_one([volume], strength, times) for volume, strength in zip(ordered, own, strict=True)])
    return _one(volumes, own[0], times) if len(own) == 1 else None


def _said_nearest(volumes: list[Fact], strengths: list[tuple[int, Fact]]) -> list[Fact]:
    """The strength for a giving that names none of its own: the only one of the drug, or the one said right there."""
    if len({(fact.value, fact.unit) for _, fact in strengths}) == 1:
        return [strengths[0][1]]
    first, last = min(one.evidence.first for one in volumes), max(one.evidence.last for one in volumes)
    return [fact for place, fact in strengths if first <= place <= last + _BESIDE][:1]


_BESIDE = 4  # words between a volume and the strength behind it


def _one(volumes: list[Fact], strength: Fact, times: Mapping[str, int]) -> tuple[Decimal, str] | None:
    volume = _whole(volumes, "mL", times)
    if strength.value is None or strength.unit is None or volume is None:
        return None
    worked = in_solution(strength.value, strength.unit, volume[0], "mL")
    if worked is None or worked[1] != "mg":
        return None
    return worked[0], f"{volume[1]} mL x {shown(strength)} = {rounded(worked[0])} mg"


def _added(parts: list[tuple[Decimal, str] | None]) -> tuple[Decimal, str] | None:
    known = [part for part in parts if part is not None]
    if len(known) < len(parts):
        return None
    return sum((amount for amount, _ in known), Decimal(0)), " + ".join(words for _, words in known)


def _left_out(dose: Dose, drug: Drug) -> list[Finding]:
    """A volume whose milligrams cannot be worked out: the total is without it, and says so."""
    volumes = dose.of("medication_volume")
    strengths = dose.of("medication_concentration")
    each = bool(volumes) and all(fact.scale == "each" for fact in volumes)
    if not volumes or (len(strengths) == 1 and not each):
        return []
    why = "several strengths were said" if len(strengths) > 1 else "its strength was not said"
    why = "how often it was given was not said" if each else why
    return [
        finding(
            "local_anaesthetic",
            "note",
            f"{' and '.join(shown(fact) for fact in volumes)} of {drug.name} cannot be checked against a maximum: "
            f"{why}.",
            [*volumes, *strengths],
            ask="Say the total." if each else "Say the strength of each volume.",
            about=f"strength-{dose.drug}",
        )
    ]


def _whole(facts: list[Fact], unit: str, times: Mapping[str, int]) -> tuple[Decimal, str] | None:
    """(amount, its terms) of all that was said of one drug: the total, else the sum; per side counts twice.

    What was said for each is a part of what was said for all, and alone it says nothing of the whole, unless it was
    said of how many (`times`).
    """
    for scale in ("total", None, "per_side", "each"):
        known = [(fact, exact(fact, unit)) for fact in facts if fact.scale == scale]
        if not known:
            continue
        parts: list[tuple[Decimal, str]] = []
        for fact, amount in known[:1] if scale == "total" else known:
            factor = 2 if scale == "per_side" else times.get(fact.id, 0) if scale == "each" else 1
            if amount is None or not factor:
                return None
            parts.append((amount * factor, f"{factor} x {rounded(amount)}" if scale == "each" else rounded(
                amount * factor)))  # fmt: skip
        whole = sum((amount for amount, _ in parts), Decimal(0))
        terms = " + ".join(words for _, words in parts)
        return whole, terms if len(parts) == 1 else f"({terms} = {rounded(whole)})"
    return None


def _against(
    note: OperativeNote, grammar: Grammar, drugs: Mapping[str, Drug], totals: dict[str, _Total]
) -> list[Finding]:
    found: list[Finding] = []
    fractions: list[tuple[str, Decimal, Decimal]] = []
    said_weight = weight(note)
    kilograms = _kilograms(said_weight)
    for drug, total in totals.items():
        suffix = "_with_adrenaline" if total.with_adrenaline else ""
        absolute = limit(grammar, note.profile, f"maximum{suffix}", drug=drug, unit="mg")
        per_kg = limit(grammar, note.profile, f"per_kg{suffix}", drug=drug)
        if per_kg is None and kilograms is not None and kilograms < _LIGHT:
            per_kg = limit(grammar, note.profile, "per_kg_light", drug=drug)
        if (thin := _tumescent(note, grammar, drug)) is not None:
            per_kg, absolute = thin, None
        most = maximum(per_kg.value if per_kg else None, absolute.value if absolute else None, kilograms)
        name = drugs[drug].name
        sources = "; ".join(dict.fromkeys(row.source for row in (per_kg, absolute) if row is not None))
        if most is not None:
            fractions.append((name, total.milligrams, most))
            if total.milligrams > most:
                with_words = " with adrenaline" if suffix else ""
                limit_words = (
                    f"{rounded(per_kg.value)} mg/kg x {rounded(kilograms)} kg = {rounded(per_kg.value * kilograms)} mg"
                    if per_kg and per_kg.value and kilograms is not None
                    else "absolute"
                )
                cap = f", at most {rounded(absolute.value)} mg" if absolute and absolute.value else ""
                found.append(
                    finding(
                        "local_anaesthetic",
                        "warning",
                        f"{name}{with_words}: {rounded(total.milligrams)} mg is above the configured maximum of "
                        f"{rounded(most)} mg.",
                        [*total.facts, *([said_weight] if said_weight and per_kg else [])],
                        arithmetic=f"{' + '.join(total.terms)}; maximum: {limit_words}{cap} ({sources})",
                        ask="Say the strength, volumes and weight again, or settle it with the reason.",
                        about=drug,
                    )
                )
        if per_kg is not None and per_kg.value is not None and kilograms is None:
            needed = total.milligrams / per_kg.value
            found.append(
                finding(
                    "local_anaesthetic",
                    "note",
                    f"No weight was said: {rounded(total.milligrams)} mg of {name} cannot be checked against "
                    f"{rounded(per_kg.value)} mg/kg.",
                    total.facts,
                    arithmetic=f"{rounded(total.milligrams)} mg / {rounded(per_kg.value)} mg/kg: within it from "
                    f"{rounded(needed, 1)} kg on ({per_kg.source})",
                    ask="Say the weight of the patient.",
                    about=f"weight-{drug}",
                )
            )
    return found + _mixture(totals, fractions)


_TUMESCENT = re.compile(r"\btumescent\b|\bwetting solution\b|\bliposuction\b", re.I)


def _tumescent(note: OperativeNote, grammar: Grammar, drug: str) -> Limit | None:
    """The maximum of a very thin solution under the skin, where the note tells of one."""
    if not any(_TUMESCENT.search(passage.text) for passage in note.sections.description):
        return None
    return limit(grammar, note.profile, "per_kg_tumescent", drug=drug)


def _kilograms(said: Fact | None) -> Decimal | None:
    """The weight, at its lower end where it is a range or about."""
    one = span(said, "kg") if said is not None else None
    if one is None or said is None:
        return None
    return exact(said, "kg") or one.low or None  # "less than 72 kg" has no lower end


def _mixture(totals: dict[str, _Total], fractions: list[tuple[str, Decimal, Decimal]]) -> list[Finding]:
    if len(fractions) < 2 or any(given > most for _, given, most in fractions):
        return []
    whole = sum((given / most for _, given, most in fractions), Decimal(0))
    if whole <= 1:
        return []
    terms = " + ".join(f"{rounded(given)}/{rounded(most)}" for _, given, most in fractions)
    return [
        finding(
            "local_anaesthetic",
            "note",
            f"The local anaesthetics together ({', '.join(name for name, _, _ in fractions)}) are above their "
            "configured maxima taken as fractions.",
            [fact for total in totals.values() for fact in total.facts],
            arithmetic=f"{terms} = {rounded(whole, 3)}, more than 1 (sum of fractions: convention [from memory]; "
            "labels advise against mixing)",
            ask="Say the strengths and volumes again, or settle it with the reason.",
            about="mixture",
        )
    ]
