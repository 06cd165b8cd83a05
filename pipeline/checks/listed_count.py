"""A stated number of things against the things that are listed with it, or against its parts.

Read from the sentences themselves, since a list of sizes or of places need not be facts of their own: "six screws of
12, 14, 16, 14 and 18 mm", "four specimens: bladder base, trigone and left wall", "seven screws, four proximal and two
distal", "three anchors medially and three laterally, five in total".
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline import enumerations
from pipeline.checks import (
    _bracketed_list,
    _clock_places,
    _closing,
    _fates,
    _listed_more,
    _multiplied,
    _named_parts,
    _plate_holes,
    _ports_called,
    _summed_facts,
    _told_lists,
    _told_names,
    _told_out,
    _told_parts,
    _told_short,
    _whole_counts,
    base,
)
from pipeline.checks._spoken_counts import JOINS, PLACES, VERBS, WHOLE, Head, count, heads, says_total
from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding, Severity, Token

MEANING = "The things listed, or the parts of a number, are not as many as was said (six screws, five lengths)."

_OPENS = frozenset({":", "(", "-", "–"})
# What begins so goes on about the things and names none.
_GOES_ON = frozenset("with which then for but so because who that it they we all each both in total altogether using "
                     "before after as to by no not".split())  # fmt: skip
_STREAM = 60  # tokens; in a longer stretch of speech not every number counts what the total counts
_LEADS = frozenset({"so", "that's", "thats", "makes", "making"})
_OPENING = 3  # words before a total that begins its sentence ("So that makes four needles")
_ITEM_WORDS, _VERB_WORDS, _LIST_WORDS = 6, 4, 4


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    counts = False
    for ahead, passage in zip([None, *note.sections.description], note.sections.description, strict=False):
        read, before = base.read(passage), counts
        counts = any(token.quantity is not None or token.norm == "one" for token in read)
        if not (counts or before):
            continue
        counted = list(heads(read))
        for head in (*counted, *_told_names.predicates(read)):
            if _by_size(read, head):
                continue
            one = _sizes(read, head) or _items(read, head) or _parts(read, head) or _otherwise(read, head)
            if one is not None:
                found.append(_told(note, passage, head.number, head.noun, *one))
                break
        else:
            if (called := _ports_called.wrong(read)) is not None:
                found.append(_told(note, passage, *called, "warning"))
                continue
            sized = any(_by_size(read, head) for head in counted)
            summed = None if sized else _summed(read, counted)
            other = (_told_parts.summed(read) or _told_lists.ways(read) or _told_lists.rows(read)
                     or _told_lists.ordinals(read) or _told_lists.lots(note, passage, read)
                     or _gone_on(ahead, passage, read))  # fmt: skip
            signed = (_told_lists.signed(read) or _told_short.told(read) or _clock_places.totalled(read)
                      or _listed_more.told(read) or _named_parts.told(read)
                      or _multiplied.wrong(read) or _plate_holes.more_screws(read)
                      or _bracketed_list.told(read))  # fmt: skip
            if sized and any(told is not None and told[1] in _BORED for told in (signed, other)):
                continue
            if signed is not None:
                found.append(_told(note, passage, *signed, "warning"))
                continue
            if _with_a_sign(read, summed or other):
                continue
            if summed is not None:
                found.append(_told(note, passage, summed[0], counted[0].noun, summed[1], "warning"))
            elif other is not None:
                found.append(_told(note, passage, *other, "warning"))
    if not found:
        found = [_told(note, *told, "warning") for told in (*_summed_facts.totals(note), *_told_out.totals(note))]
        found = found or [_told(note, *told, "warning") for told in _told_out.more_out(note)]
    if not found:
        closing = (*_closing.totals(note), *_whole_counts.totals(note), *_closing.all_of_them(note),
                   *_closing.shared_out(note), *_fates.told(note))  # fmt: skip
        found = [_told(note, *told, "warning") for told in closing][:1]
    return [one for one in found if not _with_uncounted(note, one)]


_SUM = re.compile(r"(?:= (\d+)|((?:\d+ \+ )+\d+))(?: named| listed)?, said: (\d+)$")
_POINTS = frozenset("a an another one total the each every this that per last same either of first second any which "
                    "all whose no".split())  # fmt: skip


def _with_uncounted(note: OperativeNote, told: Finding) -> bool:
    """ "1 load, 1 load, the bronchus (green load), 3 loads, so 6 loads": what is wanting was named without a number."""
    worked, noun = _SUM.search(told.arithmetic or ""), _NOUN.match(told.message)
    if worked is None or noun is None:
        return False
    sum_ = int(worked[1]) if worked[1] else sum(map(int, worked[2].split(" + ")))
    wanting = int(worked[3]) - sum_
    single = {noun[1].removesuffix("s"), noun[1].removesuffix("es")} - {noun[1]}
    named = 0
    for passage in note.sections.description if wanting > 0 else ():
        if not any(passage.evidence.first <= place.first <= passage.evidence.last for place in told.evidence):
            continue
        tokens = base.read(passage)
        named += sum(
            token.norm in single and at > 0 and tokens[at - 1].norm.isalpha() and tokens[at - 1].norm not in _POINTS
            and not any(count(one) is not None for one in (*tokens[max(0, at - 3) : at], *tokens[at + 1 : at + 3]))
            and (at + 1 == len(tokens) or tokens[at + 1].punctuation or tokens[at + 1].norm in PLACES | JOINS)
            for at, token in enumerate(tokens)
        )  # fmt: skip
    return wanting == 1 <= named


_NOUN = re.compile(r"\d+ (\S+) were said")


def _with_a_sign(read: Sequence[Token], told: tuple[int, str] | tuple[int, str, str] | None) -> bool:
    """ "2 clips + 1, total 6": whether the numbers that a sign adds are what is wanting."""
    worked = _WORKED.search(told[-1]) if told is not None else None
    added = [count(token) for before, token in pairwise(read) if before.norm == "+"]
    more = sum(number for number in added if number is not None)
    return worked is not None and more > 0 and int(worked[1]) + more == int(worked[2])


_WORKED = re.compile(r"= (\d+), said: (\d+)")


def _gone_on(
    ahead: Passage | None, passage: Passage, read: Sequence[Token]
) -> tuple[int, str, str] | None:
    """A total in speech without marks, which is cut anywhere: its parts may begin in the stretch before."""
    if ahead is None or ahead.evidence.last + 1 != passage.evidence.first:
        return None
    before = base.read(ahead)
    if "." in (ahead.text + passage.text)[:-1]:
        first = next((at for at, token in enumerate(read) if count(token) is not None), len(read))
        led = 0 < first < len(read) and read[first - 1].norm in _LEADS
        if first > _OPENING or not (led or says_total(read, first)):
            return None  # "One 11G needle right and one left. Two needles in all."
        before = before[:-1] if before and before[-1].norm == "." else before
    return None if _told_parts.summed(before) is not None else _told_parts.summed([*before, *read])


def _by_size(read: Sequence[Token], head: Head) -> bool:
    """ "4 ports (12 umb, 12 LIF, 5 x2)": more than there are is a size, and no part."""
    return head.noun in _BORED and any((count(token) or 0) > head.number for token in read[head.last + 1 :])


_BORED = frozenset({"ports", "trocars", "cannulas", "cannulae", "sheaths"})


def _otherwise(read: Sequence[Token], head: Head) -> tuple[str, Severity] | None:
    """Parts that are told in the ways of `_told_parts`."""
    told = (
        _told_parts.one_by_one(read, head) or _told_names.unmarked(read, head) or _told_names.levels(read, head)
        or _told_names.on_each_side(read, head) or _clock_places.told(read, head)
    )  # fmt: skip
    return None if told is None else (told, "warning")


def _sizes(read: Sequence[Token], head: Head) -> tuple[str, Severity] | None:
    """ "Six screws: 12, 14, 16, 14 and 18 mm": sizes in a row are one for each."""
    first = next((at for at in range(head.last + 1, len(read)) if read[at].quantity is not None), None)
    if first is None:
        return None
    between = read[head.last + 1 : first]
    if first + 2 < len(read) and read[first].norm == "#length" and read[first + 1].norm == "(":
        first += 2  # "three screws of 6.5 mm (25 mm and 30 mm)"
    listed = enumerations.members(tuple(read), first)
    unit = read[listed[-1]].quantity
    if len(listed) < 2 or unit is None or unit.dimension not in ("length", "french"):
        return None
    if len(listed) == 2 and (not head.number % 2 or (head.first and read[head.first - 1].norm == "#number")):
        return None  # "four screws of 14 and 16 mm": two of each; "an eleven thirteen sheath, two stones of ..."
    if len(between) > _LIST_WORDS + 1 or any(_plural(token) for token in between):
        return None
    values = [quantity.value for at in listed if (quantity := read[at].quantity) is not None]
    crossed = {token.norm for token in read[listed[0] : listed[-1]]} & {"x", "by", "×"}
    if crossed or len(values) == head.number or _is_width_and_lengths(read, first, values, head.number):
        return None
    words = ", ".join(f"{value}" for value in values)
    # Fewer lengths than things, each length once: one of them may have been used twice. Not "three, 22 and 20 mm".
    sure = len(values) > head.number or len(set(values)) < len(values) or len(values) == 2 or head.noun in _SEEN
    return f"{words} {unit.unit} = {len(values)} listed, said: {head.number}", "warning" if sure else "note"


def _is_width_and_lengths(read: Sequence[Token], first: int, said: Sequence[Decimal | None], number: int) -> bool:
    """ "Four screws of 3.5 mm, 30, 32, 34 and 36 mm": the width of all of them, then the length of each."""
    own, values = read[first].quantity, [value for value in said if value is not None]
    return own is not None and own.unit is not None and len(values) == number + 1 and 2 * values[0] < min(values[1:])


# What is found and measured one by one; of screws one length may be told for two.
_SEEN = frozenset(
    "fibroids myomas polyps stones tumours tumors lesions cysts nodules ulcers tears holes defects".split()
)


def _plural(token: Token) -> bool:
    return token.norm.isalpha() and len(token.norm) > 3 and token.norm.endswith("s") and token.norm not in VERBS


def _items(read: Sequence[Token], head: Head) -> tuple[str, Severity] | None:
    """ "Four specimens were sent: bladder base, trigone and left wall"."""
    at = head.last + 1
    while at < len(read) and at - head.last <= _VERB_WORDS and not read[at].punctuation:
        if read[at].quantity is not None:
            return None
        at += 1
    if at >= len(read) or read[at].norm not in _OPENS | {","}:
        return None
    sure = read[at].norm in _OPENS
    items: list[list[Token]] = [[]]
    commas = ands = 0
    for token in read[at + 1 :]:
        if token.norm in (".", ";", ")", ":"):
            break
        if token.norm == ",":
            commas += 1
            items.append([])
        elif token.norm == "and" and commas:
            if items[-1]:
                items.append([])
        elif token.norm == "and" and sure:
            ands += 1
            items.append([])
        else:
            items[-1].append(token)
    named = [_stripped(item) for item in items]
    named = [item for item in named if item and not _is_size(item)]
    while len(named) > 2 and _says_more(named[-1]):
        named.pop()  # "..., marked with silk, to pathology"
    if len(named) < 2 or len(named) == head.number or any(not _is_name(item, head.number) for item in named):
        return None
    if head.number == 2 * len(named) and all(_is_level(item) for item in named):
        return None  # "six screws: L4, L5, S1": one on each side
    if any(token.quantity is not None and token.quantity.form == "times" for item in named for token in item):
        each = [next((one.quantity.value for one in item if one.quantity is not None and one.quantity.form == "times"
                      and one.quantity.value is not None), 1) for item in named]  # fmt: skip
        worked = sum(int(one) for one in each)
        if worked == head.number or not sure:
            return None  # "3 cultures (fluid x1, synovium x2)"
        return f"{' + '.join(f'{int(one)}' for one in each)} = {worked}, said: {head.number}", "warning"
    if any(token.norm == head.noun for item in named for token in item):
        return None  # "..., and 5 mm right and left lower quadrant ports": one of them is several
    if not sure and any(token.quantity is not None and token.quantity.dimension for item in named for token in item):
        return None  # "seven loose bodies out, biggest eleven millimetres, flexion one ten, ...": other things measured
    if not sure and (len(named) < 3 or any(token.norm in VERBS - {"left"} for item in items for token in item)):
        return None
    if not commas and len(named) < head.number and (ands > 1 or head.noun not in _told_names.SENT):
        return None  # "two plates: medial and lateral tibia and fibula": too little to go by
    words = "; ".join(" ".join(token.text for token in item) for item in named)
    return f"{words} = {len(named)} named, said: {head.number}", "warning"


def _says_more(item: Sequence[Token]) -> bool:
    """Whether the end of a list names nothing more, but says what was done with all of it."""
    first = item[0].norm
    if first.endswith("est") and len(first) > 4 or first in ("most", "mainly", "mostly"):
        return True  # "three columns: ..., biggest on the left"
    return first in _GOES_ON | VERBS - {"left"} or (first.endswith("ed") and len(first) > 4)


def _stripped(item: Sequence[Token]) -> list[Token]:
    """An item up to its verb ("L4-L5 were decompressed"); "left" is a side there."""
    kept: list[Token] = []
    for token in item:
        if token.norm in VERBS - {"left"}:
            break
        kept.append(token)
    return kept


def _is_size(item: Sequence[Token]) -> bool:
    """ "Two drains, fourteen French, one above ...", "6 cartridges (10.8 mL, 216 mg)": how much names none of them."""
    return len(item) == 1 and item[0].quantity is not None and item[0].quantity.dimension in _AMOUNTS and (
        item[0].quantity.unit != "L"  # "2 packs (1 R, 1 L)"
    )


_AMOUNTS = frozenset({"length", "french", "volume", "mass", "amount", "time"})


def _is_level(item: Sequence[Token]) -> bool:
    return len(item) == 1 and item[0].quantity is not None and item[0].quantity.form == "level"


def _is_name(item: Sequence[Token], said: int) -> bool:
    """Whether a part of a list names one thing: short, without a count of its own, and no further one that is none of
    them ("3 anchors (4th pulled out, discarded)")."""
    first = item[0].quantity
    further = first is not None and first.form == "ordinal" and (first.value or 0) > said
    return len(item) <= _ITEM_WORDS and item[0].norm not in _GOES_ON and not further and not any(
        (number := count(token)) is not None and number > 1 for token in item
    )


def _parts(read: Sequence[Token], head: Head) -> tuple[str, Severity] | None:
    """ "Seven screws, four proximal and two distal"."""
    parts: list[int] = []
    for at in range(head.last + 1, len(read)):
        token = read[at]
        if token.norm in (".", ";") or token.norm in WHOLE:
            break
        number = count(token)
        if number is None:
            if token.quantity is not None and parts:
                break
            continue
        after = read[at + 1].norm if at + 1 < len(read) else ""
        if after == "all" and at + 2 < len(read) and read[at + 2].norm == "inside":
            after = "inside"  # "six sutures, four all-inside and two outside-in"
        leads = read[at - 1].norm in JOINS or (at == head.last + 1 and after in _SORTS)
        if after not in PLACES or (not parts and not leads) or says_total(read, at):
            return None
        if not parts and head.last + 1 < at and read[head.last + 1].norm == after:
            return None  # "four nodes from station five, three from station six": the first has its place too
        parts.append(number)
    if len(parts) < 2 or sum(parts) == head.number:
        return None
    return f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {head.number}", "warning"


_SORTS = frozenset("medial lateral proximal distal anterior posterior upper lower superior inferior dorsal volar left "
                   "right".split())  # fmt: skip


def _summed(read: Sequence[Token], counted: Sequence[Head]) -> tuple[int, str] | None:
    """ "Three anchors medially and three laterally, five in total": (the total, the sum as worked)."""
    total = next((at for at, token in enumerate(read) if count(token) is not None and says_total(read, at)), None)
    if total is None:
        return None
    before = [head for head in counted if head.last < total]
    single = [at for at, token in enumerate(read[:total]) if count(token) is not None]
    if not before or single[0] != before[0].first or len({head.noun for head in before}) > 1:
        return None
    own = {head.first for head in before}
    for at in single:
        after = read[at + 1].norm if at + 1 < len(read) else ""
        placed = after in PLACES and read[at - 1].norm in JOINS
        placed = placed or (read[at - 1].norm in PLACES and read[at - 1].norm.endswith("ly") and after in JOINS)
        if at not in own and not placed:
            return None  # "three bodies out anteriorly, posteriorly one"
    parts = [number for at in single if (number := count(read[at])) is not None]
    said = count(read[total])
    noun = read[total + 1].norm if total + 1 < len(read) else ""
    repeated = len(own) == len(single) and noun == before[0].noun
    if said is None or len(parts) < 2 or sum(parts) == said or repeated or said < max(parts) or total > _STREAM:
        return None  # where every count has its noun, parts_and_total adds up the facts
    return said, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {said}"


def _told(
    note: OperativeNote, passage: Passage, said: int, noun: str, arithmetic: str, severity: Severity
) -> Finding:
    made = finding(
        "listed_count", severity,
        f"{said} {noun} were said; what is told of them does not come to {said}.",
        [fact for fact in note.of("device_count", "specimen_count", "draw_count") if passage.holds(fact)
         and fact.value == said],
        arithmetic=arithmetic,
        ask="Say which is right: the number, or what is listed.",
        about=f"w{passage.evidence.first}",
    )  # fmt: skip
    return Finding(
        made.check, made.severity, made.message, made.key, made.ask, made.arithmetic, made.facts,
        made.evidence or (passage.evidence,),
    )
