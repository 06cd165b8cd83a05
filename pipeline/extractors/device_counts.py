"""How many there were, where the noun is left out or no number stands right before it: "three screws proximally and
four distally", "two proximal and three distal screws", "screws: two 40 mm, one 36 mm", "six in total"."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from pipeline import changed_plans, cues
from pipeline.extractors import _things, base
from pipeline.extractors._device_sizes import is_decimal
from pipeline.extractors._things import COUNTED, MANY, PLACE, WHERE, Thing, count_of, noun_behind, whole
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, Sentence, Token
from pipeline.rows import Device

KINDS = ("device_count",)

_COST = 5
_LISTED = frozenset({",", "and", ";", "with", "then", "plus"})
_TOTAL = (("in", "total"), ("in", "all"), ("altogether",), ("all", "told"), ("all", "up"), ("overall",))
_MIXED = frozenset({"mix", "mixes", "mixture", "mixtures", "batch", "batches", "pack", "packs", "unit", "units", "bag",
                    "bags", "sachet", "sachets"})  # fmt: skip
_REACH = 9  # words between a count and its like


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        things = _things.found(sentence, grammar, rows)
        for thing in things:
            if not cues.numbers(sentence):
                continue
            facts += _direct(reading, sentence, thing)
            facts += _further(reading, sentence, thing, things)
            facts += _before(reading, sentence, thing, rows)
            facts += _sorts(reading, sentence, thing)
            facts += _headed(reading, sentence, thing)
            facts += _summed(reading, sentence, thing, things)
            facts += _mixed(reading, sentence, thing)
    return facts


def _claim(
    reading: Reading, sentence: Sentence, index: int, thing: Thing, *, cost: int = _COST, **fields: Any
) -> Fact:
    fields = {"name": thing.name, **fields}
    if sentence.tokens[index].quantity is None:
        fields |= {"value": Decimal(1)}  # "two anchors in the pack, one used"
    return base.claim(
        "device_count", reading, sentence, index, thing.first, thing.last, cost, text=thing.text, unit=None,
        role="implanted" if thing.implant else "used", group=f"d{base.group_of(sentence, thing.first)}", **fields,
    )  # fmt: skip


def _direct(reading: Reading, sentence: Sentence, thing: Thing) -> list[Fact]:
    """ "Two five millimetre trocars"; "3 x 6.5 mm screws", "2 x 5 mm ports", where the first is no size: next to it
    stands a diameter. "K-wires (2)", "three point five millimetre screws, six of them"."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    counted = count_of(sentence, thing)
    many = counted is not None and (tokens[thing.last].norm.endswith("s") or (whole(sentence, counted) or 0) <= _FEW)
    if counted is not None and many and thing.name in COUNTED:
        facts.append(_claim(reading, sentence, counted, thing))
    used = None if counted is None else changed_plans.outdone(sentence).get(counted)
    facts += [] if used is None else [_claim(reading, sentence, used, thing)]  # "three on the table, two used"
    plural = tokens[thing.last].norm.endswith("s")
    if sentence.says({"x"}):
        for at in _widths(sentence, thing):
            width, before = tokens[at].quantity, tokens[at - 2].quantity if at >= 2 else None
            if width is None or before is None or tokens[at - 1].norm != "x":
                continue
            if width.value is None or before.value is None:
                continue
            anchors = (thing.name or "").endswith("anchor") and tokens[at - 1].text in ("x", "\u00d7")
            few = 1 < before.value <= _SEVERAL if plural or anchors else before.value == 1
            even = not before.value % 1 and not is_decimal(tokens[at - 2]) and few
            bare = width.unit is None and is_decimal(tokens[at])  # "2 x 4.75 anchors"
            if even and (bare or width.unit == "mm") and _is_width(width.value, thing) and tokens[at - 3].norm != "x":
                facts.append(_claim(reading, sentence, at - 2, thing, cost=-1))
    of_length = _before_length(sentence, thing, plural=plural) if sentence.says({"x"}) else None
    if of_length is not None:
        facts.append(_claim(reading, sentence, of_length, thing, cost=-1))
    if counted is not None and counted >= 3 and tokens[counted - 1].norm in ("and", ",", "+"):
        sized = tokens[counted - 2].quantity  # "two 10 mm and three 5 mm ports"
        if sized is not None and sized.dimension == "length" and (whole(sentence, counted - 3) or 0) > 1:
            facts.append(_claim(reading, sentence, counted - 3, thing))
    after = thing.last + 1
    if after + 2 < len(tokens) and tokens[after].norm == "(" and tokens[after + 2].norm == ")" and (
        whole(sentence, after + 1, MANY) is not None
    ):  # fmt: skip
        facts.append(_claim(reading, sentence, after + 1, thing))
    for at in range(after, min(after + 5, len(tokens) - 2)):
        if any(thing.last < m.first <= at for m in base.mentions(sentence, "devices")):
            break  # "a plate with five screws, two of them locking"
        told = (tokens[at + 1].norm, tokens[at + 2].norm) in (("of", "them"), ("of", "these"), ("in", "number"))
        listed = tokens[at - 1].norm in (",", ":") and tokens[at + 1].norm == "," and (
            tokens[at + 2].quantity is not None and at <= after + 1
        )  # "Kirschner wires, two, 1.6 mm"
        own = tokens[at].quantity
        listed = listed and plural and (own is None or not own.dimension)
        holes = sentence.says({"hole", "holes"}) and "plate" in tokens[thing.last].norm  # "nine of them filled"
        if (told or listed) and counted is None and not holes and whole(sentence, at, MANY) is not None:
            facts.append(_claim(reading, sentence, at, thing))
    return facts


def _before_length(sentence: Sentence, thing: Thing, *, plural: bool) -> int | None:
    """The count of "1 x 30 mm 2.7 screw": it goes before a length, behind which the width stands."""
    tokens, at = sentence.tokens, thing.first - 1
    if at >= 2 and tokens[at - 1].norm == "x" and _is_one_length(tokens[at - 2], tokens[at], thing):
        return at - 2
    if at < 3 or tokens[at - 2].norm != "x" or tokens[at - 4 : at - 3] and tokens[at - 4].norm == "x":
        return None
    width, length, number = tokens[at].quantity, tokens[at - 1].quantity, tokens[at - 3].quantity
    if width is None or length is None or number is None or length.unit != "mm" or width.unit not in (None, "mm"):
        return None
    if width.value is None or length.value is None or number.value is None or is_decimal(tokens[at - 3]):
        return None
    few = number.value == 1 or (plural and 1 < number.value <= _SEVERAL and not number.value % 1)
    return at - 3 if few and length.value > width.value and _is_width(width.value, thing) else None


def _widths(sentence: Sentence, thing: Thing) -> list[int]:
    """Where the width may stand that a count goes before: before the thing, for anchors behind it too."""
    places = [*range(thing.first - 1, max(1, thing.first - 4), -1)]
    behind = thing.last + 3
    if not (thing.name or "").endswith("anchor") or behind >= len(sentence.tokens):
        return places
    return [*places, behind + (sentence.tokens[thing.last + 1].norm == ":" and behind + 1 < len(sentence.tokens))]


def _is_one_length(number: Token, length: Token, thing: Thing) -> bool:
    """ "1 x 30 mm screw": no screw is a millimetre thick."""
    one, size = number.quantity, length.quantity
    long = size is not None and size.unit == "mm" and size.value is not None and size.value >= _LENGTH
    return long and one is not None and one.value == 1 and not is_decimal(number) and _is_width(Decimal(1), thing)


_LENGTH = 10  # mm
_SEVERAL, _FEW = 6, 4  # recognisers drop the plural of small counts
_PORTS = frozenset({"port", "ports", "trocar", "trocars"})
_RELOADS = frozenset({"reload", "reloads", "load", "loads", "cartridge", "cartridges", "stapler reloads"})


def _is_width(value: Decimal, thing: Thing) -> bool:
    """Whether a size is a diameter of such a thing, so that a smaller whole number before it counts: ports are 3 to
    15 mm wide, screws and anchors 1 to 8 mm (common practice, no source)."""
    said = (thing.name or thing.text or "").lower().removesuffix(":").strip()
    if said in _PORTS:
        return 3 <= value <= 15
    if said in _RELOADS:
        return 25 <= value <= 100
    return any(word in said for word in ("screw", "anchor", "k-wire", "pin")) and 1 <= value <= 8


def _further(reading: Reading, sentence: Sentence, thing: Thing, things: list[Thing]) -> list[Fact]:
    """ "Five tacks on the right, four on the left": the first has its place too, else the second may be a part of
    it ("six screws, three in the head"). "Clips: three on the duct, two on the artery"."""
    tokens = sentence.tokens
    counted = count_of(sentence, thing)
    place = thing.last + 1
    while place < len(tokens) and tokens[place].norm in _PUT and place - thing.last <= 3:
        place += 1
    headed = place < len(tokens) and tokens[place].norm == ":"
    if not headed and (counted is None or place >= len(tokens) or tokens[place].norm not in WHERE | PLACE):
        return []
    end = min((other.first for other in things if other.first > thing.last), default=len(tokens))
    facts: list[Fact] = []
    since = place
    for at in range(place + 1, min(end, len(tokens) - 1)):
        if tokens[at].norm in (".",) or at - since > _REACH:
            break
        if tokens[at].quantity is None:
            continue
        led = _LISTED | {":"} if headed else _LISTED | PLACE  # "three screws medial three lateral"
        if whole(sentence, at) is None or tokens[at - 1].norm not in led:
            break
        if tokens[at + 1].norm not in WHERE | PLACE or noun_behind(sentence, at + 1):
            break
        facts.append(_claim(reading, sentence, at, thing, laterality=_side(sentence, at, end)))
        since = at
    return facts


_PUT = frozenset({"was", "were", "placed", "put", "used", "inserted", "applied", "went", "each"})


def _side(sentence: Sentence, at: int, end: int) -> Laterality | None:
    for token in sentence.tokens[at + 1 : min(at + 4, end)]:
        if token.norm == "left":
            return "left"
        if token.norm == "right":
            return "right"
        if token.quantity is not None or token.punctuation:
            break
    return None


def _before(reading: Reading, sentence: Sentence, thing: Thing, rows: Any) -> list[Fact]:
    """ "Two proximal and three distal screws"."""
    tokens = sentence.tokens
    counted = count_of(sentence, thing)
    at = thing.first - 2 if counted is None else counted
    if counted is None and thing.name is not None and thing.name.startswith(("distal-", "proximal-")):
        at = thing.first - 1
    if at < 3 or tokens[at - 1].norm not in ("and", ",") or tokens[at - 2].norm not in PLACE:
        return []
    if whole(sentence, at) is None or whole(sentence, at - 3) is None:
        return []
    place, name = tokens[at - 2].norm, thing.name
    for other in ("distal", "proximal"):
        if name is not None and name.startswith(f"{other}-"):
            changed = name.replace(other, place, 1)
            name = changed if changed in rows else name
    return [_claim(reading, sentence, at - 3, thing, name=name)]


_SORTS = {
    "locking": "locking-screw", "locked": "locking-screw", "cortical": "cortical-screw", "bicortical": "screw",
    "cancellous": "cancellous-screw", "lag": "lag-screw", "cannulated": "cannulated-screw",
    "nonlocking": "non-locking-screw", "non": "non-locking-screw", "shaft": "screw", "compression": "screw",
}  # fmt: skip


def _sorts(reading: Reading, sentence: Sentence, thing: Thing) -> list[Fact]:
    """ "Four locking and two cortical screws", "two locking screws, three non locking"."""
    if thing.name is None or not (thing.name == "screw" or thing.name.endswith("-screw")):
        return []
    tokens = sentence.tokens
    facts: list[Fact] = []
    counted = count_of(sentence, thing)
    if counted is not None and counted >= 3 and tokens[counted - 1].norm in ("and", ",", "+", "plus", "with"):
        sort = tokens[counted - 2].norm
        if sort in _SORTS and whole(sentence, counted - 3) is not None:
            facts.append(_claim(reading, sentence, counted - 3, thing, name=_SORTS[sort]))
    at = thing.last + 2
    if counted is not None and at + 1 < len(tokens) and tokens[at - 1].norm in ("and", ",", "+", "plus") and (
        whole(sentence, at) is not None and tokens[at + 1].norm in _SORTS
    ):  # fmt: skip
        end = at + 2 + (tokens[at + 1].norm == "non")
        if end >= len(tokens) or tokens[end].punctuation or tokens[end].norm in ("and", "in", "on"):
            facts.append(_claim(reading, sentence, at, thing, name=_SORTS[tokens[at + 1].norm]))
    return facts


def _headed(reading: Reading, sentence: Sentence, thing: Thing) -> list[Fact]:
    """ "Ports: one 12 mm, two 5 mm"."""
    tokens = sentence.tokens
    if thing.last + 1 >= len(tokens) or tokens[thing.last + 1].norm not in (":", "("):
        return []
    facts: list[Fact] = []
    for at in range(thing.last + 2, len(tokens) - 1):
        following = tokens[at + 1].quantity
        led = tokens[at - 1].norm in (":", ",", "and", ";", "(")
        if tokens[at].norm == ")":
            break
        crossed = tokens[at + 2].quantity if tokens[at + 1].norm == "x" and at + 2 < len(tokens) else None
        if led and crossed is not None and crossed.unit == "mm" and (whole(sentence, at) or 0) <= _SEVERAL and (
            tokens[thing.last].norm in _PORTS and _is_width(crossed.value or Decimal(0), thing)
        ):  # fmt: skip
            facts.append(_claim(reading, sentence, at, thing, cost=-1))  # "ports: 10 mm, 3 x 5 mm"
        if whole(sentence, at) is not None and led and following is not None and following.dimension == "length":
            facts.append(_claim(reading, sentence, at, thing))
    return facts


def _summed(reading: Reading, sentence: Sentence, thing: Thing, things: list[Thing]) -> list[Fact]:
    """ "Pedicle screws at L3 and L4, four in total": of the only thing that was told, without a count of its own."""
    if len(things) != 1 or count_of(sentence, thing) is not None:
        return []
    if thing.name in _POURED and any(True for _ in base.quantities(sentence, "volume")):
        return []  # "three millilitres of cement on each side, six in all"
    norms = [token.norm for token in sentence.tokens]
    for at in range(thing.last + 1, len(norms)):
        if whole(sentence, at) is not None and any(tuple(norms[at + 1 : at + 1 + len(t)]) == t for t in _TOTAL):
            if "#volume" in norms[thing.last : at]:
                return []  # "the needle clotted after five, five mils each, twenty five in all"
            return [_claim(reading, sentence, at, thing, scale="total")]
    return []


_POURED = ("bone-cement", "antibiotic-cement")


def _mixed(reading: Reading, sentence: Sentence, thing: Thing) -> list[Fact]:
    """ "Two mixes of cement", "2 bags cement"."""
    tokens = sentence.tokens
    at = thing.first - 1
    at -= at > 0 and tokens[at].norm == "of"
    if thing.name not in _POURED:
        return []
    behind = thing.last + 1  # "cement 3 mixes"
    if behind + 1 < len(tokens) and whole(sentence, behind) is not None and tokens[behind + 1].norm in _MIXED:
        return [_claim(reading, sentence, behind, thing)]
    if at < 1:
        return []
    quantity = tokens[at].quantity
    if tokens[at].norm in _MIXED and whole(sentence, at - 1) is not None:
        return [_claim(reading, sentence, at - 1, thing)]
    if quantity is not None and quantity.said_unit in _MIXED and quantity.value is not None:
        return [_claim(reading, sentence, at, thing)]
    return []
