"""Letters said one by one that are an abbreviation of the grammars: "no c s f leak", "the a c l", "p d s to fascia"."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

from pipeline import grammar, numerals
from pipeline.records import Token

_MOST, _LEAST = 5, 3
# Two letters are joined only where they can be nothing else.
_PAIRS = frozenset({"bp", "hb", "ct", "iv", "im"})
_UNITS = frozenset({"ml", "mg", "mm", "cm", "kg", "cc"})  # behind a number
_WORDS = frozenset("and are but did for had has her him his its may not now she the was who you".split())


@lru_cache(maxsize=2)
def _known() -> frozenset[str]:
    """Abbreviations of three to five letters that are a phrase of their own, or the first word of one."""
    found = {
        phrase.split()[0].lower()
        for rows in grammar.load().tables.values() for row in rows.values() for phrase in getattr(row, "say", ())
        if phrase
    }  # fmt: skip
    return frozenset(word for word in found if _LEAST <= len(word) <= _MOST and word.isalpha()) - _WORDS


def join(tokens: Sequence[Token]) -> list[Token]:
    """The tokens with every such run of letters as one token over all its words. Pure."""
    single = [at for at, token in enumerate(tokens) if len(token.norm) == 1 and token.norm.isalpha()]
    if not any(after == at + 1 for at, after in pairwise(single)):
        return list(tokens)
    out: list[Token] = []
    index = 0
    while index < len(tokens):
        size = _size(tokens, index) if len(tokens[index].norm) == 1 else 0
        if size:
            run = tokens[index : index + size]
            norm = "".join(token.norm for token in run)
            out.append(Token(norm, norm, run[0].first, run[-1].last))
        else:
            out.append(tokens[index])
        index += size or 1
    return out


def _size(tokens: Sequence[Token], index: int) -> int:
    """How many tokens from `index` on are the letters of one abbreviation, the longest first; 0 where none is."""
    last = index
    while last < len(tokens) and last - index < _MOST and len(tokens[last].norm) == 1 and tokens[last].norm.isalpha():
        last += 1
    for size in range(last - index, 1, -1):
        word = "".join(token.norm for token in tokens[index : index + size])
        measured = word in _UNITS and index > 0 and (
            tokens[index - 1].norm in numerals.STARTS or tokens[index - 1].norm[-1:].isdigit()
        )
        if measured or word in _PAIRS or (size >= _LEAST and word in _known()):
            return size
    return 0
