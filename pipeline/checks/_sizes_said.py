"""Diameters of things as they are told, read from the sentences: of a graft, its tunnel, a nail, the last reamer, the
head, the cup, the insert.

Each reader gives every size of its thing with the sentence that holds it; what was tried, measured, taken out or
changed is left out, so that two sizes of one thing are two statements of what went in.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from pipeline.checks.base import read
from pipeline.note import OperativeNote, Passage
from pipeline.records import Token


@dataclass(frozen=True, slots=True)
class Thing:
    """How the size of a thing is told. `nouns`: its names; `before`: words between a size and the noun behind it;
    `behind`: words between the noun and a size behind it, `reach` of them at most; `low`..`high`: sizes in mm."""

    nouns: frozenset[str]
    before: frozenset[str]
    behind: frozenset[str]
    reach: int
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Size:
    """A size of a thing in millimetres, and where it was said."""

    value: Decimal
    passage: Passage
    at: int


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_LINKS = "is was were of at to with a an the size sized diameter in it : ( = , - mm measured measures measuring about"
_TENDONS = ("hamstring hamstrings semitendinosus gracilis quadrupled quad quadriceps tendon tendons patellar allograft "
            "autograft doubled tripled strand stranded fold soft tissue peroneus diameter thick st stg bptb btb")
THINGS = {
    "graft": Thing(
        _words("graft grafts autograft allograft hamstring hamstrings gracilis semitendinosus btb bptb"),
        _words(_TENDONS),
        _words(f"{_LINKS} {_TENDONS} came out from same knee leg side bone block blocks prepared final folded on table "
               "one full length then plug plugs and got us gave me that again whipstitched , harvested left right "
               "thigh long wide"),
        16, Decimal(4), Decimal(14),
    ),
    "tunnel": Thing(
        _words("tunnel tunnels socket sockets"),
        _words("femoral tibial femur tibia bone blind retro closed full patellar"),
        _words(f"{_LINKS} drilled reamed made cut over guide wire pin each both also femoral tibial point schottle "
               "schottle's isometric footprint under fluoro fluoroscopy"), 9,
        Decimal(3), Decimal(16),
    ),
    "nail": Thing(
        _words("nail"), _words("tibial femoral humeral titanium steel long short cephalomedullary cannulated"),
        _words(f"{_LINKS} tibial femoral humeral"), 4, Decimal(5), Decimal(16),
    ),
    "head": Thing(
        _words("head heads"), _words("ceramic metal cobalt chrome steel biolox delta oxinium bipolar unipolar femoral "
                                     "hip mono monopolar delta-ceramic"),
        _words(": size was is of ( = , ceramic metal bipolar"), 3, Decimal(22), Decimal(62),
    ),
    "bipolar": Thing(
        _words("bipolar monopolar unipolar"), _words("mm"), _words(": size was is of ( = , head cup"), 3, Decimal(36),
        Decimal(99),
    ),
    "glenosphere": Thing(
        _words("glenosphere"), _words("standard eccentric lateralised lateralized"), _words(": size was is of ( = ,"),
        3, Decimal(32), Decimal(46),
    ),
    "cup": Thing(
        _words("cup shell"), _words("titanium porous press fit press-fit uncemented cementless cemented acetabular "
                                    "multihole hemispherical dual mobility metal"),
        _words(": size was is of ( = , acetabular"), 3, Decimal(38), Decimal(76),
    ),
    "insert": Thing(
        _words("insert inlay poly polyethylene bearing"),
        _words("poly polyethylene pe cr ps cs ultracongruent highly crosslinked cross-linked tibial fixed mobile "
               "medial lateral bearing thick"),
        _words(": size was is of ( = , thickness thick poly polyethylene tibial"), 4, Decimal(3), Decimal(26),
    ),
}  # fmt: skip
# What was only tried or measured, what is no longer in, and what was changed for another one.
_NOT_IN = re.compile(
    r"\btr(?:ial|y|ied)\w*(?! reduction)|\bmeasur\w+|\btemplat\w+|\bplann\w+|\breplac\w+ (?:by|with)\b|\bchang\w+|"
    r"\bexchang\w+|\bswap\w*|\bswitch\w*|\binstead\b|\bup-?siz\w*|\bdown-?siz\w*|\b(?:went|going|moved?) (?:up|"
    r"down)\b|\btoo \w+|\b(?:remov|explant)\w+|\bold (?:\w+ )?(?:nail|cup|head|insert|liner|implant)|\brevis\w+|"
    r"\bprevious\w*|\bopened\b|\bdropped\b|\bwasted\b|\boriginal\w*|\b(?:took|taken|came) (?:\w+ ){0,3}out\b|"
    r"\bcontaminat\w*",
    re.I,
)  # fmt: skip
_NO_SIZE = frozenset("cm long deep depth length strand strands strong metres degrees times weeks minutes".split())
_AFTER = 2  # words
_LENGTH = frozenset({"long", "length"})
_OWNER = 2  # words before a number whose own it may be: "tibial tunnel seven millimetres graft pulled up"
_OTHERS = frozenset({noun for one in THINGS.values() for noun in one.nouns}) | _words("screw button reamer anchor")


def told(note: OperativeNote, thing: str) -> list[Size]:
    """Every size of a thing, in the order said. Pure."""
    what = THINGS[thing]
    found: list[Size] = []
    if not note.says(*what.nouns):
        return found
    for passage in note.sections.description:
        tokens = read(passage)
        for at, token in enumerate(tokens):
            if token.norm not in what.nouns:
                continue
            place = _ahead(tokens, at, what)
            place = _behind(tokens, at, what) if place is None else place
            if place is not None:
                value = number(tokens[place])
                assert value is not None
                found.append(Size(value, passage, place))
    return found


def number(token: Token) -> Decimal | None:
    """A bare number or millimetres; None for every other token."""
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.form != "number" or quantity.unit not in (None, "mm"):
        return None
    return quantity.value


def _fits(tokens: Sequence[Token], at: int, what: Thing) -> bool:
    value = number(tokens[at])
    after: set[str] = set()
    for token in tokens[at + 1 : at + 1 + _AFTER]:
        if token.quantity is not None:
            break  # "tunnel nine millimetres twenty five deep": the next number's word
        after.add(token.norm)
    return value is not None and what.low <= value <= what.high and not after & _NO_SIZE


def _ahead(tokens: Sequence[Token], at: int, what: Thing) -> int | None:
    """The size right before the noun ("32 mm ceramic head"); of "9 x 25 mm tunnel" the first number."""
    place = at - 1
    while place >= 0 and at - place <= 4 and tokens[place].norm in what.before:
        place -= 1
    if place > 1 and tokens[place - 1].norm in ("+", "plus") and number(tokens[place]) is not None:
        place -= 2  # "36 mm + 3.5 ceramic head"
    if place < 0 or number(tokens[place]) is None:
        return None
    if place >= 2 and tokens[place - 1].norm in ("x", "by", "×") and number(tokens[place - 2]) is not None:
        place -= 2
    owner = {token.norm for token in tokens[max(0, place - _OWNER) : place]} & _OTHERS
    return place if _fits(tokens, place, what) and not owner else None


def _behind(tokens: Sequence[Token], at: int, what: Thing) -> int | None:
    """The first size behind the noun ("graft came out at nine millimetres"), a length before it at most."""
    for place in range(at + 1, min(len(tokens), at + 2 + what.reach)):
        quantity = tokens[place].quantity
        if number(tokens[place]) is not None and _fits(tokens, place, what):
            return None if place + 1 < len(tokens) and tokens[place + 1].norm in what.nouns else place
        if quantity is not None and quantity.dimension == "length" and place + 1 < len(tokens) and _LENGTH & {
            tokens[place + 1].norm, tokens[place - 1].norm
        }:
            continue  # "graft 70 mm long, 9 mm wide", "graft, full length 68 mm, 9.5 mm thick"
        if tokens[place].norm not in what.behind:
            return None
    return None


_CHANGED = re.compile(
    r"\bchang\w+|\bexchang\w+|\binstead\b|\btoo \w+|\bwider\b|\bwiden\w*|\bup-?siz\w*|\bdilat\w+|\bprevious\w*|\bold\b|"
    r"\brevis\w+|\bfiller\b|\bgrafted\b|\bbone graft\b", re.I,
)  # fmt: skip


def settled(sizes: Sequence[Size], *, soft: bool = False) -> bool:
    """Whether none of the words around these sizes tells of something tried, changed or taken out; `soft`: of a graft,
    which is taken out of its bed and measured. Pure."""
    return not any((_CHANGED if soft else _NOT_IN).search(_near(size)) or is_old(size) for size in sizes)


_OLD = re.compile(r"\b(?:19|20)\d\d\b|\bin (?:two thousand|nineteen|twenty) (?!degree|minute|week|day|hour)[a-z]|"
                  r"\b(?:done|had|operated) in (?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\b|"
                  r"\b(?:ago|last year|other (?:knee|hip|side|shoulder|eye)|contralateral)\b", re.I)
_SPAN = 24  # tokens


def is_old(size: Size) -> bool:
    """Whether a year, or a word for another day or side, stands before it in its sentence: "left TKA in 2021, size 4
    femur, 10 mm insert"."""
    tokens = read(size.passage)[: size.at]
    stop = max((at + 1 for at, token in enumerate(tokens) if token.norm == "."), default=0)
    return _OLD.search(" ".join(token.text for token in tokens[stop:][-_SPAN:])) is not None


def _near(size: Size, reach: int = 14) -> str:
    tokens = read(size.passage)
    return " ".join(token.text for token in tokens[max(0, size.at - reach) : size.at + reach])
