"""Sizes that belong together: a graft and its tunnel, a nail and the reamer before it, a cup and its reamer; and one
implant of which there is one, told with two sizes."""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline.checks import _components
from pipeline.checks._sizes_said import Size, number, settled, told
from pipeline.checks.base import finding, placed, plain, read
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Finding

MEANING = "Two sizes that belong together do not: a graft and its tunnel, a nail and its reamer, a head said twice."

# Of these there is one on a side. Common practice, no source.
_ONE = ("head", "glenosphere", "cup", "insert")
_REAMED = re.compile(r"^ream(?:ed|ing|er|ers)?$")
_HIP = re.compile(r"\b(?:cup|shell|acetabul\w*|socket)\b", re.I)
_LAST = 6  # tokens from "reamed" to a size
_BETWEEN = frozenset("up to with by from steps of in the canal size sizes a last reamer was is at acetabulum".split())


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    named = [(thing, _sizes(note, thing)) for thing in (*_ONE, *_components.PARTS)]
    if _two_sides(note):
        told = [(f"{side} {thing}", sizes) for thing, both in named
                for side, sizes in _components.by_side(note, both).items()]  # fmt: skip
        return [one for one in (_twice(thing, sizes) for thing, sizes in told) if one is not None]
    found = [_screw(note, grammar), _tunnel(note, grammar), _reamed(note, grammar, "nail"),
             _reamed(note, grammar, "cup"), _measured(note, grammar), _tried(note)]  # fmt: skip
    return [one for one in (*found, *(_twice(thing, sizes) for thing, sizes in named)) if one is not None]


def _sizes(note: OperativeNote, thing: str) -> list[Size]:
    if thing in _components.PARTS:
        return _components.sizes(note, thing)
    if thing == "head" and not _HIP.search(" ".join(one.text for one in note.sections.description)):
        return []
    return told(note, thing)


def _two_sides(note: OperativeNote) -> bool:
    sides = {fact.laterality for fact in note.of("procedure", given=True) if fact.laterality is not None}
    return len(sides) > 1 or "bilateral" in sides or (not sides and any(
        _BOTH.search(passage.text) for passage in note.sections.description[:_OPENING]
    ))  # fmt: skip


_BOTH, _OPENING = re.compile(r"\bboth (?:knees|hips|shoulders|ankles|sides)\b", re.IGNORECASE), 3  # sentences


def _tunnel(note: OperativeNote, grammar: Grammar) -> Finding | None:
    """ "Graft nine millimetres ... tibial tunnel seven": a tunnel that no graft of the note would go through."""
    grafts, tunnels = told(note, "graft"), told(note, "tunnel")
    if (apart := _apart(note, tunnels, grammar)) is not None:
        return apart
    row = limit(grammar, note.profile, "fit", name="tunnel")
    if not grafts or row is None or row.low is None or row.high is None:
        return None
    for tunnel in tunnels:
        off = [tunnel.value - graft.value for graft in grafts]
        if not any(row.low <= one <= row.high for one in off) and settled([*grafts, tunnel], soft=True):
            return _told("tunnel", f"A graft of {plain(grafts[0].value)} mm does not go with a tunnel of "
                         f"{plain(tunnel.value)} mm.", tunnel,
                         f"{plain(tunnel.value)} - {plain(grafts[0].value)} = {plain(off[0])} mm; configured: "
                         f"{plain(row.low)} to {plain(row.high)} mm ({row.source})")  # fmt: skip
    return None


_SECOND_GRAFT = re.compile(
    r"\b(?:fibul\w+|posterolateral c\w+|plc|collateral|mpfl|tenodesis|second graft|pcl|root)\b", re.I
)


def _apart(note: OperativeNote, tunnels: list[Size], grammar: Grammar) -> Finding | None:
    """ "Femoral tunnel 10 mm; tibial tunnel 6 mm": one graft of a cruciate ligament lies in both."""
    row = limit(grammar, note.profile, "fit", name="tunnel")
    cruciate = any("cruciate" in (fact.name or "") for fact in note.of("procedure", given=True))
    more = any(_SECOND_GRAFT.search(one.text) for one in note.sections.description)
    if not cruciate or more or row is None or row.high is None or len(tunnels) < 2 or not settled(tunnels, soft=True):
        return None
    low, high = (pick(tunnels, key=lambda one: one.value) for pick in (min, max))
    if high.value - low.value <= row.high:
        return None
    return _told("tunnel", f"Tunnels of {plain(low.value)} and {plain(high.value)} mm were said for one graft.", low,
                 f"{plain(high.value)} - {plain(low.value)} = {plain(high.value - low.value)} mm; configured: at most "
                 f"{plain(row.high)} mm ({row.source})")  # fmt: skip


def _screw(note: OperativeNote, grammar: Grammar) -> Finding | None:
    """ "Measured 24 mm, 32 mm headless screw": one length measured, and the screw of it in the same sentence."""
    row = limit(grammar, note.profile, "fit", name="screw")
    if row is None or row.low is None or row.high is None:
        return None
    for passage in note.sections.description:
        tokens = read(passage)
        measured = [at for at, token in enumerate(tokens) if token.norm in ("measured", "measures", "measuring")]
        at = measured[0] + 1 if len(measured) == 1 else len(tokens)
        at += at < len(tokens) and tokens[at].norm in ("at", "as", "for")
        length = number(tokens[at]) if at < len(tokens) else None
        reach = range(at + 1, min(len(tokens), at + _TO_SCREW))
        end = next((place for place in reach if tokens[place].norm == "screw"), at)
        sizes = [one for one in tokens[at + 1 : end] if number(one) is not None]
        screw = number(sizes[0]) if len(sizes) == 1 else None
        if screw is not None and screw < _SHORTEST:
            continue  # "one screw of twenty two"
        if length is None or screw is None or length < _SHORTEST or any(one.norm in _GRAFTS for one in tokens[:at]):
            continue
        if not row.low <= screw - length <= row.high:
            return _told("screw", f"{plain(length)} mm were measured, and the screw is {plain(screw)} mm.",
                         Size(screw, passage, at), f"{plain(screw)} - {plain(length)} = {plain(screw - length)} mm; "
                         f"configured: {plain(row.low)} to {plain(row.high)} mm ({row.source})")  # fmt: skip
    return None


_TO_SCREW = 9  # tokens
_SHORTEST = 8  # mm of a screw that is measured
_GRAFTS = frozenset({"graft", "tunnel", "head", "defect", "tear", "lesion"})


def _reamed(note: OperativeNote, grammar: Grammar, thing: str) -> Finding | None:
    """ "Reamed to eleven and a half, nail thirteen by three forty"."""
    sizes, reamers = told(note, thing), _reamers(note, thing)
    row = limit(grammar, note.profile, "fit", name=thing)
    if not sizes or not reamers or row is None or row.low is None or row.high is None:
        return None
    last = max(reamers, key=lambda one: one.value)
    off = sizes[-1].value - last.value
    if row.low <= off <= row.high or not settled([sizes[-1], last]):
        return None
    return _told(thing, f"A {thing} of {plain(sizes[-1].value)} mm does not go with reaming to {plain(last.value)} mm.",
                 sizes[-1], f"{plain(sizes[-1].value)} - {plain(last.value)} = {plain(off)} mm; configured: "
                 f"{plain(row.low)} to {plain(row.high)} mm ({row.source})")  # fmt: skip


def _reamers(note: OperativeNote, thing: str) -> list[Size]:
    """The sizes behind "reamed", of the canal or of the socket by what the sentence tells of."""
    low, high = (5, 18) if thing == "nail" else (36, 76)
    found: list[Size] = []
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            if not _REAMED.match(token.norm):
                continue
            for place in range(at + 1, min(len(tokens), at + 1 + _LAST)):
                quantity = tokens[place].quantity
                if quantity is None and tokens[place].norm not in _BETWEEN:
                    break
                value = quantity.value if quantity is not None and quantity.unit in (None, "mm") else None
                if value is not None and low <= value <= high:
                    found.append(Size(value, passage, place))
    return found


def _measured(note: OperativeNote, grammar: Grammar) -> Finding | None:
    """ "Head out, measured forty six ... fifty four head on": a hemiarthroplasty has the size of what it replaces."""
    if not any("hemiarthroplasty" in (fact.name or "") for fact in note.of("procedure", given=True)):
        return None
    row = limit(grammar, note.profile, "fit", name="head")
    heads = [*told(note, "head"), *told(note, "bipolar")]
    for passage in note.sections.description if row is not None else ():
        tokens = read(passage)
        for at, token in enumerate(tokens):
            if token.norm not in ("measured", "measures", "measuring", "sized") or not any(
                one.norm == "head" for one in tokens[max(0, at - _LAST) : at]
            ):
                continue
            value = next((value for one in tokens[at + 1 : at + 4] if (value := number(one)) is not None), None)
            for head in heads if value is not None else ():
                off = abs(head.value - (value or head.value))
                same = head.passage is passage and at < head.at <= at + 3
                if row is not None and row.high is not None and off > row.high and not same:
                    return _told("measured", f"The head was measured as {plain(value or Decimal(0))}, and one of "
                                 f"{plain(head.value)} was put on.", head,
                                 f"{plain(off)} mm apart; configured: at most {plain(row.high)} mm ({row.source})")
    return None


_TRIAL = re.compile(r"\btrial(?:led|ed|s|ling)?\b", re.I)
_CHANGED = re.compile(
    r"\b(?:then|(?<!not )(?:too )?(?:loose|tight)|up|down|instead|chang\w+|exchang\w+|next|finally|lift\w*|more|"
    r"unstable)\b", re.I,
)  # fmt: skip


def _tried(note: OperativeNote) -> Finding | None:
    """ "Trial with ten, stable ... definitive insert fourteen": the only size tried, with which all was well."""
    tried: list[Size] = []
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            if not _TRIAL.match(token.norm):
                continue
            for place in range(at + 1, min(len(tokens), at + 5)):
                value = number(tokens[place])
                if value is not None and 3 <= value <= 26:
                    tried.append(Size(value, passage, place))
                    break
                if tokens[place].norm not in ("with", "a", "of", "insert", "the", "at", "poly", "inlay", ":", "was"):
                    break
    final = [one for one in told(note, "insert")
             if not any(one.at == other.at and one.passage is other.passage for other in tried)]  # fmt: skip
    if len({one.value for one in tried}) != 1 or not final or final[-1].value == tried[0].value:
        return None
    told_of = _between(tried[-1], final[-1])
    if len({one.value for one in final}) != 1 or _CHANGED.search(told_of):
        return None
    trial, insert = plain(tried[0].value), plain(final[-1].value)
    return _told("trial", f"The trial was {trial} mm, the insert {insert} mm.", final[-1], f"{trial} is not {insert}")


def _between(first: Size, last: Size) -> str:
    """The words from a trial to what was put in."""
    if first.passage is last.passage:
        return " ".join(token.text for token in read(first.passage)[max(0, first.at - _LAST) : last.at + 1])
    behind = [token.text for token in read(first.passage)[max(0, first.at - _LAST) :]]
    return " ".join([*behind, *(token.text for token in read(last.passage)[: last.at + 1])])


def _twice(thing: str, sizes: list[Size]) -> Finding | None:
    pair = _components.twice(sizes)
    if pair is None:
        return None
    first, other = (plain(one.value) for one in pair)
    unit = "" if thing.split()[-1] in _components.PARTS else " mm"
    return _told(thing, f"The {thing} was said with two sizes: {first} and {other}{unit}.", pair[1],
                 f"{first} is not {other}")  # fmt: skip


def _told(about: str, message: str, size: Size, arithmetic: str) -> Finding:
    made = finding(
        "implant_fit", "warning", message, arithmetic=arithmetic, ask="Say which size is right.", about=about
    )
    return placed(made, size.passage.evidence)
