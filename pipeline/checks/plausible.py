"""A number outside the range in which its kind can lie: misheard, misspoken, or in another unit."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from pipeline.checks.base import amount, called, finding, placed, plain, read, shown, span, unit_words
from pipeline.conversion import convert
from pipeline.grammar import Grammar
from pipeline.limits import limits
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Token
from pipeline.rows import Kind, Limit

MEANING = "A number outside the plausible range of its kind, with the likely reading (a factor of ten, another unit)."

_OTHER_UNITS = (("mm", "cm"), ("cm", "m"), ("mL", "L"), ("ug", "mg"), ("mg", "g"), ("g", "kg"), ("min", "h"),
                ("d", "wk"), ("[lb_av]", "kg"), ("mm[Hg]", "kPa"))  # fmt: skip
_FACTORS = tuple(Decimal(text) for text in ("0.1", "10", "0.001", "1000", "0.01", "100"))

_WALKING = frozenset({"claudication", "walking", "walks", "walk", "distance"})
_TENS, _HUNDRED = Decimal(10), Decimal(100)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for fact in note.facts:
        if fact.certainty == "negated" or (fact.value is None and fact.low is None) or _walked(fact):
            continue
        if fact.kind == "aftercare" and fact.value == 0 and fact.unit == "d":
            continue  # "physio from day 0"
        if (eye := _beyond_an_eye(note, grammar, fact)) is not None:
            found.append(_told(note, grammar, fact, eye, "plausible"))
            continue
        for what in ("plausible", "typical"):
            row = _limit(note, grammar, fact, what)
            if row is not None and not any(_inside(fact, one) for one in _same_name(note, grammar, fact, row)):
                found.append(_told(note, grammar, fact, row, what))
                break
    return found + _weighed(note, grammar)


# Organs that are weighed when they are out, none of which weighs less than a gram. Common practice, no source.
_ORGANS = frozenset("uterus prostate breast spleen kidney thyroid fibroid fibroids liver lung gallbladder".split())
_BESIDE, _BEFORE = 5, 14  # tokens between cement, or "weighed", and a weight; from an organ to it


def _weighed(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """Weights that only the words hold: packs of cement, and organs in milligrams."""
    row = next((row for row in limits(grammar, note.profile, "plausible", kind="device_size", name="cement", unit="g")
                if row.name_of == "cement"), None)  # fmt: skip
    found: list[Finding] = []
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            quantity = token.quantity
            if quantity is None or quantity.value is None or quantity.unit not in ("g", "mg", "kg"):
                continue
            near = [one.norm for one in tokens[max(0, at - _BESIDE) : at + _BESIDE + 1]]
            much = row is not None and row.high is not None and quantity.unit == "g" and quantity.value > row.high
            named = {one.norm for one in tokens[max(0, at - _BEFORE) : at + _BESIDE]} & _ORGANS
            little = quantity.unit == "mg" and named and _weighs(near)
            heavy = quantity.unit == "kg" and quantity.value > _HEAVIEST and _out(tokens, at)
            if (much and "cement" in near) or little or heavy:
                made = finding(
                    "plausible", "warning", f"“{token.text}” is hardly possible as the weight of what it was said of.",
                    ask="Say the weight again, with its unit.", about=f"w{passage.evidence.first + at}",
                )  # fmt: skip
                found.append(placed(made, passage.evidence))
    return found


_HEAVIEST = 25  # kg; the largest tumours weigh some 20 kg: common practice, no source


def _out(tokens: Sequence[Token], at: int) -> bool:
    """Whether a weight is that of what was taken out or put in ("graft 1540 kg", "together 412 kg")."""
    lead = [one.norm for one in tokens[max(0, at - 3) : at]]
    far = {one.norm for one in tokens[max(0, at - 8) : at]} & _ORGANS
    if far and {"pathology", "histology"} & {one.norm for one in tokens[at + 1 : at + 7]}:
        return True  # "uterus through the vagina two hundred and eighty kilograms with both tubes to pathology"
    return bool({"graft", "together", "specimen", "specimens", "resected", *_ORGANS} & set(lead))


def _weighs(near: list[str]) -> bool:
    return any(norm.startswith("weigh") or norm in ("out", "specimen") for norm in near)


def _beyond_an_eye(note: OperativeNote, grammar: Grammar, fact: Fact) -> Limit | None:
    """Nothing that is measured of an eye is longer than the eye ("the rectus was recessed fifty millimetres")."""
    if fact.kind != "measurement" or fact.unit not in ("mm", "cm"):
        return None
    if note.family != "eye" and not any(one.body_site == "eye" for one in note.of("diagnosis", "preop_diagnosis")):
        return None
    row = next((row for row in limits(grammar, note.profile, "plausible", kind="measurement", name="of-an-eye")
                if row.name_of == "of-an-eye"), None)  # fmt: skip
    return row if row is not None and not _inside(fact, row) else None


def _walked(fact: Fact) -> bool:
    """How far somebody walks is no size ("claudication at fifty metres")."""
    return fact.unit == "m" and bool(_WALKING & set((fact.text or "").lower().split()))


def _limit(note: OperativeNote, grammar: Grammar, fact: Fact, what: str) -> Limit | None:
    """The row for this kind in a unit that converts; bare numbers only meet rows without a unit."""
    rows = limits(grammar, note.profile, what, kind=fact.kind, name=_name(note, fact), unit=fact.unit or "")
    rows = [row for row in rows if bool(row.unit) == bool(fact.unit) and note.family not in row.outside]
    own = [row for row in rows if row.unit == fact.unit]
    return next(iter([*own, *rows]), None) if not rows or not rows[0].name_of else rows[0]


def _same_name(note: OperativeNote, grammar: Grammar, fact: Fact, row: Limit) -> list[Limit]:
    """The row, and the others of its name: a nail has a thickness and a length, each with a range of its own."""
    if not row.name_of:
        return [row]
    rows = limits(grammar, note.profile, row.what, kind=row.kind, name=row.name_of, unit=row.unit)
    return [one for one in rows if (one.name_of, one.profile) == (row.name_of, row.profile)]


def _name(note: OperativeNote, fact: Fact) -> str:
    """The concept, or for a device without a row of its own the last of its words ("ports": "port"); the side port of
    an eye is an incision of a millimetre and no port."""
    if fact.kind == "measurement" and fact.name is None and fact.unit is None and fact.text:
        return fact.text.lower().split()[-1]  # "fifty holes"
    if fact.kind == "measurement" and fact.unit in ("mm", "cm") and (drilled := _drilled(note, fact)):
        return drilled
    if fact.name == "size" and _STONES & set((fact.text or "").lower().split()):
        return "stone-size"
    if fact.name == "size" and _LESIONS & set((fact.text or "").lower().split()):
        return "lesion-size"
    if fact.kind == "draw" and fact.text:
        return fact.text  # "whole blood"
    if fact.kind == "draw" and _is_alone(note, fact):
        return "alone"
    if fact.name is not None or fact.kind != "device_size" or not fact.text:
        return fact.name or ""
    if "port" in fact.text.lower() and any(
        "side port" in one.text.lower() or "sideport" in one.text.lower()
        for one in note.sections.description if one.holds(fact)
    ):
        return "side port"
    noun = fact.text.lower().split()[-1].removesuffix("s")
    return "" if noun == "head" and fact.unit != "mm" else noun  # "ten centimetres, head cut": of the incision


_DEEP = re.compile(r"\bdeep\b|\bdepth\b", re.I)
_DRILLED = re.compile(r"\b(?:drill\w*|screws?|tunnels?|sockets?|pilot hole)\b", re.I)
_WIDE = re.compile(r"\bwide\b|\bdiameter\b|\bwidth\b", re.I)
_BORED = re.compile(r"(?<!carpal )(?<!cubital )(?<!tarsal )(?<!radial )\b(?:tunnels?|sockets?)\b|\bgraft diameter\b|"
                    r"\bdiameter of the graft\b", re.I)  # fmt: skip
_CANAL = re.compile(r"\b(?:nail\w*|canal|ream\w*|skin|scope)\b", re.I)


def _drilled(note: OperativeNote, fact: Fact) -> str:
    """How deep something was drilled or a screw hole measured, or how wide a tunnel or its graft is; canals are opened
    along a whole bone."""
    text = next((one.text for one in note.sections.description if one.holds(fact)), "")
    own = f"{fact.text or ''} {fact.evidence.heard}"
    near = text[max(0, text.find(fact.evidence.heard)) :][: len(fact.evidence.heard) + 12]
    deep = _DEEP.search(own) or _DEEP.search(near)
    if _WIDE.search(near) and _BORED.search(text):
        return "drilled-bore"
    return "drilled-depth" if deep and _DRILLED.search(text) and not _CANAL.search(text) else ""


def _is_alone(note: OperativeNote, draw: Fact) -> bool:
    """ "120 mL from the right crest": all that was drawn of its side, told in one amount, and no one draw of many."""
    if draw.name or draw.scale is not None:
        return False
    same = [one for one in note.facts if one.kind in ("draw", "draw_count") and one.laterality == draw.laterality]
    return len(same) == 1


_LESIONS = frozenset({"lesion", "lesions", "tear", "defect"})
_STONES = frozenset({"stone", "stones", "calculus", "calculi", "staghorn", "polyp", "polyps", "nodule"})


def _inside(fact: Fact, row: Limit) -> bool:
    said = span(fact, row.unit or None)
    if said is None or row.low is None or row.high is None:
        return True
    top = said.high if said.high is not None else said.low
    bottom = said.low if fact.comparator not in ("<", "<=") else said.high
    return (top is None or top <= row.high) and (bottom is None or bottom >= row.low)


def _told(note: OperativeNote, grammar: Grammar, fact: Fact, row: Limit, what: str) -> Finding:
    kinds = grammar.table("kinds", Kind)
    label = kinds[fact.kind].name if fact.kind in kinds else fact.kind
    about = called(fact, grammar)
    subject = f"{label} ({about})" if about else label
    likely = _likely(note, grammar, fact, row)
    limits_words = f"{plain(row.low or Decimal(0))} to {amount(row.high or Decimal(0), row.unit or None)}"
    return finding(
        "plausible",
        "warning" if what == "plausible" else "note",
        f"{subject}: {shown(fact)} is {'hardly possible' if what == 'plausible' else 'unusual'}.",
        [fact],
        arithmetic=f"{shown(fact)} against {limits_words} ({row.source})",
        ask="Say the value again." + (f" Was it {' or '.join(likely)}?" if likely else ""),
    )


def _likely(note: OperativeNote, grammar: Grammar, fact: Fact, row: Limit) -> list[str]:
    """Readings that would be usual: a factor of ten or a thousand, or the same number in a unit next to it."""
    if fact.value is None:
        return []
    usual = _limit(note, grammar, fact, "typical") or row
    found: list[str] = []
    if fact.kind == "device_size" and fact.unit and _TENS <= fact.value < _HUNDRED and fact.value % 1 == 0:
        count, size = divmod(int(fact.value), 10)  # "three five millimetre ports" runs together to 35
        if count > 1 and _would_fit(Decimal(size), fact.unit, usual):
            found.append(f"{count} of {amount(Decimal(size), fact.unit)}")
    for smaller, larger in _OTHER_UNITS:
        other = larger if fact.unit == smaller else smaller if fact.unit == larger else None
        if other is not None and _would_fit(fact.value, other, usual):
            found.append(f"{plain(fact.value)} {unit_words(other)}")
    for factor in _FACTORS:
        if len(found) < 2 and _would_fit(fact.value * factor, fact.unit, usual):
            found.append(amount(fact.value * factor, fact.unit))
    return found[:2]


def _would_fit(value: Decimal, unit: str | None, row: Limit) -> bool:
    try:
        there = convert(value, unit or "", row.unit) if unit and row.unit else value
    except ValueError:
        return False
    return row.low is not None and row.high is not None and row.low <= there <= row.high
