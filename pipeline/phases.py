"""The part of a harvest and injection that every word is in: marrow or graft is taken, or it is given, or neither."""

from __future__ import annotations

from pipeline import cues
from pipeline.grammar import Grammar
from pipeline.records import Reading, Sentence

_PHASES = {
    "marrow": "harvest", "harvest": "harvest", "injection-phase": "injection", "leaving-harvest": "",
    "target-phase": "injection", "turned-phase": "injection", "bone-phase": "",
}  # fmt: skip
_PHASE_SECTIONS = {"harvest": "harvest", "injection": "injection"}


_AFTER_HARVEST = ("target-phase", "turned-phase", "bone-phase")  # they tell nothing before the harvest
_ONWARD = ("turned-phase", "bone-phase")  # and these nothing of what was said before them
_HOLD = 4  # sentences for which a phase lasts without another word of it
_PHASE_REACH = 18
_last: list[tuple[Reading, Grammar, list[list[str]]]] = []


def keeps_harvest(sentence: Sentence, grammar: Grammar) -> bool:
    """ "Half a turn, four millilitres", "the trocar was primed": no new word of the harvest, and what belongs to it."""
    turned = any(quantity.dimension == "turns" for _, quantity in cues.numbers(sentence))
    return turned or cues.has(sentence, grammar, *_KEEPING)


def is_no_end(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "Count 38 million per mL", "for the cell count": no count of swabs, and nothing is closed. "A stab incision at
    the crest": the way to the marrow."""
    if hit.id == "marrow" and sentence.tokens[hit.first].norm == "crest":
        return hit.first > 0 and sentence.tokens[hit.first - 1].norm in _OTHER_CRESTS
    if hit.id != "leaving-harvest":
        return False
    if sentence.tokens[hit.first].norm == "incision":
        return hit.first > 0 and sentence.tokens[hit.first - 1].norm in ("stab", "nick", "tiny")
    if sentence.tokens[hit.first].norm == "portal":  # "marrow from the humerus through the lateral portal"
        return bool(_THROUGH & {token.norm for token in sentence.tokens[max(0, hit.first - 3) : hit.first]})
    if not sentence.tokens[hit.first].norm.startswith("count"):
        return False
    before = {token.norm for token in sentence.tokens[max(0, hit.first - 5) : hit.first]}
    behind = [token.quantity for token in sentence.tokens[hit.last + 1 : hit.last + 4] if token.quantity is not None]
    cells = bool(before & _CELLS) and not before & _SWABS
    return cells or any((quantity.unit or "").startswith("10*") for quantity in behind)


_OTHER_CRESTS = frozenset("lacrimal tibial alveolar neural supinator intertrochanteric nasal turbinate".split())
_THROUGH = frozenset({"through", "via"})
_CELLS = frozenset("cell cells cfu platelet platelets nucleated lab laboratory".split())
_SWABS = frozenset("swab swabs sponge sponges needle needles instrument instruments final".split())
_KEEPING = ("draw", "draw-noun", "turns", "needle", "depth", "share", "priming")
_TAKEN_FROM = frozenset({"taken", "aspirated", "obtained", "collected", "drawn"})


def _of_anything(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "Aspirated from the node": a harvest only where marrow, a graft or what is injected is spoken of."""
    first, last = sentence.tokens[hit.first].norm, sentence.tokens[hit.last].norm
    return hit.id == "harvest" and first in _TAKEN_FROM and last == "from"


def _is_drill_hole(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "Marrow from the tibia through a four millimetre drill hole": a way to the marrow."""
    behind = [token.norm for token in sentence.tokens[hit.last + 1 : hit.last + 2]]
    return hit.id == "bone-phase" and behind in (["hole"], ["holes"])


def targets(sentence: Sentence, grammar: Grammar) -> list[cues.Hit]:
    """Where it goes, without a word of injecting: "6 mL IA right knee", and "right knee four millilitres" at the head
    of a sentence that tells of no draw."""
    found = [cues.Hit("target-phase", m.first, m.last) for m in sentence.mentions
             if m.table == "routes" and m.id == "intra-articular"]  # fmt: skip
    head = next((m for m in sentence.mentions if m.table == "sites"), None)
    if head is None or head.first > _AT_HEAD or "iliac-crest" in head.id or cues.has(sentence, grammar, *_DRAWN):
        return found
    amounts = [at for at, quantity in cues.numbers(sentence) if quantity.dimension == "volume" and at > head.last]
    beside = bool(amounts) and amounts[0] - head.last <= _AT_HEAD
    first = sentence.tokens[0].quantity  # "4 mL each knee, US, 21G"
    beside = beside or (first is not None and first.dimension == "volume" and head.first > 0)
    return [*found, cues.Hit("target-phase", head.first, head.last)] if beside else found


_AT_HEAD = 3  # tokens
_DRAWN = ("draw", "draw-noun", "marrow", "harvest", "irrigation", "blood-loss")


def of(reading: Reading, grammar: Grammar) -> list[list[str]]:
    """The part of the operation that every token of every sentence is in: "harvest", "injection" or "" (neither).

    The nearest phase word of the sentence decides (up to `_PHASE_REACH` tokens away); where there is none, the last
    one said before holds, for at most `_HOLD` sentences.
    """
    for known, by, held in _last[:1]:  # a copy, since other threads may be at it
        if known is reading and by is grammar:
            return held
    now, since, harvested = "", 0, False
    told: list[list[str]] = []
    marrow = any(
        cues.has(sentence, grammar, "marrow", "graft-word") or any(m.table == "injectates" for m in sentence.mentions)
        for sentence in reading.sentences
    )
    for sentence in reading.sentences:
        found = [hit for hit in cues.hits(sentence, grammar, *_PHASES) if marrow or not _of_anything(sentence, hit)]
        found += targets(sentence, grammar)
        found = [hit for hit in found if not is_no_end(sentence, hit)]
        found = [hit for hit in found if not _is_drill_hole(sentence, hit)]
        first = min((hit.first for hit in found if _PHASES[hit.id] == "harvest"), default=cues.FAR)
        found = [hit for hit in found if hit.id not in _AFTER_HARVEST or (marrow and (harvested or first < hit.first))]
        harvested = harvested or first < cues.FAR
        if sentence.section in _PHASE_SECTIONS and not found:
            now, since = _PHASE_SECTIONS[sentence.section], 0
        since = 0 if now == "harvest" and keeps_harvest(sentence, grammar) else since + 1
        if since > _HOLD:
            now = ""
        if not found:
            told.append([now] * len(sentence.tokens))
            continue
        here: list[str] = []
        for index in range(len(sentence.tokens)):
            near = min(
                ((max(hit.first - index, index - hit.last, 0), hit.first > index, -hit.first, hit) for hit in found
                 if hit.first <= index or hit.id not in _ONWARD),
                key=lambda item: item[:3], default=(cues.FAR, False, 0, found[0]),
            )  # fmt: skip
            if near[0] <= _PHASE_REACH:
                since = 0
                here.append(_PHASES[near[3].id])
                if near[3].first <= index:
                    now = here[-1]
            else:
                here.append(now)
        told.append(here)
    _last[:] = [(reading, grammar, told)]
    return told
