"""The quadrant of a tooth's number against the one that is said with it: "lower right, thirty eight" (38 is lower
left)."""

from __future__ import annotations

from pipeline.checks.base import finding, placed, read
from pipeline.note import OperativeNote
from pipeline.records import Finding, Token

_POSITIONS = 8
_JAWS, _SIDES = ("upper", "lower"), ("left", "right")
_REACH = 3  # tokens between the quadrant and the number
_BETWEEN = frozenset("third second first wisdom molar premolar canine incisor tooth teeth number , : ( the "
                     "impacted".split())  # fmt: skip
# ISO 3950: tens are the quadrants, milk teeth from five on.
_FDI = {1: "upper right", 2: "upper left", 3: "lower left", 4: "lower right", 5: "upper right", 6: "upper left",
        7: "lower left", 8: "lower right"}  # fmt: skip
_UNIVERSAL = (("upper right", 1, 8), ("upper left", 9, 16), ("lower left", 17, 24), ("lower right", 25, 32))


def quadrants(note: OperativeNote) -> list[Finding]:
    """The first number that no usual numbering has in the quadrant said with it. Pure."""
    if not note.says("tooth", "teeth", "molar"):
        return []
    for passage in note.sections.description:
        tokens = read(passage)
        for at in range(len(tokens) - 1):
            if tokens[at].norm not in _JAWS or tokens[at + 1].norm not in _SIDES:
                continue
            said = f"{tokens[at].norm} {tokens[at + 1].norm}"
            for token in tokens[at + 2 : at + 2 + _REACH]:
                number = _number(token)
                if number is not None and 1 <= number <= _POSITIONS and tokens[at + 2] is token:
                    break  # "lower left eight": the place in its quadrant, counted from the middle
                if number is not None and said not in _places(number) and _places(number):
                    made = finding(
                        "tooth_conflict", "warning", f"Tooth {number} was said of the {said}; it is "
                        f"{sorted(_places(number))[0]}.", ask="Say which tooth is right.", about=f"quadrant-{number}",
                    )  # fmt: skip
                    return [placed(made, passage.evidence)]
                if number is not None or token.norm not in _BETWEEN:
                    break
    return []


def _number(token: Token) -> int | None:
    quantity = token.quantity
    if quantity is None or quantity.dimension or quantity.value is None or quantity.value != int(quantity.value):
        return None
    return int(quantity.value)


def _places(number: int) -> set[str]:
    """The quadrants that the numberings in use give a number."""
    quadrant, tooth = divmod(number, 10)
    found = {place for place, low, high in _UNIVERSAL if low <= number <= high}
    if 1 <= tooth <= (8 if quadrant < 5 else 5) and quadrant in _FDI:
        found.add(_FDI[quadrant])
    return found
