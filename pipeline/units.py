"""Unit words and abbreviations to UCUM, from grammars/units.toml; "per" puts compound units together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from pipeline import grammar, mil_lengths
from pipeline.records import Token
from pipeline.rows import Unit

# What a unit per another measures. Anything not named here is a "rate" when it is per time, else "other".
_PER = {
    ("mass", "volume"): "mass_concentration",
    ("amount", "volume"): "concentration",
    ("molar", "volume"): "concentration",
    ("count", "volume"): "concentration",
    ("mass", "mass"): "mass_per_mass",
    ("amount", "mass"): "amount_per_mass",
    ("molar", "mass"): "amount_per_mass",
    ("volume", "mass"): "volume_per_mass",
    ("mass", "area"): "mass_per_area",
    ("amount", "area"): "mass_per_area",
    ("energy", "area"): "energy_per_area",
    ("length", "turns"): "length_per_turn",
}
_PER_WORDS = frozenset({"per", "/", "a", "an"})
_WHEN = frozenset({"before", "after", "prior", "later", "earlier", "ago"})
_SUFFIX = re.compile(r"^([-+]?[\d.,]*\d(?:[-–][\d.,]*\d)?|[\d.,/-]*[½¼¾⅛⅜⅝⅞])([A-Za-z%°µμ\"”].*)$")


@dataclass(frozen=True, slots=True)
class Said:
    """A unit found at `start`..`end` (exclusive): UCUM code, dimension, row id of its first part."""

    ucum: str
    dimension: str
    start: int
    end: int
    row: str


@dataclass(slots=True)
class _Node:
    rows: Unit | None = None
    after: dict[str, _Node] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class _Table:
    spoken: _Node
    written: dict[str, Unit]
    lowered: dict[str, Unit]
    first: frozenset[str]


@lru_cache(maxsize=2)
def _table() -> _Table:
    spoken = _Node()
    written: dict[str, Unit] = {}
    lowered: dict[str, Unit] = {}
    for row in grammar.load().table("units", Unit).values():
        for phrase in (*row.say, *(item.lower() for item in row.written if " " in item)):
            node = spoken
            for word in re.split(r"[\s-]+", phrase):
                node = node.after.setdefault(word, _Node())
            node.rows = row
        for item in row.written:
            written.setdefault(item, row)
            if len(item) > 1:
                lowered.setdefault(item.lower(), row)
    first = frozenset(spoken.after) | frozenset(lowered) | frozenset(item.lower() for item in written)
    return _Table(spoken, written, lowered, first)


@lru_cache(maxsize=2)
def _names() -> frozenset[str]:
    """Single words that name something in the grammars: written in capitals, they are no unit."""
    return frozenset(phrase for _, _, phrase in grammar.load().phrases() if phrase.isalpha())


def is_unit_word(norm: str) -> bool:
    """Whether a unit can begin with this word."""
    return norm in _table().first


def split_attached(token: Token) -> list[Token] | None:
    """ "10mL" as "10" and "mL", "0.5%" as "0.5" and "%"; None when what follows the digits is no unit."""
    match = _SUFFIX.match(token.text)
    if match is None:
        return None
    number, rest = match[1], match[2]
    parts = rest.split("/")
    table = _table()
    if not all(part in table.written or part.lower() in table.lowered for part in parts if part):
        return None
    if rest in ("a", "d", "D", "C", "F", "M", "s") or not number.strip("-+.,"):
        return None
    pieces = [Token(number, number, token.first, token.last)]
    for index, part in enumerate(parts):
        if index:
            pieces.append(Token("/", "/", token.first, token.last, None, True))
        if part:
            pieces.append(Token(part, part.lower(), token.first, token.last))
    return pieces


def read_unit(tokens: Sequence[Token], start: int, in_digits: bool) -> Said | None:
    """The longest unit that begins at a token, with what it is "per". `in_digits`: the number before it was in
    digits, which a one-letter abbreviation needs. None where there is none."""
    said = _single(tokens, start, in_digits)
    if said is None:
        return None
    while True:
        at = said.end
        if at >= len(tokens) or tokens[at].norm not in _PER_WORDS:
            return said
        mark = tokens[at].norm
        under = _single(tokens, at + 1, in_digits or mark == "/")
        spoken = under is not None and (under.dimension == "time" or under.ucum == "kg")  # "five milligrams a kilo"
        strong = under is not None and under.ucum == "mL" and said.dimension in _DOSED  # "a thousand units a mil"
        if under is None or (mark in ("a", "an") and not (strong or (spoken and said.dimension in _PACED))):
            return said
        if mark in ("a", "an") and under.end < len(tokens) and tokens[under.end].norm in _WHEN:
            return said  # "two grams an hour before"
        if under.ucum in _HOW_OFTEN or mark == "a" and under.ucum == "s" and _is_another(tokens, under.end):
            return said
        if under.ucum == said.ucum or under.dimension == "fraction" or under.ucum.startswith("/"):
            return said
        dimension = _PER.get((said.dimension, under.dimension))
        if dimension is None:
            dimension = "rate" if under.dimension == "time" else "other"
        said = Said(f"{said.ucum}/{under.ucum}", dimension, start, under.end, said.row)


def _is_another(tokens: Sequence[Token], index: int) -> bool:
    """ "Two grams a second gram", "ten millilitres a second drain": behind "a second" stands what there was two of."""
    return index < len(tokens) and not tokens[index].punctuation and tokens[index].norm not in _AFTER_A_PACE


_AFTER_A_PACE = frozenset("for until and then over with through via at to in by into from was is as".split())
_HOW_OFTEN = frozenset({"d", "wk", "mo", "a"})  # "40 mg per day" is a dose and how often, no rate of flow
_PACED = frozenset({"volume", "mass", "amount"})
_DOSED = frozenset({"mass", "amount"})


# Letters that are a unit only beside what is measured in it.
_LETTER_OF = {
    "f": ("french", frozenset(
        "catheter sheath stent drain tube cannula introducer dilator foley guide redivac redon hemovac jackson blake "
        "robinson penrose blakemore pigtail jj dj ng ngt nephrostomy urethral ureteric ureteral cystoscope "
        "resectoscope ureteroscope nephroscope scope closure bougie feeding chest port line introducers trocar "
        "cannulae hickman groshong picc vascath suprapubic self-retaining malecot mallecot council coude dlt".split()
    )),
    "g": ("gauge", frozenset("needle cannula trocar jamshidi cannulae".split())),
}
_TURNED = frozenset("er ir ff fe abd rotation flexion extension elevation abduction adduction dorsiflexion".split())
_FRENCH = re.compile(r"^(\d{1,2}(?:\.\d)?)F$")
_MOST_FRENCH = 40  # the widest chest tubes; an age may be written "61F"
_WIRES = frozenset({".014", ".018", ".025", ".035", ".038"})  # inches; common practice, no source
_IN_INCHES = frozenset({"needle", "needles", "spinal", "k-wire", "pin", "nail"})
_NOT_ITS = frozenset({"for", "with", "who", "and", "to", "has", "had"})
_LEADING = frozenset({":", "size", "sized", "(", "|", "-", ",", "a", ";"})


_AGAIN, _NEXT = 14, 5  # tokens


def split_french(tokens: Sequence[Token], at: int) -> list[Token] | None:
    """ "12F" as "12" and "F" where a tube, drain or catheter stands beside it; alone it is a woman's age."""
    match = _FRENCH.match(tokens[at].text)
    if match is None or float(match[1]) > _MOST_FRENCH:
        return None
    again = at > 0 and tokens[at - 1].norm in ("correction", "sorry", "no") and any(
        _FRENCH.match(token.text) for token in tokens[max(0, at - _AGAIN) : at]
    )  # "12F on the right, correction 18F"
    if not again and not _goes_on(tokens, at) and not _beside(tokens, at, at, _LETTER_OF["f"][1]):
        return None
    token = tokens[at]
    return [Token(text, text.lower(), token.first, token.last) for text in (match[1], "F")]


def _goes_on(tokens: Sequence[Token], number: int) -> bool:
    """ "28F apical, 32F basal": the second of two calibres."""
    return number > 0 and tokens[number - 1].norm in (",", "and", "+", "&") and any(
        token.text == "F" or _FRENCH.match(token.text) for token in tokens[max(0, number - _NEXT) : number]
    )


_SIZES = re.compile(r"^(\d{1,2})/(\d{1,2})$")
_JOINT = {"fr": "/", "french": "/", "ch": "/", "stent": "x", "stents": "x", "jj": "x", "dj": "x"}


def split_pair(tokens: Sequence[Token], at: int) -> list[Token] | None:
    """ "12/14 Fr sheath", "a 6/26 stent" as two numbers with a mark between."""
    match = _SIZES.match(tokens[at].norm)
    joint = _JOINT.get(tokens[at + 1].norm) if match and at + 1 < len(tokens) else None
    if match is None or joint is None:
        return None
    token = tokens[at]
    return [Token(text, text, token.first, token.last) for text in (match[1], joint, match[2])]


def _beside(tokens: Sequence[Token], number: int, letter: int, things: frozenset[str]) -> bool:
    """Whether one of these is named by the three words after a letter, or right before its number."""
    for token in tokens[letter + 1 : letter + 4]:
        if token.punctuation or token.norm in _NOT_ITS or token.norm[0].isdigit():
            break
        if token.norm in things or token.norm.removesuffix("s") in things:
            return True
    at = number - 1
    while at >= 0 and number - at <= 3 and tokens[at].norm in _LEADING:
        at -= 1
    return at >= 0 and (tokens[at].norm in things or tokens[at].norm.removesuffix("s") in things)


def _single(tokens: Sequence[Token], start: int, in_digits: bool) -> Said | None:
    if start >= len(tokens):
        return None
    table = _table()
    token = tokens[start]
    if token.norm not in table.first and token.norm != "in":
        return None
    node: _Node | None = table.spoken
    best: tuple[Unit, int] | None = None
    index = start
    while node is not None and index < len(tokens):
        node = node.after.get(tokens[index].norm)
        index += 1
        if node is not None and node.rows is not None:
            best = node.rows, index
    if best is None:
        row = table.written.get(token.text) or table.lowered.get(token.norm)
        if row is not None and token.text.isupper() and token.text not in table.written and token.norm in _names():
            row = None  # "grade 3 MCL": the ligament
        if row is not None and (len(token.text) > 1 or in_digits or _is_grams(tokens, start)):
            best = row, start + 1
    elif best[1] == start + 1 and len(token.norm) == 1 and not in_digits:
        best = None
    if token.norm == "in" and in_digits and start + 1 < len(tokens) and tokens[start + 1].norm in _IN_INCHES:
        return Said("[in_i]", "length", start, start + 1, "inch")  # "27G 1.25 in needle"
    if token.norm == "in" and in_digits and start and tokens[start - 1].norm.lstrip("0") in _WIRES and (
        start + 1 >= len(tokens) or tokens[start + 1].punctuation or tokens[start + 1].norm in ("wire", "guidewire")
    ):
        return Said("[in_i]", "length", start, start + 1, "inch")  # "wire 0.025 in."
    if token.text == "L" and start > 1 and tokens[start - 2].norm in _GRADED:
        return None  # "KL 3 L, KL 2 R": the left
    if token.text == "L" and start > 1 and tokens[start - 2].norm == "x":
        return None  # "brushings x2 L duct": the left
    if token.norm == "l" and len(token.text) == 1 and start > 1 and tokens[start - 2].norm in _TURNED:
        return None  # "ER 90 L and 95 R": the left
    if token.text == "L" and start > 1 and tokens[start - 2].text == "R" and start + 1 < len(tokens) and (
        tokens[start + 1].norm[:1].isdigit()
    ):
        return None  # "ABPI R 0.92 L 0.88": the left
    if token.norm in _LETTER_OF:
        ident, things = _LETTER_OF[token.norm]
        calibre = ident == "french" and token.text == "F" and _goes_on(tokens, start - 1)
        if calibre or _beside(tokens, start - 1, start, things):  # "eight F catheter"
            best = grammar.load().table("units", Unit)[ident], start + 1
    if best is None or (best[0].id == "fahrenheit" and token.norm == "f" and not _is_warmth(tokens, start)):
        return None
    row, end = best
    if row.id == "pool" and not (_is_blood(tokens, end) or _was_blood(tokens, start)):
        return None  # "a pool of bile"
    if row.id == "unit" and (_is_blood(tokens, end) or _was_blood(tokens, start)):
        return Said("{unit}", "count", start, end, row.id)
    if row.id == "millilitre" and mil_lengths.is_length(tokens, start, end):
        return Said("mm", "length", start, end, "millimetre")
    # a trailing full stop of an abbreviation ("cc.") is the sentence's own
    return Said(row.ucum, row.dimension, start, end, row.id)


def _is_grams(tokens: Sequence[Token], start: int) -> bool:
    """ "Cefazolin two g at seven": the letter behind a number in words, a name before it and a new phrase behind."""
    if tokens[start].norm != "g" or start < 2 or len(tokens[start - 2].norm) < _NAME or tokens[start - 2].punctuation:
        return False
    after = tokens[start + 1] if start + 1 < len(tokens) else None
    return tokens[start - 2].norm not in _GRADED | {"stage", "level", "number"} and (
        after is None or after.punctuation or after.norm in _BEHIND_GRAMS
    )


_NAME = 6  # letters of a drug's name, at the least
_BEHIND_GRAMS = frozenset("at iv im po and of before was given on in with then prior bd tds qds daily".split())
_GRADED = frozenset("kl grade gr ficat arco rutherford icrs outerbridge stage lawrence tonnis tönnis".split())
_WARMTH = frozenset({"temp", "temperature", "warmed", "cooled", "fever", "febrile", "degrees", "degree", "tmax"})


def _is_warmth(tokens: Sequence[Token], start: int) -> bool:
    """Whether a bare F is one of temperature: "fever > 101 F"; "71 F" beside a name is a woman's age."""
    short = [token.norm for token in tokens[max(0, start - 3) : start - 1]]
    if short[-1:] == ["t"] or short == ["t", ":"]:
        return True  # "T 99 F", "T: 99 F"; in "T. Moe, 34 F" it is the first letter of a name
    return any(token.norm in _WARMTH for token in tokens[max(0, start - 7) : start + 4])


_BLOOD = frozenset({"blood", "packed", "red", "platelets", "plasma", "ffp", "prbc", "prbcs", "rbc", "rbcs", "rcc",
                    "fresh", "cryoprecipitate", "cryo", "whole", "concentrated", "autologous"})  # fmt: skip


def _is_blood(tokens: Sequence[Token], start: int) -> bool:
    """A unit of blood is a bag, not an amount of activity."""
    index = start + (start < len(tokens) and tokens[start].norm == "of")
    return index < len(tokens) and tokens[index].norm in _BLOOD


_BLOOD_BEFORE = frozenset({"cells", "ffp", "plasma", "platelets", "cryo", "cryoprecipitate", "prbc", "prbcs", "rbc",
                           "transfused", "transfusion"})  # fmt: skip


def _was_blood(tokens: Sequence[Token], start: int) -> bool:
    """ "Packed cells two units": the blood stands before its number."""
    for token in reversed(tokens[max(0, start - 4) : start]):
        if token.punctuation and token.norm != ":":
            return False
        if token.norm in _BLOOD_BEFORE:
            return True
    return False
