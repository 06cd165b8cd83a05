"""Facts that are unsure: the recogniser was, two readings differ, or the words leave it open."""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline import laterality, quantities, tokens, unsure
from pipeline.checks import _portions
from pipeline.checks._mixed import mixtures_of
from pipeline.checks.base import ONE_VALUE, called, finding, prepared, shown
from pipeline.grammar import Grammar
from pipeline.limits import limit, limits
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug, Kind

MEANING = "A number, side, drug or count is unsure: low confidence, two readings of the sound, or doubtful words."

# A wrong value of these may harm; of the others a doubt is told quietly.
_CRITICAL = frozenset({
    "procedure", "medication", "medication_dose", "medication_volume", "medication_concentration", "medication_rate",
    "adrenaline_ratio", "draw", "harvest_total", "harvest_depth", "anticoagulant_share", "injection_volume",
    "injection_total", "injection_depth", "product_volume", "blood_loss", "fluid_in", "irrigation_deficit",
    "tourniquet_pressure", "tourniquet_time", "count", "specimen", "patient_weight", "device_lot", "device_serial",
    "device_udi", "spinal_level",
})  # fmt: skip

# So many other readings are named: they differ by little, and the sound decides.
_SHOWN = 2


# What a "no" that was misheard would turn round.
_DENIED = frozenset({"complication", "drain", "specimen", "allergy", "medication", "equipment_problem", "tourniquet"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    row = limit(grammar, note.profile, "confidence")
    least = float(row.value) if row is not None and row.value is not None else 0.0
    doubted: dict[tuple[str, str], list[Fact]] = {}
    found: list[Finding] = []
    faint: list[Fact] = []
    for fact in note.facts:
        if fact.certainty == "negated" and fact.laterality is None:
            sure = fact.evidence.confidence
            if fact.kind in _DENIED and sure is not None and sure < least:
                faint.append(fact)  # "no drain", of which the "no" was hardly heard
            continue
        heard = [f"also heard as {other}" for other in fact.alternatives if _differs(fact, other)]
        if heard:
            found.append(_told([fact], grammar, "; ".join(heard[:_SHOWN]), sound=True))
        sure = fact.evidence.confidence
        if not heard and sure is not None and sure < least and (_matters(fact) or fact.value is not None):
            faint.append(fact)
        for reason in fact.doubts:
            if _only_reading(fact, reason, grammar, note.profile) or _adds_up(note, grammar, fact, reason):
                continue
            if reason == laterality.OTHER_SIDE and _side_is_told(note, fact):
                continue
            if reason == "its unit was not said" and fact.kind == "tourniquet_pressure":
                continue  # unit_missing asks for it
            # "a different value is also said: '...'" stands on both facts: one finding names them together.
            head, quoted, _ = reason.partition(": '")
            if quoted and (fact.kind in ONE_VALUE or _sides_add_up(note, fact.kind) or _up_again(note, fact)):
                continue  # two_values shows both with their values; a total and its two sides are no contradiction
            doubted.setdefault((head, fact.kind if quoted else ""), []).append(fact)
    if faint:
        # One line for all: a recogniser's confidence is low for many right words too.
        lowest = min(fact.evidence.confidence or 0.0 for fact in faint)
        reason = f"heard with low confidence, the lowest {lowest:.2f}"
        found.append(_told(faint, grammar, reason, sound=True, hint=True))
    return found + [_told(facts, grammar, reason, sound=False) for (reason, _), facts in doubted.items()]


def _side_is_told(note: OperativeNote, fact: Fact) -> bool:
    """Whether the side that "the other side" was taken for is said by its name elsewhere in the note."""
    return any(
        one.laterality == fact.laterality and one.done and laterality.OTHER_SIDE not in one.doubts for one in note.facts
    ) or any(said.side == fact.laterality for passage in note.sections.description for said in passage.sides)


def _differs(fact: Fact, other: str) -> bool:
    """Whether another reading changes a number: one with the same number, or with none, does not. Of a fact without
    a number every other reading counts."""
    if fact.value is None and fact.low is None:
        return True
    read = quantities.merge(tokens.tokenize(tokens.words_from_text(other)))
    said = [token.quantity for token in read if token.quantity is not None]
    same = [one for one in said if (one.value, one.low, one.high) == (fact.value, fact.low, fact.high)]
    return bool(said) and not any(one.unit in (fact.unit, None) for one in same)


_PAIR = re.compile(r"read as ([\d.]+); it could be ([\d.]+) and ([\d.]+)")


def _only_reading(fact: Fact, reason: str, grammar: Grammar, profile: str) -> bool:
    """Whether of "250" and "2 and 50" only the whole can be a value of this kind (a tourniquet pressure)."""
    pair = _PAIR.match(reason)
    if pair is not None and fact.unit is not None and any(
        re.search(r"\bhundred\b|\d{3}", place.heard, re.IGNORECASE) for place in fact.also
    ):
        return True  # "EBL one fifty ... blood loss one hundred fifty cc": said again as one number
    rows = [row for what in ("typical", "plausible") for row in limits(
        grammar, profile, what, kind=fact.kind, name=fact.name or "")]  # fmt: skip
    if fact.kind == "medication_dose":
        rows += limits(grammar, profile, "dose", drug=fact.name or "")  # "aspirin three twenty five daily"
    row = next(iter(rows), None)
    if pair is None or row is None or row.low is None or row.high is None or fact.unit not in (None, row.unit):
        return False
    whole, *parts = (Decimal(number) for number in pair.groups())
    return row.low <= whole <= row.high and not any(row.low <= one <= row.high for one in parts)


def _adds_up(note: OperativeNote, grammar: Grammar, fact: Fact, reason: str) -> bool:
    """ "Forty milligrams in one segment and thirty five in the other" of seventy five that were told: the sum tells the
    unit that was not said with the second."""
    if _UNIT_GAP.match(reason) is None or fact.value is None:
        return False
    if fact.name == "mixture" and any(
        mixture.volume is fact and sum(one.value or 0 for one in mixture.own) == fact.value
        for mixture in mixtures_of(note, grammar)
    ):
        return True  # "eight mils of ... and two of ..., and ten of that mix went in"
    like = [one for one in note.of(fact.kind, given=True) if one.name == fact.name and one.unit == fact.unit
            and one.value is not None]  # fmt: skip
    total = sum((one.value for one in like if one.value is not None), Decimal(0))
    shared = [one for one in _portions.shared_out(note, grammar) if one.passage.holds(fact)]
    if any(sum(one.shares) == one.made.value for one in shared):
        return True  # "ten mils drawn up, six in the palm and four at the wrist"
    return len(like) > 2 and any(one is not fact and one.value == total - one.value for one in like if one.value)


def _up_again(note: OperativeNote, fact: Fact) -> bool:
    """Whether a tourniquet went up more than once, so that each time has a length of its own."""
    ups = {one.text for one in note.of("clock_time", given=True) if one.name == "tourniquet_up"}
    return fact.kind == "tourniquet_time" and len(ups) > 1


def _sides_add_up(note: OperativeNote, kind: str) -> bool:
    """Whether a kind was said for each side and in all, and the sides come to the whole ("20 and 20, together 40")."""
    said = [fact for fact in note.of(kind) if fact.certainty == "affirmed" and fact.value is not None]
    sides = [fact for fact in said if fact.laterality in ("left", "right")]
    wholes = [fact for fact in said if fact not in sides]
    if len(wholes) != 1 or sorted(str(fact.laterality) for fact in sides) != ["left", "right"]:
        return False
    if len({fact.unit for fact in said}) != 1:
        return False
    return sum((fact.value for fact in sides if fact.value is not None), Decimal(0)) == wholes[0].value


def _matters(fact: Fact) -> bool:
    return fact.kind in _CRITICAL or fact.laterality is not None


# How the words were read where they allow little else: the entry says so, and is no alarm. A stopped medicine is none.
_READ = re.compile(
    r"^taken as (?:a number of|the weight of|its size)|side by side: taken as|^said to be (?:stopped|continued)|"
    r"^taken for a medicine of the patient's own|^said as the same as on the|^said as more of|^made up to|"
    rf"^its sides stand in brackets|at its end may be how many|^{unsure.LEAD}"
)
_UNIT_GAP = re.compile(r"^the unit of .* was not said; taken as|said of the other side$")
_OFTEN = re.compile(r"^said .* times; what it comes to")


def _told(facts: list[Fact], grammar: Grammar, reason: str, *, sound: bool, hint: bool = False) -> Finding:
    """One reason, told once for all facts that it holds for. `hint`: a recogniser's confidence alone, or a number
    that was put to the thing named before it: too often wrong to warn, so it is told quietly."""
    kinds = grammar.table("kinds", Kind)
    names = []
    for fact in facts:
        value = " ".join(dict.fromkeys(part for part in (fact.laterality, called(fact, grammar), shown(fact)) if part))
        label = kinds[fact.kind].name if fact.kind in kinds else fact.kind
        names.append(f"{label.lower()} {value}".strip())
    listed = ", ".join(dict.fromkeys(names))
    # What was prepared is no dose yet; that it was never given is the business of prepared_not_given.
    harmful = any(_matters(fact) if sound else fact.kind in _CRITICAL and not prepared(fact)
                  and fact.status != "historical" for fact in facts)  # fmt: skip
    given = [fact for fact in facts if fact.kind.startswith("medication") and fact.scale != "total"]
    gap = _UNIT_GAP.match(reason) and not given  # a total is no dose of its own: its parts were said
    # What was given several times is told so; only of what has a maximum for all of it the sum is wanted.
    drugs = grammar.table("drugs", Drug)
    often = _OFTEN.match(reason) and not any(
        "local_anaesthetic" in row.classes for fact in facts if (row := drugs.get(fact.name or "")) is not None
    )
    warn = harmful and not hint and not gap and not often and _READ.search(reason) is None
    return finding(
        "doubtful",
        "warning" if warn else "note",
        f"Unsure ({listed}): {reason.rstrip('.')}.",
        facts,
        ask="Listen to it, and say it again if it is wrong." if sound else "Say it again, or accept it as it stands.",
        about="sound" if sound else "words",
    )
