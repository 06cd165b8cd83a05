"""What a spoken correction works with: sentences in the making, values that are alike, words said again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from pipeline.records import Evidence, Strike, Token, Word

SIDES = frozenset({"left", "right", "bilateral", "bilaterally", "both", "lefthand", "righthand"})
_NUMERIC = frozenset({"number", "range", "fraction"})


@dataclass(slots=True)
class Draft:
    """A sentence in the making. `heading`: a line of its own that belongs to the next."""

    tokens: list[Token]
    strikes: list[Strike] = field(default_factory=list)
    heading: bool = False


def gap(tokens: Sequence[Token], index: int, end: int) -> int:
    """Words (no punctuation) between a token and the cue."""
    return sum(not token.punctuation for token in tokens[index + 1 : end])


def alike(old: Token, new: Token) -> bool:
    if new.norm in SIDES:
        return old.norm in SIDES
    first, second = old.quantity, new.quantity
    if first is None or second is None or first.form == "ordinal":
        return False
    if first.form in _NUMERIC and second.form in _NUMERIC:
        return first.dimension == second.dimension or first.unit is None or second.unit is None
    return first.form == second.form or {first.form, second.form} <= {"label", "roman", "number", "times"}


def together(tokens: Sequence[Token]) -> Token:
    if len(tokens) == 1:
        return tokens[0]
    return Run(" ".join(t.text for t in tokens), " ".join(t.norm for t in tokens), tokens[0].first, tokens[-1].last,
                None, False, tuple(tokens))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Run(Token):
    """Several tokens as one while a correction is settled."""

    parts: tuple[Token, ...] = ()


def parted(tokens: Sequence[Token]) -> list[Token]:
    flat: list[Token] = []
    for token in tokens:
        flat += token.parts if isinstance(token, Run) else (token,)
    return flat


def trimmed(tokens: list[Token]) -> list[Token]:
    """Without the punctuation that only set the correction apart."""
    while tokens and tokens[-1].punctuation:
        tokens = tokens[:-1]
    return tokens


def inherit(old: Token, new: Token) -> Token:
    """A bare number that replaces one with a unit keeps the unit that was said with it."""
    first, second = old.quantity, new.quantity
    if first is None or second is None or second.form not in _NUMERIC or second.unit is not None or first.unit is None:
        return new
    taken = replace(second, unit=first.unit, said_unit=first.said_unit, dimension=first.dimension)
    return replace(new, norm=f"#{first.dimension}", quantity=taken)


def repeated_after(old: Sequence[Token], at: int, end: int, new: Sequence[Token], start: int) -> int:
    """How many words after the old value are said again after the new one ("left knee" ... "right knee")."""
    count = 0
    while (
        at + 1 + count < end
        and start + 1 + count < len(new)
        and old[at + 1 + count].norm == new[start + 1 + count].norm
        and not old[at + 1 + count].punctuation
        and old[at + 1 + count].quantity is None
    ):
        count += 1
    return count


def said_by(words: Sequence[Word], tokens: Sequence[Token]) -> Evidence:
    first, last = min(token.first for token in tokens), max(token.last for token in tokens)
    spoken = list(_within(words, first, last))
    starts = [word.start for word in spoken if word.start is not None]
    ends = [word.end for word in spoken if word.end is not None]
    sure = [word.confidence for word in spoken if word.confidence is not None]
    return Evidence(first, last, min(starts, default=None), max(ends, default=None),
                    " ".join(word.heard or word.text for word in spoken), min(sure, default=None))  # fmt: skip


def _within(words: Sequence[Word], first: int, last: int) -> Iterator[Word]:
    return (word for word in words if word.last >= first and word.id <= last)
