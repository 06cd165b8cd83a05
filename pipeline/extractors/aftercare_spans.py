"""How long something of the aftercare lasts that no row names: "front slab two weeks, then a boot for six weeks"."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import _care_words, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("aftercare",)

_SECTIONS = ("aftercare",)
_CLOSING = ("swab-count", "blood-loss", "count-item")
_PAST = frozenset("was were had took taken lasted given seen history ago previously been operation procedure".split())
_UNITS = ("h", "d", "wk", "mo")
_COST = 87  # any other claim on the number is better
_WORDS = 4
_NOT_LASTING = frozenset("in after at every within until before ago by from later and".split())
_STOPS = frozenset({"then", "to", "and", "a", "the", "for", "x", "of", "is", "be", "will"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    facts += [fact for sentence in reading.sentences for fact in _let_free(reading, sentence)]
    closed = False  # whether the counts or the blood loss have been told: what lasts days from then on lies ahead
    for sentence in reading.sentences:
        hits = cues.hits(sentence, grammar, *_CLOSING)
        ends = max((hit.last for hit in hits), default=len(sentence.tokens))
        opened = 0 if closed or sentence.section in _SECTIONS else ends
        closed = closed or bool(hits)
        told = sentence.section in ("", "description") and not _tells(sentence, opened)
        if sentence.section not in _SECTIONS and not told:
            continue
        for index, quantity in base.quantities(sentence, "time"):
            if index < opened or (sentence.section not in _SECTIONS and not _lasts(sentence, index)):
                continue
            before = sentence.tokens[index - 1].norm if index else ""
            after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
            if quantity.form == "interval":
                continue  # "q.4-6h": how often
            if quantity.unit not in _UNITS or before in _NOT_LASTING or after in ("ago", "later", "before", "after"):
                continue
            if base.scope_at(sentence, "status", index, "performed") in ("historical", "other_person"):
                continue
            first = index
            for at in range(index - 1, max(-1, index - 2 - _WORDS), -1):
                token = sentence.tokens[at]
                if token.quantity is not None and token.quantity.dimension in _HELD_AT and at:
                    continue  # "splint 90 deg 10 d"
                if token.punctuation or token.quantity is not None:
                    break
                if token.norm not in _STOPS:
                    first = at
            last = index - 1
            while last > first and sentence.tokens[last].norm in _LEADS:
                last -= 1
            text = cues.words(sentence, first, last)
            if text and (sentence.section in _SECTIONS or _names(sentence, first, last)):
                facts.append(
                    base.claim("aftercare", reading, sentence, index, first, index, _COST, text=text, status="planned")
                )
    return facts


def _let_free(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Brace 0-90 for six weeks then free", "crutches two weeks then none": what follows a stage, without a time."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at in range(2, len(tokens) - 1):
        if tokens[at].norm != "then" or tokens[at + 1].norm not in _FREE:
            continue
        before = at - 1 - (tokens[at - 1].norm == ",")
        lasted = tokens[before].quantity
        ends = at + 2 >= len(tokens) or tokens[at + 2].punctuation or tokens[at + 2].norm not in _FREE_TO
        worn = [(m.first, m.last) for m in base.mentions(sentence, "aftercare", "dressings")
                if before - _STAGE <= m.last < before and (m.table == "dressings" or m.id in _ENDS)]  # fmt: skip
        worn += [(n, n) for n in range(max(0, before - _STAGE), before) if tokens[n].norm in _care_words.MOVEMENTS]
        if lasted is not None and lasted.unit in _UNITS and worn and ends:
            said = cues.words(sentence, *max(worn))
            facts.append(base.make("aftercare", reading, sentence, at, at + 1, status="planned", certainty="affirmed",
                                   text=f"{said}, then {tokens[at + 1].text}"))  # fmt: skip
    return facts


_ENDS = frozenset(
    "brace splint sling cast collar crutches walking-frame cane wheelchair immobilization non-weight-bearing "
    "touch-weight-bearing partial-weight-bearing hip-precautions motion-restriction continuous-passive-motion".split()
)
_FREE = frozenset({"free", "none", "off", "unrestricted", "unlocked", "out", "without"})
_FREE_TO = frozenset({"flap", "fluid", "graft", "of", "air"})
_STAGE = 14  # tokens


def _names(sentence: Sentence, first: int, last: int) -> bool:
    """Whether words name what lasts: not "times daily", not "on the arm"."""
    words = [token.norm for token in sentence.tokens[first : last + 1]]
    return words[0] not in _PLACES and any(len(word) > 2 and word not in _OFTEN for word in words)


_HELD_AT = frozenset({"angle", "mass"})
_LEADS = frozenset({"for", "over", "x", "about", "up", "to"})
_PLACES = frozenset({"on", "in", "at", "with", "by", "under", "over", "from"})
_OFTEN = frozenset("times time daily day night nightly hourly twice once three four six eight every leave "
                   "left keep kept then the and for".split())  # fmt: skip


def _tells(sentence: Sentence, first: int) -> bool:
    """Whether a sentence tells of what was done or was before."""
    return any(token.norm in _PAST for token in sentence.tokens[first:])


def _lasts(sentence: Sentence, index: int) -> bool:
    """ "Bra day and night for ten days", "observe for six hours", "catheter 5 d": how long, of what lies ahead."""
    quantity = sentence.tokens[index].quantity
    led = index > 0 and sentence.tokens[index - 1].norm in ("for", "x")
    return led or (quantity is not None and quantity.unit in ("d", "wk", "mo"))
