"""Sounds and words of hesitation ("um", "uh", "you know"): heard, and no part of what is said.

They are dropped before numbers are read; the token before one reaches over it, so that every word stays in one token.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline import numerals
from pipeline.records import Token
from pipeline.units import is_unit_word

_SOUNDS = frozenset({"uh", "uhh", "um", "umm", "uhm", "er", "erm", "hmm", "hm", "mhm", "ah", "eh"})
_PHRASES = tuple(tuple(phrase.split()) for phrase in (
    "you know", "let me see", "lets see", "let's see", "let me think", "let me look", "let me check", "let me count",
    "how shall i say", "i would say", "i'd say", "shall we say", "what was it", "as i say",
    "as i said", "as i have said", "like i said", "as stated", "as mentioned", "as said",
))  # fmt: skip
_FIRST = frozenset(phrase[0] for phrase in _PHRASES)
_LOOKS = frozenset({"look", "check", "see"})  # "let me look at the suction": a place to look at may follow
_AT = frozenset({"at", "on", "in", "with"})
INSIDE = "a hesitation was heard inside the number"


def drop(tokens: Sequence[Token]) -> list[Token]:
    """The tokens without hesitations. Pure.

    "ER" written large is a receptor or a room, and "um" behind a number written in digits is a micrometre.
    """
    if not any([token.norm in _SOUNDS or token.norm in _FIRST or token.norm == "what" for token in tokens]):
        return list(tokens)
    out: list[Token] = []
    first: int | None = None  # where a hesitation before any other word began
    index = 0
    while index < len(tokens):
        size = _size(tokens, index)
        if not size:
            token = tokens[index]
            if first is not None:
                token, first = replace(token, first=first), None
            out.append(token)
            index += 1
            continue
        if out:
            out[-1] = replace(out[-1], last=max(out[-1].last, tokens[index + size - 1].last))
        else:
            first = tokens[index].first if first is None else first
        index += size
        if index < len(tokens) and tokens[index].norm == "," and out and out[-1].norm == ",":
            out[-1] = replace(out[-1], last=tokens[index].last)  # "ten, um, fifteen": one comma
            index += 1
    return out if out else list(tokens)


def _size(tokens: Sequence[Token], index: int) -> int:
    """How many tokens of a hesitation begin here."""
    token = tokens[index]
    if token.norm in _SOUNDS:
        large = token.text.isupper() and len(token.text) > 1
        before = tokens[index - 1] if index else None
        behind = tokens[index + 1].norm if index + 1 < len(tokens) else ""
        unit = token.norm == "um" and before is not None and before.norm[:1].isdigit() and not is_unit_word(behind)
        return 0 if large or unit else 1
    if token.norm == "what" and 0 < index < len(tokens) - 1 and tokens[index - 1].norm == tokens[index + 1].norm == ",":
        return 1  # "blood loss, what, ten"
    if token.norm not in _FIRST:
        return 0
    norms = tuple(item.norm for item in tokens[index : index + 7])
    size = next((len(phrase) for phrase in _PHRASES if norms[: len(phrase)] == phrase), 0)
    looks = size and norms[0] == "let" and norms[size - 1] in _LOOKS
    if looks and norms[size : size + 1] and norms[size] in _AT and norms[size + 1 : size + 2] == ("the",):
        return min(size + 3, len(norms))
    return size


def inside(tokens: Sequence[Token], start: int, end: int) -> bool:
    """Whether a hesitation parts two number words of tokens start..end (exclusive)."""
    return end - start > 1 and any(
        token.last > token.first and token.norm in numerals.STARTS and after.norm in numerals.STARTS
        for token, after in zip(tokens[start : end - 1], tokens[start + 1 : end], strict=True)
    )
