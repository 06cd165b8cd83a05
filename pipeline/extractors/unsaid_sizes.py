"""Sizes that leave something out: the unit ("screws eight by twenty five"), the thing ("ports: 12 mm umbilical, 5 mm
flank"), or how many there were ("5 mm x 3"). What was not said stays unsaid, and the fact says so."""

from __future__ import annotations

from typing import Any

from pipeline import cues, sidewise
from pipeline.extractors import _things, base
from pipeline.extractors._device_roles import is_own_part
from pipeline.extractors._device_sizes import is_decimal
from pipeline.extractors._things import Thing
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device_size", "device_count")

_BY = frozenset({"x", "by", "\u00d7"})
_LIST = frozenset({",", "and"})
_TO_SIZES = frozenset(
    "was were is are of , ( : size sizes sized length lengths long measuring placed inserted used implanted put in "
    "deployed with at on the left right side through".split()
)
_NO_UNIT = "its unit was not said"
_COST = 14
_AHEAD, _BEHIND = 3, 4  # tokens between the sizes and the thing after or before them
_SIZELESS = ("scalpel", "bone-cement", "bone-graft", "allograft-chips")
_PORTS = ("port", "ports", "trocar", "trocars")
_PORT_SIZES = ("2", "3", "5", "8", "10", "11", "12", "15")  # mm; common practice, no source
_AIRWAYS = ("endotracheal-tube", "laryngeal-mask", "double-lumen-tube")
_TUBES = ("tube", "ett", "lma", "mask")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    nailed = _things.nailed(reading)
    for sentence in reading.sentences:
        if not cues.numbers(sentence):
            continue
        things = _sized(sentence, grammar, rows)
        if nailed:
            things = sorted([*things, *_things.nails(sentence, things)], key=lambda thing: thing.first)
        if things:
            facts += _sizes(reading, sentence, things, grammar)
            facts += _counts(reading, sentence, things)
            facts += _ports(reading, sentence, things)
            facts += _balloon(reading, sentence, things)
            facts += _tools(reading, sentence, things)
        facts += _airway(reading, sentence)
    return facts


def _sized(sentence: Sentence, grammar: Grammar, rows: Any) -> list[Thing]:
    things = [
        Thing(mention.first, mention.last, mention.id, None, rows[mention.id].implant)
        for mention in base.mentions(sentence, "devices") if mention.id not in _SIZELESS
    ]  # fmt: skip
    taken = {at for thing in things for at in range(thing.first, thing.last + 1)}
    for hit in cues.hits(sentence, grammar, "instrument"):
        if not taken & set(range(hit.first, hit.last + 1)) and not is_own_part(sentence, hit.first):
            things.append(Thing(hit.first, hit.last, None, cues.words(sentence, hit.first, hit.last), False))
    tokens = sentence.tokens
    for at in range(len(tokens) - 3) if sentence.says(_LIMBS) else ():
        if tokens[at].norm in _LIMBS and _is_bare(sentence, at + 1) and tokens[at + 2].norm in _BY:
            things.append(Thing(at, at, None, tokens[at].text, True))  # of a stent graft: "L limb 16 x 124"
    return sorted(things, key=lambda thing: thing.first)


_LIMBS = frozenset({"limb", "limbs"})


def _claim(
    kind: str, reading: Reading, sentence: Sentence, index: int, thing: Thing, cost: int, **fields: Any
) -> Fact:
    return base.claim(
        kind, reading, sentence, index, thing.first, thing.last, cost, name=thing.name, text=thing.text,
        group=f"d{base.group_of(sentence, thing.first)}", role="implanted" if thing.implant else "used", **fields,
    )  # fmt: skip


def _sizes(reading: Reading, sentence: Sentence, things: list[Thing], grammar: Grammar) -> list[Fact]:
    """ "Three cannulated screws, eight by twenty five"; "an 8 x 60 stent"; "two 4 mm screws, forty and forty five"."""
    facts: list[Fact] = []
    last: tuple[int, Thing] | None = None
    for run, by in _runs(sentence):
        thing = _of(sentence, run, things, by)
        if thing is None and by and last is not None and _goes_on(sentence, last, run[0]):
            thing = last[1]
        if thing is None:
            continue
        last = (run[-1], thing) if by else None
        side = sidewise.side_of(sentence, run[-1], grammar) or sidewise.side_of(sentence, run[0], grammar)
        fields = {"laterality": side} if side is not None else {}
        facts += [
            _claim("device_size", reading, sentence, at, thing, _COST, unit=None, doubts=(_NO_UNIT,), **fields)
            for at in run
        ]
    return facts


def _goes_on(sentence: Sentence, last: tuple[int, Thing], first: int) -> bool:
    """ "Stents: seven by twenty six on the left, six by twenty four on the right": of the same thing."""
    between = sentence.tokens[last[0] + 1 : first]
    return len(between) <= _PLACE and bool(between) and all(
        token.norm in _TO_SIZES | _SIDES or token.norm in (",", "and", ";") for token in between
    )


_SIDES = frozenset("left right proximal distal proximally distally upper lower medial lateral one other".split())


def _runs(sentence: Sentence) -> list[tuple[list[int], bool]]:
    """The runs of bare numbers, and whether they are joined by "by" (else by commas and "and")."""
    runs: list[tuple[list[int], bool]] = []
    at, tokens = 0, sentence.tokens
    while at < len(tokens):
        if not _is_bare(sentence, at):
            at += 1
            continue
        run, by, step = [at], False, at + 1
        while step + 1 < len(tokens) and _is_bare(sentence, step + 1) and tokens[step].norm in _BY | _LIST:
            joined = tokens[step].norm in _BY
            if len(run) > 1 and joined != by:
                break
            by = joined
            run.append(step + 1)
            step += 2
        if len(run) > 1 and not _measured(sentence, run[-1]):
            runs.append((run, by))
        at = run[-1] + 1
    return runs


def _is_bare(sentence: Sentence, at: int) -> bool:
    quantity = sentence.tokens[at].quantity
    return quantity is not None and quantity.form == "number" and not quantity.dimension and quantity.value is not None


def _measured(sentence: Sentence, last: int) -> bool:
    """Whether a number with a unit ends the run, or more than a size follows it ("12 of 14")."""
    after = sentence.tokens[last + 1 : last + 3]
    return bool(after) and (after[0].norm == "of" or (after[0].norm in _BY and after[-1].quantity is not None))


def _of(sentence: Sentence, run: list[int], things: list[Thing], by: bool) -> Thing | None:
    tokens = sentence.tokens
    if by:
        row = _of_row(sentence, run[0], things)
        if row is not None:
            return row
        for thing in things:
            between = tokens[run[-1] + 1 : thing.first]
            if run[-1] < thing.first and len(between) <= _AHEAD and all(
                token.norm.isalpha() and token.quantity is None and token.norm not in _NOT_OF_NOUN
                for token in between
            ):  # fmt: skip
                return thing
    for thing in reversed(things):
        between = tokens[thing.last + 1 : run[0]]
        if thing.last < run[0] and len(between) <= _BEHIND and all(
            token.norm in _TO_SIZES or (token.quantity is not None and token.quantity.form == "times")
            for token in between
        ):  # "screws x4: 36, 32, 24, 20"
            placed = not by and tokens[run[0] - 1].norm == "at" and "anchor" in (thing.name or "")
            said = [value for at in run if (value := tokens[at].quantity) is not None]
            if placed and all((one.value or 0) < _HOURS for one in said):
                return None  # "anchors at 12, 1 and 2.30": on the clock
            return thing if by or (thing.implant and _closes(sentence, run[-1])) else None
    return None


_HOURS = 13
_NOT_OF_NOUN = frozenset({"and", "in", "at", "on", "with", "then"})


def _of_row(sentence: Sentence, first: int, things: list[Thing]) -> Thing | None:
    """ "Two screws at each level, at L4 6.5 by 45, at L5 6.5 by 40, rods ...": of what the row began with, where what
    stands behind the sizes has a number of its own."""
    before = [thing for thing in things if thing.last < first]
    after = next((thing for thing in things if thing.first > first), None)
    if not before or not before[-1].implant or not any(
        token.norm == "#level" for token in sentence.tokens[before[-1].last + 1 : first]
    ):
        return None
    behind = sentence.tokens[after.last + 1 : after.last + 2] if after is not None else ()
    own = after is None or (bool(behind) and (behind[0].quantity is not None or behind[0].norm in (":", ",")))
    return before[-1] if own and all(
        token.quantity is not None or token.norm in _IN_ROW or token.norm in _TO_SIZES
        for token in sentence.tokens[before[-1].last + 1 : first]
    ) else None


_IN_ROW = frozenset({"and", "so", "each", "level", "all", "total", "by", "x", "#level", "screws", "both"})


def _closes(sentence: Sentence, last: int) -> bool:
    """ "Screws, forty and forty five." but not "anchors, four and five placed at six"."""
    after = sentence.tokens[last + 1 : last + 2]
    return not after or after[0].punctuation or after[0].norm in ("were", "was", "and", "long", "respectively", "in")


def _counts(reading: Reading, sentence: Sentence, things: list[Thing]) -> list[Fact]:
    """ "5 mm x 3", "anchors 5.5 mm times two": how many there were."""
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence):
        at = index - 1 if quantity.form == "times" else index - 2
        if at < 0 or not (quantity.form == "times" or (_is_bare(sentence, index) and _is_x(sentence, index - 1))):
            continue
        before = sentence.tokens[at].quantity
        near = [thing for thing in things if thing.last < index]
        if _things.of_acts(sentence, index):
            continue
        if not near or not (near[-1].last == at or (before is not None and before.dimension == "length")):
            continue
        if any(mention.first < index for mention in base.mentions(sentence, "drains", "drugs", "sutures")):
            continue
        thing = (near[-1].name or near[-1].text or "").lower()
        few = (quantity.value or 0) <= _COUNTS and any(word in thing for word in _FASTENERS)
        if quantity.form != "times" and not few and any(word in thing for word in _TWO_SIZES):
            continue  # "screws 2.7 mm x 18": a diameter and a length; "K-wire 1.2 mm x 1": how many
        if any(thing.first == index + 1 for thing in things):
            continue  # "3 plates x 4 screws": so many screws in each
        if near[-1].implant or near[-1].text or few or quantity.form == "times":
            facts.append(_claim("device_count", reading, sentence, index, near[-1], _COST, unit=None))
    return facts


_TWO_SIZES = ("screw", "nail", "wire", "stent", "balloon", "pin", "catheter", "rod", "mesh", "graft", "cage", "tube")


_FASTENERS, _COUNTS = ("screw", "wire", "pin"), 3  # none is so short; common practice, no source


def _is_x(sentence: Sentence, at: int) -> bool:
    return at < len(sentence.tokens) and sentence.tokens[at].norm in ("x", "\u00d7", "times")


def _ports(reading: Reading, sentence: Sentence, things: list[Thing]) -> list[Fact]:
    """ "Ports: 12 mm umbilical, 5 mm epigastric, 5 mm right flank": each is a port."""
    facts: list[Fact] = []
    heads = [thing for thing in things if sentence.tokens[thing.last].norm in _PORTS]
    for thing in heads[:1]:
        before: int | None = None
        for index, quantity in base.quantities(sentence, "length"):
            sized = sentence.tokens[index + 2].quantity if index + 2 < len(sentence.tokens) else None
            if index < thing.last or (_is_x(sentence, index + 1) and sized is not None and sized.dimension):
                continue  # "3 x 5 mm": how many
            if quantity.unit != "mm" or f"{quantity.value}" not in _PORT_SIZES:
                break
            start = thing.last if before is None else before
            between = sentence.tokens[start + 1 : index]
            if len(between) > _PLACE or any(token.norm in _NO_PLACE for token in between):
                break
            if before is not None and not any(token.punctuation or token.norm == "and" for token in between):
                break
            facts.append(_claim("device_size", reading, sentence, index, thing, 6, unit=quantity.unit))
            before = index
    return facts


_PLACE = 7
_NO_PLACE = frozenset(
    "incision scope laparoscope clip clips stapler tear defect lesion cyst mass polyp stone drain mesh through using "
    "wound lymph below above".split()
)


def _balloon(reading: Reading, sentence: Sentence, things: list[Thing]) -> list[Fact]:
    """ "Ten millilitres in the balloon", "14 Fr 5 cc balloon": what fills it."""
    facts: list[Fact] = []
    for thing in things:
        if sentence.tokens[thing.last].norm not in ("balloon", "cuff"):
            continue
        for index, _ in base.quantities(sentence, "volume"):
            low, high = (index, thing.first) if index < thing.first else (thing.last, index)
            between = [token.norm for token in sentence.tokens[low + 1 : high]]
            if len(between) <= _FILL and set(between) <= _FILLED:
                facts.append(_claim("device_size", reading, sentence, index, thing, 2 + len(between), unit="mL"))
    return facts


_FILL = 6
_FILLED = frozenset("in into the its was were filled inflated with of to water saline sterile up put by".split())


def _tools(reading: Reading, sentence: Sentence, things: list[Thing]) -> list[Fact]:
    """ "Two point seven scope", "Shaver 4.5": a bare number with a point right beside a tool that is told by its width.
    """
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, ""):
        token = sentence.tokens[index]
        french = index and sentence.tokens[index - 1].norm in _SCOPES and not (quantity.value or 0) % 1
        if quantity.form != "number" or not (french or is_decimal(token)) or not 1 <= (quantity.value or 0) <= (
            _WIDEST_FRENCH if french else _WIDEST
        ):  # fmt: skip
            continue
        for thing in things:
            ends = index + 1 >= len(sentence.tokens) or sentence.tokens[index + 1].punctuation
            if sentence.tokens[thing.last].norm in _TOOLS and (
                thing.first == index + 1 or (thing.last == index - 1 and ends)
            ):  # fmt: skip
                facts.append(_claim("device_size", reading, sentence, index, thing, _COST, unit=None,
                                    doubts=(_NO_UNIT,)))  # fmt: skip
    return facts


_SCOPES = frozenset("nephroscope cystoscope resectoscope ureteroscope".split())
_TOOLS = _SCOPES | frozenset("shaver burr scope arthroscope drill reamer resector".split())
_WIDEST_FRENCH = 30  # common practice, no source
_WIDEST = 12  # mm; common practice, no source


def _airway(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Tube seven point five", "an 8.0 tube", "LMA four": the number of an airway has no unit of its own."""
    spans = [(m.first, m.last) for m in base.mentions(sentence, "anaesthesia") if m.id in _AIRWAYS]
    spans += [(m.first, m.last) for m in base.mentions(sentence, "devices") if m.id == "tracheostomy-tube"]
    spans += [
        (at, at) for at, token in enumerate(sentence.tokens)
        if token.norm in _TUBES and not any(first <= at <= last for first, last in spans)
    ]  # fmt: skip
    facts: list[Fact] = []
    for first, last in spans:
        for index, quantity in base.quantities(sentence):
            sized = quantity.form in ("number", "label") and quantity.value is not None
            if quantity.dimension or not sized or not _LEAST <= (quantity.value or 0) <= _MOST:
                continue
            size = index > last + 1 and sentence.tokens[index - 1].norm in ("size", "number", "sized")
            ahead = index == first - 1 and (
                quantity.value != int(quantity.value or 0) or "." in f"{quantity.value}" or quantity.form == "label"
                or (index > 0 and sentence.tokens[index - 1].norm in ("size", "number", "sized", "no", "#", "a", "an"))
            )
            beside = index - last == 1 or (size and index - last <= 3) or ahead
            if beside:
                facts.append(
                    base.claim("device_size", reading, sentence, index, first, last, _AIRWAY, unit=None, role="used",
                               text=cues.words(sentence, first, last), group=f"d{base.group_of(sentence, first)}")
                )  # fmt: skip
    return facts


_AIRWAY = -1  # "an eight tube" counts nothing
_LEAST, _MOST = 1, 10  # tubes of 2 to 10 mm, laryngeal masks of 1 to 6: common practice, no source
