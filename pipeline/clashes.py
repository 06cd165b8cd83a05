"""Statements of one narration that cannot both be true: both stay, in doubt. Nothing is decided for the surgeon."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline import sidewise
from pipeline.records import Fact, replace

# Kinds of which a narration has one value (of one name, one side): a second one repeats or contradicts it.
ONCE = frozenset(
    {"blood_loss", "harvest_total", "injection_total", "draw_count", "patient_age", "patient_weight", "patient_sex",
     "patient_name", "patient_identifier", "handedness", "tourniquet_time", "irrigation_deficit",
     "irrigation_in", "irrigation_out", "clock_time", "date", "anticoagulant_share", "product_volume", "urgency",
     "medication_concentration", "adrenaline_ratio"}
)  # fmt: skip
DOABLE = frozenset(  # what is planned first and then done
    {"procedure", "act", "anaesthesia", "position", "preparation", "approach", "guidance", "device", "drain", "closure",
     "dressing", "injection", "harvest_site", "processing", "tourniquet", "prophylaxis", "specimen"}
)  # fmt: skip
# Of these, two different values cannot both be true.
_EXCLUSIVE = ONCE - {"patient_name", "patient_identifier", "irrigation_in", "irrigation_out", "product_volume",
                     "urgency", "medication_concentration", "adrenaline_ratio"}  # fmt: skip
_CONTRADICT = DOABLE | {"finding", "complication", "count", "preop_diagnosis", "postop_diagnosis", "diagnosis"}


def agree(one: str | None, other: str | None) -> bool:
    """Whether two sides, sites or texts can be of one thing: alike, or one of them not said."""
    return one is None or other is None or one == other


def mark(facts: list[Fact]) -> list[Fact]:
    """The facts, each of two that clash in doubt. Pure; order kept."""
    result = list(facts)
    summed = {fact.kind for fact in facts if fact.scale == "total"}
    alike: dict[tuple[str, str | None, str], list[int]] = {}
    for index, fact in enumerate(result):
        alike.setdefault((fact.kind, fact.name, fact.status), []).append(index)
    for index, fact in enumerate(result):
        for later in alike[fact.kind, fact.name, fact.status]:
            reason = _clash(result[index], result[later]) if later > index else None
            if reason == _ANOTHER and fact.kind in summed and "total" not in (fact.scale, result[later].scale):
                continue  # parts of a sum
            if reason == _ANOTHER and fact.kind == "tourniquet_time" and _is_summed(
                [result[place] for place in alike[fact.kind, fact.name, fact.status]]
            ):
                continue
            if reason == _ANOTHER and _runs_on(result[index], result[later], facts):
                continue
            if reason is not None:
                result[index] = _doubt(result[index], reason, result[later])
                result[later] = _doubt(result[later], reason, fact)
    return result


def _is_summed(told: list[Fact]) -> bool:
    """ "12 min + 9 min = 21 min": the last one is what the others come to."""
    values = [fact.value for fact in told if fact.value is not None and fact.unit == told[0].unit]
    return len(values) == len(told) > 2 and sum(values[:-1]) == values[-1]


def _runs_on(one: Fact, other: Fact, facts: list[Fact]) -> bool:
    """A running total ("that makes eighteen ... four more draws of five ... thirty eight in all"): the later one is
    more, and parts were told between the two. Or times of a cuff that was blown up again."""
    if one.kind == "clock_time":
        refilled = one.name in _CUFF and any(
            fact.name == _CUFF[0] and fact.evidence.heard.lower().startswith(_REFILLED) for fact in facts
        )
        return refilled or _takes_turns(one, facts)
    if one.kind == "draw_count":
        return rows_apart(one, other, facts)
    if one.kind == "harvest_total" and _adds_up(one, other, facts):
        return True
    parts = _PARTS_OF.get(one.kind)
    if parts is None or one.value is None or other.value is None or "total" not in (one.scale, other.scale):
        return False
    first, last = sorted((one, other), key=lambda fact: fact.evidence.first)
    if first.value is None or last.value is None or last.value <= first.value:
        return False
    return any(fact.kind in parts and first.evidence.first < fact.evidence.first < last.evidence.last for fact in facts)


def rows_apart(one: Fact, other: Fact, facts: Sequence[Fact]) -> bool:
    """ "Six pulls of ten, sixty, then another three of ten": what the first row came to is told between."""
    first, last = sorted((one, other), key=lambda fact: fact.evidence.first)
    return any(fact.kind == "harvest_total" and first.evidence.first < fact.evidence.first < last.evidence.first
               for fact in facts)  # fmt: skip


def _adds_up(one: Fact, other: Fact, facts: list[Fact]) -> bool:
    """ "Sixty ... thirty more makes ninety in all": two of three totals come to the third."""
    values = [fact.value for fact in facts if fact.kind == one.kind and fact.value is not None and fact.status == (
        one.status) and fact not in (one, other)]  # fmt: skip
    if one.value is None or other.value is None:
        return False
    return abs(one.value - other.value) in values or one.value + other.value in values


def _takes_turns(one: Fact, facts: list[Fact]) -> bool:
    """ "Up 09:12, down 09:57, up 10:12, down 10:42": on and off by turns, each later than the one before."""
    pair = next((pair for pair in _SWITCHED if one.name in pair), ())
    told = sorted((fact for fact in facts if fact.kind == one.kind and fact.name in pair and fact.status == one.status),
                  key=lambda fact: fact.evidence.first)  # fmt: skip
    return bool(pair) and all(fact.name == pair[at % 2] for at, fact in enumerate(told)) and all(
        (before.text or "") < (after.text or "") for before, after in pairwise(told)
    )


_SWITCHED = (("tourniquet_up", "tourniquet_down"), ("clamp_on", "clamp_off"), ("traction_on", "traction_off"),
             ("bypass_on", "bypass_off"))  # fmt: skip
_CUFF, _REFILLED = ("tourniquet_up", "tourniquet_down"), ("reinflat", "re-inflat", "up again", "second")
_PARTS_OF = {"harvest_total": ("draw", "draw_count"), "injection_total": ("injection_volume",)}
_ANOTHER = "a different value is also said"


def _clash(one: Fact, other: Fact) -> str | None:
    if one.kind != other.kind or one.name != other.name or one.status != other.status:
        return None
    if "not_used" in (one.role, other.role) and one.role != other.role:
        return None  # "second drain opened, not used"
    if not (agree(one.laterality, other.laterality) and agree(one.body_site, other.body_site)):
        return None
    if {one.certainty, other.certainty} == {"affirmed", "negated"} and one.kind in _CONTRADICT:
        return "the opposite is also said"
    mixed = one.text != other.text or sidewise.of_both(one, other)  # "sixty, sixty six with the citrate"
    if (one.kind == "harvest_total" and mixed) or ("total" in (one.scale, other.scale) and one.scale != other.scale):
        return None  # parts and their sum: the checks add up
    if one.kind in _EXCLUSIVE and one.certainty == other.certainty == "affirmed":
        return _ANOTHER
    return None


def _doubt(fact: Fact, reason: str, other: Fact) -> Fact:
    doubt = f"{reason}: {other.evidence.heard!r}"
    return fact if doubt in fact.doubts else replace(fact, doubts=(*fact.doubts, doubt))
