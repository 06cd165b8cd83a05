"""Spoken or written numbers to exact Decimals.

Works on the lower-case forms of tokens. Nothing is guessed: two readings that the words leave open come with a
`doubt` in plain words, and numbers that stand side by side without forming one ("fifteen fifty") stay apart.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from pipeline import counted_things, figures
from pipeline.figures import DENOMINATORS, GLYPHS, WRITTEN_PART, written
from pipeline.figures import divide as _divide
from pipeline.figures import whole as _whole
from pipeline.records import quick

Shape = Literal["cardinal", "digits", "colloquial", "mixed", "fraction"]

_UNITS = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
          "seventeen eighteen nineteen")  # fmt: skip
SMALL = {word: value for value, word in enumerate(_UNITS.split())}
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
TENS = {word: value * 10 for value, word in enumerate(_TENS, start=2)}
ZERO = frozenset({"zero", "oh", "o", "nought", "naught", "aught", "ought"})
SCALES = {"hundred": 100, "thousand": 1000, "million": 1_000_000, "billion": 1_000_000_000}
REPEATED = {"double": 2, "triple": 3, "treble": 3}
ORDINALS = (
    {
        word: value
        for value, word in enumerate(
            "first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth thirteenth fourteenth "
            "fifteenth sixteenth seventeenth eighteenth nineteenth twentieth".split(),
            start=1,
        )
    }
    | {f"{word[:-1]}ieth": value for word, value in TENS.items()}
    | {"hundredth": 100}
)
_PARTS = {
    "half": 2, "third": 3, "quarter": 4, "fourth": 4, "fifth": 5, "sixth": 6, "eighth": 8, "tenth": 10,
    "twelfth": 12, "sixteenth": 16,
}  # fmt: skip
PARTS = _PARTS | {f"{word}s": value for word, value in _PARTS.items() if word != "half"} | {"halves": 2}
ROMAN = {letters: value for value, letters in enumerate("i ii iii iv v vi vii viii ix x xi xii".split(), start=1)}

_ORDINAL = re.compile(r"^(\d{1,3})(?:st|nd|rd|th)$")
_SPOKEN = frozenset(SMALL) | frozenset(TENS) | frozenset(SCALES) | ZERO | frozenset(REPEATED) | frozenset(PARTS)
STARTS = _SPOKEN | frozenset({"a", "an", "point", "minus", "negative", "dozen"}) | frozenset(ORDINALS)


@quick
@dataclass(frozen=True, slots=True)
class Numeral:
    """A number read from tokens `start`..`end` (end exclusive).

    `value` is None only for a fraction with no finite decimal (a third). `scale`: the multiplier that ended it
    (2 hundred -> 100), so that "one to two hundred" can lend it. `digits`: those said one by one. `spoken`: in words.
    `split`: index at which a second reading would begin a number of its own.
    """

    value: Decimal | None
    start: int
    end: int
    shape: Shape = "cardinal"
    scale: int = 1
    digits: str = ""
    spoken: bool = True
    text: str = ""
    doubt: str = ""
    split: int = 0


def parse(text: str) -> Decimal | None:
    """The exact value of a text that is one number and nothing else, in words or digits; None otherwise."""
    norms = text.lower().replace("-", " ").split() if not any(letter.isdigit() for letter in text) else text.split()
    numeral = read(norms, 0)
    return numeral.value if numeral is not None and numeral.end == len(norms) else None


def read(norms: Sequence[str], start: int) -> Numeral | None:
    """The longest number that begins at `start`, or None, also behind the end. Context decides whether it is one."""
    if not (norm := norms[start] if start < len(norms) else ""):
        return None
    if norm in ("minus", "negative"):
        return _negative(norms, start)
    if norm[0].isdigit() or norm[0] in "-+." or norm in GLYPHS:
        return _from_digits(norms, start)
    if norm not in STARTS:
        return None
    if (part := _fraction(norms, start)) is not None:
        return part
    if norm in REPEATED or norm in ZERO or 0 < SMALL.get(norm, 0) < 10 or norm == "point":
        if (run := _digit_run(norms, start)) is not None:
            return run
    whole = _mixed(norms, _cardinal(norms, start))
    if whole is not None and whole.value is not None and _at(norms, whole.end) == "k" and (
        _at(norms, whole.end + 1) in ("units", "iu", "international")
    ):  # "five k units"
        return Numeral(_whole(whole.value * 1000), start, whole.end + 1, scale=1000)
    cut = whole is not None and counted_things.ends_before_one(norms, start, whole.end)
    return read(norms[: whole.end - 1], start) if whole is not None and cut else whole


def _at(norms: Sequence[str], index: int) -> str:
    return norms[index] if index < len(norms) else ""


def _negative(norms: Sequence[str], start: int) -> Numeral | None:
    if start + 1 >= len(norms) or (norms[start] == "negative" and not norms[start + 1][0].isdigit()):
        return None
    inner = read(norms, start + 1)
    if inner is None or inner.value is None or inner.value < 0:
        return None
    return Numeral(-inner.value, start, inner.end, inner.shape, inner.scale, "", inner.spoken)


def _from_digits(norms: Sequence[str], start: int) -> Numeral | None:
    norm = norms[start]
    doubt = ""
    value = written(norm)
    shape: Shape
    if value is None and (value := figures.with_comma(norm)) is not None:
        doubt = "" if norm.startswith("0") else f"'{norm}' was read with a decimal comma"
    if value is not None and figures.may_part_thousands(norm):
        doubt = f"'{norm}' was read with a decimal point; where points part thousands it is {norm.replace('.', '')}"
    if (thousands := figures.in_thousands(norm)) is not None:
        return Numeral(thousands, start, start + 1, scale=1000, spoken=False)
    if value is None:
        part = WRITTEN_PART.match(norm)
        if part and not part[1] and int(part[3]) in DENOMINATORS and 0 < int(part[2]) < int(part[3]):
            return Numeral(None, start, start + 1, "fraction", spoken=False, text=f"{part[2]}/{part[3]}")
        return None
    end = start + 1
    halved = "/" in norm and "-" not in norm
    shape, text = ("fraction", norm.rstrip("thsrdn")) if halved else ("cardinal", "")
    whole = norm.isdigit()
    scale = 1
    following = _at(norms, end)
    if whole and following == "000" and len(norm) <= 3:
        while _at(norms, end) == "000":
            value *= 1000
            end += 1
        following = _at(norms, end)
    elif whole and following == "point":
        digits, after = _fraction_digits(norms, end + 1)
        if digits:
            return Numeral(Decimal(f"{norm}.{digits}"), start, after, "cardinal", spoken=False)
    if following in SCALES and shape == "cardinal":
        scale = SCALES[following]
        value = _whole(value * scale)
        end += 1
        following = _at(norms, end)
    if shape == "cardinal" and scale == 1 and (whole or norm.startswith("-")):
        joined = end + (following in ("and", "&"))
        fraction = (joined > end and _fraction(norms, joined)) or _written_fraction(norms, joined)  # not "2 half"
        if fraction is not None and fraction.value is not None and value >= 0:
            if following == "and" and norms[joined] not in ("a", "one", "half", "three", "1/2", "½", "1/4", "3/4"):
                return Numeral(value, start, end, shape, scale, spoken=False)
            return Numeral(value + fraction.value, start, fraction.end, "mixed", spoken=False)
    return Numeral(value, start, end, shape, scale, "", False, text, doubt)


def _written_fraction(norms: Sequence[str], start: int) -> Numeral | None:
    norm = _at(norms, start)
    if norm in GLYPHS:
        return Numeral(Decimal(GLYPHS[norm]), start, start + 1, "fraction")
    part = WRITTEN_PART.match(norm)
    if not part or part[1] or int(part[3]) not in DENOMINATORS:
        return None
    return Numeral(_divide(int(part[2]), int(part[3])), start, start + 1, "fraction")


def _below_hundred(norms: Sequence[str], start: int) -> tuple[int, int] | None:
    """(value, index after) of a number from 0 to 99 in words."""
    if (norm := _at(norms, start)) in TENS:
        unit = SMALL.get(_at(norms, start + 1), 0)
        return (TENS[norm] + unit, start + 2) if 0 < unit < 10 else (TENS[norm], start + 1)
    if norm in SMALL:
        return SMALL[norm], start + 1
    return (0, start + 1) if norm in ("nought", "naught") else None


def _cardinal(norms: Sequence[str], start: int) -> Numeral | None:
    """A number in words with hundreds, thousands, millions and a spoken decimal part."""
    index, total, group, scale = start, 0, 0, 1
    dozen = index + (_at(norms, index) in ("a", "an"))
    if _at(norms, dozen) == "dozen":
        return Numeral(Decimal(12), start, dozen + 1)
    if dozen > index:
        if _at(norms, dozen) not in SCALES:
            return None
        index, group = dozen, 1
    elif _at(norms, index) in SCALES:
        group = 1
        if start and norms[start - 1] in ("several", "few"):
            return None
    else:
        first = _below_hundred(norms, index)
        if first is None:
            return None
        group, index = first
        if _at(norms, index) == "dozen" and group < 10:
            return Numeral(Decimal(12 * group), start, index + 1)
    largest = 10**12
    while _at(norms, index) in SCALES:
        size = SCALES[norms[index]]
        index += 1
        if size == 100:
            group *= 100
            scale = 100
            joined = index + (_at(norms, index) == "and")
            rest = _below_hundred(norms, joined)
            counted = rest is not None and joined == index and counted_things.begins(norms, rest[1])
            if rest is not None and 0 < rest[0] and not counted:  # not "total loss nine hundred one drain"
                group, index, scale = group + rest[0], rest[1], 1
            continue
        if size >= largest:
            index -= 1
            break
        largest = size
        total += group * size
        scale = size * (scale if scale == 100 else 1)
        group = 0
        joined = index + (_at(norms, index) == "and")
        rest = _below_hundred(norms, joined)
        if rest is None or rest[0] == 0:
            continue
        if norms[index] == "and" and _at(norms, rest[1]) in SCALES and SCALES[norms[rest[1]]] >= size:
            break
        group, index, scale = rest[0], rest[1], 1
    value = Decimal(total + group)
    if _at(norms, index) == "point":
        digits, after = _fraction_digits(norms, index + 1)
        if digits:
            value = Decimal(f"{total + group}.{digits}")
            index, scale = after, 1
            if _at(norms, index) in SCALES and SCALES[norms[index]] > 100:
                value, scale = _whole(value * SCALES[norms[index]]), SCALES[norms[index]]
                index += 1
    if index == start + 1 and group and not total and 0 < group < 10:
        spoken = _colloquial(norms, start, group)
        if spoken is not None:
            return spoken
    return Numeral(value, start, index, "cardinal", scale)


def _colloquial(norms: Sequence[str], start: int, hundreds: int) -> Numeral | None:
    """ "two fifty" for 250: one digit and a number from ten to ninety-nine. Both readings are possible."""
    rest = _below_hundred(norms, start + 1)
    if rest is None or rest[0] < 10 or _at(norms, rest[1]) in SCALES or _at(norms, rest[1]) == "point":
        return None
    value = hundreds * 100 + rest[0]
    return Numeral(
        Decimal(value), start, rest[1], "colloquial", split=start + 1,
        doubt=f"read as {value}; it could be {hundreds} and {rest[0]}",
    )  # fmt: skip


def _fraction_digits(norms: Sequence[str], start: int) -> tuple[str, int]:
    """The digits after a spoken point: "two five", "oh", "twenty five", "25"; not the last of "five three piece"."""
    digits, index = "", start
    while True:
        norm = _at(norms, index)
        if norm in ZERO:
            digits += "0"
        elif 0 < SMALL.get(norm, 0) < 10:
            digits += str(SMALL[norm])
        elif norm.isdigit() and norm.isascii() and (not digits or len(norm) == 1):
            digits += norm
        elif norm in REPEATED and _digit(_at(norms, index + 1)) is not None:
            digits += str(_digit(norms[index + 1])) * REPEATED[norm]
            index += 1
        elif not digits and (pair := _below_hundred(norms, index)) is not None:
            return str(pair[0]), pair[1]
        else:
            again = len(digits) > 1 and counted_things.ends_size(norms, digits, index)
            return (digits[:-1], index - 1) if again else (digits, index)
        index += 1


def _digit(norm: str) -> int | None:
    value = 0 if norm in ZERO else SMALL.get(norm, 10)
    return value if value < 10 else None


def _digit_run(norms: Sequence[str], start: int) -> Numeral | None:
    """Digits said one by one ("one oh five", "nine nine point five", "point two five"); None for a single one."""
    digits, index = "", start
    ends: list[int] = []
    while index < len(norms):
        norm = norms[index]
        repeat = 1
        if norm in REPEATED:
            repeat, index = REPEATED[norm], index + 1
            norm = _at(norms, index)
        value = _digit(norm)
        if value is None:
            index -= repeat > 1
            break
        digits += str(value) * repeat
        index += 1
        ends += [index] * repeat
    if digits and _at(norms, index) in SCALES:
        digits, index = digits[:-1], ends[-2] if len(ends) > 1 else start
    if _at(norms, index) == "point":
        after_digits, after = _fraction_digits(norms, index + 1)
        if after_digits and (digits or start == index):
            if len(digits) == 2 and digits[0] != "0":
                return Numeral(
                    Decimal(f"{digits}.{after_digits}"), start, after, "digits", digits=digits, split=start + 1,
                    doubt=f"read as {digits}.{after_digits}; it could be {digits[0]} and {digits[1]}.{after_digits}",
                )  # fmt: skip
            whole = digits.lstrip("0") or "0"
            value_ = Decimal(f"{whole}.{after_digits}")
            if _at(norms, after) in SCALES and SCALES[norms[after]] > 100:
                return Numeral(_whole(value_ * SCALES[norms[after]]), start, after + 1, scale=SCALES[norms[after]])
            return Numeral(value_, start, after, "cardinal")
    if norms[start] == "point" or len(digits) < 2:
        return None
    if len(digits) == 2 and "0" not in digits and _below_hundred(norms, index) is not None:
        return None
    split = start + 1 if norms[start] not in REPEATED else 0
    doubt = "" if "0" in digits[1:] else f"read as {digits} from single digits"
    return Numeral(Decimal(int(digits)), start, index, "digits", digits=digits, split=split, doubt=doubt)


def _fraction(norms: Sequence[str], start: int) -> Numeral | None:
    """ "half", "a quarter", "three eighths", "two thirds"; not "a third" (which is an ordinal)."""
    norm = _at(norms, start)
    if norm == "half" and [*norms[start + 1 : start + 3]] == ["a", "dozen"]:
        return Numeral(Decimal(6), start, start + 3)
    if norm in ("half", "quarter"):
        return Numeral(Decimal("0.5" if norm == "half" else "0.25"), start, start + 1, "fraction", text=norm)
    if norm in ("a", "an") and _at(norms, start + 1) in ("half", "quarter", "eighth", "sixteenth", "tenth"):
        return _part(norms, start, 1)
    count = SMALL.get(norm, 0)
    if 1 < count < 16 and norms[start + 1 : start + 3] in (["half", "turns"], ("half", "turns")):
        return Numeral(_whole(count * Decimal("0.5")), start, start + 2, "fraction", text=f"{count} x 1/2")
    if 0 < count < 16 and _at(norms, start + 1) in PARTS:
        word = norms[start + 1]
        plural = word.endswith("s") or word == "halves"
        if (count == 1) != plural or (word in ("half", "quarter") or word in PARTS and not plural and count > 1
                                      and word not in ("third",)):  # fmt: skip
            return _part(norms, start, count)
    return None


def _part(norms: Sequence[str], start: int, count: int) -> Numeral | None:
    many = PARTS[norms[start + 1]]
    return Numeral(_divide(count, many), start, start + 2, "fraction", text=f"{count}/{many}") if count < many else None


def _mixed(norms: Sequence[str], numeral: Numeral | None) -> Numeral | None:
    """ "two and a half", "two and three quarters"."""
    if numeral is None or numeral.value is None or _at(norms, numeral.end) != "and":
        return numeral
    part = _fraction(norms, numeral.end + 1)
    if part is None or part.value is None:
        return numeral
    if numeral.scale == 1 and (scale := SCALES.get(_at(norms, part.end), 0)):  # "four and a half thousand"
        return Numeral(_whole((numeral.value + part.value) * scale), numeral.start, part.end + 1, "mixed", scale)
    return Numeral(numeral.value + part.value * numeral.scale, numeral.start, part.end, "mixed", numeral.scale)


def read_ordinal(norms: Sequence[str], start: int, glued: bool) -> tuple[int, int] | None:
    """(value, index after) of "first", "twenty-first", "2nd". `glued`: whether the next token belongs to the same
    written word, without which "thirty second" is thirty seconds and no ordinal."""
    norm = norms[start]
    if norm in ORDINALS:
        return ORDINALS[norm], start + 1
    if norm in TENS and ORDINALS.get(_at(norms, start + 1), 10) < 10 and (glued or norms[start + 1] != "second"):
        return TENS[norm] + ORDINALS[norms[start + 1]], start + 2
    match = _ORDINAL.match(norm) if not norm.isalpha() else None
    return (int(match[1]), start + 1) if match else None
