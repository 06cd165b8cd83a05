"""Number + unit -> Quantity, one token each: ranges, lists that share a unit, compound values, comparators.

`merge` reads the tokens of a stretch of speech. A unit is never inferred: a bare number takes a unit only from a
list or range that it is said in ("5 and 10 mL", "twenty to thirty millilitres").
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache

from pipeline import compounds, counted_things, day_times, fillers, identifiers, numerals, shapes
from pipeline.codes import listed_digits
from pipeline.comparators import compared
from pipeline.dates import MONTHS
from pipeline.no_numbers import is_no_number, is_numeric, may_be_decimal
from pipeline.ranges import join
from pipeline.records import Quantity, Token, replace
from pipeline.spelled import counted, fold
from pipeline.units import Said, read_unit

_RANGE = re.compile(r"^(#?)(\d[\d,]*(?:\.\d+)?|\.\d+)(%?)[-–](\d[\d,]*(?:\.\d+)?|\.\d+)$")
_WORDS = frozenset("c t l s g p x times number # no. gravida para another".split()) | frozenset(compounds.NUMBERED)
_THE_LAST = frozenset({"other", "last", "remaining", "final"})
_STARTS = numerals.STARTS | _WORDS | _THE_LAST | day_times.STARTS | frozenset(numerals.ROMAN) | frozenset(MONTHS)
_ARTICLE_DIMENSIONS = frozenset({"volume", "mass", "length", "time", "turns", "amount", "count"})
_COUNTED_DIMENSIONS = frozenset({"length", "gauge", "french", "mass", "volume", "angle"})
_AFTER_TIME = frozenset(". , ; of because and later after before if when as unless for to ago at with in or".split())
_MORE = frozenset({"more", "further", "additional", "extra", "full", "complete", "whole", "odd", "ish"})
_LASTING = frozenset(
    ". , later hold holds soak wash burst bursts interval intervals application apart pulse pulses inflation dwell "
    "exposure delay count scrub rinse cycle cycles pause period compression per".split()
)
_MAY_BEGIN = _STARTS | identifiers.CUES


def merge(tokens: Sequence[Token]) -> list[Token]:
    """The tokens with every number, its unit and its comparator as one token; others unchanged, in order."""
    norms = [token.norm for token in tokens]
    if _MAY_BEGIN.isdisjoint(norms) and not any(map(compounds.has_digit, norms)):
        return list(tokens)
    stretch = _Stretch(tokens)
    start, read = _merged(stretch)
    return list(read) if start == stretch.start else [_moved(token, stretch.start - start) for token in read]


def _moved(token: Token, by: int) -> Token:
    return Token(token.text, token.norm, token.first + by, token.last + by, token.quantity, token.punctuation)


class _Stretch:
    """Tokens that are equal to the same ones in another place of a narration."""

    __slots__ = ("_said", "start", "tokens")

    def __init__(self, tokens: Sequence[Token]) -> None:
        self.tokens = tokens
        self.start = start = tokens[0].first
        self._said = tuple([(token.text, token.norm, token.first - start, token.last - start, token.punctuation)
                            for token in tokens])  # fmt: skip

    def __hash__(self) -> int:
        return hash(self._said)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Stretch) and self._said == other._said


@lru_cache(maxsize=256)
def _merged(stretch: _Stretch) -> tuple[int, tuple[Token, ...]]:
    """`merge`, and the number of the first word: the checks read again what was read for the facts."""
    return stretch.start, tuple(_read_all(stretch.tokens))


def _read_all(tokens: Sequence[Token]) -> list[Token]:
    spread = fold(compounds.spread(tokens))
    norms = [token.norm for token in spread]
    out: list[Token] = []
    index, size = 0, len(spread)
    found_any = False
    while index < size:
        token = spread[index]
        norm = norms[index]
        identifier = identifiers.read(spread, norms, index) if norm in identifiers.CUES else None
        if identifier is not None:
            code, first, index_after = identifier
            out += spread[index:first]
            out.append(_token(spread, first, index_after, code))
            index, found_any = index_after, True
            continue
        if token.punctuation or not (norm in _STARTS or compounds.has_digit(norm)):
            out.append(token)
            index += 1
            continue
        last = counted(norms, index)
        if last > index:
            said = read_unit(spread, last + 1, False)
            last = last if said is not None and said.dimension in ("volume", "mass", "amount") else index
        read = None if _in_figure(norms, index) else _read(spread, norms, last)
        if norm in numerals.TENS and counted_things.is_threshold(norms, index):
            read = _read(spread[: index + 1], norms[: index + 1], index)
        if read is not None and last > index:
            read = replace(read[0], doubts=(*read[0].doubts, f"counted aloud up to {norms[last]}")), read[1]
        if read is None:
            out.append(token)
            index += 1
            continue
        found_any = True
        quantity, end = read
        before = out[-1].quantity if out else None
        if before is not None and not quantity.doubts and before.doubts and before.doubts[0].startswith("taken as"):
            quantity = replace(quantity, doubts=before.doubts)
        if quantity.dimension and quantity.form == "number" and may_be_decimal(norms, index):
            doubt = f"'point' stands before it: may be 0.{quantity.value}"
            quantity = replace(quantity, doubts=(*quantity.doubts, doubt))
        if fillers.inside(spread, index, end):
            quantity = replace(quantity, doubts=(*quantity.doubts, fillers.INSIDE))
        out.append(_token(spread, index, end, quantity))
        index = end
    return compared(join(out)) if found_any else out


def _in_figure(norms: Sequence[str], index: int) -> bool:
    """The eight of "figure of eight"."""
    return index > 1 and norms[index - 1] == "of" and norms[index - 2] in ("figure", "figures")


def _token(spread: Sequence[Token], start: int, end: int, quantity: Quantity) -> Token:
    text = " ".join(token.text for token in spread[start:end])
    if quantity.form == "ordinal":
        norm = next(
            (word for word, value in numerals.ORDINALS.items() if value == quantity.value), f"{quantity.value}th"
        )
    elif quantity.dimension:
        norm = f"#{quantity.dimension}"
    else:
        norm = "#number" if quantity.form in ("number", "range", "fraction") else f"#{quantity.form}"
    if not quantity.text:
        quantity = Quantity(
            quantity.value, quantity.low, quantity.high, quantity.unit, quantity.said_unit, quantity.dimension,
            quantity.comparator, quantity.form, text, quantity.doubts,
        )  # fmt: skip
    return Token(text, norm, spread[start].first, spread[end - 1].last, quantity)


def _read(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[Quantity, int] | None:
    """The quantity that begins at a token and the index after it."""
    shape = shapes.read(tokens, norms, start)
    if shape is not None:
        return shape
    norm = norms[start]
    written = _RANGE.match(norm)
    if written:
        return _written_range(tokens, norms, start, written)
    if norm in ("a", "an", "another") or norm in _THE_LAST and start and norms[start - 1] == "the" and (
        {"mil", "millilitre", "milliliter", "cc", "ml"} & {*norms[start + 1 : start + 2]}
    ):  # "the other mil": one
        article = _with_article(tokens, norms, start)
        if article is not None:
            return article
    if norm in compounds.NUMBERED:
        return compounds.numbered(tokens, norms, start)
    glued = start + 1 < len(tokens) and tokens[start + 1].first == tokens[start].first
    ordinal = numerals.read_ordinal(norms, start, glued)
    if ordinal is not None:
        return Quantity(value=Decimal(ordinal[0]), form="ordinal"), ordinal[1]
    if norm in numerals.ROMAN:
        return _roman_amount(tokens, norms, start)
    numeral = numerals.read(norms, start)
    if numeral is None or is_no_number(norms, start, numeral):
        return None
    return _measured(tokens, norms, numeral)


def _roman_amount(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[Quantity, int] | None:
    """ "II grams": what recognisers write for two grams. I, IV, V and X are words of their own and are left."""
    if not tokens[start].text.isupper() or (
        norms[start] not in ("ii", "iii", "vi", "vii", "viii", "ix")
        and not (norms[start] == "i" and norms[start + 1 : start + 2] in (["g"], ["gm"], ["cc"], ["ml"], ["mg"]))
    ):
        return None  # "Kefzol I g"
    said = read_unit(tokens, start + 1, True)
    if said is None or said.dimension not in ("mass", "volume", "amount", "length"):
        return None
    value = Decimal(numerals.ROMAN[norms[start]])
    return _with_unit(Quantity(value=value), said, tokens), said.end


def _with_article(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[Quantity, int] | None:
    """ "an inch and a half", "a litre of saline": the article counts one when a unit and no noun follows."""
    if norms[start + 1 : start + 2] in (["couple"], ("couple",)):
        return compounds.couple(tokens, norms, start)
    said = read_unit(tokens, start + 1, False)
    further = read_unit(tokens, start + 2, False) if _ONCE_MORE & {*norms[start + 1 : start + 2]} else None
    more = further is not None and further.dimension in _MORE_DIMENSIONS  # "and a further gram at closure"
    said = further if more else said
    if said is None or said.dimension not in _ARTICLE_DIMENSIONS or "/" in said.ucum:
        return None
    if norms[said.end : said.end + 2] in (["or", "two"], ("or", "two")) and norms[start] != "another":
        low, high = Decimal(1), Decimal(2)  # "a day or two"
        return _with_unit(Quantity(low=low, high=high, form="range"), said, tokens), said.end + 2
    before = norms[start - 1] if start else ""
    if before in ("once", "twice", "times", "daily", "dose") or (
        not more and norms[start + 1] in ("day", "second", "drop", "bar")
    ):
        return None
    added, end = _and_a_half(norms, said.end)
    after = norms[end] if end < len(norms) else "."
    next_draw = said.dimension == "turns" and after in numerals.ORDINALS  # "then a full turn second pull five mils"
    if not added and after not in counted_things.FUNCTION and after not in ".,;:)" and not next_draw:
        return None
    if not added and said.dimension == "time" and after not in _AFTER_TIME:
        return None
    return _with_unit(Quantity(value=1 + added), said, tokens), end


_ONCE_MORE = frozenset({"further", "second", "third", "additional", "extra", "final", "single", "full", "whole"})
_MORE_DIMENSIONS = frozenset({"mass", "volume"})


def _and_a_half(norms: Sequence[str], index: int) -> tuple[Decimal, int]:
    """What "and a half" after a unit adds: "an inch and a half", "two inches and a quarter"."""
    if index + 2 < len(norms) and norms[index] == "and" and norms[index + 1] in ("a", "one", "three"):
        part = numerals.read(norms, index + 1)
        if part is not None and part.shape == "fraction" and part.value is not None:
            return part.value, part.end
    return Decimal(0), index


def _measured(tokens: Sequence[Token], norms: Sequence[str], numeral: numerals.Numeral) -> tuple[Quantity, int] | None:
    """The numeral with its unit; a count that runs into a size ("two five millimetre ports") is cut off."""
    in_digits = not numeral.spoken
    every = compounds.hourly(norms, numeral) or compounds.pressed(tokens, norms, numeral)
    if every is not None:
        return every
    powered = compounds.in_two_words(tokens, norms, numeral)
    if powered is not None:
        return powered
    part, mixed = numeral.shape == "fraction", [*norms[max(0, numeral.start - 2) : numeral.start]] == ["half", "and"]
    said = None if part and mixed else _unit_after(tokens, norms, numeral.end, in_digits, part)
    if said is not None and said.row == "second" and not _is_seconds(norms, numeral, said):
        said = None
    if said is not None and said.dimension == "turns" and _turns_on(norms, numeral, said):
        said = None
    if said is not None and said.row == "week" and norms[said.start] == "w" and _POWERED & set(norms):
        said = replace(said, row="watt", ucum="W", dimension="power")  # "bipolar 30 w"
    if said is not None and said.row == "foot" and not _is_feet(norms, numeral, said):
        said = None
    bare_part = part and numeral.end == numeral.start + 1 and numeral.spoken
    if numeral.shape == "digits" and numeral.digits and listed_digits(norms, numeral.start):
        return _first_only(norms, numeral)
    if said is None:
        if bare_part:
            return None
        if numeral.shape == "digits" and len(numeral.digits) == 2 and numeral.value == int(numeral.digits):
            return _first_only(norms, numeral)
        follows = numeral.end < len(norms) and is_numeric(norms, numeral.end)
        if (numeral.shape == "digits" and numeral.digits in "123456789") or (numeral.shape == "colloquial" and follows):
            return _first_only(norms, numeral)
        sized = bool(numeral.split and numeral.value is not None and numeral.value % 1)
        if sized and counted_things.plural_behind(norms, numeral.end):
            return _first_only(norms, numeral)  # "three three point five screws"
        if sized and numeral.value is not None and counted_things.has_a_size(norms, numeral.start, numeral.end):
            return _first_only(norms, numeral, f"taken as 1 and {numeral.value - 10}; it could be {numeral.value}")
        form = "fraction" if part else "number"
        text = numeral.text if part else ""
        doubts = (numeral.doubt,) if numeral.doubt else ()
        return Quantity(value=numeral.value, form=form, text=text, doubts=doubts), numeral.end
    if numeral.value is None:  # "two thirds of a litre": no exact amount, and not a litre either
        return _with_unit(Quantity(form="fraction", text=f"{numeral.text} {said.ucum}"), said, tokens), said.end
    doubt = numeral.doubt
    if numeral.shape == "colloquial" and numeral.start and norms[numeral.start - 1] in _NUMBERED:
        label = norms[numeral.start - 1]
        return _first_only(norms, numeral, f"taken as the number of the {label}; it could be {numeral.value}")
    if numeral.split:
        on_day = norms[max(0, numeral.start - 1)] in compounds.NUMBERED and not is_numeric(norms, numeral.start - 2)
        if numeral.start > 1 and on_day and numeral.shape == "colloquial":
            return _first_only(norms, numeral)  # "burn of day four eighteen percent"
        plural = said.dimension in ("volume", "mass") and norms[said.end - 1].endswith("s")  # "two fifty milligrams"
        if said.dimension in _COUNTED_DIMENSIONS and not plural and counted_things.plural_behind(norms, said.end):
            return _first_only(norms, numeral)
        behind = norms[said.end] if said.end < len(norms) else ""
        attributive = behind[:1].isalpha() and behind not in counted_things.FUNCTION
        sized = said.dimension in ("length", "gauge", "french")
        ahead = attributive or (_is_singular(norms[said.end - 1]) and "".join(norms[said.end : said.end + 1]) == "and")
        ported = said.dimension == "length" and not _PORTS.isdisjoint(norms[max(0, numeral.start - 4) : said.end + 12])
        single = norms[numeral.start] == "one" and sized and (ahead or ported)
        pair = numeral.shape == "digits" and len(numeral.digits) == 2 and "0" not in numeral.digits
        if single or (pair and said.dimension not in ("pressure", "angle", "temperature", "fraction")):
            first, _, rest = numeral.doubt.partition("; it could be ")[2].partition(" and ")
            first, rest = (first, rest) if rest else (numeral.digits[:1], numeral.digits[1:])
            return _first_only(norms, numeral, counted_things.apart(said.row, first, rest, str(numeral.value)))
        if said.dimension in ("pressure", "angle", "temperature", "fraction") or not attributive:
            doubt = ""
        elif said.dimension in ("volume", "mass") and norms[said.end - 1].endswith("s"):
            doubt = ""  # "one twenty mils": before a noun the unit would be in the singular
    added, end = (Decimal(0), said.end) if part else _and_a_half(norms, said.end)
    odd = norms[numeral.end] in ("odd", "ish")  # "seventy odd mils", "ten-ish mils"
    quantity = Quantity(
        value=numeral.value + added if added else numeral.value,
        comparator="~" if odd else None,
        form="fraction" if part else "number",
        doubts=(doubt,) if doubt else (),
    )
    return _with_unit(quantity, said, tokens), end


# What is numbered: "syringe one ten mils, syringe two ten mils".
_NUMBERED = frozenset("syringe sample pot bottle tube hole track point site".split())
# "Ports, one ten millimetre at the navel and three five millimetre": no port is wider than a hand.
_PORTS = frozenset({"port", "ports", "trocar", "trocars", "cannula", "cannulas"})


def _is_singular(unit: str) -> bool:
    """Whether a unit was said in the singular, as before a noun ("one ten millimetre and two five millimetre ports").
    """
    return len(unit) > 2 and not unit.endswith("s")


def _first_only(norms: Sequence[str], numeral: numerals.Numeral, doubt: str = "") -> tuple[Quantity, int] | None:
    """Only the first of two numbers that do not belong together."""
    value = numerals.SMALL.get(norms[numeral.start])
    if value is None:
        return None
    return Quantity(value=Decimal(value), doubts=(doubt,) if doubt else ()), numeral.start + 1


def _unit_after(tokens: Sequence[Token], norms: Sequence[str], index: int, in_digits: bool, part: bool) -> Said | None:
    """The unit after a number, over "of a" after a fraction ("a quarter of an inch", "half a centimetre")."""
    if part:
        for link in (("of", "one"), ("of", "a"), ("of", "an"), ("a",), ("an",), ("of",)):
            if tuple(norms[index : index + len(link)]) == link:
                said = read_unit(tokens, index + len(link), False)
                if said is not None and (link != ("of",) or said.dimension != "time"):
                    return said
    said = read_unit(tokens, index, in_digits)
    if said is None and index < len(norms) and norms[index] in _MORE:
        return read_unit(tokens, index + 1, in_digits)  # "five more days"
    return said


_POWERED = frozenset("bipolar monopolar cautery diathermy coag coagulation cut laser power energy watts hz".split())


def _is_seconds(norms: Sequence[str], numeral: numerals.Numeral, said: Said) -> bool:
    """ "sixty seconds" and "a ten second soak", but "one second toe" is none."""
    if norms[said.start] != "second":
        return True
    after = norms[said.end] if said.end < len(norms) else "."
    many = numeral.value is not None and numeral.value >= 3
    return after in _LASTING or (many and (not after[0].isalpha() or after in counted_things.FUNCTION))


def _turns_on(norms: Sequence[str], numeral: numerals.Numeral, said: Said) -> bool:
    """ "The same four turn the needle": the number of a draw, and then what was done."""
    many = numeral.value is not None and numeral.value > 1 and norms[said.start] == "turn"
    return many and counted_things.goes_on_after_turn(norms, said.end)


def _is_feet(norms: Sequence[str], numeral: numerals.Numeral, said: Said) -> bool:
    """A foot is a length only beside a height ("five foot two", "six feet tall"); else it is the foot."""
    if norms[said.start] == "ft":
        return True
    if numeral.value is None or not 3 <= numeral.value <= 8:
        return False
    after = norms[said.end] if said.end < len(norms) else "."
    return after in numerals.SMALL or after[0].isdigit() or after in ("tall", "high", "in", "and")


def _with_unit(quantity: Quantity, said: Said, tokens: Sequence[Token]) -> Quantity:
    words = " ".join(token.text for token in tokens[said.start : said.end]).replace(" / ", "/")
    return Quantity(
        quantity.value, quantity.low, quantity.high, said.ucum, words, said.dimension, quantity.comparator,
        quantity.form, quantity.text, quantity.doubts,
    )  # fmt: skip


def _written_range(
    tokens: Sequence[Token], norms: Sequence[str], start: int, match: re.Match[str]
) -> tuple[Quantity, int] | None:
    """ "5-10", "40-60%", "1-200 cc" (100 to 200)."""
    low, high = Decimal(match[2].replace(",", "")), Decimal(match[4].replace(",", ""))
    said = read_unit(tokens, start + 1, True)
    if match[3] and said is None:
        return None
    if low >= high or (match[1] and said is None):
        return Quantity(form="code", text=tokens[start].text), start + 1
    low = compounds.lend_scale(low, high, _tail(match[4]))
    quantity = Quantity(low=low, high=high, form="range")
    if said is None:
        return quantity, start + 1
    return _with_unit(quantity, said, tokens), said.end


def _tail(digits: str) -> int:
    """The power of ten that a round number ends in: 200 -> 100, 3000 -> 1000, 20 -> 1."""
    plain = digits.replace(",", "")
    return 10 ** (len(plain) - 1) if plain[1:] and not plain[1:].strip("0") and len(plain) > 2 else 1
