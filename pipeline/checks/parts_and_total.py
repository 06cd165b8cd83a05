"""What was said for each, per side or piece by piece, against what was said in total."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline.checks import _ports_called, _told_parts
from pipeline.checks._spoken_counts import count, shares
from pipeline.checks._summed_facts import singles
from pipeline.checks.base import (
    EACH_OF_TWO,
    Span,
    added,
    called,
    finding,
    given,
    read,
    rounded,
    shown,
    span,
    span_words,
)
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Token
from pipeline.rows import Kind

MEANING = "Doses, volumes or numbers said for each, per side or one by one do not come to the stated total."

_KINDS = ("medication_volume", "medication_dose", "device_count", "specimen_count", "fluid_in", "fluid_out",
          "irrigation_in", "injection_volume", "blood_loss", "tourniquet_time")  # fmt: skip
_BARE = frozenset({"device_count", "specimen_count"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for kind in _KINDS:
        facts = given(note, kind)
        totals = [fact for fact in facts if fact.scale == "total" or (kind in _BARE and _led(note, fact))
                  or (kind == "medication_dose" and _total_behind(note, fact))]  # fmt: skip
        shared = [fact for fact in facts if fact.scale in ("each", "per_side")]
        if kind == "injection_volume" and shared and len(shared) == len(facts):
            totals += given(note, "injection_total")  # injection_total adds up what was said one by one
        if kind == "medication_volume" and shared and not totals:
            totals += _unnamed(note, shared)
        for total in totals:
            same = [fact for fact in facts if fact not in totals and _alike(fact, total)]
            one = _compare(note, grammar, same, total)
            if one is not None:
                found.append(one)
    return found


def _led(note: OperativeNote, fact: Fact) -> bool:
    """ "In all 3 plates and 10 screws": what is counted in a sentence that begins so is all there is."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    words = passage.text.lower().split()[:3] if passage is not None else []
    return words[:2] in (["in", "all"], ["in", "total"]) or words[:1] in (["altogether"], ["overall"])


def _total_behind(note: OperativeNote, fact: Fact) -> bool:
    """ "Forty milligrams of triamcinolone total": the word behind the drug, and the dose said as another's outcome."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None:
        return False
    words = [word.strip(".,;)").lower() for word in passage.text.split()]
    at = fact.evidence.last - passage.evidence.first + 1
    at += 2 if words[at : at + 1] == ["of"] else 0
    ahead = words[at : at + 2]
    return (ahead[:1] in (["total"], ["altogether"]) or ahead in (["in", "total"], ["in", "all"])) and _restates(
        note, fact
    )


def _unnamed(note: OperativeNote, parts: list[Fact]) -> list[Fact]:
    """ "5 mL of bupivacaine through each of four portals, total 25 mL": a total in the sentence of the only drug."""
    passages = [passage for passage in note.sections.description if any(passage.holds(part) for part in parts)]
    drugs = {fact.name for fact in note.of("medication") for passage in passages if passage.holds(fact)}
    if len(passages) != 1 or len(drugs) > 1:
        return []
    return [fact for fact in given(note, "injection_total", "injection_volume")
            if fact.scale == "total" and fact.name is None and passages[0].holds(fact)]  # fmt: skip


def _alike(part: Fact, total: Fact) -> bool:
    """Of the same drug, fluid or sort of device ("locking screw" is a screw); sides apart only if both say one."""
    if part.laterality and total.laterality and part.laterality != total.laterality:
        return total.laterality == "bilateral"
    if part.role != total.role and "explanted" in (part.role, total.role):
        return False
    if total.kind in _BARE and total.name is None and part.name is None:
        return _last_word(part) == _last_word(total)  # "five purple loads", not "five ports"
    if total.name is None or (total.kind == "fluid_in" and total.name == "intravenous-fluids"):
        return True
    return part.name is not None and (part.name == total.name or part.name.endswith(f"-{total.name}"))


def _last_word(fact: Fact) -> str:
    return (fact.text or "").rsplit(" ", 1)[-1].rsplit("-", 1)[-1].removesuffix("s")


def _compare(note: OperativeNote, grammar: Grammar, parts: list[Fact], total: Fact) -> Finding | None:
    unit = None if total.kind in _BARE else total.unit
    if total.kind == "device_count" and _closes(note, total):  # what is told behind it is none of them
        parts = [part for part in parts if part.evidence.first < total.evidence.first]
    said = span(total, unit)
    spans = [span(part, unit) for part in parts]
    if total.unit is None and total.kind not in _BARE:
        return None
    if said is None or not parts or any(one is None for one in spans):
        return None
    known = [one for one in spans if one is not None]
    repeated = [fact for fact in parts if fact.scale in ("each", "per_side")]
    if not repeated:
        # One piece beside a total says nothing: the others may not have been said one by one.
        several = total.kind == "fluid_in" and len({part.name for part in parts}) > 1
        restated = () if several else known  # the total may be one of the parts said again
        here = _of_the_sentence(note, parts, known, total) + _without_pauses(known, total)
        if len(parts) == 1 and total.kind == "medication_dose" and not known[0].meets(said) and _restates(note, total):
            return _told(grammar, parts, total, f"{shown(parts[0])} is not {shown(total)}")
        two = total.kind == "medication_dose" and len(parts) == 1 and _of_two(note, total)
        if two and not any(one.meets(said) for one in (known[0], known[0].times(Decimal(2)))):
            return _told(grammar, parts, total, f"2 x {shown(parts[0])}, said: {shown(total)}")
        if len(parts) < 2 or any(one.meets(said) for one in (added(known), *restated, *here)):
            return None
        if total.kind in _BARE and added([*known, *_plus(note, total)]).meets(said):
            return None
        if total.kind == "device_count" and _explained(note, total):
            return None
        if total.kind == "device_count" and any(
            added([*known, Span(Decimal(more), Decimal(more))]).meets(said)
            for more in range(1, singles(note, parts, total) + 1)
        ):
            return None  # "a lag screw of 22 mm, a plate with five screws, ... eight screws altogether"
        terms = " + ".join(span_words(one, None) for one in known)
        return _told(grammar, parts, total, f"{terms} = {span_words(added(known), unit)}, said: {shown(total)}")
    if len(repeated) != 1 or len(parts) != 1:
        return None
    return _multiple(note, grammar, parts[0], known[0], total, said, unit)


# "Forty milligrams in three millilitres ..., that is sixty milligrams in total": the same dose said again.
_AGAIN = re.compile(r"(?:that is|that's|which is|in other words|i\.e\.)(?: a total of)?$")
_OFTEN = re.compile(
    r"\b(?:twice|times|x\d?|each side|per side|both|again|second|another|further|repeat\w*|more|doses)\b"
)


def _closes(note: OperativeNote, total: Fact) -> bool:
    """ "So six loads altogether. One blue load wouldn't lock and isn't in the six"."""
    passage = next((one for one in note.sections.description if one.holds(total)), None)
    return passage is not None and bool(re.match(r"(?:so|that'?s|that is|that makes)\b", passage.text, re.I))


def _restates(note: OperativeNote, total: Fact) -> bool:
    passage = next((one for one in note.sections.description if one.holds(total)), None)
    if passage is None:
        return False
    words = passage.text.lower().split()
    at = total.evidence.first - passage.evidence.first
    lead = " ".join(words[max(0, at - 5) : at]).rstrip(" ,")
    return bool(_AGAIN.search(lead)) and not _OFTEN.search(" ".join(words[:at]))


def _of_two(note: OperativeNote, total: Fact) -> bool:
    """ "Each shoulder: Depo-Medrol 40 mg (80 mg total)"."""
    return any(passage.holds(total) and EACH_OF_TWO.search(passage.text) for passage in note.sections.description)


def _explained(note: OperativeNote, total: Fact) -> bool:
    """Whether the words of its sentence come to a count, also those that no entry holds."""
    passage = next((one for one in note.sections.description if one.holds(total)), None)
    tokens = read(passage) if passage is not None else ()
    first = total.evidence.first - passage.evidence.first if passage is not None else 0
    return _ports_called.agrees(tokens) or any(
        _told_parts.explains(tokens, at) for at, token in enumerate(tokens)
        if token.first == first and count(token) == total.value
    )


def _plus(note: OperativeNote, total: Fact) -> list[Span]:
    """ "2 clips + 1": numbers that a sign adds to a count, in the sentence of the total."""
    passage = next((one for one in note.sections.description if one.holds(total)), None)
    tokens = read(passage) if passage is not None else []
    return [
        Span(value, value) for before, token in pairwise(tokens)
        if before.norm in ("+", "plus") and token.quantity is not None and token.quantity.form == "number"
        and not token.quantity.dimension and (value := token.quantity.value) is not None
    ]  # fmt: skip


def _of_the_sentence(note: OperativeNote, parts: list[Fact], known: list[Span], total: Fact) -> list[Span]:
    """What the parts in the sentence of the total come to: "Cell saver 150 mL returned. Crystalloid 2500 mL, colloid
    500 mL, total in 3000 mL"."""
    passage = next((one for one in note.sections.description if one.holds(total)), None)
    here = [one for part, one in zip(parts, known, strict=True) if passage is not None and passage.holds(part)]
    return [added(here)] if len(here) > 1 else []


def _without_pauses(known: list[Span], total: Fact) -> list[Span]:
    """Minutes of a tourniquet without those that it was down for, which are told between the others."""
    if total.kind != "tourniquet_time":
        return []
    return [added([*known[:at], *known[at + 1 :]]) for at in range(1, len(known) - 1)]


def _multiple(
    note: OperativeNote, grammar: Grammar, part: Fact, each: Span, total: Fact, said: Span, unit: str | None
) -> Finding | None:
    """One amount for each or per side: twice per side, else the number of pieces said in the same event, else any
    whole number of pieces."""
    if each.low is None or each.low != each.high or each.low <= 0 or said.low is None or said.low != said.high:
        return None
    times = Decimal(2) if part.scale == "per_side" else _pieces(note, part)
    words = f"{rounded(each.low)} {unit or ''}".strip()
    if times is not None:
        worked = each.times(times)
        if worked.meets(said):
            return None
        arithmetic = f"{rounded(times)} x {words} = {span_words(worked, unit)}, said: {shown(total)}"
        return _told(grammar, [part], total, arithmetic)
    if said.low % each.low == 0:
        return None
    return _told(grammar, [part], total, f"{shown(total)} is no multiple of {words}: {rounded(said.low / each.low, 3)}")


def _pieces(note: OperativeNote, part: Fact) -> Decimal | None:
    counts = [fact for fact in note.group(part) if fact.kind in ("device_count", "measurement") and fact.unit is None
              and fact.kind != part.kind]  # fmt: skip
    known = [fact.value for fact in counts if fact.value is not None]
    if len(known) == 1:
        return known[0]
    said = [number for passage in note.sections.description
            if passage.holds(part) and (number := shares(read(passage))) is not None]  # fmt: skip
    if len(said) == 1:
        return Decimal(said[0])
    levels = [number for passage in note.sections.description
              if passage.holds(part) and (number := _levels_behind(read(passage))) is not None]  # fmt: skip
    if len(levels) == 1:
        return Decimal(levels[0])
    two = any(passage.holds(part) and EACH_OF_TWO.search(passage.text) for passage in note.sections.description)
    return Decimal(2) if two and not said else None


def _levels_behind(tokens: Sequence[Token]) -> int | None:
    """ "Two screws each in C5, C6 and C7": how many levels, teeth or bones are listed behind "each in"."""
    for at, token in enumerate(tokens[:-2]):
        if token.norm != "each" or tokens[at + 1].norm not in ("in", "at", "of", "into", "on"):
            continue
        listed, place = 0, at + 2
        while place < len(tokens):
            quantity = tokens[place].quantity
            if quantity is not None and quantity.form == "level":
                listed += 1
            elif tokens[place].norm not in (",", "and", "also", "the"):
                break
            place += 1
        if listed > 1:
            return listed
    return None


def _told(grammar: Grammar, parts: list[Fact], total: Fact, arithmetic: str) -> Finding:
    kinds = grammar.table("kinds", Kind)
    label = kinds[total.kind].name if total.kind in kinds else total.kind
    about = called(total, grammar)
    return finding(
        "parts_and_total",
        "warning",
        f"{label}{f' ({about})' if about else ''}: the parts do not come to the stated total.",
        [*parts, total],
        arithmetic=arithmetic,
        ask="Say which is right: a part, the total, or a part that was not said.",
    )
