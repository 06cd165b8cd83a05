"""How far something was turned, said with no word for degrees: "turn it ninety", "rotated 180", "turned a quarter".

An angle keeps no unit, since none was said (a check asks); a part is one of a turn. [common practice, no source]
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from pipeline import numerals
from pipeline.records import Quantity, Token

_VERBS = frozenset("turn turned turning turns rotate rotated rotating rotates swivel swivelled swiveled twist twisted "
                   "spin spun".split())  # fmt: skip
_THINGS = frozenset("it the needle trocar cannula jamshidi trephine by a about round around another through on "
                    "just bevel clockwise anticlockwise counterclockwise".split())  # fmt: skip
_ANGLES: dict[tuple[str, ...], int] = {
    ("thirty",): 30, ("forty", "five"): 45, ("forty-five",): 45, ("sixty",): 60, ("ninety",): 90,
    ("one", "twenty"): 120,
    ("a", "hundred", "and", "twenty"): 120, ("one", "eighty"): 180, ("a", "hundred", "and", "eighty"): 180,
    ("hundred", "and", "eighty"): 180, ("two", "seventy"): 270, ("three", "sixty"): 360,
    **{(str(angle),): angle for angle in (30, 45, 60, 90, 120, 180, 270, 360)},
}  # fmt: skip
_PARTS: dict[tuple[str, ...], str] = {
    ("a", "quarter"): "0.25", ("quarter",): "0.25", ("a", "half"): "0.5", ("half",): "0.5", ("an", "eighth"): "0.125",
    ("a", "third"): "", ("three", "quarters"): "0.75",
}  # fmt: skip
_SURE = frozenset({90, 120, 180, 270, 360})
# Behind it: a unit or a word that makes it something else than how far.
_OTHER = frozenset("mil mils ml mls cc ccs millilitre millilitres milliliter milliliters degrees degree deg degs ° "
                   "turn turns minute minutes second seconds rpm times of x g percent out drawn aspirated obtained "
                   "into".split())  # fmt: skip
_LONGEST = 4


def read(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[Quantity, int] | None:
    """The angle or the part of a turn that begins at a token behind its verb, and the index after it."""
    if not _VERBS.intersection(norms[max(0, start - 5) : start]) or not is_led(norms, start):
        return None
    for length in range(_LONGEST, 0, -1):
        said = tuple(norms[start : start + length])
        end = start + len(said)
        after = norms[end] if end < len(norms) else "."
        if len(said) < length or after in _OTHER:
            continue
        if said in _ANGLES:
            if after in numerals.SMALL and not _is_more(norms, end):
                continue  # "rotated, thirty five"
            if _ANGLES[said] not in _SURE and not _is_degrees(norms, start):
                continue
            return Quantity(value=Decimal(_ANGLES[said]), dimension="angle"), end
        if _PARTS.get(said) and after not in ("and", "a"):
            return Quantity(value=Decimal(_PARTS[said]), unit="{turn}", dimension="turns", form="fraction"), end
    return None


def is_led(norms: Sequence[str], start: int) -> bool:
    """Whether a verb of turning stands right before `start`, with what was turned between."""
    at = start - 1
    while at >= 0 and norms[at] in _THINGS:
        at -= 1
    return at >= 0 and norms[at] in _VERBS


def _is_degrees(norms: Sequence[str], start: int) -> bool:
    """ "Turned it thirty", "rotated by forty five": a thing or a "by" leads to it, no mark and no other word."""
    return norms[start - 1] in ("it", "by", "needle", "trocar", "cannula", "jamshidi", "trephine", "bevel")


def _is_more(norms: Sequence[str], at: int) -> bool:
    """ "Rotate it ninety five more": the next amount, not ninety-five."""
    return norms[at + 1 : at + 2] in (["more"], ["again"], ["mils"], ["mil"], ["ml"], ["out"])
