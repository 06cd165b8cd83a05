"""Device identifiers as they are read from a label, digit by digit, with brackets and pauses: one code, not numbers.

"UDI zero one, zero nine five ..., one seven, two five zero three zero one, one zero, A B C one" is one identifier with
pauses; without this its parts would be read as numbers and vertebral levels. What is said is put together, nothing is
completed: whether it holds is for `udi.read`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline import numerals
from pipeline.records import Quantity, Token

_READ = frozenset({"reads", "sticker", "says", "scanned", "scan"})  # only of what is a whole product code
CUES = frozenset({"(", "udi", "gtin", "barcode", "identifier"}) | _READ
_FILLERS = frozenset({"is", "was", "number", "no", "no.", "code", "#", ":", "of", "reads", "the", "label", "as", "="})
_MARKS = {
    "slash": "/", "dash": "-", "hyphen": "-", "dot": ".", "point": ".", "dollar": "$", "(": "(", ")": ")", "/": "/",
}  # fmt: skip
_OPENING, _CLOSING = frozenset({"open", "opening", "left"}), frozenset({"close", "closing", "closed", "right"})
_BRACKETS = frozenset({"bracket", "brackets", "parenthesis", "parentheses", "paren"})
_SPELLED = {
    word: word[0].upper()
    for word in (
        "alpha alfa bravo charlie delta echo foxtrot golf hotel india juliett juliet kilo lima mike november oscar "
        "papa quebec romeo sierra tango uniform victor whiskey xray yankee zulu"
    ).split()
}
_SYMBOLS = frozenset("()+/$.-%")
_GS1 = re.compile(r"^01\)\d{14}(?:\(\d{2,4}\)[\w./-]+)*$")
_PRODUCT = re.compile(r"^\(?01\)?\d{14}")
_LEAST = 6  # characters; shorter is no identifier


def read(tokens: Sequence[Token], norms: Sequence[str], at: int) -> tuple[Quantity, int, int] | None:
    """(code, its first token, the index after it) of the identifier that the cue at `at` announces, or None. The
    bracket before a GS1 element string is a cue: "(01)" and fourteen digits are a product code (GS1 General
    Specifications, application identifier 01)."""
    if norms[at] == "(":
        written = tokens[at + 1].text.strip(".,;") if at + 1 < len(tokens) else ""
        return (Quantity(form="code", text=f"({written}"), at, at + 2) if _GS1.match(written) else None
    if norms[at] not in CUES or (norms[at] == "identifier" and (not at or norms[at - 1] != "device")):
        return None
    first = at + 1
    while first < len(norms) and norms[first] in _FILLERS:
        first += 1
    text, end = _run(tokens, norms, first)
    while text and end < len(norms) and norms[end] == ",":
        more, further = _run(tokens, norms, end + 1)
        # "..., two screws": a pause is one of the identifier only where the next mark comes after more of it.
        if not more or (further < len(norms) and not tokens[further].punctuation):
            break
        text, end = text + more, further
    if norms[at] in _READ and not _PRODUCT.match(text):
        return None
    if len(text) < _LEAST or sum(letter.isdigit() for letter in text) < _LEAST // 2:
        return None
    return Quantity(form="code", text=text), first, end


def _run(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[str, int]:
    """What is spelled from `start` on without a pause, and the index after it."""
    text, index = "", start
    while index < len(norms):
        piece, end = _piece(tokens, norms, index, text)
        if not piece:
            break
        text, index = text + piece, end
    return text, index


def _piece(tokens: Sequence[Token], norms: Sequence[str], index: int, text: str) -> tuple[str, int]:
    norm = norms[index]
    after = norms[index + 1] if index + 1 < len(norms) else ""
    if (norm in _OPENING or norm in _CLOSING) and after in _BRACKETS:
        return "(" if norm in _OPENING else ")", index + 2
    if norm in _BRACKETS:
        return ")" if text.count("(") > text.count(")") else "(", index + 1
    if norm in ("plus", "+"):
        return ("+", index + 1) if not text else ("", index)
    if norm in _MARKS and (text or norm == "("):
        return _MARKS[norm], index + 1
    if norm in numerals.REPEATED and (digit := numerals._digit(after)) is not None:
        return str(digit) * numerals.REPEATED[norm], index + 2
    if norm in numerals.ZERO:
        return "0", index + 1
    pair = numerals._below_hundred(norms, index)
    if pair is not None:
        return str(pair[0]), pair[1]
    if norm in _SPELLED:
        return _SPELLED[norm], index + 1
    written = tokens[index].text.strip(",;")
    if norm in ("a", "i") and not tokens[index].text.isupper():
        return ("", index) if not _goes_on(norms, index + 1) else (norm.upper(), index + 1)
    if len(norm) == 1 and norm.isalnum():
        return norm.upper(), index + 1
    if all(letter.isalnum() or letter in _SYMBOLS for letter in written) and any(map(str.isdigit, written)):
        return written.upper(), index + 1
    if text and written.isalpha() and written.isupper() and len(written) <= 4:
        return written, index + 1
    return "", index


def _goes_on(norms: Sequence[str], index: int) -> bool:
    """Whether a letter or a digit follows, so that "a" is one too and no article."""
    if index >= len(norms):
        return False
    norm = norms[index]
    spelled = len(norm) == 1 and norm.isalnum()
    return spelled or norm in numerals.ZERO or numerals._below_hundred(norms, index) is not None
