"""Lymph nodes as they are counted: how many came out, from which station, how many had a tumour in them."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence, Token

KINDS = ("specimen_count", "measurement")

_COST = 1
_MOST = 90  # nodes of one operation; common practice, no source
_NODES = frozenset({"nodes", "node", "lns", "ln", "sentinels", "sentinel"})
_HEADS = frozenset({"yield", "count", "removed", "taken", "total", "harvested", "retrieved", "number", "sampled"})
_STATIONS = frozenset({"station", "stations", "level", "levels"})
_INVADED = frozenset({"positive", "involved", "metastatic", "invaded", "affected"})
_KIND_OF = frozenset(
    "lymph sentinel axillary pelvic hilar mediastinal inguinal cervical neck regional more further hot blue dark "
    "enlarged palpable black mesenteric iliac obturator paraaortic para-aortic aortic left right level "
    "suspicious".split()
)
_TOLD = ("indication", "history", "imaging", "aftercare", "follow-up", "preop-diagnosis")
_TO_NUMBER = frozenset({":", "-", "of", "was", "were", "is", "=", "total", "in", "number", "removed", "taken"})
_REACH = 4  # tokens


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    told = False  # whether the sentence before told of nodes
    for sentence in reading.sentences:
        here = sentence.says(_NODES) or sentence.says({"nodal"})
        if (here or told) and sentence.section not in _TOLD:
            taken: set[int] = set()
            stations = _by_station(reading, sentence, taken)
            facts += stations
            facts += _invaded(reading, sentence, taken)
            counted = _counted(reading, sentence, taken) if here else []
            if len(stations) > 1 and len(counted) == 1:  # "16 nodes, 9 level I and 7 level II": all of them
                counted = [replace(counted[0], scale="total")]
            facts += counted
            facts += _activity(reading, sentence) if here else []
        told = here
    return facts


def _whole(sentence: Sentence, at: int) -> bool:
    if not 0 <= at < len(sentence.tokens):
        return False
    quantity = sentence.tokens[at].quantity
    return quantity is not None and quantity.form == "number" and not quantity.dimension and (
        quantity.value is not None and quantity.value == int(quantity.value) and 0 < quantity.value <= _MOST
    )


def _nodes(
    reading: Reading, sentence: Sentence, at: int, first: int, last: int, said: str = "nodes", **more: Any
) -> Fact:
    return base.claim("specimen_count", reading, sentence, at, first, last, _COST, unit=None, text=said, places=(at,),
                      **more)


def _counted(reading: Reading, sentence: Sentence, taken: set[int]) -> list[Fact]:
    """ "Fourteen nodes", "a total of 14 axillary lymph nodes", "nodes: 14", "nodal yield fourteen"."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at, token in enumerate(tokens):
        if token.norm not in _NODES or (token.norm in ("sentinel", "node") and _goes_on(tokens, at)):
            continue
        back = at - 1
        while back >= 0 and at - back <= _REACH and (tokens[back].norm in _KIND_OF or (
            tokens[back].norm == "and" and tokens[back - 1].norm in _KIND_OF and back < at - 1
        )):
            back -= 1
        if _whole(sentence, back) and back not in taken and not _is_label(tokens, back):
            if _only_seen(sentence, at):
                continue
            total = "total" if _is_total(tokens, back, at) else None
            facts.append(_nodes(reading, sentence, back, back, at, scale=total))
            taken.add(back)
            continue
        ahead = at + 1
        while ahead < len(tokens) and ahead - at <= _REACH and tokens[ahead].norm in _TO_NUMBER | _HEADS:
            ahead += 1
        led = ahead > at + 1 and not {"in", "of"} & {tokens[ahead - 1].norm} or ahead == at + 1
        ends = ahead + 1 >= len(tokens) or tokens[ahead + 1].punctuation
        if led and ends and _whole(sentence, ahead) and ahead not in taken and token.norm != "node":
            facts.append(_nodes(reading, sentence, ahead, at, ahead))
            taken.add(ahead)
    if sentence.says({"nodal"}):
        for at, token in enumerate(tokens[:-1]):
            if token.norm in ("yield", "count") and at and tokens[at - 1].norm == "nodal":
                ahead = at + 1 + (tokens[at + 1].norm in _TO_NUMBER)
                if _whole(sentence, ahead) and ahead not in taken:
                    facts.append(_nodes(reading, sentence, ahead, at - 1, ahead))
    return facts


_SEEN = frozenset("seen noted visible palpable felt found palpated left spared identified present enlarged".split())
_OUT = frozenset("taken removed sent out excised dissected harvested retrieved got sampled biopsied frozen".split())


def _only_seen(sentence: Sentence, at: int) -> bool:
    """ "Two enlarged nodes were seen": they were there, and none was taken."""
    behind = {token.norm for token in sentence.tokens[at + 1 : at + 4]}
    return bool(_SEEN & behind) and not sentence.says(_OUT)


_GAMMA = {"counts": "gamma count", "count": "gamma count", "background": "background count", "bed": "bed count"}
_TO_GAMMA = frozenset("of was were is ex vivo in the hottest : count counts".split())


def _activity(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Counts 2100, 850 and 300, background 12": what the probe counted over hot nodes."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    if not sentence.says(_PROBED):
        return facts
    for at, token in enumerate(tokens):
        name = _GAMMA.get(token.norm)
        if name is None or (token.norm == "count" and at and tokens[at - 1].norm in ("bed", "background", "nodal")):
            continue
        place = at + 1
        while place < len(tokens) and place - at <= _REACH and tokens[place].norm in _TO_GAMMA:
            place += 1
        while place < len(tokens) and (number := tokens[place].quantity) is not None and (
            number.form == "number" and not number.dimension
        ):
            facts.append(base.claim("measurement", reading, sentence, place, at, at, _COST, unit=None, text=name,
                                    places=(place,)))  # fmt: skip
            place += 1
            while place < len(tokens) and tokens[place].norm in (",", "and"):
                place += 1
    return facts


_PROBED = frozenset("hot hottest gamma probe ex-vivo vivo background counts technetium nanocolloid".split())


def _goes_on(tokens: tuple[Token, ...], at: int) -> bool:
    """ "Sentinel node biopsy", "node dissection": the name of an operation, and no count."""
    behind = [token.norm for token in tokens[at + 1 : at + 2]]
    return bool(behind) and behind[0] in ("node", "nodes", "lymph", "biopsy", "dissection", "sampling", "procedure")


def _is_label(tokens: tuple[Token, ...], at: int) -> bool:
    before = tokens[at - 1].norm if at else ""
    return before in _STATIONS or before in ("first", "size", "/", "-", "x")


def _is_total(tokens: tuple[Token, ...], first: int, last: int) -> bool:
    around = [token.norm for token in tokens[max(0, first - 3) : first] + tokens[last + 1 : last + 4]]
    return "total" in around or "altogether" in around or ("in", "all") in set(pairwise(around))


def _invaded(reading: Reading, sentence: Sentence, taken: set[int]) -> list[Fact]:
    """ "Two of five nodes were positive", "five nodes, two of them positive", "2/5 nodes positive"."""
    tokens = sentence.tokens
    places = [at for at, token in enumerate(tokens) if token.norm in _INVADED]
    if not places:
        return []
    facts: list[Fact] = []
    for at, token in enumerate(tokens):
        if at in taken or not any(at < place <= at + 7 for place in places):
            continue
        quantity = token.quantity
        if quantity is not None and quantity.form == "pair" and "/" in quantity.text:
            one, other = quantity.text.split("/")[:2]
            if one.isdigit() and other.isdigit() and int(one) <= int(other):
                facts.append(_with_tumour(reading, sentence, at, Decimal(one)))
                facts.append(base.make("specimen_count", reading, sentence, at, at, value=Decimal(other), text="nodes"))
                taken.add(at)
            continue
        if not _whole(sentence, at):
            continue
        behind = [one.norm for one in tokens[at + 1 : at + 4]]
        of_all = behind[:1] == ["of"] and _whole(sentence, at + 2)
        if of_all:
            facts.append(_with_tumour(reading, sentence, at))
            taken.add(at)
            if tokens[at + 3 : at + 4] and tokens[at + 3].norm not in _NODES | _KIND_OF:
                facts.append(_nodes(reading, sentence, at + 2, at, at + 2))
                taken.add(at + 2)
        elif behind[:1] and (behind[0] in _INVADED or behind[:2] in (["of", "them"], ["of", "these"], ["of", "which"])
                             or (behind[0] in ("came", "were", "was", "are") and _INVADED & set(behind))):
            facts.append(_with_tumour(reading, sentence, at))
            taken.add(at)
    return facts


def _with_tumour(reading: Reading, sentence: Sentence, at: int, value: Decimal | None = None) -> Fact:
    said = {} if value is None else {"value": value}
    if value is not None:
        return base.make("measurement", reading, sentence, at, at, text="positive nodes", value=value)
    return base.claim("measurement", reading, sentence, at, at, at, _COST, unit=None, text="positive nodes", **said)


def _by_station(reading: Reading, sentence: Sentence, taken: set[int]) -> list[Fact]:
    """ "Station 5 (4), station 6 (3)", "three nodes from station seven and two from station ten", "9 level I"."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at, token in enumerate(tokens):
        if token.norm not in _STATIONS or at + 1 >= len(tokens):
            continue
        label = tokens[at + 1]
        if label.quantity is None and label.norm not in ("i", "ii", "iii", "iv", "v"):
            continue
        said = f"{token.norm.removesuffix('s')} {label.text.strip(' ,.;:()')} nodes"
        ahead = at + 2
        if ahead < len(tokens) and tokens[ahead].norm in ("(", ":", "-"):
            ahead += 1
            nodes = [one.norm for one in tokens[ahead + 1 : ahead + 3]]
            if _whole(sentence, ahead) and (set(nodes) & (_NODES | {")"}) or tokens[ahead - 1].norm == "("):
                facts.append(_nodes(reading, sentence, ahead, at, ahead, said))
                taken.add(ahead)
                continue
        if ahead < len(tokens) and _whole(sentence, ahead) and tokens[ahead + 1 : ahead + 2] and (
            tokens[ahead + 1].norm in _NODES
        ):
            facts.append(_nodes(reading, sentence, ahead, at, ahead + 1, said))
            taken.add(ahead)
            continue
        back = at - 1
        while back >= 0 and at - back <= _REACH + 1 and tokens[back].norm in _KIND_OF | _NODES | {"from", "at", "in"}:
            back -= 1
        if _whole(sentence, back) and not _is_label(tokens, back) and back not in taken:
            facts.append(_nodes(reading, sentence, back, back, at + 1, said))
            taken.add(back)
    return facts
