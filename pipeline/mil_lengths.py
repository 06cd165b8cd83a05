"""A "mil" that is a millimetre: "a five mil screw", "a tear of twelve mil", "within five mil of the cortex".

Theatre says "mil" for both. It is a length where the word that it measures has no volume: the instrument, implant or
finding right behind it, or right before it. All else stays a millilitre. [common practice, no source]
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from pipeline import grammar, numerals
from pipeline.records import Token
from pipeline.rows import Drug

_MIL = frozenset({"mil", "mils", "mills"})
# Things with a size in millimetres and no volume of their own, in the singular.
_THINGS = frozenset("""
    drill bit screw anchor reamer broach trocar port portal cannula shaver burr nail rod plate pin wire graft
    tunnel socket plug button clip stapler load reload stent scope laparoscope arthroscope hysteroscope
    cystoscope bronchoscope endoscope telescope punch defect tear lesion stone calculus polyp nodule incision
    stab cut gap margin osteophyte spur bite step head cup shell liner insert spacer cage polyethylene poly hole
    dilator dilatation offset blade osteotome gouge curette chisel guide keratome slit trephine tack rivet
    washer tip diameter length width thickness depth translation clearance strip dimension jig shim stem
    baseplate glenosphere peg post wedge opening osteotomy resection slope cyst aneurysm neck hegar
""".split())  # fmt: skip
# Words that may stand between the number and the thing: how it is made, not what it holds.
_SORTS = frozenset("""
    cannulated cortical cancellous locking locked lag headless headed titanium bioabsorbable biocomposite peek
    suture threaded blunt bladeless disposable rotary acorn barrel round twist drill interference tibial femoral
    acetabular hip ceramic metal double single loaded knotless optical thirty zero seventy degree full half
    partial thickness radial vertical longitudinal chondral osteochondral skin stab biopsy flexible rigid
    straight curved poly polyethylene flat low profile full-thickness semitendinosus hamstring bone patellar
    quadriceps endoscopic linear circular laparoscopic ureteric sessile pedunculated subcapital core trephine
    medial lateral anterior posterior superior inferior umbilical working camera viewing instrument anteromedial
    anterolateral posteromedial posterolateral steinmann kirschner k guide
""".split())  # fmt: skip
# Behind the number: how far something reaches, or away from what.
_REACH = frozenset("long wide thick across apart proud shorter longer wider".split())
_WAYS = frozenset("proximal distal medial lateral anterior posterior superior inferior cephalad caudad".split())
# Before the number: what was measured or made so large.
_BEFORE = frozenset("""
    cut resect tear gap graft tunnel socket defect osteophyte spur reamed reamer drilled drill measured measures
    measuring translation diameter offset thickness resected within osteophytes lesion stone polyp nodule margin margins
    separation step step-off stepoff displacement displaced distraction distracted widening diastasis shortening
    lengthening lengthened shortened bore clearance excursion upsized downsized broached reaming button
    endobutton screw screws anchor nail rod plate cup head shell liner insert stem baseplate glenosphere peg
    post pin wire k-wire trial spacer cage
""".split())  # fmt: skip
_FILL = frozenset("of was is were are about a an the to at by just over around roughly another up only line on it from "
                  "some nearly maybe say and half point or".split())  # fmt: skip
_BONES = frozenset("bone cortex cartilage subchondral plate surface edge footprint rim articular femur tibia "
                   "midline margin tip apex carina orifice nerve root border".split())  # fmt: skip
# What is poured and called after bone.
_OF_BONE = frozenset("marrow graft wax cement chips dust allograft autograft concentrate paste putty".split())
_LONGEST, _TENS = 5, frozenset({*numerals.TENS, "point", "and", "a", "half", "hundred"})
_NEAR = 7  # tokens
_ARTICLES = frozenset("the a an its".split())


def is_length(tokens: Sequence[Token], start: int, end: int) -> bool:
    """Whether the "mil" at `start` .. `end` (exclusive), behind its number, measures a length."""
    if end != start + 1 or tokens[start].norm not in _MIL or _stands_before(tokens, start, _LOST):
        return False
    ahead = _ahead(tokens, end)
    if _is_second(tokens, start):
        return True
    if ahead[:1] == ["deep"]:  # "six mil deep": of a tear; of an injection it tells where
        return any(_is_thing(token.norm) for token in tokens[max(0, start - _NEAR) : start])
    named = tokens[start].norm == "mil" and not _of_a_drug(tokens, start) and _names_a_thing(ahead)
    return named or _reaches(ahead) or (_measured_before(tokens, start) and not _poured(ahead))


def _before_number(tokens: Sequence[Token], start: int) -> int:
    """The token before the number, in words or digits, whose unit stands at `start`; -1 where it opens the text."""
    at = start - 1
    while at > 0 and start - at < _LONGEST and (tokens[at].norm in numerals.SMALL or tokens[at].norm in _TENS):
        at -= 1
    return at - (at == start - 1)  # a number in digits is one token


def _is_second(tokens: Sequence[Token], start: int) -> bool:
    """ "Ten by eight mil": of two sizes."""
    at = _before_number(tokens, start)
    digits = tokens[start - 1].norm[:1].isdigit()
    return at >= 0 and tokens[at].norm in (("by", "x", "\u00d7") if digits else ("by",))


def _of_a_drug(tokens: Sequence[Token], start: int) -> bool:
    """ "Lidocaine ten mil portals": a drug right before the number has it."""
    at = _before_number(tokens, start)
    if at > 0 and tokens[at - 1].norm in _MIL | {"ml", "mls", "cc"}:
        return False  # "twenty mil marcaine, eight mil drill": it has its own
    return at >= 0 and tokens[at].norm in _drug_words() | {"local", "saline", "contrast", "percent", "%"}


def _is_thing(norm: str) -> bool:
    return norm in _THINGS or norm.removesuffix("s") in _THINGS


def _ahead(tokens: Sequence[Token], end: int) -> list[str]:
    """The words behind it, to the first mark."""
    norms: list[str] = []
    for token in tokens[end : end + 5]:
        if token.punctuation and token.norm != "-":
            break
        if token.norm != "-":
            norms.append(token.norm)
    return norms


def _names_a_thing(ahead: Sequence[str]) -> bool:
    for norm in ahead:
        if _is_thing(norm):
            return True
        if norm not in _SORTS:
            return False
    return False


def _reaches(ahead: Sequence[str]) -> bool:
    """ "Five mil deep", "four mil proximal to it", "nine mil off the distal femur", "two mil of bone"."""
    if not ahead:
        return False
    if ahead[0] in _REACH:
        return True
    if ahead[0] in _WAYS and ahead[1:2] == ["to"]:
        return True
    if ahead[:2] in (["in", "diameter"], ["in", "length"], ["in", "size"], ["in", "width"], ["in", "depth"]):
        return True
    rest = [norm for norm in ahead[1:] if norm not in _ARTICLES and norm not in _WAYS]
    if ahead[0] not in ("of", "off", "from", "shy") or not rest or rest[0] not in _BONES:
        return False
    return not (rest[0] == "bone" and rest[1:2] and rest[1] in _OF_BONE)


# Before the number: what ran out ("blood loss about five mils apart from the marrow").
_LOST = frozenset("loss losses lost ebl qbl bleeding bled urine drained suctioned sucker irrigated".split())


def _measured_before(tokens: Sequence[Token], start: int) -> bool:
    """ "A tear of twelve mil", "reamed to nine and a half mil": only small words and the number lie between."""
    return _stands_before(tokens, start, _BEFORE)


def _stands_before(tokens: Sequence[Token], start: int, words: frozenset[str]) -> bool:
    at = start - 1
    while at >= 0 and start - at <= 8:
        token = tokens[at]
        if token.norm in words:
            return True
        if token.punctuation or not (token.norm in _FILL or token.norm[0].isdigit() or token.norm in numerals.SMALL
                                 or token.norm in _TENS):
            return False
        at -= 1
    return False


def _poured(ahead: Sequence[str]) -> bool:
    """Whether a liquid or its way follows: "the tear, two mil of fibrin glue", "into the gap four mil in"."""
    return bool(ahead) and (ahead[0] in _POURED or ahead[0] in _drug_words())


_POURED = frozenset("of in into injected given left drawn syringe".split())


@lru_cache(maxsize=2)
def _drug_words() -> frozenset[str]:
    """The first words of every name of a drug."""
    rows = grammar.load().table("drugs", Drug).values()
    return frozenset(name.split()[0] for row in rows for name in row.say)
