"""Letters and digits that are no number: lot and serial numbers, phone numbers, two numbers over a stroke."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline import numerals
from pipeline.clocks import word_at
from pipeline.records import Quantity, Token

Found = tuple[Quantity, int]

_PAIR = re.compile(r"^[+-]?\d{1,4}/\d{1,4}$")
_PHONE = re.compile(r"^(?:\d{3}-)?\d{3}-\d{4}$|^\d{5}-\d{2,}$|^\d{4,}(?!000)\d{3}$|^0\d{4,}$|^\(\d{2}\)\d.*$")
_CODE = re.compile(r"^[a-z0-9][a-z0-9./-]*$")
CUES = frozenset(
    "lot batch serial catalogue catalog reference ref udi gtin phone telephone pager extension mrn barcode bleep "
    "icd cpt icd-9 icd-10 lots accession sn".split()
)
FILLERS = frozenset({
    "number", "numbers", "no", "no.", "code", "is", "was", ":", "#", "device", "identifier", "again", "repeat",
    "repeated", "reads", "once", "more", "as", "above", "confirmed",
})
_DIGITS = frozenset(word for word, value in numerals.SMALL.items() if value < 10) | numerals.ZERO | {*numerals.REPEATED}
_SPELLED = {"dash": "-", "hyphen": "-", "slash": "/", "dot": ".", "point": "."}


def _is_numeral(norm: str) -> bool:
    return bool(norm) and (
        norm[0].isdigit() or norm in numerals.SMALL or norm in numerals.TENS or norm in numerals.ZERO
    )


_RUNG = frozenset("phone telephone ring call calls contact pager bleep office dial secretary reach ward".split())


def rings(norms: Sequence[str], at: int) -> bool:
    """Whether "extension" is that of a telephone and not that of a joint; True for every other word."""
    return norms[at] != "extension" or not _RUNG.isdisjoint(norms[max(0, at - 6) : at])


def code(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """What follows "lot", "serial number", "phone" ...: letters and digits as one string, capitals."""
    back = start - 1
    while back >= 0 and norms[back] in FILLERS:
        back -= 1
    listed = back >= 0 and norms[back] not in CUES and in_list_of_lots(norms, start)
    if back < 0 or not listed and (norms[back] not in CUES or not rings(norms, back)):
        return None
    text, index = "", start
    while index < len(norms):
        norm = norms[index]
        piece = ""
        if index == start + 1 and _ends_written(norms, index):
            break
        pair = numerals._below_hundred(norms, index)
        if norm in numerals.REPEATED and numerals._digit(word_at(norms, index + 1)) is not None:
            piece, index = str(numerals._digit(norms[index + 1])) * numerals.REPEATED[norm], index + 1
        elif norm in numerals.ZERO:
            piece = "0"
        elif pair is not None:
            piece, index = str(pair[0]), pair[1] - 1
        elif norm in _SPELLED and text and index + 1 < len(norms):
            piece = _SPELLED[norm]
        elif (len(norm) == 1 and norm.isalpha() and norm not in "ai") or any(letter.isdigit() for letter in norm):
            piece = norm.upper()
        elif norm in ("a", "i") and (tokens[index].text.isupper() or (text and _is_numeral(word_at(norms, index + 1)))):
            piece = norm.upper()
        if index > start and norm == "for" and norms[index - 1][0] == word_at(norms, index + 1)[:1] != "":
            index += 2  # "B for bravo"
            continue
        if norm[0] in "+-" and norm[1:2].isdigit():
            break  # "SN T5 +18.5 D": the power of a lens
        if not piece or not _CODE.match(piece.lower().lstrip("(#-/.)") or "x"):
            break
        text += piece
        index += 1
    if not any(letter.isdigit() for letter in text):
        return None
    return Quantity(form="code", text=text), index


def in_list_of_lots(norms: Sequence[str], start: int) -> bool:
    """Whether a code begins in a list of them: "lots baseplate four four one glenosphere four seven eight", "lots,
    button B five five one": digits said one by one behind the name of a thing."""
    letter = len(norms[start]) == 1 and norms[start].isalpha() and norms[start] != "a"
    digits = norms[start + letter : start + letter + _READ - letter]
    if len(digits) < _READ - letter or not _DIGITS.issuperset(digits) or not norms[start - 1].isalpha():
        return False
    near = list(norms[max(0, start - _LISTING) : start])
    return "lots" in near and "." not in near[len(near) - 1 - near[::-1].index("lots") :]


_READ, _LISTING = 3, 30  # digits of a code, a letter counting for one; tokens from "lots" to the last of its list


def _ends_written(norms: Sequence[str], index: int) -> bool:
    """ "Lot 10254 two of them", "lot 10254 8 x 25", "lot 10254 x2": behind a code written in one piece a number in
    words counts, and a number beside an "x" is a size or a count."""
    piece = norms[index - 1]
    if len(piece) < _WRITTEN or sum(letter.isdigit() for letter in piece) < _WRITTEN - 1:
        return False
    if norms[index].isalpha() and _is_numeral(norms[index]):
        return True
    beside = ("x", "by", "×")
    return (norms[index] in beside and _is_numeral(word_at(norms, index + 1))) or (
        _is_numeral(norms[index]) and word_at(norms, index + 1) in beside
    )


_WRITTEN = 4  # characters
_LISTED = frozenset({"draws", "pulls", "aspirates", "aliquots", "injections"})


def listed_digits(norms: Sequence[str], start: int) -> bool:
    """ "Draws five five four five": whether a digit stands in a list of amounts, each of one digit."""
    while start > 0 and norms[start - 1] in _DIGITS:
        start -= 1
    return start > 0 and norms[start - 1] in _LISTED


def loose_code(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """Phone numbers, long digit strings, four and more digits said one by one."""
    norm = norms[start]
    if not norm.isalpha() and _PHONE.match(norm):
        return Quantity(form="code", text=tokens[start].text), start + 1
    if norm in _DIGITS and word_at(norms, start + 1) in _DIGITS and not listed_digits(norms, start):
        run = numerals.read(norms, start)
        if run is not None and run.shape == "digits" and len(run.digits) >= 4 and run.value == int(run.digits):
            return Quantity(form="code", text=run.digits), run.end
    return None


def pair(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """ "120/80", "5/500": two numbers over a stroke that are no fraction."""
    if _PAIR.match(norms[start]) and numerals.read(norms, start) is None:
        return Quantity(form="pair", text=tokens[start].text), start + 1
    return None
