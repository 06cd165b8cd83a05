"""Facts of a whole narration brought into one account: said twice is one fact, the later state beats the earlier.

In this order:
1. suspected, then seen or not seen: only the last state stays;
2. planned, then done: the performed fact stays;
3. said twice is one fact, the other places go to `also`. A thing with a name is said twice when kind, name, status and
   certainty agree and side and site do not differ. A number is said twice when it can be there only once in a
   narration (blood loss, stated totals, age ...), when header and body say it, or when the words say so ("as
   stated", "again"); otherwise two events with the same number stay two;
4. statements that cannot both be true are both kept and both doubted. Nothing is decided for the surgeon.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline import clashes, settled_later, story
from pipeline.clashes import DOABLE, ONCE, agree
from pipeline.grammar import Grammar
from pipeline.records import Evidence, Fact, Laterality, Reading, Sentence, replace
from pipeline.rows import Kind

# Sections that stand as headings over the story and repeat it.
_BODY = frozenset({"", "description", "findings"})
_MORE, _BEFORE_MORE = frozenset({"another", "further", "additional", "extra", "more"}), 3
_STREAM, _NEAR = 40, 10  # tokens; words around a fact in speech without full stops
_SAYS = frozenset({"stated", "mentioned", "said"})  # behind "as": a token may reach over it (`fillers.py`)
_AGAIN = frozenset({"stated", "mentioned", "noted", "described", "again", "above", "said", "repeat", "repeating"})


def settle(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The settled facts, in no promised order. Pure; `facts` have no ids yet."""
    places = _Places(reading)
    ordered = sorted(_beside_signs(facts), key=lambda fact: (fact.evidence.first, fact.evidence.last, fact.kind))
    ordered = _last_state(settled_later.told(ordered, reading))
    ordered = _done_beats_planned(ordered)
    merged = _said_twice(_pointed_at(ordered, places), places, grammar)
    return clashes.mark(_shared_out(_less_said(merged, grammar)))


def _beside_signs(facts: Sequence[Fact]) -> list[Fact]:
    """The facts without what is done only by its name in what should bring the patient back ("fever, drainage")."""
    signs = [fact.evidence for fact in facts if fact.kind == "warning_sign"]
    return [fact for fact in facts if fact.kind not in _DONE or not any(
        sign.first <= fact.evidence.first and fact.evidence.last <= sign.last for sign in signs
    )]  # fmt: skip


_DONE = frozenset({"act", "drain", "closure"})


class _Places:
    """From evidence to the sentence that it stands in."""

    def __init__(self, reading: Reading) -> None:
        self._by_word: dict[int, Sentence] = {}
        self._reading = reading
        self._span: dict[int, tuple[int, int]] = {}
        start = 0
        for sentence in reading.sentences:
            end = max([token.last for token in sentence.tokens], default=start - 1)
            self._span[id(sentence)] = start, end
            # a full stop reaches over what is dropped behind it
            start = sentence.tokens[-1].first + 1 if sentence.tokens and sentence.tokens[-1].punctuation else end + 1
            for token in sentence.tokens:
                for word in range(token.first, token.last + 1):
                    self._by_word[word] = sentence

    def section(self, fact: Fact) -> str:
        sentence = self._by_word.get(fact.evidence.first)
        return sentence.section if sentence is not None else ""

    def says(self, fact: Fact, words: frozenset[str]) -> bool:
        sentence = self._by_word.get(fact.evidence.first)
        if sentence is None:
            return False
        first, last = fact.evidence.first - _NEAR, fact.evidence.last + _NEAR
        stream = len(sentence.tokens) > _STREAM
        said = any(token.norm in words and (not stream or first <= token.first <= last) for token in sentence.tokens)
        return said or bool(words & _SAYS and self._dropped(sentence, (first, last) if stream else None))

    def _dropped(self, sentence: Sentence, near: tuple[int, int] | None) -> set[str]:
        """Words that tell that a thing was told before, also those that no token holds ("as stated")."""
        start, end = self._span[id(sentence)]
        first, last = (max(start, near[0]), min(end, near[1])) if near is not None else (start, end)
        heard = story.words_between(self._reading, first, last)
        return {word.text.lower().strip(".,;:") for word in heard} & _SAYS

    def says_more(self, fact: Fact) -> bool:
        """ "A further three litres": as much again, and not the same once more."""
        sentence = self._by_word.get(fact.evidence.first)
        if sentence is None:
            return False
        last = fact.evidence.last
        near = [token for token in sentence.tokens if fact.evidence.first - _BEFORE_MORE <= token.first <= last]
        more = any(token.norm in _MORE for token in near)
        behind = any(token.norm == "more" and 0 < token.first - last <= 1 for token in sentence.tokens)
        # "and again two grams", but not "again said: two grams"
        again = any(token.norm == "again" and after.quantity is not None for token, after in pairwise(near))
        return more or behind or again

    def word_before(self, fact: Fact) -> str:
        """The word right before the words of a fact, in its sentence."""
        sentence = self._by_word.get(fact.evidence.first)
        before = [token for token in sentence.tokens if token.last < fact.evidence.first] if sentence else []
        return before[-1].norm if before else ""

    def leads(self, fact: Fact) -> str:
        """The word right before the number of a fact, in its sentence."""
        sentence, said = self._by_word.get(fact.evidence.first), fact.evidence
        numbers = (at for at, token in enumerate(sentence.tokens if sentence else ())
                   if token.quantity is not None and said.first <= token.first <= said.last)  # fmt: skip
        first = next(numbers, 0)
        return sentence.tokens[first - 1].norm if sentence and first else ""

    def same(self, one: Fact, other: Fact) -> bool:
        return self._by_word.get(one.evidence.first) is self._by_word.get(other.evidence.first)


def _same_thing(one: Fact, other: Fact) -> bool:
    return (
        one.kind == other.kind
        and one.name == other.name
        and (one.text == other.text or one.text is None or other.text is None)
        and agree(one.laterality, other.laterality)
        and agree(one.body_site, other.body_site)
    )


_HARMS = frozenset({"finding", "complication", "diagnosis"})


def _same_harm(one: Fact, other: Fact) -> bool:
    """A perforation that was suspected as a finding and is told as a complication, or denied as one."""
    return {one.kind, other.kind} <= _HARMS and _same_thing(replace(one, kind=other.kind), other)


def _absorb(kept: Fact, other: Fact) -> Fact:
    """`kept` with the other place, and with what only the other one says."""
    return replace(
        kept,
        laterality=kept.laterality or other.laterality,
        body_site=kept.body_site or other.body_site,
        text=kept.text if kept.text is not None else other.text,
        role=kept.role or other.role,
        also=_places((*kept.also, other.evidence, *other.also), kept.evidence),
        taken_back=tuple(dict.fromkeys((*kept.taken_back, *other.taken_back))),
        doubts=tuple(dict.fromkeys((*kept.doubts, *other.doubts))),
        alternatives=tuple(dict.fromkeys((*kept.alternatives, *other.alternatives))),
    )


def _places(pieces: tuple[Evidence, ...], own: Evidence) -> tuple[Evidence, ...]:
    return tuple(dict.fromkeys(piece for piece in pieces if piece != own))


def _last_state(facts: list[Fact]) -> list[Fact]:
    kept: list[Fact] = []
    suspected: list[Fact] = []
    for fact in facts:
        if fact.certainty == "suspected":
            suspected.append(fact)
        elif fact.status == "performed":
            earlier = next((one for one in suspected if _same_thing(one, fact) or _same_harm(one, fact)), None)
            if earlier is not None:
                fact = _absorb(fact, earlier)
                suspected = [one for one in suspected if one is not earlier]
                kept = [one for one in kept if one is not earlier]
        kept.append(fact)
    return kept


def _done_beats_planned(facts: list[Fact]) -> list[Fact]:
    done = [fact for fact in facts if fact.status == "performed" and fact.kind in DOABLE]
    absorbed: dict[int, Fact] = {}
    kept: list[Fact] = []
    for fact in facts:
        if fact.status == "planned" and fact.kind in DOABLE:
            match = next((item for item in done if _same_thing(item, fact)), None)
            if match is not None:
                absorbed[id(match)] = _absorb(absorbed.get(id(match), match), fact)
                continue
        kept.append(fact)
    return [absorbed.get(id(fact), fact) for fact in kept]


def _said_twice(facts: list[Fact], places: _Places, grammar: Grammar) -> list[Fact]:
    kinds = grammar.table("kinds", Kind)
    numbered: dict[str | None, int] = {}
    for fact in facts:
        if fact.numeric:
            numbered[fact.group] = numbered.get(fact.group, 0) + 1
    work = {fact.laterality for fact in facts if fact.kind == "procedure" and fact.done} - {None}
    kept: list[Fact] = []
    alike: dict[tuple[str, str | None], list[int]] = {}  # kind and name -> places in `kept`
    for fact in facts:
        same = alike.setdefault((fact.kind, fact.name), [])
        for index in same:
            earlier = kept[index]
            if _repeats(earlier, fact, places, kinds) and not _is_strange(earlier, fact, work):
                merged = _absorb(earlier, fact)
                if numbered.get(fact.group, 0) > numbered.get(earlier.group, 0) and not fact.numeric:
                    merged = replace(merged, group=fact.group)
                kept[index] = merged
                break
        else:
            same.append(len(kept))
            kept.append(fact)
    return kept


_POINTING = frozenset({"the", "these", "those"})


def _pointed_at(facts: list[Fact], places: _Places) -> list[Fact]:
    """ "Two locking screws were placed. The two screws were checked": the same two, and no two more."""
    counts = [fact for fact in facts if fact.kind == "device_count" and fact.value is not None]
    earlier: dict[int, Fact] = {}
    again: dict[str, Evidence] = {}
    for at, fact in enumerate(counts):
        if fact.group is None or places.word_before(fact) not in _POINTING or places.says(fact, _OTHER_SIDE):
            continue
        same = next((other for other in counts[:at] if other.value == fact.value and other.role == fact.role
                     and _head(other) == _head(fact) and not places.same(other, fact)), None)  # fmt: skip
        if same is not None and _of_group(facts, fact.group) <= _of_group(facts, same.group):
            again[fact.group] = fact.evidence
            earlier[id(same)] = replace(same, also=(*same.also, fact.evidence))
    return [earlier.get(id(fact), fact) for fact in facts if fact.group not in again]


_OTHER_SIDE = frozenset({"left", "right", "other", "opposite", "both"})


def _of_group(facts: list[Fact], group: str | None) -> set[tuple[str, str]]:
    """What a group of facts says of its device but its name."""
    return {(one.kind, f"{one.value} {one.unit} {one.text}") for one in facts
            if one.group == group and one.kind != "device"}  # fmt: skip


def _head(fact: Fact) -> str:
    """The noun of a device: "screw" of "locking-screw"."""
    return (fact.name or fact.text or "").split("-")[-1].split(" ")[-1].removesuffix("s")


_NAMED_MORE = frozenset({"procedure", "diagnosis", "preop_diagnosis", "postop_diagnosis"})


def _less_said(facts: list[Fact], grammar: Grammar) -> list[Fact]:
    """A shorter name of what another fact names in full ("hernia", "inguinal hernia") is the same thing."""
    kinds = grammar.table("kinds", Kind)
    words = {
        id(fact): frozenset(grammar.label(kinds[fact.kind].table, fact.name).lower().split()) - {"diagnostic"}
        for fact in facts
        if fact.kind in _NAMED_MORE and fact.name and fact.name in grammar.tables.get(kinds[fact.kind].table, {})
    }
    fuller: dict[int, Fact] = {}
    kept: list[Fact] = []
    for fact in facts:
        match = None
        if id(fact) in words:
            match = next((other for other in facts if id(other) in words and words[id(fact)] < words[id(other)]
                          and _same_but_name(fact, other)), None)  # fmt: skip
        if match is None:
            kept.append(fact)
        else:
            fuller[id(match)] = _absorb(fuller.get(id(match), match), fact)
    return [fuller.get(id(fact), fact) for fact in kept]


def _same_but_name(one: Fact, other: Fact) -> bool:
    return (
        (one.kind, one.status, one.certainty) == (other.kind, other.status, other.certainty)
        and agree(one.laterality, other.laterality)
        and agree(one.body_site, other.body_site)
    )


def _repeats(earlier: Fact, fact: Fact, places: _Places, kinds: object) -> bool:
    if not (_same_thing(earlier, fact) and earlier.status == fact.status and earlier.certainty == fact.certainty):
        return False
    crossed = fact.kind in _TOLD_APART and _crossed(earlier, fact)
    apart = crossed or _elsewhere(earlier, fact, places)
    if apart or (None not in (earlier.role, fact.role) and earlier.role != fact.role):
        return False
    if not earlier.numeric and not fact.numeric:
        the = fact.kind == "device" and places.word_before(fact) in _POINTING  # "a tray for the cup"
        return the or fact.kind not in _COUNTED or not places.same(earlier, fact)
    if (earlier.value, earlier.low, earlier.high, earlier.unit, earlier.scale) != (
        fact.value, fact.low, fact.high, fact.unit, fact.scale,
    ) or places.says_more(fact):  # fmt: skip
        return False
    again = _AGAIN - {"again"} if fact.kind == "draw" else _AGAIN  # "again five": drawn again
    told = fact.kind in ONCE or places.says(fact, again) or places.word_before(fact) == "so"
    if told or (fact.kind in _ORDERED and fact.name):
        return True
    if fact.kind in _POURED and not places.same(earlier, fact) and places.leads(fact) in _POINTING:
        return True
    here, there = places.section(fact), places.section(earlier)
    return here != there and (here in _BODY) != (there in _BODY)


def _is_strange(one: Fact, other: Fact, work: set[Laterality | None]) -> bool:
    """Whether one has no side and the other that side which nothing was done on: "left ureteroscopy, stone 9 mm ...
    right kidney: a stone"."""
    sides = {one.laterality, other.laterality}
    sole = work in ({"left"}, {"right"})
    return sole and one.kind in _SEEN and None in sides and len(sides) == 2 and not sides & work


_SEEN = frozenset({"finding", "diagnosis"})
_POURED = frozenset({"injection_volume", "medication_volume", "medication_dose"})  # "injected the seven slowly"
# What is done or seen here and there: the part of one and the side of the other are not both of one.
_TOLD_APART = frozenset({"act", "finding"})


def _elsewhere(earlier: Fact, fact: Fact, places: _Places) -> bool:
    """ "The flap was reapproximated. The skin was approximated with staples.": what names no part of the body that is
    known here is not given that of a later one in the story; nor has a suture a size and the layer of another."""
    if fact.kind not in _AT_PARTS or earlier.body_site is not None or fact.body_site is None:
        return False
    story = places.section(earlier) in _BODY and places.section(fact) in _BODY and not places.same(earlier, fact)
    return story and (fact.kind != "suture" or earlier.text is not None)


_AT_PARTS = frozenset({"act", "finding", "approach", "suture", "closure"})


def _crossed(one: Fact, other: Fact) -> bool:
    """Whether one has only a part of the body and the other only a side: "palate retracted", "left, retracted"."""
    if one.laterality is None:
        one, other = other, one
    return one.laterality is not None and other.laterality is None and one.body_site is None and (
        other.body_site is not None
    )


# Things of which two in one sentence are two (two layers closed with the same suture are told by their site).
_COUNTED = frozenset({"suture", "device", "device_lot", "device_serial", "device_udi"})
_ORDERED = frozenset({"draw"})  # numbers that their name tells apart ("second" draw)


def _shared_out(facts: list[Fact]) -> list[Fact]:
    """ "Six millilitres per hip. Right hip: six in. Left hip: six in": what is told for each is told again by side."""
    kept: list[Fact] = list(facts)
    for fact in facts:
        if fact.kind != "injection_volume" or fact.scale not in ("each", "per_side") or fact.laterality is not None:
            continue
        again = [one for one in kept if one.kind == fact.kind and one.laterality in ("left", "right")
                 and (one.value, one.unit, one.status, one.certainty)
                 == (fact.value, fact.unit, fact.status, fact.certainty)
                 and one.evidence.first > fact.evidence.first]  # fmt: skip
        if len(again) == 2 and {one.laterality for one in again} == {"left", "right"}:
            at = kept.index(again[0])
            kept[at] = replace(again[0], also=(*again[0].also, fact.evidence))
            kept.remove(fact)
    return kept
