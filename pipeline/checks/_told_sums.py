"""Sums that are told the other way round, by signs or by packs, and lengths of time behind the clock they end at.

"Eleven percent in all, seven on the chest and four on the arm", "30 mL: midline 15, pocket 15", "12 min + 9 min = 21
min", "3 cartridges x 1.8 mL = 5.4 mL", "six millilitres of the mix, three of each", "off the table 11:39, 148 minutes".
Each reader gives (place of what is said to be the sum, arithmetic); `stated_sums` tells them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal

from pipeline.checks._spoken_counts import PLACES, count
from pipeline.checks.base import amount, plain
from pipeline.records import Quantity, Token
from pipeline.timespan import minutes_between

InUnit = Callable[[Quantity | None, str | None], Decimal | None]

_SUMMED = frozenset({"mass", "volume", "amount", "catalytic", "fraction", "time", "length"})
_WHOLE = (("in", "all"), ("in", "total"), ("all", "told"), ("altogether",), ("total",))
_OPENS = frozenset({",", ":", "(", ";"})
_AT = PLACES | {"for", "of"}
_REACH, _GAP, _CLOSE = 24, 6, 4  # tokens: of a list, between its parts, from a time to a length


def told(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    yield from _total_first(tokens, in_unit)
    yield from _by_places(tokens, in_unit)
    yield from _signed(tokens, in_unit)
    yield from _packs(tokens, in_unit)
    yield from _of_each(tokens, in_unit)
    yield from _from_to(tokens)
    yield from _times_over(tokens)
    yield from bare_signs(tokens)
    yield from _times_each(tokens, in_unit)
    yield from _per_thing(tokens)
    yield from _sent_of(tokens)
    yield from _headed(tokens)
    yield from _bare_product(tokens)


def _headed(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "Drains: 1 left pleural 28 Fr, 2 mediastinal 32 Fr, 3 drains": parts with how many, and all of them."""
    if len(tokens) < _FEWEST or tokens[1].norm != ":":
        return
    starts = [2, *(at + 1 for at in range(2, len(tokens) - 2) if tokens[at].norm == ",")]
    numbers = [count(tokens[at]) for at in starts]
    last = starts[-1]
    if tokens[last + 1].norm.rstrip("s") != tokens[0].norm.rstrip("s") or len(starts) < 3:
        return
    parts = [one for one in numbers if one is not None]
    if len(parts) == len(starts) and sum(parts[:-1]) != parts[-1]:
        yield last, f"{' + '.join(map(str, parts[:-1]))} = {sum(parts[:-1])}, said: {parts[-1]}"


_FEWEST = 10  # tokens


def _times_each(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "4 tubes x 8 mL, 32 mL": so many of so much, and what they come to right behind."""
    for at in range(3, len(tokens) - 2):
        each = _amount(tokens[at])
        number = count(tokens[at - 3]) if tokens[at - 1].norm in ("x", "\u00d7", "times") else None
        if each is None or number is None or not tokens[at - 2].norm.endswith("s") or tokens[at + 1].norm != ",":
            continue
        said, behind = in_unit(tokens[at + 2].quantity, each.unit), tokens[at + 3 : at + 4]
        worked = (each.value or Decimal(0)) * number
        if said is not None and said != worked and (not behind or behind[0].punctuation):
            yield at + 2, (f"{number} x {amount(each.value or Decimal(0), each.unit)} = {amount(worked, each.unit)}, "
                           f"said: {amount(said, each.unit)}")  # fmt: skip


def _per_thing(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "6 plates, 18 screws (3 per plate)": so many for each of what was counted before."""
    for at in range(5, len(tokens) - 3):
        each = count(tokens[at])
        if each is None or tokens[at - 1].norm != "(" or tokens[at + 1].norm != "per" or tokens[at + 3].norm != ")":
            continue
        noun, whole = tokens[at + 2].norm, count(tokens[at - 3])
        things = [count(tokens[one - 1]) for one in range(1, at - 2) if tokens[one].norm.rstrip("s") == noun]
        many = [one for one in things if one is not None]
        if whole is not None and many and many[-1] * each != whole:
            yield at - 3, f"{many[-1]} x {each} = {many[-1] * each}, said: {whole}"


def _sent_of(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "Of the thirty I sent ten to the lab": no more is sent than there was."""
    for at in range(2, len(tokens)):
        whole = tokens[at].quantity
        if whole is None or whole.value is None or [one.norm for one in tokens[at - 2 : at]] != ["of", "the"]:
            continue
        for index in range(at + 1, min(len(tokens) - 2, at + _CLOSE + 1)):
            part = tokens[index].quantity
            if part is None or part.value is None or tokens[index + 1].norm not in ("to", "for", "mils", "went"):
                continue
            if part.dimension in ("", whole.dimension) and part.value > whole.value:
                yield index, f"{plain(part.value)} > {plain(whole.value)}"
            break


def _amount(token: Token) -> Quantity | None:
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.form != "number" or quantity.comparator:
        return None
    return quantity if quantity.unit is not None and quantity.dimension in _SUMMED else None


def _part(token: Token, whole: Quantity, in_unit: InUnit) -> Decimal | None:
    """A number in the unit of the whole; a bare one has that unit."""
    quantity = token.quantity
    if quantity is None or quantity.form != "number" or quantity.comparator:
        return None
    return in_unit(quantity, whole.unit) if quantity.unit else quantity.value if not quantity.dimension else None


def _wrong(at: int, parts: Sequence[Decimal], whole: Quantity) -> Iterator[tuple[int, str]]:
    worked = sum(parts, Decimal(0))
    if len(parts) > 1 and whole.value is not None and worked != whole.value:
        terms = " + ".join(plain(one) for one in parts)
        yield at, f"{terms} = {amount(worked, whole.unit)}, said: {amount(whole.value, whole.unit)}"


def _total_first(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "Eleven percent in all, seven on the chest and four on the arm"."""
    for at, token in enumerate(tokens):
        whole = _amount(token)
        behind = tuple(one.norm for one in tokens[at + 1 : at + 3])
        size = next((len(words) for words in _WHOLE if behind[: len(words)] == words), 0)
        start = at + 1 + size
        if whole is None or not size or start >= len(tokens) or tokens[start].norm not in _OPENS:
            continue
        parts: list[Decimal] = []
        last = start
        for place in range(start + 1, min(len(tokens), start + _REACH)):
            if tokens[place].norm in (".", ";", ")") or place - last > _GAP:
                break
            value = _part(tokens[place], whole, in_unit)
            if tokens[place].quantity is None:
                continue
            after = tokens[place + 1].norm if place + 1 < len(tokens) else ""
            if value is None or after not in _AT or value > (whole.value or 0):
                break
            parts.append(value)
            last = place
        yield from _wrong(at, parts, whole)


def _by_places(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "30 mL (75 mg): midline 15, pocket 15": behind a colon, each part has the place before it."""
    for colon, token in enumerate(tokens):
        if token.norm != ":" or colon < 1:
            continue
        at = colon - 1
        if tokens[at].norm == ")":
            at = next((place for place in range(at, -1, -1) if tokens[place].norm == "("), 0) - 1
        whole = _amount(tokens[at]) if at >= 0 else None
        if whole is None or whole.dimension not in ("volume", "mass"):
            continue
        parts: list[Decimal] = []
        place = colon + 1
        while place + 1 < len(tokens) and tokens[place].norm.isalpha():
            end = place
            while end < len(tokens) and tokens[end].norm.isalpha():
                end += 1
            value = _part(tokens[end], whole, in_unit) if end < len(tokens) else None
            if value is None or end - place > _CLOSE:
                break
            parts.append(value)
            place = end + 1
            if place >= len(tokens) or tokens[place].norm not in (",", "and", "+"):
                break
            place += 1
        yield from _wrong(at, parts, whole)


def _signed(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "12 min + 9 min = 21 min"."""
    for at in range(4, len(tokens)):
        whole = _amount(tokens[at])
        if whole is None or tokens[at - 1].norm != "=":
            continue
        parts: list[Decimal] = []
        place = at - 2
        while place >= 0 and (value := _part(tokens[place], whole, in_unit)) is not None:
            parts.insert(0, value)
            if place < 1 or tokens[place - 1].norm not in ("+", "plus"):
                break
            place -= 2
        yield from _wrong(at, parts, whole)


def _bare_product(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "8 x 8 = 64 mL": two bare numbers and what they come to."""
    for at in range(len(tokens) - 4):
        one, other, whole = _bare_number(tokens[at]), _bare_number(tokens[at + 2]), tokens[at + 4].quantity
        crossed = tokens[at + 1].norm in ("x", "\u00d7", "times") and tokens[at + 3].norm == "="
        if one is None or other is None or not crossed:
            continue
        if whole is not None and whole.value is not None and whole.form == "number" and whole.value != one * other:
            yield at + 4, f"{plain(one)} x {plain(other)} = {plain(one * other)}, said: {plain(whole.value)}"


def _bare_number(token: Token) -> Decimal | None:
    quantity = token.quantity
    return quantity.value if quantity is not None and quantity.form == "number" and not quantity.dimension else None


def _packs(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "3 cartridges x 1.8 mL = 5.4 mL"."""
    for at in range(4, len(tokens)):
        whole, each = _amount(tokens[at]), _amount(tokens[at - 2])
        if whole is None or each is None or tokens[at - 1].norm != "=" or tokens[at - 3].norm not in ("x", "×"):
            continue
        one = in_unit(each, whole.unit)
        packs = tokens[at - 4].quantity
        number = count(tokens[at - 4]) or (count(tokens[at - 5]) if at > 4 and packs is None else None)
        if number is None and packs is not None and (packs.unit or "").startswith("{") and packs.value is not None:
            number = int(packs.value)
        if one is not None and number is not None and whole.value not in (one, one * number, one * number * 2):
            yield at, (f"{number} x {amount(one, whole.unit)} = {amount(one * number, whole.unit)}, said: "
                       f"{amount(whole.value or one, whole.unit)}")  # fmt: skip


def _of_each(tokens: Sequence[Token], in_unit: InUnit) -> Iterator[tuple[int, str]]:
    """ "Six millilitres of a one to one mix of lidocaine and bupivacaine, three of each"."""
    for at in range(2, len(tokens) - 2):
        part = tokens[at].quantity
        ends = at + 3 >= len(tokens) or tokens[at + 3].punctuation or tokens[at + 3].norm in ("in", "into", "then")
        if part is None or [one.norm for one in tokens[at + 1 : at + 3]] != ["of", "each"] or not ends:
            continue
        back = [place for place in range(max(0, at - _REACH), at) if tokens[place].norm in ("mix", "mixture", "mixed")]
        whole = next((one for place in range(at - 1, max(-1, at - _REACH), -1)
                      if (one := _amount(tokens[place])) is not None and one.dimension == "volume"), None)  # fmt: skip
        if whole is None or not back or whole.value is None:
            continue
        value = _part(tokens[at], whole, in_unit)
        if value and whole.value not in {value * number for number in (1, 2, 3, 4)}:
            yield at, f"2 x {plain(value)} = {plain(2 * value)}, said: {amount(whole.value, whole.unit)}"


_SO = frozenset(
    ", ( : = so that is that's for giving makes making total time in all it took lasted altogether a of the was which "
    "and op operating operation operative just only about ischaemia ischemia clamp gag traction".split()
)
_NO_END = frozenset("later before after earlier ago apart between prior of each every per on in at daily post "
                    "for".split())  # fmt: skip
_SPANS = frozenset("ischaemia ischemia clamp bypass traction tourniquet warm cold".split())
_SHORTEST, _LONGEST, _SLACK = 10, 960, 6  # minutes


def behind_a_clock(
    tokens: Sequence[Token], clocks: Sequence[str], minutes_of: Callable[[Quantity | None], Decimal | None]
) -> Iterator[tuple[int, str]]:
    """ "Off the table eleven thirty nine, two hours twenty eight minutes": a length of time right behind a clock time
    is the one between two of the clock times said so far. `clocks`: those of the sentences before, "HH:MM"."""
    said = list(clocks)
    for at, token in enumerate(tokens):
        if token.quantity is None or token.quantity.form != "clock":
            continue
        said.append(token.quantity.text)
        after = next((place for place in range(at + 1, min(at + 2 + _CLOSE, len(tokens)))
                      if tokens[place].norm not in _SO), None)  # fmt: skip
        minutes = minutes_of(tokens[after].quantity) if after is not None else None
        if after is None or minutes is None or not _SHORTEST <= minutes <= _LONGEST or len(said) < 2:
            continue
        behind = tokens[after + 1].norm if after + 1 < len(tokens) else ""
        of = tokens[after + 2].norm if behind == "of" and after + 2 < len(tokens) else ""
        if behind in _NO_END and of not in _SPANS:
            continue
        gaps = {gap for place, one in enumerate(said) for other in said[place + 1 :]
                if (gap := minutes_between(one, other)) is not None}  # fmt: skip
        spans = [minutes_between(one, other) or 0 for one, other in zip(said[::2], said[1::2], strict=False)]
        if abs(minutes - sum(spans)) <= _SLACK * len(spans):
            continue  # "up 09:00 to 10:55, up again 11:10 to 11:50: total 155 minutes"
        if not any(abs(minutes - gap) <= _SLACK for gap in gaps):
            gap = minutes_between(said[-2], token.quantity.text)
            yield after, f"{token.quantity.text} - {said[-2]} = {gap} min, said: {plain(minutes)} min"


_TOGETHER = (("together",), ("altogether",), ("in", "all"), ("all", "told"), ("in", "total"))
_MOST = 8  # weights of one narration


def grams_of(tokens: Sequence[Token]) -> list[Decimal]:
    """Weights in grams of what was taken out, as one sentence says them."""
    return [one.value for token in tokens if (one := _amount(token)) is not None and one.unit == "g"
            and one.value is not None and one.value > _LEAST]  # fmt: skip


def weights(tokens: Sequence[Token], earlier: Sequence[Decimal]) -> Iterator[tuple[int, str]]:
    """ "The right lobe sixty two grams ... the left forty eight, a hundred and ten grams together", over sentences."""
    known = list(earlier)
    for at, token in enumerate(tokens):
        whole = _amount(token)
        if whole is None or whole.unit != "g" or whole.value is None or whole.value <= _LEAST:
            continue
        behind = tuple(one.norm for one in tokens[at + 1 : at + 3])
        led = at > 0 and tokens[at - 1].norm == "so" and behind[:1] == ("of",)
        parts = [*known, *_bare_grams(tokens, at)]
        if (led or any(behind[: len(words)] == words for words in _TOGETHER)) and 1 < len(parts) <= _MOST:
            sums = {Decimal(0)}
            for one in parts:
                sums |= {other + one for other in sums}
            if whole.value not in sums:
                yield from _wrong(at, parts, whole)
        known.append(whole.value)


def _bare_grams(tokens: Sequence[Token], at: int) -> list[Decimal]:
    """ "Fourteen grams, left lobe nineteen, right lobe seventeen": those whose unit was left out, behind the first."""
    first = next((place for place in range(at) if (one := _amount(tokens[place])) is not None and one.unit == "g"), at)
    return [quantity.value for place in range(first + 1, at) if (quantity := tokens[place].quantity) is not None
            and quantity.form == "number" and not quantity.dimension and quantity.value is not None
            and tokens[place - 1].norm in ("lobe", "side", "one", "left", "right")]  # fmt: skip


_LEAST = Decimal(5)  # grams: less is mostly a dose


def _from_to(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "From six millimetres to two, so four millimetres of reduction"."""
    for at in range(5, len(tokens)):
        said = _amount(tokens[at])
        if said is None or tokens[at - 1].norm != "so" or tokens[at + 1 : at + 2] and tokens[at + 1].norm != "of":
            continue
        near = range(max(0, at - 12), at - 1)
        start = next((place for place in near if tokens[place].norm == "from"), None)
        numbers = [one for token in tokens[start or at : at] if (one := token.quantity) is not None
                   and one.form == "number" and one.value is not None]  # fmt: skip
        units = {one.unit for one in numbers if one.unit is not None}
        if len(numbers) != 2 or units != {said.unit} or "to" not in {token.norm for token in tokens[start or at : at]}:
            continue
        first, second = numbers[0].value or Decimal(0), numbers[1].value or Decimal(0)
        if said.value != abs(first - second):
            worked = plain(abs(first - second))
            yield at, f"{plain(first)} - {plain(second)} = {worked}, said: {plain(said.value or first)}"


def _times_over(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "Vein x1, artery x2, bronchus x1, fissure x3: 7 loads"."""
    parts: list[int] = []
    last = 0
    for at, token in enumerate(tokens[:-1]):
        quantity = token.quantity
        if quantity is not None and quantity.form == "times" and quantity.value is not None:
            parts = [*parts, int(quantity.value)] if at - last <= _GAP else [int(quantity.value)]
            last = at
        said = count(token)
        closes = at == last + 2 and tokens[at - 1].norm in (":", "=") and tokens[at + 1].norm.isalpha()
        if said is not None and closes and len(parts) > 2 and said != sum(parts):
            terms = " + ".join(str(one) for one in parts)
            yield at, f"{terms} = {sum(parts)}, said: {said}"


_SIGNED = re.compile(r"^\d{1,3}(?:\+\d{1,3})+$")


def bare_signs(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "BBPS 3+2+3 = 8"."""
    for at in range(2, len(tokens)):
        said = count(tokens[at])
        if said is None or tokens[at - 1].norm != "=" or not _SIGNED.match(tokens[at - 2].norm):
            continue
        worked = sum(int(one) for one in tokens[at - 2].norm.split("+"))
        if said != worked:
            yield at, f"{tokens[at - 2].norm} = {worked}, said: {said}"


def in_total(
    tokens: Sequence[Token], clocks: Sequence[str], lengths: Sequence[Decimal],
    minutes_of: Callable[[Quantity | None], Decimal | None],
) -> Iterator[tuple[int, str]]:
    """ "In 09:10, caecum 09:19 (9 min), out 09:41 (22 min). Total 31 min": at the head of its sentence, of all that was
    said before. `lengths`: minutes said so far."""
    minutes = minutes_of(tokens[1].quantity) if len(tokens) > 1 and tokens[0].norm == "total" else None
    if minutes is None or len(clocks) < 2 or len(lengths) > _MOST:
        return
    sums = {Decimal(0)}
    for one in lengths:
        sums |= {other + one for other in sums}
    gaps = {gap for place, one in enumerate(clocks) for other in clocks[place + 1 :]
            if (gap := minutes_between(one, other)) is not None}  # fmt: skip
    if minutes not in sums and not any(abs(minutes - gap) <= _SLACK for gap in gaps):
        gap = minutes_between(clocks[0], clocks[-1])
        yield 1, f"{clocks[-1]} - {clocks[0]} = {gap} min, said: {plain(minutes)} min"
