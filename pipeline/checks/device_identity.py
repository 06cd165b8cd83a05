"""Implants without the size, lot or serial number that the profile asks for."""

from __future__ import annotations

from pipeline.checks.base import called, finding, given
from pipeline.grammar import Grammar
from pipeline.limits import setting
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Severity
from pipeline.rows import Device

MEANING = "An implant without the size, lot, serial number or UDI that the profile asks for, or one said with two lots."

_NUMBERED = ("device_lot", "device_serial", "device_udi")
# Implants whose size is chosen and told. Common practice, no source.
_SIZED = frozenset({"fixation", "joint-prosthesis", "stent-graft", "eye", "cardiac"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    rows = grammar.table("devices", Device)
    implants = [
        fact for fact in given(note, "device")
        if fact.role == "implanted" and (row := rows.get(fact.name or "")) is not None and row.implant
    ]  # fmt: skip
    return _sizes(note, grammar, implants) + _numbers(note, grammar, implants) + _two_lots(note, grammar, implants)


def _two_lots(note: OperativeNote, grammar: Grammar, implants: list[Fact]) -> list[Finding]:
    """One implant told twice, each time with another lot or serial number ("plate, lot 471 ... implant record, plate,
    lot 477"). Several of a sort have several."""
    counted = {key for fact in given(note, "device_count") if fact.value != 1 for key in (fact.name, fact.group) if key}
    found: list[Finding] = []
    for kind in ("device_lot", "device_serial"):
        for name in dict.fromkeys((one.name, one.laterality) for one in implants):
            same = [one for one in implants if (one.name, one.laterality) == name]
            fact = same[0]
            places = [place.last for one in same for place in (one.evidence, *one.also)]
            plural = any(one.evidence.heard.lower().rstrip(".,;:").endswith("s") for one in same)
            if len(places) < 2 or plural or {fact.name, fact.group} & counted:
                continue
            numbers = {place: [one for one in note.of(kind) if 0 < one.evidence.first - place <= _BEHIND]
                       for place in places}  # fmt: skip
            said = [ones[0] for ones in numbers.values() if len(ones) == 1]
            if len({one.text for one in said}) > 1:
                found.append(
                    finding("device_identity", "warning", f"{called(fact, grammar)} was said with "
                            f"{' and with '.join(dict.fromkeys(one.text or '' for one in said))}.", [fact, *said],
                            ask="Say which number is right.", about=kind)
                )  # fmt: skip
    return found


_BEHIND = 8  # words between an implant and its number


def _sizes(note: OperativeNote, grammar: Grammar, implants: list[Fact]) -> list[Finding]:
    rows = grammar.table("devices", Device)
    sizes = note.of("device_size")
    sized = {fact.name for fact in sizes} | {fact.group for fact in sizes if fact.group}
    bare = [fact for fact in implants if rows[fact.name or ""].group in _SIZED and not {fact.name, fact.group} & sized]
    bare = [fact for index, fact in enumerate(bare) if fact.name not in {other.name for other in bare[:index]}]
    if not bare:
        return []
    return [
        finding("device_identity", "note", f"No size was said for: {_list(bare, grammar)}.", bare,
                ask="Say the size of each.", about="size")
    ]


def _numbers(note: OperativeNote, grammar: Grammar, implants: list[Fact]) -> list[Finding]:
    wanted = setting(grammar, note.profile, "implant_identifier", "none")
    levels: dict[str, Severity] = {"note": "note", "warning": "warning", "blocking": "blocking"}
    numbered = note.of(*_NUMBERED)
    if wanted not in levels or not implants:
        return []
    groups = {fact.group for fact in numbered if fact.group} | {fact.name for fact in numbered if fact.name}
    loose = any(fact.group is None and fact.name is None for fact in numbered)
    bare = [fact for fact in implants if not {fact.group, fact.name} & groups]
    bare = [fact for index, fact in enumerate(bare) if fact.name not in {other.name for other in bare[:index]}]
    if not bare or loose:
        return []
    return [
        finding(
            "device_identity",
            levels[wanted],
            f"No lot or serial number was said for: {_list(bare, grammar)}.",
            bare,
            ask="Say the lot, serial number or UDI, or attach the implant stickers.",
            about="number",
        )
    ]


def _list(facts: list[Fact], grammar: Grammar) -> str:
    return ", ".join(dict.fromkeys(called(fact, grammar) for fact in facts))
