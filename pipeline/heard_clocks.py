"""Times of day as recognisers write them: 8.25, 8-25, 825."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.clocks import GOVERNS, PRESSED, SPANNED, Found, counts, of_on_off, word_at
from pipeline.records import Quantity, Token

_HEARD = re.compile(r"^([01]?\d|2[0-3])([.-]?)([0-5]\d)$")
_MOVES = frozenset("up down in out off on given".split())
_BEFORE, _AFTER = 8, 5


def heard_clock(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """A time of day as recognisers write it ("at 8.25", "incision 825"): only where the word of an event stands
    before it (or right after "at 825") and no unit follows; always with a doubt."""
    match = _HEARD.match(norms[start])
    if match is None or (not match[2] and len(norms[start]) == 4):
        return None
    after = word_at(norms, start + 1)
    spanned = after in ("to", "until", "till") and any(word in SPANNED for word in norms[max(0, start - 8) : start])
    if counts(norms, start + 1) or (after in ("x", "by", "-", "/", "and", "to", "or") and not spanned):
        return None
    before = word_at(norms, start - 1)
    led = before in ("at", "since", "until")
    if match[2] == "-" and not led:
        return None
    near = norms[max(0, start - _BEFORE) : start]
    for at in range(len(near) - 1, -1, -1):  # nothing from before the last number or full stop
        if near[at] in (".", ";") or (near[at][0].isdigit() and at < len(near) - 1):
            near = near[at + 1 :]
            break
    timed = "time" in near and word_at(near, near.index("time") + 1) == "out"
    event = timed or any(word in GOVERNS for word in near)
    if led:
        event = event or word_at(near, len(near) - 2) in _MOVES
        event = event or any(word in GOVERNS for word in norms[start + 1 : start + 1 + _AFTER])
    else:
        marked = before in (",", ":") and word_at(near, len(near) - 2) in GOVERNS
        switched = before in ("on", "off") and of_on_off(norms, start)
        event = marked or switched or before in GOVERNS | {"up", "down", "out"}
    if match[2] == "." and before in ("from", "until", "till", "to", "-") and after not in ("cm", "mm"):
        joined = _HEARD.match(word_at(norms, start - 2)) or _HEARD.match(word_at(norms, start + 2))
        event = event or (joined is not None and any(word in SPANNED for word in norms[max(0, start - 8) : start]))
    hour, minute = int(match[1]), int(match[3])
    if not event or (not match[2] and _is_pressure(near, hour)):
        return None
    doubt = f"heard as {tokens[start].text}"
    return Quantity(form="clock", text=f"{hour:02d}:{minute:02d}", doubts=(doubt,)), start + 1


def _is_pressure(near: Sequence[str], hour: int) -> bool:
    """ "Tourniquet up at 250": a cuff is inflated to 150 to 450 mmHg (common practice, no source)."""
    return hour <= 4 and any(word in PRESSED or word == "up" for word in near)
