"""Counts of several things, or so many times so much, against their total in one sentence.

"3 screws proximally and 6 pegs distally, 9 screws and pegs in all", "four pulls of ten millilitres, three pulls of ten
millilitres, seventy altogether". Read from the sentences themselves, so that no fact needs to hold the parts; sums of
plain amounts are the business of `stated_sums`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise

from pipeline.checks import _multiplied
from pipeline.checks._spoken_counts import PLACES, is_portal
from pipeline.checks.base import finding, plain
from pipeline.checks.base import read as tokens_of
from pipeline.conversion import convert, convertible
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding, Quantity, Token

MEANING = "Counts of several things, or so many draws of so much, do not come to the total of their sentence."

_SUMS = frozenset({"mass", "volume", ""})
_COMES = frozenset({"comes", "come", "came", "adds", "amounts", "up"})
_BEFORE = frozenset({"together", "total", "totalling", "totaling", "altogether", "makes", "making", "=", "equals"})
_AFTER = (("in", "total"), ("in", "all"), ("altogether",), ("together",), ("total",), ("all", "together"),
          ("all", "told"), ("all", "up"), ("combined",))  # fmt: skip
_NOUNS = 4  # words between a total and "in all" ("9 screws and pegs in all")
_PARTS, _STREAM = 4, 40  # counts, and tokens before the total
_TIMES = frozenset({"x", "×", "times"})
_LABELS = frozenset({"x", "×", "size", "grade", "number", "level", "zone", "type", "stage"})
_SINGLE = frozenset({"one", "another"})
_MOST = Decimal(40)  # more is no count of draws, packs or levels
_LEAST = 2  # numbers of a sentence: a part and the total


@dataclass(frozen=True, slots=True)
class _Part:
    """An amount, `times` over; `counted`: by a count that stands before it ("four pulls of ten millilitres")."""

    counted: bool
    value: Decimal
    times: Decimal
    words: str


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for passage in note.sections.description:
        tokens = tokens_of(passage)
        if sum(token.quantity is not None for token in tokens) < _LEAST:
            continue
        for at in _totals(tokens):
            total = tokens[at].quantity
            if total is None or total.value is None:
                continue
            parts = _undivided(list(_parts(tokens, at, total)))
            uncounted = total.dimension and not any(part.counted for part in parts)
            if uncounted or not _wrong(parts, total.value, _on_the_way(tokens, at)):
                continue
            if not total.dimension and _multiplied.explained(tokens[:at], int(total.value)):
                continue  # "four anchors with two sutures each, eight sutures in all"
            if not total.dimension and _of_one_noun(tokens, at) == total.value:
                continue  # "one plate with four screws on each side, eight screws": the plates are no screws
            if not total.dimension and len(parts) == total.value and any(one.value > total.value for one in parts):
                continue  # "five at the umbilicus, twelve suprapubic, five on the left, so three ports": their sizes
            if not total.dimension and _adds_bare(tokens[:at]):
                continue  # "2 clips + 1, total 6": parts_and_total takes the sign
            if not total.dimension and (len(parts) > _PARTS or at > _STREAM):
                continue  # in a stream of speech not every number counts what the total counts
            if not total.dimension and ("the", "same") in pairwise(token.norm for token in tokens[:at]):
                continue  # "two clips stay, one goes; artery the same, six clips in all"
            single = sum(token.norm in _SINGLE and token.quantity is None for token in tokens[:at])
            single += not single and _named_alone(tokens, at)
            if not total.dimension and any(_wrong(parts, total.value - more, Decimal(0)) is False
                                           for more in range(1, single + 1)):  # fmt: skip
                continue  # "two below, one at the groove": the one is no number to the reader
            worked = sum((part.value * part.times for part in parts), Decimal(0))
            if not total.dimension and total.value - worked in _told_before(note, passage, _noun(tokens, at)):
                continue  # "Subscapularis: 1 anchor. Supraspinatus: 2 medial, 2 lateral; 5 anchors in all"
            terms = " + ".join(part.words for part in parts)
            unit = f" {total.said_unit or total.unit}" if total.unit else ""
            made = finding(
                "count_sums",
                "warning",
                f"What was told comes to {plain(worked)}{unit}; {plain(total.value)}{unit} were said together.",
                [fact for fact in note.facts if passage.holds(fact) and fact.value == total.value
                 and fact.scale == "total"],
                arithmetic=f"{terms} = {plain(worked)}{unit}, said: {plain(total.value)}{unit}",
                ask="Say which is right: a part, the total, or a part that was not said.",
                about=f"w{passage.evidence.first + at}",
            )  # fmt: skip
            found.append(replace(made, evidence=made.evidence or (passage.evidence,)))
    return found


def _of_one_noun(tokens: Sequence[Token], at: int) -> Decimal:
    """What the counts of the total's own noun come to, from the last full stop on."""
    noun = _noun(tokens, at)
    start = max((place + 1 for place in range(at) if tokens[place].norm == "."), default=0)
    counts = [_number(tokens[place]) for place in range(start, at) if noun and _noun(tokens, place) == noun]
    return sum(((one.value or Decimal(0)) for one in counts if one is not None and not one.dimension), Decimal(0))


def _named_alone(tokens: Sequence[Token], at: int) -> bool:
    """ "1 load, 1 load, bronchus (green load), 3 loads, so 6 loads": one of them, named by its sort and not counted."""
    noun = _noun(tokens, at)
    return bool(noun) and any(
        token.norm == noun and tokens[place - 1].norm.isalpha() and tokens[place - 1].norm not in _POINTS
        and not any(one.quantity is not None for one in tokens[max(0, place - 3) : place])
        for place, token in enumerate(tokens[1:at], 1)
    )


_POINTS = frozenset("a an another one total the each every this that per last same either of which no".split())


def _told_before(note: OperativeNote, passage: Passage, noun: str) -> set[Decimal]:
    """What the counts of a noun in the sentences before one come to, from each of them on."""
    passages = note.sections.description
    before = passages[: next((at for at, one in enumerate(passages) if one is passage), 0)]
    sums: set[Decimal] = set()
    worked = Decimal(0)
    for tokens in (tokens_of(one) for one in reversed(before)):
        for at in range(len(tokens) - 1, -1, -1):
            one = _number(tokens[at])
            if noun and one is not None and not one.dimension and one.value is not None and _noun(tokens, at) == noun:
                worked += one.value
                sums.add(worked)
    return sums


def _noun(tokens: Sequence[Token], at: int) -> str:
    """The noun that a count counts, without its plural; "" where none stands within two words."""
    words = [token.norm for token in tokens[at + 1 : at + 3]]
    noun = next((word for word in words if len(word) > 3 and word.endswith("s")), words[0] if words else "")
    return noun.removesuffix("s") if noun.isalpha() else ""


def _adds_bare(tokens: Sequence[Token]) -> bool:
    """Whether a sign adds a number that has no word of its own; not "2 medial 4.75 mm + 3 lateral"."""
    return any(
        token.norm == "+" and not (at + 2 < len(tokens) and tokens[at + 2].norm.isalpha())
        for at, token in enumerate(tokens)
    )


def _undivided(parts: list[_Part]) -> list[_Part]:
    """ "Seven screws: four proximal and three in the shaft": the seven, and not what it is made of."""
    for at, part in enumerate(parts):
        worked, behind = Decimal(0), 0
        for behind, other in enumerate(parts[at + 1 :], 1):  # noqa: B007
            worked += other.value * other.times
            if worked >= part.value:
                break
        if behind > 1 and worked == part.value and part.times == 1:
            return [*parts[: at + 1], *_undivided(parts[at + 1 + behind :])]
    return parts


def _number(token: Token) -> Quantity | None:
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.form != "number" or quantity.comparator is not None:
        return None
    return quantity


def _totals(tokens: Sequence[Token]) -> Iterator[int]:
    """Places of the numbers that are said to be a total."""
    for at, token in enumerate(tokens):
        quantity = _number(token)
        if quantity is None or quantity.dimension not in _SUMS:
            continue
        before = tokens[at - 1].norm if at else ""
        lead = tokens[at - 2].norm if at > 1 and before in ("of", ":", "is", ",") else before
        if before == "to" and at > 1 and tokens[at - 2].norm in _COMES:
            lead = "makes"  # "eight draws of five millilitres, that comes to forty millilitres"
        if lead in _BEFORE:
            yield at
            continue
        near = list(tokens[at + 1 : at + 3 + _NOUNS])
        own = next((place for place, one in enumerate(near) if (n := _number(one)) and (
            not n.dimension or not quantity.dimension
        )), len(near))  # fmt: skip
        after = [one.norm for one in near[:own] if one.quantity is None]  # "twenty more, thirty all together"
        reach = _NOUNS if not quantity.dimension else 2
        behind = any(
            tuple(after[place : place + len(words)]) == words and not set(after[:place]) & {",", ".", ";", "("}
            for words in _AFTER for place in range(reach)
        )  # fmt: skip
        if behind and not (after and after[0] in ("knee", "hip", "shoulder")):
            yield at


def _parts(tokens: Sequence[Token], at: int, total: Quantity) -> Iterator[_Part]:
    """The amounts of the same sort before the total, from the last full stop or total on."""
    totals = [place for place in _totals(tokens[:at])]
    start = max((place + 1 for place in range(at) if tokens[place].norm == "."), default=0)
    start = max([start, *(place + 1 for place in totals), _opened(tokens, at)])
    unit: str | None = None  # of the parts before, which one that leaves it out goes on with
    for place in range(start, at):
        quantity = _number(tokens[place])
        if quantity is None or quantity.value is None:
            continue
        value = quantity.value
        if unit is not None and not quantity.dimension and total.unit is not None and _is_of(tokens, place):
            times, words = _times(tokens, place)  # "six pulls of ten millilitres right and six pulls of ten left"
            amount = convert(value, unit, total.unit)
            yield _Part(True, amount, times, plain(amount) if times == 1 else f"{plain(times)} x {plain(amount)}")
            continue
        if quantity.dimension != total.dimension:
            continue
        if total.dimension:
            if quantity.unit is None or total.unit is None or not convertible(quantity.unit, total.unit):
                continue
            times, words = _times(tokens, place)
            amount = convert(value, quantity.unit, total.unit)
            shown = plain(amount) if times == 1 else f"{plain(times)} x {plain(amount)}"
            unit = quantity.unit
            yield _Part(words > 0, amount, times, shown)
        elif _is_of(tokens, place):
            times, words = _times(tokens, place)
            yield _Part(words > 0, value, times, plain(value) if times == 1 else f"{plain(times)} x {plain(value)}")
        elif place + 3 < at and (_is_of(tokens, place + 3) or (
            tokens[place + 2].norm == "of" and tokens[place + 3].norm == "#volume"
        )):  # fmt: skip
            continue  # the four of "four draws of five", of "four draws of three mils"
        elif value == int(value) and value <= _MOST and place + 1 < at and _counts(tokens, place):
            yield _Part(True, value, Decimal(1), plain(value))


def _opened(tokens: Sequence[Token], at: int) -> int:
    """Where the bracket that a total stands in was opened; 0 where it stands in none."""
    for place in range(at - 1, -1, -1):
        if tokens[place].norm in ("(", ")"):
            return place + 1 if tokens[place].norm == "(" else 0
    return 0


def _is_of(tokens: Sequence[Token], place: int) -> bool:
    """The five of "four draws of five": a bare amount, so many times over."""
    number = _number(tokens[place])
    return number is not None and not number.dimension and place >= 3 and tokens[place - 1].norm == "of" and (
        _count(tokens[place - 3]) is not None and tokens[place - 2].norm.isalpha()
    )


def _counts(tokens: Sequence[Token], place: int) -> bool:
    """Whether a bare number counts what follows it, and is no size, grade or part of a multiplication."""
    after, before = tokens[place + 1], tokens[place - 1].norm if place else ""
    if is_portal(tokens, place):
        return False  # "six R first, ..., three portals"
    if before == "#number" or after.norm in ("hole", "holes", "part", "piece"):
        return False  # "an eleven thirteen sheath", "a plate with six holes"
    if after.norm in ("by", "x", "\u00d7") or before in ("by", "x", "\u00d7"):
        return False  # "a sixteen by one hundred into the left": a size
    if before == "at" and any(token.norm == "#clock_face" or token.norm in ("o'clock", "oclock") for token in tokens):
        return False  # "one tear at one o'clock, one at eleven"
    if before in ("a", "an", "another") and after.norm in PLACES:
        return False  # "a twelve at the navel": its size
    if after.norm in ("again", "so"):
        return False  # "twelve again so twenty four in all"
    if after.norm == "more" and (place + 2 >= len(tokens) or not tokens[place + 2].norm.isalpha()):
        return False  # "that is twenty more thirty all together": a sum on the way
    return after.norm.isalpha() and after.norm != "of" and after.quantity is None and before not in _LABELS


def _times(tokens: Sequence[Token], place: int) -> tuple[Decimal, int]:
    """(how often an amount was said to be there, tokens before it that tell so)."""
    behind = tokens[place + 1 : place + 6]
    if len(behind) > 1 and behind[0].norm in _TIMES and (number := _count(behind[1])):
        return number, 0  # "5 mL x 6"
    if len(behind) > 1 and behind[0].quantity is not None and behind[0].quantity.form == "times":
        return behind[0].quantity.value or Decimal(1), 0
    words = [token.norm for token in behind]
    if "each" in words and "of" in words[: words.index("each") + 2]:
        number = next((one for token in behind if (one := _count(token))), None)
        if number:
            return number, 0  # "4 mL at each of 5 levels"
    ahead = list(tokens[max(0, place - 5) : place])
    for back, token in enumerate(reversed(ahead), 1):
        number = _count(token)
        if token.punctuation or (token.quantity is not None and number is None):
            break
        if number is not None:
            joined = tokens[place - 1].norm in _TIMES | {"of"} or "each" in words[:2]
            return (number, back) if joined and back > 1 else (Decimal(1), 0)  # "four pulls of ten millilitres"
    return Decimal(1), 0


def _count(token: Token) -> Decimal | None:
    quantity = _number(token)
    if quantity is None or quantity.dimension or quantity.value is None or not 1 < quantity.value <= _MOST:
        return None
    return quantity.value if quantity.value == int(quantity.value) else None


def _on_the_way(tokens: Sequence[Token], at: int) -> Decimal:
    """The last sum that was told before this one, with which the count may have gone on; 0 where there is none."""
    totals = list(_totals(tokens[:at]))
    quantity = tokens[totals[-1]].quantity if totals else None
    return (quantity.value if quantity is not None else None) or Decimal(0)


def _wrong(parts: Sequence[_Part], total: Decimal, before: Decimal = Decimal(0)) -> bool:
    """Whether no run of parts up to the total comes to it, alone or with what was summed up before. One part alone
    tells nothing, unless it was multiplied."""
    if not parts or (len(parts) == 1 and parts[0].times == 1):
        return False
    worked = Decimal(0)
    for number, part in enumerate(reversed(parts), 1):
        worked += part.value * part.times
        if worked == total and (number > 1 or part.times != 1):
            return False
        if before and worked + before == total:
            return False
    return not any(total in (part.value, part.value * part.times) for part in parts)
