"""Whether a text is a UCUM code (case sensitive): the grammar of UCUM 2.1, and the units of clinical use.

Only atoms of the table are known, so a rare but valid unit is refused rather than a false one let through.
Source: https://ucum.org/ucum, tables 1 to 19.
"""

from __future__ import annotations

import re
from functools import lru_cache

_PREFIXES = ("da", "Ki", "Mi", "Gi", "Ti", *"YZEPTGMkhdcmunpfazy")
_METRIC = frozenset(
    "m s g rad K C cd mol sr Hz N Pa J W A V F Ohm S Wb Cel T H lm lx Bq Gy Sv l L ar t bar u eV pc Ci R RAD REM "
    "osm eq g% [iU] [IU] U kat cal m[H2O] m[Hg] B Np bit By Bd st dyn erg P St G".split()
)
_OTHER = frozenset(
    "10* 10^ [pi] % [ppth] [ppm] [ppb] gon deg ' '' min h d a_t a_j a_g a wk mo_s mo_j mo_g mo atm [degF] [diop] [Ch] "
    "[in_i] [ft_i] [yd_i] [mi_i] [sin_i] [sft_i] [lb_av] [oz_av] [st_av] [gr] [foz_us] [pt_us] [qt_us] [gal_us] "
    "[cup_us] [tbs_us] [tsp_us] [foz_br] [pt_br] [gal_br] [psi] [USP'U] [arb'U] [hp_X] [pH] [drp] [HPF] [LPF] "
    "[anti'Xa'U] [CFU] [PFU] [FFU] [BAU] [kn_i] [Cal] [hd_i] [mesh_i] [APL'U] [GPL'U] [MPL'U] circ sph".split()
)
_ANNOTATION = re.compile(r"\{[\x21-\x7a\x7c\x7e ]*\}")
_TERM = re.compile(r"(?P<atom>10\*|10\^|(?:\[[^\]\s]+\]|[A-Za-z%'_])+(?:\[[^\]\s]+\])?)(?P<power>[+-]?\d+)?$")


@lru_cache(maxsize=512)
def is_ucum(code: str) -> bool:
    """Whether the code follows the grammar and all its units are known. "" is none."""
    return (
        bool(code) and code.isascii() and " " not in _ANNOTATION.sub("", code) and _expression(code.lstrip("/"), code)
    )


def _expression(text: str, whole: str) -> bool:
    if whole.startswith("//") or not text:
        return False
    bare = _ANNOTATION.sub("\x00", text)
    if "{" in bare or "}" in bare:
        return False
    parts, depth, current = [], 0, ""
    for char in bare:
        depth += (char == "(") - (char == ")")
        if depth < 0:
            return False
        if char in "./" and depth == 0:
            parts.append(current)
            current = ""
        else:
            current += char
    return depth == 0 and all(_component(part) for part in (*parts, current))


def _component(part: str) -> bool:
    if part.startswith("(") and part.endswith(")"):
        return _expression(part[1:-1].replace("\x00", "{x}"), part)
    bare = part.removesuffix("\x00")
    if "\x00" in bare:
        return False
    if bare == "":
        return part == "\x00"  # an annotation alone stands for 1
    if bare.isdigit():
        return True
    found = _TERM.fullmatch(bare)
    if found is None:
        return False
    atom = found["atom"]
    if atom in _METRIC or atom in _OTHER:
        return True
    return any(atom.startswith(prefix) and atom[len(prefix) :] in _METRIC for prefix in _PREFIXES)
