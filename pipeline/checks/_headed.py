"""What is told under a heading of the note and otherwise in its text: "Drains: 2 ... one 15 French drain was brought
out", "Implants: plate with 6 screws ... four screws were placed", "PEEK cages 7 and 6 mm ... a 9 mm cage was tapped
in"."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from pipeline import clauses
from pipeline.checks._spoken_counts import count
from pipeline.checks.base import finding, placed, plain, read
from pipeline.conversion import convert
from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding, Token

# What is counted in a heading and in the text alike. Common practice, no source.
_PLURALS = {
    "drains": "drain", "tubes": "tube", "screws": "screw", "nodes": "node", "polyps": "polyp", "stents": "stent",
    "leads": "lead", "coils": "coil", "cages": "cage", "plates": "plate", "rods": "rod", "tumours": "tumour",
    "tumors": "tumour", "stones": "stone", "fibroids": "fibroid", "myomas": "fibroid", "cores": "core",
    "fragments": "fragment", "electrodes": "electrode", "anchors": "anchor", "nails": "nail", "bands": "band",
}  # fmt: skip
_SINGULARS = {one: one for one in _PLURALS.values()} | {"tumor": "tumour", "myoma": "fibroid"}
_HEADS = frozenset({"drain", "drains", "implant", "implants", "specimen", "specimens", "hardware", "devices", "device"})
_TO_COLON, _TO_NOUN, _MOST = 4, 5, 40
_ELSEWHERE = frozenset({"indication", "history", "imaging", "consent", "aftercare", "follow-up"})
_MORE = frozenset({"a", "an", "another", "second", "third", "further", "additional", "extra", "final", "last"})
_NO_COUNT = frozenset("level levels grade stage type zone number no page size sizes step".split())
_TIMES = frozenset({"x", "\u00d7"})
# What changes a number on the way, or gives it for each. Common practice, no source.
_OTHERWISE = re.compile(
    r"\b(?:each|per|both|either|bilateral\w*|remov\w+|pulled|chang\w+|exchang\w+|replac\w+|revis\w+|upsiz\w+|trial\w*|"
    r"broke\w*|bent|cut ?out|discard\w*|dropp\w*|fail\w*|previous\w*|old|prior|existing|later|remaining|"
    r"temporar\w+|provisional\w*|attempt\w*|planned|instead|opened|first|unscrewed|drill\w*|ream\w*|measur\w+)\b",
    re.IGNORECASE,
)  # fmt: skip


@dataclass(slots=True)
class _Told:
    """What is said of one sort of thing: numbers in a heading and in the text, and those told one by one."""

    headed: list[int] = field(default_factory=list)
    told: list[int] = field(default_factory=list)
    alone: int = 0
    vague: bool = False  # some were told without a number
    changed: bool = False
    where: Passage | None = None
    sizes: tuple[set[Decimal], set[Decimal]] = field(default_factory=lambda: (set(), set()))


def headed(note: OperativeNote) -> list[Finding]:
    """The first thing whose number, or else whose size, differs between a heading and the text. Pure."""
    things: dict[str, _Told] = {}
    for passage, within in _passages(note):
        tokens = read(passage)
        for noun, number in _counts(tokens, within):
            one = things.setdefault(noun, _Told())
            (one.headed if within else one.told).append(number)
            one.where = passage if not within else one.where
        for at, token in enumerate(tokens):
            noun = _PLURALS.get(token.norm) or _SINGULARS.get(token.norm, "")
            if not noun:
                continue
            one = things.setdefault(noun, _Told())
            if not within and _OTHERWISE.search(passage.text):
                one.changed = True
            later = at + 1 < len(tokens) and tokens[at + 1].norm in ("out", "removed")  # "drains out below 30 mL"
            if not within and not later and not _is_counted(tokens, at):
                single = token.norm in _SINGULARS
                lead = {word.norm for word in tokens[max(0, at - _TO_NOUN) : at]}
                one.alone += single and bool(lead & _MORE)
                one.vague = one.vague or not single and "the" not in lead and "all" not in lead
            sizes = _sizes(tokens, at, within)
            if sizes:
                one.sizes[not within].update(sizes)
                one.where = passage if not within else one.where
    for noun, one in things.items():
        if one.where is None or one.changed:
            continue
        said = None if one.vague else _wrong_number(one)
        if said is not None:
            made = finding("two_values", "warning", f"The number of {noun}s was said twice and differently: {said}.",
                           arithmetic=said, ask="Say which is right.", about=f"number of {noun}s")  # fmt: skip
            return [placed(made, one.where.evidence)]
        here, there = one.sizes
        if here - there and there - here and len(here) == len(there):
            first, other = (" and ".join(plain(size) for size in sorted(each))
                            for each in (here - there, there - here))  # fmt: skip
            made = finding(
                "two_values", "warning", f"The size of the {noun} was said twice and differently: {first} and {other} "
                "mm.", arithmetic=f"{other} is not {first}", ask="Say which is right.", about=f"size of {noun}",
            )  # fmt: skip
            return [placed(made, one.where.evidence)]
    return []


def _passages(note: OperativeNote) -> Iterator[tuple[Passage, bool]]:
    """(passage, whether it stands under a heading of things): a numbered list goes on under its heading."""
    within = False
    for passage in note.sections.description:
        norms = [token.norm for token in read(passage)[: _TO_COLON + 1]]
        if ":" in norms[1:]:
            within = norms[0] in _HEADS
        elif within and any(token.norm in clauses.VERBS for token in read(passage)):
            within = False
        if passage.section not in _ELSEWHERE:
            yield passage, within


def _counts(tokens: Sequence[Token], within: bool) -> Iterator[tuple[str, int]]:
    """(noun, number) of "two 15 French drains", of "nodes x3" and "Drains: 2" only in a heading."""
    for at, token in enumerate(tokens):
        number = count(token)
        if number is None or number > _MOST or at and tokens[at - 1].norm in _NO_COUNT:
            continue
        before = tokens[at - 1].norm if at else ""
        after = tokens[at + 1] if at + 1 < len(tokens) else None
        if within and before in (":", ",", "(", *_TIMES) and (after is None or after.norm in (".", ")", ";", "(")):
            noun = _PLURALS.get(tokens[at - 2].norm) if at > 1 else None
            if noun and not (before == ":" and noun != "drain"):
                yield noun, number
                continue
        for place in range(at + 1, min(at + 1 + _TO_NOUN, len(tokens))):
            word = tokens[place]
            if word.norm in _PLURALS and number > 1 or word.norm in _SINGULARS and number == 1:
                if before not in _TIMES and not (before and before in ("the", "these", "those", "of")):
                    yield _PLURALS.get(word.norm) or _SINGULARS[word.norm], number
                break
            if word.punctuation or count(word) is not None or word.norm in ("with", "of", "for", "in", "to"):
                break


def _is_counted(tokens: Sequence[Token], at: int) -> bool:
    return any(count(tokens[place]) is not None for place in range(max(0, at - _TO_NOUN), at)) or (
        at + 2 < len(tokens) and tokens[at + 1].norm in (":", ",", "(", *_TIMES) and count(tokens[at + 2]) is not None
    )


def _wrong_number(one: _Told) -> str | None:
    """Why the numbers cannot all be right: no sum of those in the text is that of the heading."""
    if not one.headed or not one.told:
        return None
    sums = {0}
    for number in one.told:
        sums |= {known + number for known in sums}
    allowed = {known + more for known in sums for more in range(one.alone + 1)} - {0}
    headed_sum = sum(one.headed)
    if allowed & {headed_sum, *one.headed}:
        return None
    return f"{headed_sum} and {' + '.join(map(str, one.told))}"


def _sizes(tokens: Sequence[Token], at: int, within: bool) -> set[Decimal]:
    """Millimetres right before a thing: "a 9 mm cage", or in a heading behind it: "cages: 7 mm (C5-C6), 6 mm"."""
    ahead = next((place for place in (at - 1, at - 2) if place >= 0 and (
        tokens[place].quantity is not None or tokens[place].punctuation)), None)  # fmt: skip
    if ahead is not None and (size := _millimetres(tokens, ahead)) is not None:
        return {size}
    found: set[Decimal] = set()
    for place in range(at + 1, len(tokens)):
        if tokens[place].norm in _PLURALS or tokens[place].norm in _SINGULARS or not within and place > at + 2:
            break
        if (size := _millimetres(tokens, place)) is not None:
            found.add(size)
            if not within:
                break
    return found


def _millimetres(tokens: Sequence[Token], place: int) -> Decimal | None:
    quantity = tokens[place].quantity
    if quantity is None or quantity.value is None or quantity.unit not in ("mm", "cm") or quantity.comparator:
        return None
    crossed = {word.norm for word in tokens[max(0, place - 1) : place + 2]} & {"x", "by", "\u00d7"}
    return None if crossed else convert(quantity.value, quantity.unit, "mm").normalize()
