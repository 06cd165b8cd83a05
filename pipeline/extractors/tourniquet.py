"""Tourniquet: used or not used, its pressure and its time. Times of day are events of the clock times."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from pipeline import cues, facing, laterality, sidewise
from pipeline.extractors import _moments, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, Sentence

KINDS = ("tourniquet", "tourniquet_pressure", "tourniquet_time")

_TIMES = ("tourniquet-time", "tourniquet", "tourniquet-up", "tourniquet-down", "cuff")

_SET = frozenset(
    "at to up set was pressure of : on the left right upper lower thigh arm forearm calf ankle leg limb applied put "
    "and inflated proximal high around , went goes l r both thighs arms legs calves".split()
)


_NAMED = frozenset({"tourniquet", "tq"})
_FAR = 60
_KEPT = frozenset({"s", "min", "h"})  # units in which a tourniquet is timed
_BESIDE = -1
_LOW, _HIGH = 100, 450  # mmHg, of a tourniquet; common practice, no source


def _pressure_behind(sentence: Sentence, index: int) -> Decimal | None:
    """ "Sixty two minutes at two fifty": a bare number behind how long is how hard, and no time of day."""
    tokens = sentence.tokens
    quantity = tokens[index].quantity
    before = tokens[index - 2].quantity if index >= 2 and tokens[index - 1].norm in ("at", "@", "/") else None
    if quantity is None or before is None or before.dimension != "time":
        return None
    if quantity.form == "number" and not quantity.dimension:
        value = quantity.value
    elif quantity.form == "clock" and quantity.text.replace(":", "").isdigit():
        value = Decimal(quantity.text.replace(":", ""))
    else:
        return None
    return value if value is not None and _LOW <= value <= _HIGH and value % 5 == 0 else None


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    told = let_down = False
    cuffed = any(cues.has(sentence, grammar, "tourniquet", "cuff") for sentence in reading.sentences)
    for sentence in reading.sentences:
        if not cuffed and sentence.says(_ISCHAEMIA):
            continue  # "warm ischaemia time 18 minutes": of a clamp or a graft, where no tourniquet is told of
        airway = not sentence.says(_NAMED) and any(
            quantity.unit == "cm[H2O]" for _, quantity in base.quantities(sentence, "pressure")
        )  # "tube size 8, cuff pressure 25 cmH2O"
        if not airway and cues.has(sentence, grammar, "tourniquet", "cuff", "tourniquet-time"):
            here = _sentence(reading, sentence, grammar)
            facts += here
            told = any(fact.kind == "tourniquet_time" for fact in here)
            clocks = [one for one in sentence.tokens if one.quantity is not None and one.quantity.form == "clock"]
            let_down = not told and (sentence.says(_DOWN) or len(clocks) > 1)
            continue
        if let_down and _sums_up(sentence):
            facts += _further(reading, sentence, 0)  # "cuff up at 08:12, down at 08:57. Forty-five minutes total"
        let_down = False
        if told and _AGAIN & {token.norm for token in sentence.tokens}:
            facts += _further(reading, sentence, 0)  # "...; reinflated 08:52, down 09:12 (20 min), total 55 min"
        told = False
    return _blown_up_later(facts)


_ISCHAEMIA = frozenset({"ischaemia", "ischaemic", "ischemia", "ischemic"})


def _blown_up_later(facts: list[Fact]) -> list[Fact]:
    """ "Placed but not inflated", and a time or a pressure of it elsewhere in the narration: it was used."""
    used = {fact.laterality for fact in facts if fact.kind != "tourniquet"}
    timed = any(fact.kind == "tourniquet_time" and fact.status == "performed" for fact in facts)
    facts = [
        replace(fact, certainty="affirmed")
        if fact.kind == "tourniquet" and fact.name != "none" and fact.certainty == "negated" and used & {
            None, fact.laterality
        } else fact
        for fact in facts
    ]  # fmt: skip
    return [
        replace(fact, status="performed") if timed and fact.kind == "tourniquet" and fact.status == "planned" else fact
        for fact in facts
    ]  # "was planned at three hundred, run for thirty eight minutes"


def _is_of_today(sentence: Sentence, side: Laterality, grammar: Grammar) -> bool:
    """Not "the left knee was replaced three years ago tourniquet down at nine"."""
    return any(
        said.value == side and base.scope_at(sentence, "status", said.first, "performed") != "historical"
        for said in laterality.sides(sentence, grammar)
    )


def _sums_up(sentence: Sentence) -> bool:
    """Whether a sentence tells one length of time in all, and nothing else."""
    words = [token for token in sentence.tokens if not token.punctuation]
    spans = [token for token in words if token.quantity is not None and token.quantity.unit in ("min", "h")]
    rest = {token.norm for token in words if token.quantity is None}
    return len(spans) == 1 and len(spans) + sum(token.quantity is None for token in words) == len(words) and (
        rest <= _SUMMING and bool(rest & {"total", "all", "altogether", "together"})
    )  # fmt: skip


_DOWN = frozenset({"down", "off", "deflated", "released"})
_SUMMING = frozenset("total in all altogether together so that's that is was it makes a of time".split())
def _has_times(sentence: Sentence, last: int) -> bool:
    """ "Fluoro forty five seconds tourniquet down fourteen fifty two": what is timed by the clock behind it."""
    behind = sentence.tokens[last + 1 : last + 4]
    return any(token.quantity is not None and token.quantity.form == "clock" for token in behind) and not any(
        token.punctuation for token in behind[:1]
    )


_AHEAD_OF_IT = 4  # tokens: "waited five minutes stayed in place when it was moved tourniquet down" tells of a wait
_AGAIN = frozenset({"reinflated", "deflated", "inflated", "again", "re-inflated", "reinflation"})
# What may stand between one time of the tourniquet and the next.
_ON = frozenset(
    "then and again after a pause break rest of reinflated inflated deflated re-inflated up down at total in all "
    "altogether together for plus making which makes another second first let it to was the tourniquet so , ( ) : ; - "
    "= +".split()
)
_REST = frozenset({"pause", "break", "rest", "reperfusion", "interval"})


def _further(reading: Reading, sentence: Sentence, first: int) -> list[Fact]:
    """Further times said on behind the first one: "60 min, then 32 min after a pause of 15 min, 92 min in all"."""
    facts: list[Fact] = []
    for index in range(first, len(sentence.tokens)):
        token = sentence.tokens[index]
        quantity = token.quantity
        if quantity is None:
            if token.norm not in _ON:
                break
            continue
        if quantity.dimension != "time":
            if quantity.form == "clock":
                continue
            break
        beside = {other.norm for other in sentence.tokens[max(0, index - 3) : index + 2]}
        paused = [other.norm for other in sentence.tokens[max(0, index - 2) : index]] == ["let", "down"]
        if quantity.unit in ("min", "h") and not beside & _REST and not paused:
            facts.append(
                base.claim("tourniquet_time", reading, sentence, index, index, index, _FAR,
                           scale="total" if cues.scale(sentence, index) == "total" else None)
            )  # fmt: skip
    return facts


def _added(reading: Reading, sentence: Sentence, index: int) -> list[Fact]:
    """ "TQ 88 + 25 min": a time before a sign that shares the unit of the one behind it."""
    first, own = index - 2, sentence.tokens[index].quantity
    said = sentence.tokens[first].quantity if first >= 0 and sentence.tokens[index - 1].norm in ("+", "plus") else None
    if own is None or own.unit != "min" or said is None or said.form != "number" or said.dimension:
        return []
    if said.value is None or said.value > _LONGEST:
        return []
    return [base.claim("tourniquet_time", reading, sentence, first, first, index, 0, unit="min")]


_LONGEST = Decimal(150)  # minutes; more before a sign may be a pressure: common practice, no source


def _sentence(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "pressure", "time", ""):
        near = cues.nearest(sentence, grammar, index, *_TIMES)
        if near is None:
            continue
        price, hit = near
        if price > _FAR and (_blown_up(sentence, hit.last, index) or (
            quantity.unit in _KEPT and hit.last < index and _behind_times(sentence, hit.last, index)
        )):
            price = _FAR  # "tourniquet, two fifty, on at 11:14 and off at 11:50, thirty six minutes"
        side = sidewise.side_of(sentence, index, grammar)
        between = sentence.tokens[hit.last + 1 : index]
        if quantity.dimension != "time" and any(token.norm == "both" for token in between):
            side = "bilateral"  # "tourniquets on both at two eighty on the left a tear ..."
        if side is not None and price > _FAR:
            price = _FAR  # ", left arm 250 mmHg 9 min": the second of two
        if side is None and hit.first < index and not sidewise.numbered(sentence, index, grammar):
            side = laterality.side_for(sentence, hit.first, hit.last, grammar, own_only=True)[0]
        if quantity.dimension == "pressure":
            facts.append(
                base.claim("tourniquet_pressure", reading, sentence, index, hit.first, hit.last, price, laterality=side)
            )
        elif quantity.dimension == "time" and price <= _FAR and quantity.unit in _KEPT and (
            not _until_pink(sentence, hit.last, index) and hit.first - index <= _AHEAD_OF_IT
            and not (hit.first > index and _has_times(sentence, hit.last)) and not _moments.is_moment(sentence, index)
        ):
            facts.append(
                base.claim("tourniquet_time", reading, sentence, index, hit.first, hit.last, price, laterality=side,
                           scale="total" if cues.scale(sentence, index) == "total" else None)
            )  # fmt: skip
            facts += _further(reading, sentence, index + 1) + _added(reading, sentence, index)
        elif quantity.dimension == "" and quantity.form == "number" and index > hit.last and (
            price <= 60 or _behind_times(sentence, hit.last, index)
        ):  # fmt: skip
            lead = sentence.tokens[max(0, index - 3) : index]
            inflated = any(token.norm.startswith(("inflat", "insufflat")) for token in lead)
            if price > 30 and not inflated and not _behind_times(sentence, hit.last, index):
                continue
            kind = "tourniquet_time" if "time" in cues.folded(sentence)[hit.first : hit.last + 1] else ""
            beside = all(token.norm in _SET for token in sentence.tokens[hit.last + 1 : index])
            beside = beside or _behind_times(sentence, hit.last, index)
            pressed = quantity.value is not None and 100 <= quantity.value <= 450 and beside
            if (inflated or pressed) and not kind:
                kind = "tourniquet_pressure"
            if kind:
                # "Up to three hundred" says how far it was blown up, no upper bound.
                facts.append(base.claim(kind, reading, sentence, index, hit.first, hit.last, price, comparator=None,
                                        laterality=side))  # fmt: skip
    for index, token in enumerate(sentence.tokens):
        if token.quantity is not None and (value := _pressure_behind(sentence, index)) is not None:
            facts.append(base.claim("tourniquet_pressure", reading, sentence, index, index - 1, index, _BESIDE,
                                    value=value, doubts=("its unit was not said",)))  # fmt: skip
    used = cues.hits(sentence, grammar, "tourniquet")
    absent = next((mention for mention in base.mentions(sentence, "tourniquet")
                   if mention.id == "none" and not facing.looks_back(sentence, mention.first)), None)  # fmt: skip
    if absent is not None:
        facts.append(
            base.make("tourniquet", reading, sentence, absent.first, absent.last, name="none", certainty="negated",
                      laterality=laterality.side_for(sentence, absent.first, absent.last, grammar, own_only=True)[0])
        )  # fmt: skip
    elif used:
        sides = {fact.laterality for fact in facts}
        said = {laterality.side_for(sentence, hit.first, hit.last, grammar)[0] for hit in used} - {None}
        side = said.pop() if len(said) == 1 else None
        if side is not None and not _is_of_today(sentence, side, grammar):
            side = None
        name = next((m.id for m in base.mentions(sentence, "tourniquet") if m.id in ("tourniquet", "digital")), None)
        idle = {"certainty": "negated"} if not facts and _stayed_down(sentence, used[-1].last) else {}
        facts.append(
            base.make("tourniquet", reading, sentence, used[0].first, used[0].last, name=name or "tourniquet",
                      laterality="bilateral" if {"left", "right"} <= sides else side, **idle)
        )  # fmt: skip
    return facts


def _stayed_down(sentence: Sentence, last: int) -> bool:
    """ "On the thigh but never inflated": it was there and did nothing."""
    ahead = [token.norm for token in sentence.tokens[last + 1 : last + 1 + _AHEAD]]
    for at, norm in enumerate(ahead):
        if norm in ("not", "never", "n't", "without"):
            used = next((n for n, word in enumerate(ahead[at + 1 : at + 4], at + 1) if word in _USE), None)
            return used is not None and not {"until", "till"} & set(ahead[used + 1 : used + 2])
        if norm in _USE:
            return False
    return False


_AHEAD = 12  # tokens
_USE = frozenset({"inflated", "inflating", "inflation", "blown", "used", "needed", "required", "raised"})


def _blown_up(sentence: Sentence, last: int, index: int) -> bool:
    """ "A tourniquet was put on the arm, inflated and kept for 30 minutes at 220 mmHg": told close behind its verb."""
    blown = [at for at in range(last + 1, index) if sentence.tokens[at].norm.startswith(("inflat", "insufflat"))]
    return bool(blown) and index - blown[-1] <= _CLOSE and not any(
        token.punctuation for token in sentence.tokens[blown[-1] + 1 : index]
    )


_CLOSE = 8  # tokens


def _until_pink(sentence: Sentence, last: int, index: int) -> bool:
    """ "Tourniquet down and good colour after thirty seconds": how long the blood took to come back."""
    between = [token.norm for token in sentence.tokens[last + 1 : index]]
    let_down = any(between[at : at + 2] == ["let", "down"] for at in range(len(between))) and "for" in between[-3:]
    before = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    timed = any(token.quantity is not None and token.quantity.dimension == "time" for token in (
        sentence.tokens[last + 1 : index]
    ))
    if timed and before in (["let", "down"], [",", "down"]):
        return True  # "first inflation forty minutes, let down ten minutes": the pause
    let_down = let_down or before in (["down", "for"], ["deflated", "for"], ["released", "for"])
    return let_down or any(norm in _PINK for norm in between)


_PINK = frozenset("colour color pink perfusion perfused refill reperfusion capillary bleeding haemostasis hemostasis "
                  "pulses pulse hyperaemia".split())  # fmt: skip


def _is_pressure(value: Decimal | None) -> bool:
    return value is not None and _LOW <= value <= _HIGH and value % 5 == 0


def _behind_times(sentence: Sentence, last: int, index: int) -> bool:
    """ "Tourniquet up 9:12, down 10:02 at two hundred and fifty": nothing but its times stands between."""
    between = sentence.tokens[last + 1 : index]
    return any(token.quantity is not None for token in between) and all(
        token.norm in _SET | _MOVED or (token.quantity is not None and (
            token.quantity.form == "clock" or token.quantity.dimension == "pressure"
            or (token.quantity.form == "number" and _is_pressure(token.quantity.value))
        ))
        for token in between
    )


_MOVED = frozenset({"up", "down", "on", "off", ",", "and", "then", "for", "from", "to", "-", "at", "released", "let"})
