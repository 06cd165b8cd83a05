"""How many, told behind the thing: "clips three", "nylon 5-0 x 9", "two screws at each level, so six", "seven stitches
were planned, only five", "seven wires, planned six", "four interrupted 2-0 Vicryl"."""

from __future__ import annotations

from typing import Any

from pipeline import cues
from pipeline.extractors import _things, base
from pipeline.extractors._device_sizes import is_decimal
from pipeline.extractors._things import MANY, Thing, count_of, whole
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device_count",)

_COST = 3
_FEW, _SHORTEST = 12, 6  # more is a size; no screw is so short (common practice, no source)
# Put in one by one and never told by a bare number for their size.
_UNSIZED = frozenset({"clip", "staple", "tack", "hook", "coil", "pledget", "stitch", "suture", "wire", "lead", "seed"})
_FASTENERS = ("screw", "pin", "wire", "nail", "peg", "anchor")
_INTERRUPTED = frozenset("extra additional further interrupted pledgeted simple mattress horizontal vertical stay "
                         "separate single figure eight of buried inverted deep tension".split())  # fmt: skip
_PLACED = frozenset({"in", "into", "through"})
_LEADS_ON = frozenset({"and", "on", "to", "in", "of"})
_THREADS = frozenset({"ties", "sutures", "stitches", "knots", "stitch", "suture", "tie"})
_X = frozenset({"x", "\u00d7", "times"})
_SO = frozenset({"so", "making", "makes", "giving"})
_MAKING = frozenset({"making", "makes", "giving"})
_FURTHER = frozenset("further another extra additional second third fourth fifth sixth last final more".split())
_WENT = frozenset("was were went got needed used placed put taken fitted sat held stayed required in".split())
_SAID_PLANNED = frozenset({"planned", "intended", "wanted"})
_CORRECTING = _SO | _SAID_PLANNED | {"only"}
_PLAIN = frozenset({"stitches", "sutures", "wires"})
_REACH = 14  # tokens


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("devices", Device)
    facts: list[Fact] = []
    for place, sentence in enumerate(reading.sentences):
        if not cues.numbers(sentence):
            continue
        things = _counted(sentence, grammar, rows)
        for thing in things:
            facts += _behind(reading, sentence, thing)
        facts += _rows_of_stitches(reading, sentence)
        if sentence.says(_CORRECTING):
            before = _counted(reading.sentences[place - 1], grammar, rows) if place else []
            facts += _corrected(reading, sentence, things, before)
    return facts


def _counted(sentence: Sentence, grammar: Grammar, rows: Any) -> list[Thing]:
    """What may be counted: implants, instruments, clips and staples of the skin, stitches."""
    things = _things.found(sentence, grammar, rows)
    taken = {at for thing in things for at in range(thing.first, thing.last + 1)}
    things += [
        Thing(m.first, m.last, None, cues.words(sentence, m.first, m.last), False)
        for m in base.mentions(sentence, "closures") if m.last not in taken
    ]  # fmt: skip
    taken |= {at for thing in things for at in range(thing.first, thing.last + 1)}
    things += [
        Thing(at, at, None, token.text, False)
        for at, token in enumerate(sentence.tokens if sentence.says(_PLAIN) else ())
        if token.norm in _PLAIN and at not in taken
    ]  # fmt: skip
    return sorted(things, key=lambda thing: thing.first)


def _claim(reading: Reading, sentence: Sentence, index: int, thing: Thing | None, **fields: Any) -> Fact:
    first, last = (thing.first, thing.last) if thing is not None else (index, index)
    shared: dict[str, Any] = {"unit": None, "places": (index,)}
    if thing is not None:
        shared |= {"name": thing.name, "text": thing.text, "role": "implanted" if thing.implant else "used",
                   "group": f"d{base.group_of(sentence, thing.first)}"}  # fmt: skip
    cost = fields.pop("cost", _COST)
    return base.claim("device_count", reading, sentence, index, first, last, cost, **{**shared, **fields})


def _ends(sentence: Sentence, index: int) -> bool:
    return index >= len(sentence.tokens) or sentence.tokens[index].punctuation


def _behind(reading: Reading, sentence: Sentence, thing: Thing) -> list[Fact]:
    """ "Clips three", "skin clips eleven.", "anchors two": a plural with a bare number right behind it."""
    tokens = sentence.tokens
    at = thing.last + 1
    at += at + 1 < len(tokens) and tokens[at].norm == ":"  # "Anchors: 3."
    noun = tokens[thing.last].norm
    times = tokens[at].quantity if at < len(tokens) else None
    if times is not None and times.form == "times" and not thing.implant and thing.name is None:
        return [] if _things.of_acts(sentence, at) else [_claim(reading, sentence, at, thing)]  # "skin staples x31"
    if not noun.endswith("s") or at >= len(tokens) or is_decimal(tokens[at]) or count_of(sentence, thing) is not None:
        return []
    unsized = noun.removesuffix("es") in _UNSIZED or noun.removesuffix("s") in _UNSIZED
    screws = any(word in noun for word in _FASTENERS) and not unsized
    many = whole(sentence, at, MANY if unsized else _SHORTEST if screws else _FEW)
    placed = at + 1 < len(tokens) and tokens[at + 1].norm in (_LEADS_ON if unsized else _PLACED if screws else ())
    if many is None or not (_ends(sentence, at + 1) or placed):
        return []
    if not unsized and len(cues.listed(sentence, at)) > 1:
        return []  # "anchors four, five and six"
    return [_claim(reading, sentence, at, thing)]


def _rows_of_stitches(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Nylon 5-0 x 9", "3-0 Vicryl interrupted x4"; "four interrupted 2-0 Vicryl"."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for mention in base.mentions(sentence, "sutures"):
        first, last = _with_size(sentence, mention.first, mention.last)
        behind = last + 1
        while behind < len(tokens) and tokens[behind].norm in _INTERRUPTED | _THREADS:
            behind += 1
        index = behind + (behind < len(tokens) and tokens[behind].norm in _X)
        quantity = tokens[index].quantity if index < len(tokens) else None
        times = quantity is not None and (quantity.form == "times" or (index > behind and not quantity.dimension))
        if times and quantity is not None and quantity.value is not None and quantity.value == int(quantity.value):
            facts.append(_stitches(reading, sentence, index, first, mention.last))
        ahead = first - 1
        while ahead >= 0 and tokens[ahead].norm in _INTERRUPTED:
            ahead -= 1
        many = whole(sentence, ahead, MANY) if ahead < first - 1 and mention.id != "suture" else None
        if many is not None and many > 1 and tokens[ahead - 1].norm not in ("size", "no"):
            facts.append(_stitches(reading, sentence, ahead, ahead, mention.last))
    return facts


def _with_size(sentence: Sentence, first: int, last: int) -> tuple[int, int]:
    """The tokens of a material and of the USP size on either hand of it."""
    tokens = sentence.tokens

    def is_size(at: int) -> bool:
        quantity = tokens[at].quantity if 0 <= at < len(tokens) else None
        return quantity is not None and quantity.form == "suture"

    return first - is_size(first - 1), last + is_size(last + 1)


def _stitches(reading: Reading, sentence: Sentence, index: int, first: int, last: int) -> Fact:
    return base.claim("device_count", reading, sentence, index, min(first, index), max(last, index), _COST, unit=None,
                      text="sutures", role="used", group=f"d{base.group_of(sentence, first)}",
                      places=(index,))  # fmt: skip


def _corrected(reading: Reading, sentence: Sentence, things: list[Thing], before: list[Thing]) -> list[Fact]:
    """ "... were planned, only five", "seven wires, planned only six", "two at each level, so six"."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at, token in enumerate(tokens):
        planned = token.norm in _SAID_PLANNED and tokens[at - 1].norm not in _WERE
        if token.norm not in _SO and token.norm != "only" and not planned:
            continue
        if tokens[at - 1].norm in ("gave", "yielded", "drew"):
            continue  # "the last draw gave only three": an amount
        index = at + 1 + (planned and at + 1 < len(tokens) and tokens[at + 1].norm in ("only", "for"))
        near = [thing for thing in things if thing.last < at and at - thing.last <= _REACH]
        thing = near[-1] if near else before[-1] if before and not things else None
        if thing is None or whole(sentence, index) is None:
            continue
        counted = count_of(sentence, thing) if near else None
        after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
        over = _ends(sentence, index + 1) or after in ("of", "and")
        # "a further anchor, making four"
        more = counted is not None or (
            token.norm in _MAKING and bool(near) and tokens[thing.first - 1].norm in _FURTHER
        )
        if token.norm in _SO and more and (over or after in ("in", "altogether", "all", "screws")):
            facts.append(_claim(reading, sentence, index, thing, scale="total"))
        elif token.norm == "only" and (over or after in _WENT):
            if _was_planned(sentence, at, near[-1].first if near else 0):
                facts.append(_claim(reading, sentence, index, thing, status="performed", certainty="affirmed"))
        elif planned and over and counted is not None:
            facts.append(_claim(reading, sentence, index, thing, status="planned", certainty="affirmed"))
    return facts


_WERE = frozenset({"was", "were", "had", "been", "we", "i"})


def _was_planned(sentence: Sentence, at: int, since: int) -> bool:
    """Whether a plan was told before "only": of the thing, or in the sentence before."""
    said = [one for one in range(since, at) if sentence.tokens[one].norm in _SAID_PLANNED]
    bare = bool(said) and said[-1] == at - 1 and sentence.tokens[at - 2].norm not in _WERE  # "wires, planned only six"
    return not bare and (bool(said) or since == 0)
