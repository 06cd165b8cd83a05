"""Implants without the size, lot or serial number that the profile asks for."""

from __future__ import annotations

import re

from pipeline.checks import _label_sizes, _log_sizes, _title_sizes
from pipeline.checks.base import called, finding, given, placed, plain, shown
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
    lots = _two_lots(note, grammar, implants)
    numbers = _numbers(note, grammar, implants) + (lots or _said_again(note) or _of_one(note, grammar, implants))
    return _sizes(note, grammar, implants) + numbers + _of_the_title(note) + _of_the_label(note, grammar)


def _of_the_title(note: OperativeNote) -> list[Finding]:
    """ "Aortic valve replacement, 23 mm valve ... valve implanted: 27 mm"."""
    return [
        placed(
            finding("device_identity", "warning", f"A {noun} of {plain(named)} mm stands in the name of the operation, "
                    f"one of {plain(told)} mm was told.", ask="Say which size is right.", about=f"title-{noun}"),
            passage.evidence,
        )
        for noun, named, told, passage in _title_sizes.others(note)
    ]  # fmt: skip


def _of_the_label(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """ "A 23 mm valve went in, label read back 21"."""
    return [
        placed(
            finding("device_identity", "warning", f"{called(told[-1], grammar)}: {' and '.join(map(shown, told))} was "
                    f"said, its label or the log was read otherwise ({label}).", told, ask="Say which size is right.",
                    about="label"), passage.evidence,
        )
        for told, label, passage in (list(_label_sizes.others(note)) or _log_sizes.others(note))
    ]  # fmt: skip


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
            labels = {label for one in said for label in _labels(note, one)}
            if len({one.text for one in said}) > 1 and len(labels) < 2:
                found.append(
                    finding("device_identity", "warning", f"{called(fact, grammar)} was said with "
                            f"{' and with '.join(dict.fromkeys(one.text or '' for one in said))}.", [fact, *said],
                            ask="Say which number is right.", about=kind)
                )  # fmt: skip
    return found


def _labels(note: OperativeNote, number: Fact) -> list[str]:
    """The last label before a number that tells one of a sort from another ("#19", "implant 2")."""
    words = _near(note, number, _LEAD, 0)
    found = [word for at, word in enumerate(words) if _LABEL.match(word) or (
        at and words[at - 1] in ("tooth", "implant", "site", "level", "position") and word[:1].isdigit())]  # fmt: skip
    return found[-1:]


def _since_code(words: list[str]) -> list[str]:
    """ "RA lead 52 cm SN RA33418, generator SN PG90021": the name before another code is of that one."""
    codes = [at for at, word in enumerate(words) if _CODE.search(word)]
    return words[codes[-1] + 1 :] if codes else words


_CODE = re.compile(r"\d{3}")
_LABEL = re.compile(r"#\d+$|[tcls]\d{1,2}(?:-\d)?$")


def _of_one(note: OperativeNote, grammar: Grammar, implants: list[Fact]) -> list[Finding]:
    """One implant with a serial number, and another serial number that its name leads to: "lens, serial 4471 ... the
    lens serial in the register is 9020". A number is of one item; of two items it tells which."""
    rows = grammar.table("devices", Device)
    told = note.of("device_serial")
    if any(_OTHER_ITEM & set(_near(note, one, _BESIDE, _AFTER)) for one in told):
        return []
    for name in dict.fromkeys(one.name for one in implants):
        same = [one for one in implants if one.name == name]
        says = {word for phrase in rows[name or ""].say for word in phrase.split()[-1:]}
        if len(same) != 1 or _is_several(note, same[0], says):
            continue
        numbers = [one for one in told if one.text and (one.name == name or (
            one.name is None and says & set(_since_code(_near(note, one, _LEAD, 0)))))]  # fmt: skip
        if len({one.text for one in numbers}) > 1:
            texts = " and with ".join(dict.fromkeys(one.text or "" for one in numbers))
            return [finding("device_identity", "warning", f"{called(same[0], grammar)} was said with {texts}.",
                            [same[0], *numbers], ask="Say which number is right.", about="device_serial")]
    return []


_OTHER_ITEM = frozenset(
    "exchange exchanged first second old new previous explanted torn dropped discarded wasted opened other another "
    "replaced removed left right each both".split()
)


def _is_several(note: OperativeNote, implant: Fact, says: set[str]) -> bool:
    """Whether more than one was put in; `says`: words that name it, "lens" among them."""
    last = implant.evidence.heard.lower().rstrip(".,;:").split()[-1]
    return (last.endswith("s") and last[:-1] in says) or any(
        fact.value != 1 and (fact.name == implant.name or fact.group == implant.group)
        for fact in given(note, "device_count")
    )


def _near(note: OperativeNote, number: Fact, before: int, after: int) -> list[str]:
    """The words around a number, so many before and behind it, without marks."""
    passage = next((one for one in note.sections.description if one.holds(number)), None)
    if passage is None:
        return []
    words = [word.strip(".,;:()").lower() for word in passage.text.split()]
    first, last = (place - passage.evidence.first for place in (number.evidence.first, number.evidence.last))
    return words[max(0, first - before) : last + 1 + after]


_LEAD, _BESIDE, _AFTER = 8, 5, 4  # words: to the name of the implant, and where another one may be told of


def _said_again(note: OperativeNote) -> list[Finding]:
    """A number that is said again and comes out otherwise: two characters change places ("402218", "402281"), or it
    is said to be the one from before ("the cup lot again 8381"). Lots that follow one another differ at their end."""
    found: list[Finding] = []
    for kind in ("device_lot", "device_serial"):
        numbers = [fact for fact in note.of(kind) if fact.text]
        for at, second in enumerate(numbers):
            before = [one for one in numbers[:at] if one.text != second.text
                      and (one.name == second.name or None in (one.name, second.name))]  # fmt: skip
            again = _restates(note, second)
            first = next((one for one in before if _swapped(one.text or "", second.text or "")
                          or (again and _alike(one.text or "", second.text or ""))), None)  # fmt: skip
            if first is not None and not any(one.text == second.text for one in numbers[:at]):
                found.append(
                    finding("device_identity", "warning", f"{first.text} and {second.text} were said, which are nearly "
                            "the same number.", [first, second],
                            ask="Say whether it is one number, and which is right.", about=f"{kind}-again")
                )  # fmt: skip
    return found


def _swapped(first: str, second: str) -> bool:
    """Whether the same characters stand in another order, two beside each other exchanged."""
    if len(first) != len(second) or len(first) < _SHORTEST:
        return False
    apart = [at for at, pair in enumerate(zip(first, second, strict=True)) if pair[0] != pair[1]]
    return len(apart) == 2 and apart[1] == apart[0] + 1 and first[apart[0]] == second[apart[1]]


def _alike(first: str, second: str) -> bool:
    """Whether one could be the other misspoken: as long, or nearly, and at most two characters changed."""
    if abs(len(first) - len(second)) > 1 or min(len(first), len(second)) < _SHORTEST - 1:
        return False
    if len(first) != len(second):
        short, long = sorted((first, second), key=len)
        return any(long[:at] + long[at + 1 :] == short for at in range(len(long)))
    return sum(one != other for one, other in zip(first, second, strict=True)) <= 2


def _restates(note: OperativeNote, fact: Fact) -> bool:
    """Whether the words at a number say that it was said before."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None:
        return False
    words = [word.strip(".,;:()").lower() for word in passage.text.split()]
    first = fact.evidence.first - passage.evidence.first
    last = fact.evidence.last - passage.evidence.first
    return bool(_AGAIN & set(words[max(0, first - 4) : last + 3]))


_AGAIN = frozenset({"again", "repeat", "repeated", "confirmed", "confirm", "rechecked", "above", "before", "once",
                    "sticker", "label", "box"})
_SHORTEST = 4  # characters of a number that is compared
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
