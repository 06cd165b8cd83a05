"""Exact conversion between the UCUM units that a note may hold, in Decimals.

Its own small table on purpose: general unit libraries turn percent into a bare number, let international units
pass for anything, and read 'U' and 'Fr' as units of physics. What is not in the table is not converted.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

# Atom -> (dimension, factor to the dimension's base). Source: UCUM, https://ucum.org/ucum (exact definitions).
_ATOMS: dict[str, tuple[str, Fraction]] = {
    "m": ("length", Fraction(1)),
    "[in_i]": ("length", Fraction(254, 10000)),
    "[ft_i]": ("length", Fraction(3048, 10000)),
    "[Ch]": ("french", Fraction(1)),  # a diameter by convention; never compared with a length
    "g": ("mass", Fraction(1)),
    "[lb_av]": ("mass", Fraction(45359237, 100000)),
    "[oz_av]": ("mass", Fraction(45359237, 1600000)),
    "[st_av]": ("mass", Fraction(45359237 * 14, 100000)),
    "L": ("volume", Fraction(1)),
    "l": ("volume", Fraction(1)),
    "[foz_us]": ("volume", Fraction(29573529563, 10**12)),
    "s": ("time", Fraction(1)),
    "min": ("time", Fraction(60)),
    "h": ("time", Fraction(3600)),
    "d": ("time", Fraction(86400)),
    "wk": ("time", Fraction(604800)),
    "mo": ("time", Fraction(2629800)),
    "a": ("time", Fraction(31557600)),
    "Pa": ("pressure", Fraction(1)),
    "bar": ("pressure", Fraction(100000)),
    "atm": ("pressure", Fraction(101325)),
    "m[Hg]": ("pressure", Fraction(133322)),
    "m[H2O]": ("pressure", Fraction(980665, 100)),
    "[psi]": ("pressure", Fraction(6894757293168, 10**9)),
    # Units of activity: a USP unit of heparin equals an international unit since October 2009 (FDA).
    "[USP'U]": ("activity", Fraction(1)),
    "[IU]": ("activity", Fraction(1)),
    "[iU]": ("activity", Fraction(1)),
    "U": ("activity", Fraction(1)),
    "mol": ("substance", Fraction(1)),
    "eq": ("equivalent", Fraction(1)),
    "%": ("fraction", Fraction(1, 100)),
    "deg": ("angle", Fraction(1)),
    "{turn}": ("angle", Fraction(360)),
    "{turns}": ("angle", Fraction(360)),
    "[pH]": ("acidity", Fraction(1)),
    "Gy": ("radiation", Fraction(1)),
    "J": ("energy", Fraction(1)),
    "W": ("power", Fraction(1)),
    "Hz": ("frequency", Fraction(1)),
}
_PREFIXES = {
    "k": Fraction(1000),
    "d": Fraction(1, 10),
    "c": Fraction(1, 100),
    "m": Fraction(1, 1000),
    "u": Fraction(1, 10**6),
    "n": Fraction(1, 10**9),
    "M": Fraction(10**6),
}
_PREFIXED = frozenset({"m", "g", "L", "l", "s", "Pa", "m[Hg]", "m[H2O]", "mol", "eq", "Gy", "J", "W", "Hz",
                       "[USP'U]", "[IU]", "[iU]", "U", "bar"})  # fmt: skip
_TERM = re.compile(r"([./])?([^./]+)")
_POWER = re.compile(r"^(.*?[^0-9+-])([23])$")
_PLACES = 12


def _atom(code: str) -> tuple[str, Fraction] | None:
    if code in _ATOMS:
        return _ATOMS[code]
    if code[:1] in _PREFIXES and code[1:] in _PREFIXED:
        dimension, factor = _ATOMS[code[1:]]
        return dimension, factor * _PREFIXES[code[0]]
    powered = _POWER.match(code)
    if powered and not code.startswith("["):
        base = _atom(powered[1])
        if base is not None:
            power = int(powered[2])
            if base[0] == "length" and power == 3:
                return "volume", base[1] ** 3 * 1000
            return f"{base[0]}^{power}", base[1] ** power
    if code.startswith("{") and code.endswith("}"):
        return code, Fraction(1)
    return None


@lru_cache(maxsize=512)
def _parsed(ucum: str) -> tuple[tuple[tuple[str, int], ...], Fraction] | None:
    """((dimension, exponent), ...) sorted, and the factor to base units; None if not in the table."""
    whole = _atom(ucum)
    if whole is not None:
        return ((whole[0], 1),), whole[1]
    powers: dict[str, int] = {}
    factor = Fraction(1)
    if "".join(match[0] for match in _TERM.finditer(ucum)) != ucum:
        return None
    for match in _TERM.finditer(ucum):
        sign = -1 if match[1] == "/" else 1
        if match[2].isdigit():
            factor *= Fraction(int(match[2])) ** sign
            continue
        part = _atom(match[2])
        if part is None:
            return None
        powers[part[0]] = powers.get(part[0], 0) + sign
        factor *= part[1] ** sign
    return tuple(sorted((name, power) for name, power in powers.items() if power)), factor


def convertible(from_ucum: str, to_ucum: str) -> bool:
    """Whether both units are known and measure the same thing."""
    first, second = _parsed(from_ucum), _parsed(to_ucum)
    return first is not None and second is not None and first[0] == second[0]


def convert(value: Decimal, from_ucum: str, to_ucum: str) -> Decimal:
    """`value` in another unit; exact where the result has at most 12 decimals, else rounded there.

    Raises ValueError if a unit is unknown or the two do not measure the same thing ("mg" to "mL").
    Percent is a fraction here; 1 % = 10 mg/mL of a drug is `dosing.strength`.
    """
    return value if from_ucum == to_ucum else _convert(value, from_ucum, to_ucum)


@lru_cache(maxsize=1024)
def _convert(value: Decimal, from_ucum: str, to_ucum: str) -> Decimal:
    first, second = _parsed(from_ucum), _parsed(to_ucum)
    if first is None or second is None or first[0] != second[0]:
        raise ValueError(f"cannot convert {from_ucum!r} to {to_ucum!r}")
    return decimal(Fraction(value) * first[1] / second[1])


def decimal(value: Fraction) -> Decimal:
    """A fraction as Decimal with at most 12 places and no needless zeros."""
    scaled = round(value * 10**_PLACES)
    result = Decimal(scaled).scaleb(-_PLACES).normalize()
    return result.quantize(Decimal(1)) if result == result.to_integral_value() and abs(result) < 10**15 else result
