"""A length of time that is said to follow from times of day, whatever it was that lasted.

"Traction off at two minutes past ten, so fifty eight minutes of pull": the length behind "so" has to be that between
the time before it and some time that was told earlier.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal

from pipeline.checks.base import plain
from pipeline.records import Quantity, Token
from pipeline.timespan import minutes_between

_LED = frozenset({"so", "that's", "thats", "=", "makes", "making", "giving", "gives", "took", "lasted"})
_PAIRS = (["that", "is"], ["that", "was"], ["which", "is"], ["which", "was"], ["for", "a"], ["total", "of"])
_ISCHAEMIC = frozenset("warm cold ischaemia ischemia ischaemic ischemic anastomosis".split())  # "warm time of 38 min"
_LIGHT = frozenset({",", "a", "total", "of", "about"})
_OTHERWISE = frozenset("before after later earlier ago apart prior from previous every each until till within".split())
_COLD, _A_DAY = frozenset({"cold", "ice", "perfused"}), 1440  # grafts lie on ice over night
_NEAR, _LONGEST, _SLACK = 10, 720, 2  # tokens behind the time; minutes


def told(
    tokens: Sequence[Token], earlier: Sequence[str], minutes_of: Callable[[Quantity | None], Decimal | None]
) -> Iterator[tuple[int, str]]:
    """(place of the length, arithmetic). `earlier`: the times of day of the sentences before."""
    for at, token in enumerate(tokens):
        minutes = minutes_of(token.quantity)
        if minutes is None or token.quantity is None or token.quantity.dimension != "time" or not _is_led(tokens, at):
            continue
        clocks = [place for place in range(at) if _is_clock(tokens[place])]
        if not clocks or at - clocks[-1] > _NEAR or {one.norm for one in tokens[at + 1 : at + 2]} & _OTHERWISE:
            continue
        if of_all(tokens, clocks, minutes):
            continue
        between = tokens[clocks[-1] + 1 : at]
        if any(one.norm in (".", ";") or one.quantity is not None for one in between):
            continue
        end = _text(tokens[clocks[-1]])
        starts = [*earlier, *times_of(tokens[: clocks[-1]])]
        gaps = [(start, gap) for start in starts if (gap := minutes_between(start, end)) is not None
                and 0 < gap <= (_A_DAY if _COLD & {one.norm for one in tokens} else _LONGEST)]  # fmt: skip
        if gaps and not any(abs(minutes - gap) <= _SLACK for _, gap in gaps):
            start, gap = gaps[-1]
            yield at, f"{end} - {start} = {gap} min, said: {plain(minutes)} min"


def of_all(tokens: Sequence[Token], clocks: Sequence[int], minutes: Decimal) -> bool:
    """ "Cuff up 09:00 to 10:55, up again 11:10 to 11:50: total 155 minutes": what all spans of a sentence come to."""
    gaps = [minutes_between(_text(tokens[first]), _text(tokens[second]))
            for first, second in zip(clocks[::2], clocks[1::2], strict=False)]  # fmt: skip
    known = [gap for gap in gaps if gap is not None]
    return len(known) > 1 and len(known) == len(gaps) and abs(minutes - sum(known)) <= _SLACK * len(known)


def times_of(tokens: Sequence[Token]) -> list[str]:
    """The times of day of a sentence, also those that were heard as a plain number ("as it were nine twenty")."""
    return [_text(token) if _is_clock(token) else heard for token in tokens
            if (heard := _heard(token)) or _is_clock(token)]  # fmt: skip


def _heard(token: Token) -> str:
    quantity = token.quantity
    if quantity is not None and quantity.form == "clock_face" and (hour := quantity.text.split()[0]).isdigit():
        return f"{int(hour):02d}:00"  # "clamped at eleven o'clock"; a position does no harm
    if quantity is None or quantity.form != "number" or quantity.dimension or quantity.value is None:
        return ""
    value = quantity.value
    if value != int(value) or not _HOUR <= value < _HOUR * _DAY or value % _HOUR >= _HOURS:
        return ""
    return f"{int(value) // _HOUR:02d}:{int(value) % _HOUR:02d}"


_HOUR, _HOURS, _DAY = 100, 60, 24


def _is_clock(token: Token) -> bool:
    return token.quantity is not None and token.quantity.form == "clock"


def _text(token: Token) -> str:
    return token.quantity.text if token.quantity is not None else ""


def _is_led(tokens: Sequence[Token], at: int) -> bool:
    before = [token.norm for token in tokens[max(0, at - 4) : at] if token.norm not in _LIGHT]
    return bool(before) and (before[-1] in _LED or before[-2:] in _PAIRS or (
        before[-1] == "time" and before[-2:-1] != [] and before[-2] in _ISCHAEMIC
    ))
