"""Second look at numbers that stand together: ranges, lists with one unit, compound values."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import cast

from pipeline import owners
from pipeline.conversion import convert, convertible
from pipeline.records import Quantity, Token, replace

_LINKS = frozenset({"to", "-", "–", "or"})
_GUESSED = frozenset({"maybe", "perhaps", "possibly"})
_CHANGED = frozenset(
    "increased decreased raised lowered reduced advanced exchanged upsized dropped corrected changed went rose "
    "fell dilated improved progressed upgraded downsized moved widened turned rotated extended serially "
    "improvement increase decrease reduction reamed drilled broached rasped".split()
)
_JOINTS = frozenset({",", "and", "x", "by", "×", "or", "plus", "then", "&", "->", "→"})
_BY = frozenset({"x", "by", "×"})
_SMALLER = {"h": ("min", 60), "min": ("s", 60), "g": ("mg", 1000), "kg": ("g", 1000), "L": ("mL", 1000),
            "[ft_i]": ("[in_i]", 12), "a": ("mo", 12), "cm": ("mm", 10), "[lb_av]": ("[oz_av]", 16),
            "wk": ("d", 7), "d": ("h", 24), "m": ("cm", 100)}  # fmt: skip
_NUMERIC = frozenset({"number", "range", "fraction"})


def join(tokens: Sequence[Token]) -> list[Token]:
    """Joins ranges and compounds, hands a shared unit down a list."""
    out = _ranges(_parts_of_one(list(tokens)))
    out = _compounds(out)
    return _shared(out)


def _parts_of_one(tokens: list[Token]) -> list[Token]:
    """ "Point three of a millilitre", "0.05 of a mg": so much of one."""
    for at in range(len(tokens) - 3, -1, -1):
        part, one = tokens[at].quantity, tokens[at + 2].quantity
        if tokens[at + 1].norm != "of" or part is None or one is None or not _bare(part) or not one.unit:
            continue
        if one.value != 1 or tokens[at + 2].text.lower().split()[0] not in ("a", "an") or not (part.value or 1) % 1:
            continue
        said = replace(one, value=part.value, comparator=part.comparator, doubts=(*part.doubts, *one.doubts))
        tokens[at : at + 3] = [wide(tokens[at : at + 3], said)]
    return tokens


def plain(token: Token) -> Quantity | None:
    """The number or range of a token; None for everything else."""
    quantity = token.quantity
    return quantity if quantity is not None and quantity.form in _NUMERIC else None


def _bare(quantity: Quantity) -> bool:
    return quantity.unit is None and quantity.form == "number" and quantity.value is not None


def _ranges(tokens: list[Token]) -> list[Token]:
    index = 0
    while index + 2 < len(tokens):
        link = tokens[index + 1].norm
        if link == "up" and _is_range_up(tokens, index):
            del tokens[index + 1]  # "from ten up to fifteen"; the range takes the word in
            continue
        if link == "over":
            tokens[index : index + 3] = _pressures(tokens[index : index + 3])
        if link in _GUESSED:
            tokens[index : index + 3] = _guessed(tokens[index : index + 3])
        if link == "to" and tokens[index + 2].norm == "a" and _is_hundred(tokens, index + 3):
            del tokens[index + 2]  # "50 to a 100"
        if link in _LINKS or (link == "and" and index and tokens[index - 1].norm == "between"):
            first, second = plain(tokens[index]), plain(tokens[index + 2])
            if first is not None and second is not None:
                start = index
                changed = _is_change(tokens, index)
                joined = None if changed and link == "to" else _range(first, second)
                if joined is not None:
                    if link == "and":
                        start = index - 1
                    elif index and tokens[index - 1].norm == "from":
                        start = index - 1
                    tokens[start : index + 3] = [wide(tokens[start : index + 3], joined)]
                    index = start + 1
                    continue
                if link == "to" and _bare(first) and second.unit is not None and second.value is not None:
                    tokens[index] = _given(tokens[index], first, second)
        index += 1
    return tokens


def _is_range_up(tokens: Sequence[Token], index: int) -> bool:
    first = plain(tokens[index])
    second = plain(tokens[index + 3]) if index + 3 < len(tokens) else None
    led = index > 0 and tokens[index - 1].norm == "from" and tokens[index + 2].norm == "to"
    return led and first is not None and second is not None and not _is_change(tokens, index) and (
        _range(first, second) is not None
    )


def _is_hundred(tokens: Sequence[Token], at: int) -> bool:
    """ "A 100", "a 1000": written as it is said."""
    quantity = plain(tokens[at]) if at < len(tokens) else None
    return quantity is not None and quantity.value in (100, 1000)


def _pressures(tokens: list[Token]) -> list[Token]:
    """ "one hundred and twenty over eighty": a blood pressure, kept as a pair."""
    first, second = plain(tokens[0]), plain(tokens[2])
    if first is None or second is None or first.unit is not None or first.value is None or second.value is None:
        return tokens
    if second.dimension not in ("", "pressure") or not 30 <= second.value < first.value <= 300 or first.value < 60:
        return tokens
    pair = replace(second, value=None, form="pair", text=f"{first.value}/{second.value}")
    text = " ".join(token.text for token in tokens)
    return [Token(text, "#pair", tokens[0].first, tokens[2].last, pair)]


def _guessed(tokens: list[Token]) -> list[Token]:
    """ "Ten maybe fifteen": from ten to fifteen, and a doubt."""
    first, second = plain(tokens[0]), plain(tokens[2])
    if first is None or second is None or first.form != "number" or second.form != "number":
        return tokens
    joined = _range(first, second)
    if joined is None:
        return tokens
    text = " ".join(token.text for token in tokens)
    return [wide(tokens, replace(joined, doubts=(*joined.doubts, f"'{text}' was read as a range")))]


def _is_change(tokens: Sequence[Token], index: int) -> bool:
    if not index or tokens[index - 1].norm != "from":
        return False
    return any(token.norm in _CHANGED for token in tokens[max(0, index - 7) : index])


def _range(first: Quantity, second: Quantity) -> Quantity | None:
    low, high = first.value, second.value
    if low is None or high is None:
        return None
    unit, other = first.unit, second.unit
    if unit is not None and other is None:
        return None
    if unit is not None and unit != other:
        if other is None or not convertible(unit, other):
            return None
        low = convert(low, unit, other)
    if unit is None and first.form == "number":
        low = _lent(low, high, second.text)
    if low >= high:
        return None
    doubts = () if second.dimension in ("volume", "pressure") else (*first.doubts, *second.doubts)
    return replace(second, value=None, low=low, high=high, form="range", doubts=doubts, text="")


def _lent(low: Decimal, high: Decimal, text: str) -> Decimal:
    """ "one to two hundred": the low end borrows the scale of the high one when it stays below it."""
    words = text.lower().replace(",", "").split()
    scale = 1
    for word, size in (("hundred", 100), ("thousand", 1000), ("million", 10**6)):
        if word in words[1:]:
            scale *= size
    if scale == 1 and words and words[0].isdigit() and len(words[0]) > 2 and not words[0][1:].strip("0"):
        scale = 10 ** (len(words[0]) - 1)
    elif scale > 1 and high % scale:
        scale = 1
    limit = 10 if words and words[0].isdigit() else 1000
    return low * scale if scale > 1 and low < limit and low == int(low) and low * scale < high else low


def wide(tokens: Sequence[Token], quantity: Quantity) -> Token:
    """One token over several, with their quantity."""
    text = " ".join(token.text for token in tokens)
    norm = f"#{quantity.dimension}" if quantity.dimension else "#number"
    return Token(text, norm, tokens[0].first, tokens[-1].last, replace(quantity, text=text))


def _given(token: Token, quantity: Quantity, source: Quantity) -> Token:
    """The token of a bare number with the unit of the list it stands in."""
    taken = replace(quantity, unit=source.unit, said_unit=source.said_unit, dimension=source.dimension)
    return replace(token, norm=f"#{source.dimension}", quantity=taken)


def _compounds(tokens: list[Token]) -> list[Token]:
    """ "1 g 500 mg", "1 hour and 20 minutes", "five foot two", "one hour twenty"."""
    index = 0
    while index + 1 < len(tokens):
        first = tokens[index].quantity and plain(tokens[index])
        if first is not None and first.unit is None and tokens[index + 1].norm == "y" and _months_behind(tokens, index):
            years = replace(first, unit="a", said_unit="y", dimension="time")
            tokens[index : index + 2] = [wide(tokens[index : index + 2], years)]  # "3 y & 2 mo"
            first = years
        if first is None or first.unit not in _SMALLER or first.value is None:
            index += 1
            continue
        at = index + 1
        joint = tokens[at].norm
        if joint in ("and", ",", "&") and at + 1 < len(tokens):
            at += 1
            joint = "and" if joint == "&" else joint
        second = plain(tokens[at])
        joined = None if second is None else _compound(first, second, joint, tokens, at)
        if joined is None:
            index += 1
            continue
        tokens[index : at + 1] = [wide(tokens[index : at + 1], joined)]
    return tokens


def _months_behind(tokens: Sequence[Token], index: int) -> bool:
    at = index + 2 + (index + 2 < len(tokens) and tokens[index + 2].norm in ("and", ",", "&"))
    months = plain(tokens[at]) if at < len(tokens) else None
    return months is not None and months.unit == "mo"


_TIMED = frozenset({"fluoroscopy", "fluoro", "screening", "xray", "x-ray"})
_LASTING = frozenset({"time", "took", "lasted", "lasting", "duration"})
_LASTS = frozenset("at with under from for since after on altogether all skin knife".split())
_LEAST_REST = {"mg": 50, "mL": 50, "g": 10}  # what is said behind a whole gram, litre or kilogram
_TOLD_SECONDS = 10  # fewer are said with their unit
_MOST_KILOGRAMS = 15  # people are weighed to the gram while they are small
_ENDS = frozenset("and in at long wide deep thick tall high total of was is from to by below above".split())


def _is_another(first: Quantity, second: Quantity, tokens: Sequence[Token], at: int) -> bool:
    """ "Seventy kilos two grams cefazolin", "one litre five mils of", "four centimetres five millimetre port": two
    amounts that stand side by side."""
    if first.value is None or second.value is None or second.value < _LEAST_REST.get(second.unit or "", 0):
        return True
    if first.unit == "kg" and first.value > _MOST_KILOGRAMS:
        return True
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    noun = after is not None and after.quantity is None and not after.punctuation and after.norm not in _ENDS
    return first.unit == "cm" and noun


def _compound(first: Quantity, second: Quantity, joint: str, tokens: Sequence[Token], at: int) -> Quantity | None:
    unit, whole = _SMALLER[cast(str, first.unit)]
    if first.value is None or second.value is None or first.value != int(first.value) or second.comparator:
        return None
    timed = first.dimension == "time"
    led = timed and any(token.norm in _LASTING for token in tokens[max(0, at - 4) : at - 1])
    spoken = first.unit == "min" and at >= 2 and tokens[at - 2].norm in _TIMED and second.value % 5 == 0
    led = led or (first.unit == "min" and second.value % 5 == 0 and second.value < 60 and [
        token.norm for token in tokens[at + 1 : at + 3]
    ] in [["of", norm] for norm in _TIMED])  # "one minute ten of screening"
    led = led or (spoken and second.value < 60)  # "fluoroscopy one minute ten on the right"
    doubts = second.doubts
    if (joint == "and" and not timed and first.unit != "[ft_i]") or (joint == "," and first.unit != "a"):
        return None
    if second.unit is None and first.unit == "m" and joint not in ("and", ","):
        tall = first.value in (1, 2) and 10 <= second.value <= 99 and second.value == int(second.value)
        doubt = f"'{first.text} {second.text}' was taken for one height"
        return replace(second, value=first.value + second.value / 100, unit="m", dimension="length", form="number",
                       doubts=(*doubts, doubt), said_unit=first.said_unit) if tall else None  # fmt: skip
    if second.unit is None and first.unit == "L" and joint not in ("and", ","):
        behind = tokens[at + 1].norm if at + 1 < len(tokens) else ""  # "three litres three hundred back"
        if behind not in ("in", "out", "back", "returned") or not 100 <= second.value < whole or second.value % 50:
            return None
        return replace(second, value=first.value * whole + second.value, unit=unit, dimension="volume",
                       said_unit=first.said_unit)  # fmt: skip
    if second.unit is None:
        after = tokens[at + 1].norm if at + 1 < len(tokens) else "."
        loose = after in (".", ",", ";", "and", "in", "tall") or not after[:1].isalpha()
        loose = loose or (first.unit == "h" and after in _LASTS)  # "one hour ten at three hundred"
        if joint in ("and", ",") or first.unit not in ("h", "min", "[ft_i]") or not (loose or led):
            return None
        if not loose:
            doubts = (*doubts, f"'{first.text} {second.text}' was taken for one length of time")
        if first.unit == "min" and led and second.value < _TOLD_SECONDS and after.isalpha() and after not in _ENDS:
            return None  # "second time twenty four minutes one drain"
        if first.unit == "min" and not led and any(letter.isdigit() for letter in tokens[at].text):
            return None  # "one minute twenty", as it is said
    elif second.unit != unit and not (first.unit == "h" and second.unit == "s"):
        return None
    elif not timed and _is_another(first, second, tokens, at):
        return None
    if not 0 < second.value < whole:
        return None
    total = first.value * whole + second.value
    return replace(second, value=total, unit=unit, dimension=first.dimension, form="number", doubts=doubts,
                   said_unit=" ".join(part for part in (first.said_unit, second.said_unit) if part))  # fmt: skip


def _shared(tokens: list[Token]) -> list[Token]:
    """The unit at the end of a list belongs to each bare number of it: "ten, five and five millilitres"."""
    for index in range(len(tokens) - 1, 0, -1):
        last = tokens[index].quantity
        if last is None or last.unit is None or last.form not in _NUMERIC:
            continue
        members: list[int] = []
        linked = False
        at = index
        while at >= 2:
            back, words = _link_before(tokens, at)
            if back < 0:
                break
            if last.dimension not in ("length", "area") and (words & _BY or tokens[back - 1].norm in _BY):
                break  # "2 x 40 g": two of them; "5 mL x 12 -> 60 mL"
            if at < index and tokens[at + 1].norm in _BY and not words & _BY and tokens[back - 1].norm not in _BY:
                break  # "from 7 to 11, 4 x 1.8 mm": a pair goes on from pairs only
            if words & _BY and _counts_tubes(tokens, back, last):
                break  # "3 ports (1 x 12 mm, 2 x 10 mm)"
            if "to" not in words and owners.tells_move(tokens, back, index):
                break  # "five, ten, fifteen, then a turn": what was drawn, and how the needle moved
            quantity = plain(tokens[back])
            if quantity is None or quantity.unit is not None or (quantity.value is None and quantity.low is None):
                break
            if _is_spoken(tokens[index]) != _is_spoken(tokens[back]):
                break
            linked = linked or bool(words & _JOINTS - {","})
            members.append(back)
            at = back
        if not members or (not linked and len(members) < 2):
            continue
        if len(members) == 1 and owners.of_its_own(tokens, members[0], index):
            continue
        for member in members:
            quantity = tokens[member].quantity
            if quantity is not None:
                tokens[member] = _given(tokens[member], quantity, last)
        for mark in range(members[-1], index):
            if tokens[mark].norm in ("by", "×"):
                tokens[mark] = replace(tokens[mark], norm="x")
    return tokens


_TUBES = frozenset("ports trocars cannulas cannulae".split())
_MOST_TUBES, _WIDEST, _TO_TUBES = 5, 20, 12  # of one width; millimetres; tokens


def _counts_tubes(tokens: Sequence[Token], at: int, width: Quantity) -> bool:
    """Whether a number before "x" counts ports that were named before it: these have one width each."""
    number = tokens[at].quantity
    if number is None or number.value is None or not 1 <= number.value <= _MOST_TUBES or width.unit != "mm":
        return False
    for place in range(at - 1, max(-1, at - _TO_TUBES), -1):
        if tokens[place].norm in _TUBES:
            return width.value is not None and width.value <= _WIDEST
        if not (tokens[place].punctuation or tokens[place].quantity is not None or tokens[place].norm in _BY):
            return False
    return False


def _is_spoken(token: Token) -> bool:
    return not any(letter.isdigit() for letter in token.text)


def _link_before(tokens: Sequence[Token], at: int) -> tuple[int, set[str]]:
    """Index of the number linked before a member of a list, and the words that link them; -1 if there is none."""
    words: set[str] = set()
    back = at - 1
    while back >= 0 and at - back <= 3 and tokens[back].norm in _JOINTS:
        words.add(tokens[back].norm)
        back -= 1
    return (back, words) if words and back >= 0 else (-1, words)
