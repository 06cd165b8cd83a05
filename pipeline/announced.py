"""What is announced and then told as done, as people narrate while they work: "now I'm going to inject the kenalog.
That's in.", "we will use two anchors that's done"."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from pipeline.clauses import word_set as _words
from pipeline.records import Fact, Reading, Sentence, replace

_KINDS = frozenset({
    "medication", "medication_dose", "medication_volume", "medication_concentration", "medication_route", "device",
    "device_count", "device_size", "drain", "procedure", "act", "injection_volume", "anaesthesia", "dressing", "suture",
    "closure", "approach", "harvest_site", "draw", "fluid_out", "specimen", "injection", "clock_time",
})  # fmt: skip
_RULES = frozenset({"planned", "asked-for", "would"})
_WHO = _words("i we i'll we'll i'm we're i'd let going")
_OTHER_DAY = _words(
    "tomorrow tonight later next weeks months afterwards postoperatively if when once recovery clinic home"
)
_LEAD = _words("and ta thanks thank you ok okay yes right now good so there great lovely perfect nice fine well all")
_SUBJECTS = (("that's",), ("it's",), ("that", "is"), ("it", "is"), ("that", "has"), ("it", "has"), ("they're",),
             ("they", "are"), ("that", "was"), ("it", "was"), ("that",), ("it",), ())  # fmt: skip
_BETWEEN = _words("now all just gone been nicely safely went has")
_IN = _words("in done given placed injected inserted across home seated out off closed down locked through")
_GOES = (("in", "it", "goes"), ("in", "they", "go"), ("in", "it", "went"), ("in", "she", "goes"))
_BEHIND = _words("now nicely well good ok okay then fine safely too . , ; !")
_SOON = 9  # tokens from what was announced to "that's in"
MORE = "announced with something else; which of them is in was not said"


def mark(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts, what was announced and told as done in the next breath as done. Pure."""
    sentences = [one for one in reading.sentences if one.tokens]
    begins = [one.tokens[0].first for one in sentences]
    told: dict[int, list[int]] = {}  # sentence -> the places in `facts` that it announces
    for place, fact in enumerate(facts):
        if fact.status in ("planned", "conditional") and fact.certainty == "affirmed" and fact.kind in _KINDS and (
            fact.role not in ("aftercare", "avoid")
        ):  # fmt: skip
            at = bisect_right(begins, fact.evidence.first) - 1
            if at >= 0 and _is_announced(sentences[at], fact):
                told.setdefault(at, []).append(place)
    made = list(facts)
    for at, places in told.items():
        behind = [token.norm for token in sentences[at + 1].tokens] if at + 1 < len(sentences) else []
        done = _done_here(sentences[at], [facts[place] for place in places])
        if done is None:
            last = max(facts[place].evidence.last for place in places)
            rest = [token.norm for token in sentences[at].tokens if token.first > last]
            over = all(not word[:1].isalnum() or word in _BEHIND | {"in"} for word in rest)
            if not over or not _is_done(behind, True):
                places = [place for place in places if _is_pointed_at(sentences[at], facts[place])]
        elif done >= 0:
            places = [place for place in places if facts[place].evidence.first < done
                      or not _announces(sentences[at], done, facts[place].evidence.first)]  # fmt: skip
        several = len({facts[place].group or facts[place].name for place in places
                       if facts[place].kind in _GIVEN and (done is None or facts[place].evidence.first < done)}) > 1
        for place in places:
            doubts = (*facts[place].doubts, MORE) if several else facts[place].doubts
            made[place] = replace(facts[place], status="performed", doubts=doubts)
    return _harvested(made, told)


def _harvested(facts: list[Fact], told: dict[int, list[int]]) -> list[Fact]:
    """ "We'll take from the left crest, ten of lidocaine there first ... first syringe, four": the draws that follow
    tell that marrow was taken there, behind the local anaesthetic."""
    drawn = [fact.evidence.first for fact in facts if fact.kind in ("draw", "harvest_total", "draw_count")
             and fact.status == "performed" and fact.certainty == "affirmed"]  # fmt: skip
    if not drawn or any(fact.kind == "harvest_site" and fact.status == "performed" for fact in facts):
        return facts
    for places in told.values():
        sites = [place for place in places if facts[place].kind == "harvest_site"]
        if sites and facts[sites[0]].status == "planned" and max(drawn) > facts[sites[0]].evidence.last:
            for place in places:
                if place in sites or facts[place].role == "local_anaesthetic":
                    facts[place] = replace(facts[place], status="performed")
    return facts


def _done_here(sentence: Sentence, facts: Sequence[Fact]) -> int | None:
    """The word id at which "that's in" begins, soon behind one of the facts and with no other thing and no "no"
    between; None where nobody says so."""
    norms = [token.norm for token in sentence.tokens]
    ends = sorted({at for at, token in enumerate(sentence.tokens)
                   for fact in facts if token.first <= fact.evidence.last <= token.last})  # fmt: skip
    for end in ends:
        for start in range(end + 1, min(len(norms), end + 1 + _SOON)):
            if norms[start] in _UNDONE:
                break
            if _is_done(norms[start:], False):
                return sentence.tokens[start].first
    return None


def _announces(sentence: Sentence, first: int, last: int) -> bool:
    """Whether more is announced between two words, or told for another day."""
    said = {token.norm for token in sentence.tokens if first <= token.first < last}
    return bool(said & (_MORE_TO_COME | _OTHER_DAY))


def _is_pointed_at(sentence: Sentence, fact: Fact) -> bool:
    """ "Going to aspirate first right that's twenty five mils": what is told as it comes."""
    before = [token.norm for token in sentence.tokens if token.first < fact.evidence.first][-2:]
    if fact.kind not in _COMES or not before:
        return False
    return before[-1] in _POINTS or before in (["that", "is"], ["here", "is"])


_UNDONE = _words("no not nothing won't can't doesn't didn't another later")
_MORE_TO_COME = _words("will i'll we'll going shall let next should to tomorrow")
_COMES = frozenset({"fluid_out", "draw", "medication_volume", "harvest_total", "device_size", "measurement"})
_POINTS = _words("that's here's there's got comes")
_GIVEN = frozenset({"medication", "medication_dose", "medication_volume", "device", "device_count", "device_size",
                    "drain"})  # fmt: skip


def _is_announced(sentence: Sentence, fact: Fact) -> bool:
    """Whether the plan is what the speaker is about to do."""
    for scope in sentence.scopes:
        first, last = sentence.tokens[scope.first].first, sentence.tokens[scope.last].last
        if scope.rule in _RULES and first <= fact.evidence.first <= last:
            norms = [token.norm for token in sentence.tokens[max(0, scope.first - 2) : scope.last + 1]]
            if not _WHO.isdisjoint(norms) and _OTHER_DAY.isdisjoint(norms):
                return True
    return False


def _is_done(norms: list[str], alone: bool) -> bool:
    """Whether words begin with "that's in". `alone`: a bare "in" or "done" will do, where nothing else is said."""
    at = 0
    while at < len(norms) and (norms[at] in _LEAD or norms[at] == ","):
        at += 1
    if any(tuple(norms[at : at + len(said)]) == said for said in _GOES):
        return True
    for subject in _SUBJECTS:
        if tuple(norms[at : at + len(subject)]) != subject:
            continue
        then = at + len(subject)
        went = False
        while then < len(norms) and norms[then] in _BETWEEN:
            went = went or norms[then] == "went"
            then += 1
        if then >= len(norms) or norms[then] not in _IN or not (subject or alone):
            continue
        if subject in (("that",), ("it",)) and not went:
            continue
        rest = norms[then + 1 :]
        if not rest or rest[0] in _BEHIND or (subject and not alone and rest[0] in _NEXT):
            return True
    return False


_NEXT = _words(
    "we i next now so ok okay right left skin closing closure and nice lovely great perfect thank thanks ta at"
)
