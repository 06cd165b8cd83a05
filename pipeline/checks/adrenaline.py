"""Adrenaline in a local anaesthetic: the ratio times the volume against a stated dose and the configured maximum."""

from __future__ import annotations

from decimal import Decimal

from pipeline.checks.base import NOT_GIVEN, amount, exact, finding, plain, rounded, shown
from pipeline.dosing import adrenaline
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug

MEANING = "Adrenaline ratio times volume is not the stated dose, or is above the maximum (1:100,000 = 10 ug/mL)."

# Alone, on a swab or in a bag of irrigation, it is not all taken up.
_INTO_TISSUE = frozenset({"infiltration", "subcutaneous", "intradermal", "intramuscular", "submucosal"})
_NAMES = frozenset({"adrenaline", "epinephrine"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    drugs = grammar.table("drugs", Drug)
    found: list[Finding] = []
    whole, terms, concerned = Decimal(0), [], []
    for ratio in note.of("adrenaline_ratio"):
        if ratio.value is None or ratio.value <= 0 or ratio.certainty == "negated" or ratio.role in NOT_GIVEN:
            continue
        volumes = _volumes(note, ratio)
        sums = [exact(fact, "mL") for fact in volumes]
        if not volumes or any(one is None for one in sums):
            continue
        volume = sum((one for one in sums if one is not None), Decimal(0))
        worked = adrenaline(ratio.value, volume)
        mixed = [drugs.get(fact.name or "") for fact in volumes]
        injected = any("local_anaesthetic" in drug.classes for drug in mixed if drug is not None)
        injected |= any(one.kind == "medication_route" and one.name in _INTO_TISSUE for one in note.group(ratio))
        whole += worked if injected else 0
        term = f"1:{plain(ratio.value)} x {rounded(volume)} mL = {rounded(worked)} micrograms"
        terms.append(term)
        concerned += [ratio, *volumes]
        for dose in note.of("medication_dose"):
            micrograms = exact(dose, "ug") if dose.name in _NAMES and _belongs(note, dose, ratio) else None
            if micrograms is not None and abs(micrograms - worked) > worked / 50:
                found.append(
                    finding(
                        "adrenaline",
                        "warning",
                        f"Adrenaline: the ratio and the volume give {rounded(worked)} micrograms, "
                        f"said: {shown(dose)}.",
                        [ratio, *volumes, dose],
                        arithmetic=f"{term}, said: {shown(dose)}",
                        ask="Say which is right: the ratio, the volume or the dose.",
                    )
                )
    most = limit(grammar, note.profile, "maximum", drug="adrenaline", unit="ug")
    if most is not None and most.value is not None and whole > most.value:
        found.append(
            finding(
                "adrenaline",
                "warning",
                f"Adrenaline: {rounded(whole)} micrograms are above the configured {amount(most.value, most.unit)}.",
                concerned,
                arithmetic=f"{'; '.join(terms)} ({most.source})",
                ask="Say the ratio and the volumes again, or settle it with the reason.",
                about="maximum",
            )
        )
    return found


def _belongs(note: OperativeNote, dose: Fact, ratio: Fact) -> bool:
    """Of the same solution: of one group, or the only ratio and the only dose of adrenaline of one sentence."""
    if dose.group is not None and dose.group == ratio.group:
        return True
    doses = [fact for fact in note.of("medication_dose") if fact.name in _NAMES]
    if len(note.of("adrenaline_ratio")) != 1 or len(doses) != 1 or dose.role in NOT_GIVEN:
        return False
    return any(passage.holds(dose) and passage.holds(ratio) for passage in note.sections.description)


def _volumes(note: OperativeNote, ratio: Fact) -> list[Fact]:
    """Volumes of the solution that holds the adrenaline; the total alone where one was said."""
    same = [fact for fact in note.group(ratio) if fact.kind == "medication_volume" and fact.certainty == "affirmed"]
    total = [fact for fact in same if fact.scale == "total"]
    if total:
        return total
    # "8 mL, 4 mL per side": beside the whole, what goes to each is a part of it.
    whole = [fact for fact in same if fact.scale not in ("each", "per_side")]
    return whole if len(whole) == 1 or len(whole) == len(same) else []
