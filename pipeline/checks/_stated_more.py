"""More ways in which a sum or a length of time is said with its parts. Each reader gives (place of what is said to be
the sum, arithmetic); `stated_sums` tells them.

Starts that were heard as a plain number ("knife eight twenty eight"), a share for each of two ("four millilitres behind
each ear, eight altogether"), and amounts of which some were said without the unit ("crystalloid one thousand three
hundred, colloid five hundred millilitres, eighteen hundred in all").
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline.checks._spoken_counts import count
from pipeline.checks.base import amount, plain
from pipeline.conversion import convert, convertible
from pipeline.note import OperativeNote, Passage
from pipeline.records import Quantity, Token
from pipeline.timespan import minutes_between

_STARTS = frozenset("knife incision start started starting began begun skin cut puncture opened".split())
_ENDS = frozenset("finished finish closed closing closure end ended done out stitch stitches completed clip clips "
                  "staple staples".split())  # fmt: skip
_OTHER_SPAN = frozenset("tourniquet clamp traction ischemia ischaemia bypass cuff warm cold".split())
# Of these a person has two. Common practice, no source.
_PAIRED = frozenset("side ear eye knee hip shoulder elbow wrist hand ankle foot leg arm breast groin nostril cheek "
                    "tonsil testis lobe thigh crest axilla flank buttock calf heel".split())  # fmt: skip
_BEHIND = frozenset("down behind in into to on at around along under above below for of from the within beside".split())
_JOINED = frozenset(", so that is makes making = : total of in all a and altogether together ( for which".split())
_SUMMED = frozenset({"mass", "volume"})
_NEAR, _FAR, _LONGEST = 6, 12, 360  # tokens before a start, tokens up to a total, minutes
_LEAST = Decimal(50)  # a smaller number alone counts things, it is no amount without its unit
_HOUR, _HOURS, _DAY = 100, 60, 24


def start_of(tokens: Sequence[Token], at: int) -> str | None:
    """ "HH:MM" of a number that was not read as a time, behind a word for the start ("knife eight twenty eight")."""
    quantity = tokens[at].quantity
    if quantity is None or quantity.form != "number" or quantity.dimension or quantity.value is None:
        return None
    value = quantity.value
    if value != int(value) or not _HOUR <= value or int(value) // _HOUR >= _DAY or int(value) % _HOUR >= _HOURS:
        return None
    before = [token.norm for token in tokens[max(0, at - _NEAR) : at]]
    begun = max((place for place, norm in enumerate(before) if norm in _STARTS), default=None)
    if begun is None or _ENDS & set(before[begun:]):
        return None
    return f"{int(value) // _HOUR:02d}:{int(value) % _HOUR:02d}"


MANY = 4  # times the operation: a longer time is of something else (cold ischaemia)


def cut_before(note: OperativeNote, passage: Passage) -> str | None:
    """The time of the incision, where it was told in a sentence before."""
    cuts = [fact for fact in note.of("clock_time", given=True) if fact.name == "incision" and fact.text]
    return cuts[0].text if len(cuts) == 1 and cuts[0].evidence.last < passage.evidence.first else None


def from_start(
    tokens: Sequence[Token], start: str | None, so: frozenset[str],
    minutes_of: Callable[[Quantity | None], Decimal | None],
) -> Iterator[tuple[int, str]]:
    """A length of time behind an end, where the start was heard as a number: in this sentence or, `start`, before."""
    before = start
    for at, token in enumerate(tokens):
        start = start_of(tokens, at) or start
        if start is not None and start == before and any(
            one.quantity is not None and one.quantity.form == "clock" for one in tokens[:at]
        ):
            start = None  # "incision at 2134. Clamped at eleven and out of ice at 2220, cold time of ...": its own
        if start is None or token.quantity is None or token.quantity.form != "clock":
            continue
        if not _ENDS & {one.norm for one in tokens[max(0, at - 3) : at]}:
            continue
        after = next((place for place in range(at + 1, min(at + _NEAR + 1, len(tokens)))
                      if tokens[place].norm not in so), None)  # fmt: skip
        minutes = minutes_of(tokens[after].quantity) if after is not None else None
        gap = minutes_between(start, token.quantity.text)
        if after is None or minutes is None or gap is None or not 0 < gap <= _LONGEST or minutes < _NEAR:
            continue
        near = abs(minutes - gap) < _NEAR or minutes > MANY * gap
        if not near and not _OTHER_SPAN & {one.norm for one in tokens[at:after]}:
            yield after, f"{token.quantity.text} - {start} = {gap} min, said: {plain(minutes)} min"


def on_both(tokens: Sequence[Token], is_total: Callable[[Sequence[Token], int], bool]) -> Iterator[tuple[int, str]]:
    """ "Four millilitres behind each ear, eight millilitres altogether"."""
    for index, token in enumerate(tokens):
        part = token.quantity
        if part is None or part.value is None or part.unit is None or part.dimension not in _SUMMED:
            continue
        at = _for_each(tokens, index)
        number = _how_many(tokens, at + 1) if at is not None and at + 1 < len(tokens) else None
        if at is None or number is None:
            continue
        for place in range(at + 2, min(at + 2 + _FAR, len(tokens))):
            said = tokens[place].quantity
            if tokens[place].norm in (".", ";"):
                break
            whole = is_total(tokens, place) or (is_led(tokens, place) and _is_closed(tokens, place))
            value = bare(tokens[place]) if whole else None
            if value is None and said is not None and said.value is not None and said.unit is not None and (
                convertible(said.unit, part.unit)
            ):
                value = convert(said.value, said.unit, part.unit)
            if value is None:
                continue
            if whole and value not in (part.value * number, part.value):
                yield place, (f"{number} x {amount(part.value, part.unit)} = {amount(part.value * number, part.unit)}, "
                              f"said: {amount(value, part.unit)}")  # fmt: skip
            break


def _how_many(tokens: Sequence[Token], at: int) -> int | None:
    """Of how many things "each" is said: two of what a person has two of, else as many as were counted before."""
    noun = tokens[at].norm
    if noun in _PAIRED:
        return 2
    counts = {number for place in range(at - 1) if tokens[place + 1].norm == f"{noun}s"
              and (number := count(tokens[place])) is not None}  # fmt: skip
    return counts.pop() if len(counts) == 1 else None


def _is_closed(tokens: Sequence[Token], at: int) -> bool:
    """Whether no noun follows that a number could count."""
    return at + 1 >= len(tokens) or tokens[at + 1].punctuation or tokens[at + 1].norm in ("and", "then", "no")


def bare(token: Token) -> Decimal | None:
    """A plain number: of a total that was left without the unit of its parts."""
    quantity = token.quantity
    if quantity is None or quantity.form != "number" or quantity.dimension or quantity.comparator:
        return None
    return quantity.value


def both(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "Each hip: 80 mg (160 mg both)": what is said of both is twice what each got."""
    for index, token in enumerate(tokens[:-1]):
        said = token.quantity
        if said is None or said.value is None or said.unit is None or tokens[index + 1].norm != "both":
            continue
        led = [at for at in range(index) if tokens[at].norm in ("each", "per") and tokens[at + 1].norm in _PAIRED]
        for at in range(index - 1, max(led[-1] if led else index, index - _NEAR) - 1, -1):
            part = tokens[at].quantity
            if part is not None and part.value is not None and part.unit and convertible(part.unit, said.unit):
                value = convert(part.value, part.unit, said.unit)
                if said.value not in (value * 2, value):
                    yield index, (f"2 x {amount(value, said.unit)} = {amount(value * 2, said.unit)}, "
                                  f"said: {amount(said.value, said.unit)}")  # fmt: skip
                break


def _for_each(tokens: Sequence[Token], index: int) -> int | None:
    """Place of the "each" that an amount goes to ("4 mL behind each ear"); None where there is none."""
    at, own = index + 1, tokens[index].quantity
    if own is not None and own.dimension == "mass" and [one.norm for one in tokens[at : at + 2]] == ["in", "#volume"]:
        at += 2  # "sixty milligrams in three millilitres in each knee"
    while at < len(tokens) and (tokens[at].norm in _BEHIND or (at - index < _NEAR and _is_drug(tokens, at))):
        at += 1
    return at if at < len(tokens) and tokens[at].norm in ("each", "either", "per", "both") else None


def _is_drug(tokens: Sequence[Token], at: int) -> bool:
    """A word or a strength between an amount and where it went: "six millilitres of quarter percent bupivacaine on
    each side"."""
    quantity = tokens[at].quantity
    if quantity is not None:
        return quantity.dimension == "fraction"
    return tokens[at].norm.isalpha() and tokens[at].norm not in ("each", "either", "per", "both", "and", "then", "plus")


def times_two(tokens: Sequence[Token], index: int) -> int:
    """How many times an amount counts in a sum: twice where it went to each of two."""
    return 1 if _for_each(tokens, index) is None else 2


def without_units(
    tokens: Sequence[Token], is_total: Callable[[Sequence[Token], int], bool], doses: Collection[Decimal | None] = ()
) -> Iterator[tuple[int, str]]:
    """Volumes of one sentence, some with and some without the unit, and their total."""
    units = {token.quantity.unit for token in tokens
             if token.quantity is not None and token.quantity.dimension == "volume"}  # fmt: skip
    unit = next(iter(units)) if len(units) == 1 else None
    if unit is None:
        return
    for index in range(len(tokens)):
        said = _volume(tokens[index])
        if said is None or not is_total(tokens, index):
            continue
        parts: list[int] = []
        for at in range(index - 1, -1, -1):
            if tokens[at].norm in (".", ";"):
                break
            if tokens[at].quantity is not None:
                if _volume(tokens[at]) is None or (parts[-1] if parts else index) - at > _FAR:
                    break
                parts.append(at)
        parts = [at for at in parts if not ((one := tokens[at].quantity) and not one.unit and one.value in doses)]
        values = [value for at in parts if (value := _volume(tokens[at])) is not None]
        bare = any(not (one := tokens[at].quantity) or not one.unit for at in (*parts, index))
        between = {token.norm for token in tokens[parts[0] + 1 : index]} if parts else set()
        if len(values) < 2 or not bare or said in values or not between <= _JOINED or (doses and said > sum(values)):
            continue  # "urine 400 mL, blood loss 200 mL in total": of something else
        if not any(sum(values[:number]) == said for number in range(2, len(values) + 1)):
            terms = " + ".join(plain(value) for value in reversed(values))
            yield index, f"{terms} = {amount(sum(values, Decimal(0)), unit)}, said: {amount(said, unit)}"


def in_a_row(
    tokens: Sequence[Token], is_total: Callable[[Sequence[Token], int], bool], doses: Collection[Decimal | None] = ()
) -> Iterator[tuple[int, str]]:
    """ "Nine of ileum and twenty of colon, so twenty nine centimetres of bowel", "forty milligrams into the joint and
    forty under the acromion, altogether the eighty milligrams": parts told one behind the other, the unit once."""
    for index, token in enumerate(tokens):
        said = token.quantity
        if said is None or said.value is None or said.unit is None or said.form != "number" or said.comparator:
            continue
        led = is_led(tokens, index) or (is_total(tokens, index) and _begins(tokens, index))
        if said.dimension not in (*_SUMMED, "length", "fraction") or not led:
            continue
        behind = [one.norm for one in tokens[index + 1 : index + 3]]
        if said.dimension == "fraction" and not set(behind) & _OF_SURFACE:
            continue  # "half percent and one percent, so ..." are strengths
        if said.dimension == "length" and not (behind[:1] == ["of"] or is_total(tokens, index)):
            continue  # "a tendon of 9 mm, so a tunnel of 9.5 mm"
        parts = _told_before(tokens, index, said, doses if said.dimension == "volume" else ())
        values = [value for value, _ in parts]
        if len(values) < 2 or any(one.norm in _PER for one in tokens[parts[-1][1] : index]):
            continue
        sums = {sum(values[:number], Decimal(0)) for number in range(2, len(values) + 1)}
        if said.value in {*values, *sums, abs(values[0] - values[1]), values[0] * values[1]}:
            continue
        dosed = any(one.quantity is not None and one.quantity.dimension == "mass" and two.norm in ("with", "plus")
                    for one, two in pairwise(tokens[parts[-1][1] : index]))  # fmt: skip
        strong = any(one.quantity is not None and one.quantity.unit == "%" for one in tokens[parts[0][1] : index])
        if said.dimension == "mass" and strong:
            continue  # "fentanyl a hundred mics, lidocaine one percent ten mils, so a hundred milligrams"
        if (doses or dosed) and said.dimension == "volume" and said.value > max(sums):
            continue  # "eighty of depo-medrone with eight of saline, ten mils": the dose has a volume of its own
        worked, sign = sum(values, Decimal(0)), " + "
        if len(values) == 2 and _BACK & {one.norm for one in tokens[parts[-1][1] : index]}:
            worked, sign = values[1] - values[0], " - "  # "eighteen litres in and seventeen and a half back"
        terms = sign.join(plain(value) for value in reversed(values))
        yield index, f"{terms} = {amount(worked, said.unit)}, said: {amount(said.value, said.unit)}"


_OF_SURFACE = frozenset("excised debrided grafted burned burnt burn burns tbsa total altogether body".split())
_BACK = frozenset({"back", "out", "returned", "recovered"})


def _begins(tokens: Sequence[Token], index: int) -> bool:
    """Whether a number has no noun of its own before it ("blood loss 200 mL in total" is of something else)."""
    before = [token.norm for token in tokens[max(0, index - 3) : index] if token.norm not in _LIGHT - {",", "of"}]
    if before[-1:] == ["after"] and [token.quantity is not None for token in tokens[index - 2 : index - 1]] == [True]:
        return True  # "four hundred millilitres up to the birth and three hundred after, seven hundred altogether"
    return not before or not before[-1].isalpha() or before[-1] in _JOINED or "of" in before[:-1]


def is_led(tokens: Sequence[Token], index: int) -> bool:
    """Whether "so", "that is", "which makes", "the sum was" leads to a number; "well" and commas between."""
    before = [token.norm for token in tokens[max(0, index - 6) : index]]
    while before and before[-1] in _LIGHT:
        before.pop()
    return before[-1:] in (["so"], ["that's"], ["makes"], ["making"], ["="]) or before[-2:] in (
        ["that", "is"], ["that", "was"], ["which", "is"], ["sum", "is"], ["sum", "was"], ["tally", "was"],
        ["tally", "is"], ["tally", ":"], ["sum", ":"])  # fmt: skip


def _told_before(
    tokens: Sequence[Token], index: int, said: Quantity, doses: Collection[Decimal | None]
) -> list[tuple[Decimal, int]]:
    """(value in the unit of the total, place) of the amounts before it, the nearest first. `doses`: values that are
    doses of medicines by mass, said without a unit, and no part of a volume ("eighty of depo-medrone")."""
    found: list[tuple[Decimal, int]] = []
    last = index
    for at in range(index - 1, -1, -1):
        part = tokens[at].quantity
        if tokens[at].norm in (".", ";") or last - at > _FAR:
            break
        if part is None or part.value is None or part.form != "number" or part.comparator:
            continue
        if part.unit is not None and said.unit is not None and convertible(part.unit, said.unit):
            if (part.unit == "kg") != (said.unit == "kg"):
                break  # the weight of the patient
            found.append((convert(part.value, part.unit, said.unit) * over(tokens, at), at))
        elif not part.dimension and part.value in doses:
            last = at
        elif not part.dimension:
            behind = [one.norm for one in tokens[at + 1 : at + 2]]
            more = [one.norm for one in tokens[at + 1 : at + 3]] == ["and", "another"]
            if more or at and tokens[at - 1].norm == "another":  # "fifty and another fifty of fentanyl"
                found.append((part.value, at))
                last = at
                continue
            if not set(behind) & _GOES_TO or (part.value * 2 != int(part.value * 2) and not set(behind) & _BACK):
                break  # a count, or the number of something else
            unit = next((one.quantity.unit for one in reversed(tokens[:at])
                         if one.quantity is not None and one.quantity.unit is not None), said.unit)  # fmt: skip
            if unit is None or said.unit is None or not convertible(unit, said.unit):
                break  # "30 mL of lidocaine, ten in the midline, ten at the pocket, 200 mg in all"
            found.append((convert(part.value, unit, said.unit) * over(tokens, at), at))
        else:
            continue
        last = at
    off = [one for one in found if is_off(tokens, one[1])]
    return off if len(off) > 1 else found  # "eleven mL off, then forty mg in four mL, twenty off, so thirty one"


def is_off(tokens: Sequence[Token], at: int) -> bool:
    """ "Eleven millilitres of clear fluid off"."""
    for token in tokens[at + 1 : at + _NEAR]:
        if token.quantity is not None or token.punctuation:
            return False
        if token.norm == "off":
            return True
    return False


def over(tokens: Sequence[Token], at: int) -> int:
    """How many times an amount counts: "four draws of eight millilitres", "4 x 8 mL"."""
    before = tokens[max(0, at - 4) : at]
    if not before or before[-1].norm not in ("of", "x", "\u00d7", "times"):
        return 1
    counts = [number for token in before if (number := count(token)) is not None]
    return counts[-1] if counts else 1


_LIGHT = frozenset(", the a about well um uh it all in total of altogether".split())
_PER = frozenset("per kilo kilogram kg / each every times x apiece".split())
_GOES_TO = _BEHIND | frozenset("after from under round through for more medially laterally back out".split())


def _volume(token: Token) -> Decimal | None:
    """The number of a volume, or of an amount that was left without its unit."""
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.form != "number" or quantity.comparator:
        return None
    if quantity.dimension == "volume":
        return quantity.value
    return quantity.value if not quantity.dimension and quantity.value >= _LEAST else None
