"""How often a medicine is taken, as written in short: "1x/d", "2 x/day", "1-0-1" (morning, noon, evening).

Such a form is one token that reads "daily", so that whoever looks for medicines to take knows it, and none of its
digits is a number. The text stays as written.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from pipeline.records import Token

_MORNING_NOON_EVENING = re.compile(r"^[0-3]-[0-3]-[0-3](-[0-3])?$")
_TIMES = re.compile(r"^[1-6]x$")
_SECOND = ("-", "x")  # the second letter of every such form, if it is not parted from its "x"
_DAY = frozenset({"d", "day", "die", "tgl", "tag"})


def fold(tokens: Sequence[Token]) -> list[Token]:
    """The tokens with every such form as one. Pure."""
    if not any([token.norm[1:2] in _SECOND or token.norm == "x" for token in tokens]):
        return list(tokens)
    out: list[Token] = []
    index = 0
    while index < len(tokens):
        size = _size(tokens, index) if tokens[index].norm[:1].isdigit() else 0
        if size:
            text = "".join(token.text for token in tokens[index : index + size])
            out.append(replace(tokens[index], text=text, norm="daily", last=tokens[index + size - 1].last))
        else:
            out.append(tokens[index])
        index += size or 1
    return out


def _size(tokens: Sequence[Token], index: int) -> int:
    """How many tokens of such a form begin here."""
    norms = [token.norm for token in tokens[index : index + 4]]
    if _MORNING_NOON_EVENING.match(norms[0]):
        return 1 if norms[0].strip("0-") else 0
    at = 1 if _TIMES.match(norms[0]) else 2 if norms[0].isdigit() and len(norms[0]) == 1 and norms[1:2] == ["x"] else 0
    if not at:
        return 0
    if norms[at : at + 1] == ["/"] and len(norms) > at + 1 and norms[at + 1] in _DAY:
        return at + 2
    return at + 1 if norms[at : at + 1] in (["tgl"], ["daily"]) else 0
