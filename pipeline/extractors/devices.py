"""Devices and implants: which, how many, how large, and whether they stay, came out or were only tried."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from pipeline import cues, laterality
from pipeline.extractors import _number_sides, base
from pipeline.extractors._called_numbers import maybe_counted, maybe_how_many
from pipeline.extractors._device_roles import (
    has_already,
    is_anothers,
    is_dated,
    is_excess,
    is_own_part,
    is_part_of,
    is_place,
    joined_to_trial,
    listed_as_removed,
    stays_in,
    were_removed,
)
from pipeline.extractors._device_sizes import (
    AIRWAYS,
    FEW,
    NEEDLES,
    NOT_BETWEEN,
    PORTS,
    before_count,
    chained,
    elliptic,
    has_its_own_behind,
    is_decimal,
    is_of_deed,
    is_parted,
    of_a_noun,
    of_a_way,
    of_another,
    run_together,
    says_size,
    stands_before,
    went_in,
)
from pipeline.extractors._things import ATTRIBUTES
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device", "device_size", "device_count")

_SIZES = ("length", "gauge", "french", "angle", "volume")
_SIZE_REACH, _ROLE_REACH = 22, 40
_FORMS = ("number", "range", "fraction")
_COUNT_WORDS = 3  # "two partially threaded cancellous screws"
_ANGLED = ("scope", "plate", "guide", "block", "lens", "liner", "telescope")
_SHAPELESS = ("bone-cement", "bone-graft", "allograft-chips")
_UNSIZED = ("scalpel",)  # a number beside a blade is its label or the length of its cut


@dataclass(frozen=True)
class _Thing:
    """A device of the grammar, or an instrument of which only a size or a count is kept (`row` is None)."""

    first: int
    last: int
    name: str | None
    text: str
    row: Device | None
    group: str
    role: str


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    for sentence in [one for one in reading.sentences if cues.numbers(one) or any(base.mentions(one, "devices"))]:
        things = _things(sentence, grammar, rows)
        numbers: list[Fact] = []
        for index, _ in base.quantities(sentence):
            quantity = cues.unit_of(sentence, index)
            if quantity is not None and (quantity.form in _FORMS or quantity.form == "label"):
                if things and not cues.is_place(sentence, grammar, index):
                    numbers += _number(reading, sentence, grammar, index, quantity, things)
        sized = {fact.group for fact in numbers}
        numbers += _nameless(reading, sentence)
        for thing in things:  # an instrument without a size is no news; an implant always is
            if thing.row is not None and (thing.row.implant or thing.group in sized):
                side = laterality.own_side(sentence, thing.first, thing.last, grammar)
                fact = base.make("device", reading, sentence, thing.first, thing.last, name=thing.name,
                                 group=thing.group, role=thing.role, laterality=side)  # fmt: skip
                if fact.status == "conditional" and thing.group not in sized:
                    continue  # "to prevent loosening of the plate"
                worn = fact.status == "performed" and has_already(sentence, thing.first, thing.last)
                facts.append(replace(fact, status="historical") if worn else fact)
        facts += numbers
    return facts


def _nameless(reading: Reading, sentence: Sentence) -> list[Fact]:
    """A size in French or gauge of what no table names ("tract dilated to 30 Fr"): the words beside it tell of what."""
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "french", "gauge"):
        first = last = index
        following = sentence.tokens[index + 1 : index + 2]
        if following and following[0].norm.isalpha() and following[0].norm not in NOT_BETWEEN:
            last = index + 1
        else:
            while first and index - first < 4 and not sentence.tokens[first - 1].punctuation:
                first -= 1
        text = cues.words(sentence, first, last).replace(sentence.tokens[index].text, "").strip()
        if text and quantity.form in _FORMS:
            facts.append(
                base.claim("device_size", reading, sentence, index, first, last, _NAMELESS, text=text, role="used")
            )
    return facts


_NAMELESS = 86


def _things(sentence: Sentence, grammar: Grammar, rows: Mapping[str, Device]) -> list[_Thing]:
    things = [
        _Thing(mention.first, mention.last, mention.id, "", rows[mention.id],
               f"d{base.group_of(sentence, mention.first)}", _role(sentence, grammar, mention, rows))
        for mention in base.mentions(sentence, "devices")
        if mention.id not in _UNSIZED and not is_excess(sentence, mention)
    ]  # fmt: skip
    taken = {index for thing in things for index in range(thing.first, thing.last + 1)}
    taken |= {
        index for mention in base.mentions(sentence, "drains", "drugs", "closures")
        for index in range(mention.first, mention.last + 1)
    }  # fmt: skip
    for hit in cues.hits(sentence, grammar, "instrument", "component"):
        tool = hit.id == "component" and any(
            token.norm in _TOOLS for token in sentence.tokens[hit.last + 1 : hit.last + 3]
        )
        heading = sentence.tokens[hit.first].norm == "implants" and any(
            token.norm == ":" for token in sentence.tokens[hit.last + 1 : hit.last + 2]
        )
        tool = tool or heading or is_own_part(sentence, hit.first) or is_place(sentence, hit.first)
        if not tool and not taken & set(range(hit.first, hit.last + 1)):
            text = cues.words(sentence, hit.first, hit.last)
            role = "implanted" if hit.id == "component" else "used"
            group = f"d{base.group_of(sentence, hit.first)}"
            things.append(_Thing(hit.first, hit.last, None, text, None, group, role))
    return things


# "A size 41 patella reamer" is no patella.
_TOOLS = frozenset({"reamer", "reamers", "cutter", "clamp", "jig", "guide", "block", "retractor", "rasp", "broach",
                    "saw", "drill", "extractor", "impactor", "gauge", "sizer", "holder"})  # fmt: skip


def _role(sentence: Sentence, grammar: Grammar, mention: Mention, rows: Mapping[str, Device]) -> str:
    near = {
        cue: min(
            (cues.gap(sentence, min(hit.last, mention.last), max(hit.first, mention.first))
             for hit in cues.hits(sentence, grammar, cue) if abs(hit.first - mention.first) <= _ROLE_TOKENS
             and not (cue == "removed" and is_anothers(sentence, hit.first, mention.first))
             and not (cue == "implanted" and is_dated(sentence, hit.first, hit.last))
             and not mention.first <= hit.first <= hit.last <= mention.last),
            default=cues.FAR,
        )
        for cue in ("removed", "trial", "implanted")
    }  # fmt: skip
    if near["trial"] <= 10 or joined_to_trial(sentence, mention.first):
        return "trial"
    if rows[mention.id].implant and (were_removed(sentence, mention.last) or listed_as_removed(sentence, mention)):
        return "explanted"
    part = is_part_of(sentence, mention.last) or stays_in(sentence, mention.last)
    if not part and near["removed"] <= _ROLE_REACH and near["removed"] < near["implanted"]:
        return "explanted" if rows[mention.id].implant else "used"
    return "implanted" if rows[mention.id].implant else "used"


def _number(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity, things: list[_Thing]
) -> list[Fact]:
    last = _last_beside(sentence, index, quantity)
    prefix, postfix = (3, 0) if _thing_first(sentence, things) else (0, 3)
    ranked = sorted(
        (cues.cost(sentence, last if thing.first > last else index, thing.first, thing.last, prefix=prefix,
                   postfix=postfix), thing.first, at)
        for at, thing in enumerate(things)
    )  # fmt: skip
    ahead = [one for one in ranked if things[one[2]].first > index]
    led = ahead and stands_before(sentence, index, ahead[0][1], things[ranked[0][2]].last)
    price, _, at = (_long_before(sentence, index, things, ranked) or (ahead if led else ranked))[0]
    thing = things[at]
    if any(word in (thing.name or thing.text) for word in NEEDLES):
        price += 2  # the needle of a harvest or an injection has a kind of its own
    said = (thing.name or thing.text).lower()
    shared: dict[str, Any] = {
        "name": thing.name, "text": thing.text or None, "group": thing.group, "role": thing.role,
    }  # fmt: skip

    def claim(kind: str) -> list[Fact]:
        way_in = thing.row is None and any(word in said for word in (*PORTS, *AIRWAYS))  # no side of the work
        side = None if way_in else _number_sides.of_device(sentence, index, (thing.first, thing.last), grammar)
        return [
            base.claim(kind, reading, sentence, index, thing.first, thing.last, price, unit=quantity.unit,
                       laterality=side, scale=cues.scale(sentence, index), **shared)
        ]  # fmt: skip

    if quantity.form != "label" and quantity.dimension in _SIZES:
        if price > _SIZE_REACH and chained(sentence, thing.last, index):
            price = _TOUCHING * 3
        if price > _SIZE_REACH and elliptic(sentence, index, thing.first, quantity.dimension):
            price = _TOUCHING * 2
        volume = quantity.dimension == "volume"
        filling = volume and price <= _TOUCHING and thing.row is not None and any(
            word in said for word in ("graft", "chips", "sealant", "glue", "putty", "expander", "balloon")
        )  # fmt: skip
        if price > _SIZE_REACH or (volume and not filling and (thing.row is None or "mL" not in thing.row.sizes)):
            return []
        if volume and not filling and not (thing.row is not None and thing.row.implant) and index != thing.first - 1:
            return []  # "one millilitre in the syringe"
        if quantity.dimension == "length" and (thing.name in _SHAPELESS or (quantity.value or 0) < 0):
            return []  # also "-20 cm suction": a pressure
        parted = thing.row is not None and "cm" not in thing.row.sizes and is_parted(sentence, index, thing.first)
        far = quantity.unit == "cm" and (parted or before_count(sentence, index, thing.first))
        far = far or (quantity.dimension == "length" and is_of_deed(sentence, index, thing.first))
        if far or went_in(sentence, index, thing.last, said):
            return []  # "retracted two centimetres two anchors", "the needle went three centimetres in"
        if thing.row is not None and thing.row.sizes == ("mL",) and not volume:
            return []  # "three centimetres in ten mil syringe"
        if thing.last < index and of_a_noun(sentence, index, thing.last):
            return []  # "a 23 mm valve and a 28 mm ring"
        if thing.first > index and has_its_own_behind(sentence, index, thing.first, thing.last):
            return []  # "two 4.0 partially threaded 40 mm, syndesmosis screw 3.5 x 50"
        if of_another(sentence, index, thing.last):
            return []  # "internal brace not used anterior drawer four millimetres"
        if of_a_way(sentence, index, (thing.first, thing.last), said):
            return []  # "through the 23 gauge tract", "2 mm of tube"
        if thing.role == "implanted" and thing.row is None and (
            price > _TOUCHING or not _is_component(quantity, said, things)
        ):
            return []  # "head turned 30 degrees", "tibia, 3 mm"
        if any(word in said for word in PORTS) and quantity.unit == "cm" and (quantity.value or 0) >= 2:
            return []  # "utility port four centimetres": a cut
        lies = any(word in said for word in ("tube", "catheter", "line", "needle"))
        if lies and quantity.dimension == "length" and index and sentence.tokens[index - 1].norm == "at":
            return []  # "tube seven point five at twenty two centimetres": how far it lies in
        if quantity.dimension == "angle" and (
            index > thing.last + ("scope" in said) or not any(word in said for word in _ANGLED)
            or any(t.punctuation or t.norm in ("of", "and") for t in sentence.tokens[index + 1 : thing.first])
        ):
            return []  # "6 degrees of valgus, the guide was pinned"
        joined = run_together(quantity, said)
        shared["doubts"] = (joined,) if joined else maybe_counted(sentence, index, sentence.tokens[thing.last].norm)
        shared["doubts"] += maybe_how_many(sentence, index, thing.first)
        return claim("device_size")
    if quantity.dimension not in ("", "count"):
        return []
    if price <= _SIZE_REACH and says_size(sentence, index, thing.first) and (thing.row or thing.role == "implanted"):
        return claim("device_size")
    bare = _bare_size(sentence, index, quantity, things)
    if bare is not None:
        thing, price = bare, _GUESSED
        shared |= {"name": thing.name, "text": thing.text or None, "group": thing.group, "role": thing.role,
                   "doubts": ("its unit was not said",)}  # fmt: skip
        return claim("device_size")
    counted = (
        quantity.form == "number" and quantity.value is not None and quantity.value == int(quantity.value)
        and "." not in f"{quantity.value}" and not is_decimal(sentence.tokens[index]) and not _beside_x(sentence, index)
        and quantity.value < (_FASTENED if shared["name"] in _FASTENERS else _YEARS)
    )  # fmt: skip
    for _, first, at in ranked:
        other = things[at]
        countable = other.row.implant if other.row is not None else other.role == "used"
        following = sentence.tokens[other.last + 1].norm if other.last + 1 < len(sentence.tokens) else ""
        if following in ("hole", "holes", "head", "heads", "site", "sites"):
            continue  # "six screw holes"
        if _is_one(sentence, quantity, other) or says_size(sentence, index):
            continue  # "cup fifty four liner": no count of liners
        if first > index + 1 and sentence.tokens[index + 1].norm in ATTRIBUTES:
            continue  # "a three piece lens"
        if counted and countable and first > index and _is_counted(sentence, index, first):
            thing, price = other, cues.cost(sentence, index, other.first, other.last)
            shared |= {"name": thing.name, "text": thing.text or None, "group": thing.group, "role": thing.role}
            return claim("device_count")
    thing = next((other for other in things if other.last == index - 1), thing)
    if counted and thing.row is not None and thing.row.implant and thing.last == index - 1:
        shared |= {"name": thing.name, "text": thing.text or None, "group": thing.group, "role": thing.role}
        price = _GUESSED
        behind = sentence.tokens[index + 1 : index + 2]
        counts = bool(behind) and behind[0].norm == "#number" and any(0 < t.first - index - 1 <= 3 for t in things)
        if not behind or behind[0].punctuation or counts or any(other.first == index + 1 for other in things):
            shared["doubts"] = ("taken as its size; neither size nor a unit was said",)
            return claim("device_size")
    return []


def _long_before(
    sentence: Sentence, index: int, things: list[_Thing], ranked: list[tuple[int, int, int]]
) -> list[tuple[int, int, int]]:
    """ "Screws fifty and fifty five millimetres long tourniquet off": the last of the sizes right behind a thing."""
    if sentence.tokens[index + 1 : index + 2] and sentence.tokens[index + 1].norm == "long":
        return [one for one in ranked if chained(sentence, things[one[2]].last, index)]
    return []


def _last_beside(sentence: Sentence, index: int, quantity: Quantity) -> int:
    """The last of the lengths that stand side by side: "one 12 mm 3.5 mm cortical screw", both of the screw."""
    for at in range(index + 1, len(sentence.tokens)):
        other = sentence.tokens[at].quantity
        if other is None or not other.dimension == quantity.dimension == "length":
            return at - 1
    return index


def _thing_first(sentence: Sentence, things: list[_Thing]) -> bool:
    """Whether the sentence says the thing and then its size ("stem size three cup fifty two millimetres")."""
    first = min(thing.first for thing in things)
    sized = [
        index for index, quantity in base.quantities(sentence)
        if quantity.dimension in _SIZES or (not quantity.dimension and says_size(sentence, index))
    ]  # fmt: skip
    if not sized or sized[0] < first:
        return False
    last = max(thing.last for thing in things if thing.first < sized[0])
    between = sentence.tokens[last + 1 : sized[0]]
    return all(token.norm in _TO_SIZE for token in between)


_TO_SIZE = frozenset({"size", "sized", "number", "no", "a", "is", "was", "of", "at", ":", ","})


def _is_one(sentence: Sentence, quantity: Quantity, thing: _Thing) -> bool:
    """Whether a number above one stands before a thing in the singular, which it does not count. Of a joint there is
    one part each ("an eleven stem")."""
    few = 1 if thing.row is not None and thing.row.group == "joint-prosthesis" else FEW
    return quantity.value is not None and quantity.value > few and not sentence.tokens[thing.last].norm.endswith("s")


_GUESSED = 40  # any kind that knows what the number is has it first


def _beside_x(sentence: Sentence, index: int) -> bool:
    """ "a 28 x 46 cup", "7.5 by 35 rods": sizes, no counts. Not "2 x screws"."""
    named = sum(token.quantity is None and token.norm.isalpha() for token in sentence.tokens[index + 1 : index + 3]) > 1
    around = sentence.tokens[max(0, index - 1) : index] + sentence.tokens[index + 1 : index + 2 - named]
    by = index > 1 and sentence.tokens[index - 1].norm == "by" and sentence.tokens[index - 2].quantity is not None
    return by or any(token.norm in ("x", "\u00d7") for token in around)


_TOUCHING, _BONES = 4, ("femur", "tibia", "patella")


def _is_component(quantity: Quantity, said: str, things: list[_Thing]) -> bool:
    """A bone beside a length is none, unless the parts of a joint are named ("10 mm insert, 35 mm patella")."""
    replaced = any("component" in (thing.name or "") or "baseplate" in (thing.name or "") for thing in things)
    return quantity.dimension == "length" and (said not in _BONES or replaced)


_ROLE_TOKENS = 20
_FASTENERS, _FASTENED = frozenset({"interference-screw", "suture-button", "suture-anchor", "knotless-anchor"}), 20
_YEARS = 1900  # "in two thousand and nine steri strips": no count is so large


def _is_counted(sentence: Sentence, index: int, first: int) -> bool:
    """Only words that describe (and sizes) stand between a count and what it counts."""
    between = sentence.tokens[index + 1 : first]
    words = [token for token in between if token.quantity is None and token.norm not in ("x", "\u00d7")]
    whole = any(token.norm == "#number" and not is_decimal(token) for token in between)
    before = sentence.tokens[index - 1].quantity if index else None
    bare = before is not None and before.form == "number" and not before.dimension
    run = bare and sentence.tokens[index].text.isalpha() and not is_decimal(sentence.tokens[index - 1])
    dosed = any(m.table == "drugs" and m.last == index - 1 for m in sentence.mentions)  # "cefazolin two tourniquet"
    if whole or run or dosed or (index and sentence.tokens[index - 1].norm == "plus"):
        return False  # "at three six and three seven abutments", "tunnel nine screw", "head thirty six plus four stem"
    if any(index < m.first and m.last < first for m in base.mentions(sentence, "approaches", "findings")):
        return False  # "two portals 1.9 mm scope"
    return len(words) <= _COUNT_WORDS and not any(
        token.norm in NOT_BETWEEN or token.punctuation or token.norm in _DENYING for token in words
    )


_DENYING = frozenset({"no", "not", "without", "never"})  # "injected five no resistance band aid"


def _bare_size(sentence: Sentence, index: int, quantity: Quantity, things: list[_Thing]) -> _Thing | None:
    """The implant of a size without its unit, in figures with a point: "0.062 K-wire", "two 4.5 cancellous screws"."""
    if quantity.form != "number" or not is_decimal(sentence.tokens[index]) or quantity.value is None:
        return None
    for thing in things:
        between = sentence.tokens[index + 1 : thing.first]
        sized = thing.row is not None and thing.row.implant and "mm" in thing.row.sizes
        if sized and thing.first > index and len(between) <= _COUNT_WORDS and not any(
            token.punctuation or token.quantity is not None or token.norm in NOT_BETWEEN for token in between
        ):
            return thing
    ahead = sentence.tokens[index + 1] if index + 1 < len(sentence.tokens) else None
    return next((
        thing for thing in things  # "two medial row anchors four point seven five two lateral row anchors"
        if ahead is not None and ahead.quantity is not None and thing.last == index - 1
        and thing.row is not None and thing.row.implant and "mm" in thing.row.sizes
    ), None)  # fmt: skip
