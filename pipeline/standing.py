"""The sides that stand over a narration: said as a heading, they hold for what follows until another side is said.

"Right ear first. ... Next the other one." A heading may name the other side of the one that stood before.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Set
from dataclasses import dataclass
from itertools import pairwise

from pipeline import abandoned, clauses, context_years, donor_sides, laterality, side_turns, talk_sides
from pipeline.body_parts import related_sites
from pipeline.extractors.base import scope_at
from pipeline.grammar import Grammar
from pipeline.laterality import Side
from pipeline.records import Laterality, Reading, Sentence, replace
from pipeline.rows import Concept
from pipeline.talk_sides import is_other as is_other


@dataclass(frozen=True, slots=True)
class Place:
    """What stands at a word: `side` said as a heading, `last` side said before, `other`: another one than the
    operation's is spoken of here. `opened`: the sentence opens with the heading; `label`: the heading is one like
    "Left:" or "Left knee."; `derived`: it was said as the other side of one before; `since`: the last word of the
    sentence that said `last`; `crest`: the heading is where marrow is taken from, and holds for the harvest alone."""

    side: Laterality | None
    last: Laterality | None
    other: bool
    opened: bool = False
    label: bool = False
    derived: bool = False
    since: int = -1
    crest: bool = False


_NOWHERE = Place(None, None, other=True)


class Standing:
    """The sides that stand over a narration, by word. `sites`: the parts of the body that are operated on."""

    def __init__(self, reading: Reading, grammar: Grammar, sites: Set[str] = frozenset()) -> None:
        self._starts: list[int] = []
        self._places: list[Place] = []
        self._asides: list[tuple[int, int]] = []  # words of a stream that speak of another side
        self.any = False
        here = Place(None, None, other=False)
        lines = {word.id: word.segment + 1 for word in reading.words if word.start is None}
        line = 0  # the one that a heading with its words behind it stands on
        blocks, sided = _blocks(reading, lines), _sided_lines(reading, lines, grammar)
        for sentence in reading.sentences:
            if not sentence.tokens:
                continue
            now = lines.get(sentence.tokens[0].first, 0)
            if here.crest and donor_sides.leaves_crest(sentence, sites):
                here = Place(None, None, other=False)
            if here.label and line and now > line and not blocks.get(line, 0) >= now:
                here, line = replace(here, side=None, label=False), 0  # "L: limb 20 x 82." and the next line
            if sentence.section in _ELSEWHERE:
                here = replace(here, side=None)
                self._put(sentence.tokens[0].first, _NOWHERE)
                continue
            if talk_sides.may_turn(sentence):
                here = _NOWHERE
            heard = laterality.sides(sentence, grammar)
            said = [one for one in heard if scope_at(sentence, "status", one.first, "performed") == "performed"
                    and not donor_sides.of_vein(sentence, one.first) and not is_of_a_year(sentence, one)
                    and not donor_sides.of_donor(sentence, one.first)]  # fmt: skip
            later = _later(sentence, [one for one in said if not _is_elsewhere(sentence, one, sites, grammar)
                                      and not is_remark(sentence, one)])  # fmt: skip
            said = [one for one in said if later is None or one.first < later]
            piece = sentence if later is None else replace(sentence, tokens=sentence.tokens[:later])
            led = [one for one in said if not donor_sides.of_graft(sentence, one.first)]
            head = heading(sentence, led, sites) if not is_left_alone(sentence) else None
            listed = sided.get(now) if head is None and led and led[0].first == _list_number(sentence) else None
            head = led[0] if listed is not None and listed == led[0].value else head
            if head is None and said and abandoned.leaves_side(sentence):
                said = []  # "Right knee cancelled today."
            if head is None and not sentence.says(_TAKEN):
                said = [one for one in said if not _is_elsewhere(sentence, one, sites, grammar)]
            value = None if head is None else head.value or opposite(here.last if is_other(sentence, head) else None)
            if head is not None and value is not None:
                here = Place(value, value, False, True, listed is not None or _is_label(sentence, head),
                             head.value is None, crest=donor_sides.leads_crest(sentence, head))  # fmt: skip
                line = now if here.label and (listed or _has_words(sentence, head)) else 0
                self.any = True
                apart = head.value is not None and _of_other(piece, said) and not (here.label and led != said)
                there = replace(here, other=apart)
            else:
                here = replace(here, opened=False) if here.opened else here
                away = [one for one in said if is_remark(sentence, one) or (
                    _is_elsewhere(sentence, one, sites, grammar) and not donor_sides.leads_crest(sentence, one)
                )]
                if any(one.value != here.side for one in said if one not in away):
                    last = next((one.value for one in reversed(said) if one.value and one not in away), None)
                    here = replace(here, side=None, last=last, since=sentence.tokens[-1].last)
                spans = _spans_of_other(piece, said) if _is_stream(sentence) else None
                self._asides += spans or ()
                there = replace(here, other=True) if spans is None and _of_other(piece, said) else here
            self._put(sentence.tokens[0].first, replace(there, side=None) if there.other else there)
            if later is not None:
                here = Place(None, None, other=False)
                self._put(sentence.tokens[later].first, _NOWHERE)
            if _is_stream(sentence):
                here = self._turn(sentence, heard, here, head)
        order = sorted(range(len(self._starts)), key=self._starts.__getitem__)
        self._starts, self._places = [self._starts[at] for at in order], [self._places[at] for at in order]

    def _turn(self, sentence: Sentence, heard: list[Side], here: Place, head: Side | None) -> Place:
        """Follows the sides of a stream of speech, in which one turns from one side to the other within a breath."""
        side = here.side if head is None or len({one.value for one in heard}) < 2 else head.value
        parts = [*side_turns.part_openers(sentence, heard), *side_turns.leading(sentence, heard)]
        for one in heard:
            if head is not None and one.first <= head.first:
                continue
            if donor_sides.leads_crest(sentence, one):
                if side is not None and one.value != side:
                    side, here = None, Place(None, None, other=False)
                    self._put(sentence.tokens[one.first].first, here)
                continue
            if is_of_a_year(sentence, one):
                continue
            now = scope_at(sentence, "status", one.first, "performed") == "performed"
            if now and one.value in ("left", "right") and one.value != side and (
                one in parts or side_turns.turns(sentence, one, side)
            ):
                side = one.value
                here = Place(side, side, False, opened=True, label=True)
                self.any = True
                self._put(sentence.tokens[one.first].first, here)
            elif one.value != side and side is not None and not is_remark(sentence, one):
                side, here = None, Place(None, None, other=False)
                self._put(sentence.tokens[one.first].first, _NOWHERE)
        return here

    def _put(self, word: int, place: Place) -> None:
        self._starts.append(word)
        self._places.append(place)

    def at(self, word: int) -> Place:
        index = bisect_right(self._starts, word) - 1
        place = self._places[index] if index >= 0 else _NOWHERE
        aside = any(first <= word <= last for first, last in self._asides)
        return replace(place, side=None, other=True) if aside else place


def _blocks(reading: Reading, lines: dict[int, int]) -> dict[int, int]:
    """{line of "RIGHT: ...": line of the "LEFT: ..." that follows it}: what stands between is of the first."""
    heads = [(lines.get(one.tokens[0].first, 0), one.tokens[0].norm) for one in reading.sentences
             if len(one.tokens) > 1 and one.tokens[1].norm == ":" and one.tokens[0].norm in ("left", "right")]
    return {line: after for (line, side), (after, other) in pairwise(heads) if side != other}


def _sided_lines(reading: Reading, lines: dict[int, int], grammar: Grammar) -> dict[int, Laterality]:
    """{line: the side that it begins with and that is the only one in it}, where lines of both sides are written:
    "1) R carpal tunnel release. Incision 3 cm." and "2) L trigger thumb release. TQ 8 min."."""
    first: dict[int, Laterality | None] = {}
    told: dict[int, set[Laterality | None]] = {}
    for sentence in reading.sentences:
        line = lines.get(sentence.tokens[0].first, 0) if sentence.tokens else 0
        said = laterality.sides(sentence, grammar) if line else []
        opens = bool(said) and said[0].first == _list_number(sentence)
        first.setdefault(line, said[0].value if opens else None)
        told.setdefault(line, set()).update(side.value for side in said)
    alone = {line: side for line, side in first.items() if side in ("left", "right") and told[line] == {side}}
    return {line: side for line, side in alone.items() if side is not None} if len(set(alone.values())) > 1 else {}


def _is_elsewhere(sentence: Sentence, side: Side, operated: Set[str], grammar: Grammar) -> bool:
    """Whether a side leads a part that lies apart from what is operated on: the arm with the drip, a hand that is
    tested in an operation on the carotid."""
    part, sites = laterality.own_noun(sentence, side), grammar.table("sites", Concept)
    places = [sites[one] for one in operated if one in sites]
    return part is not None and bool(places) and sites[part.id].sided and not any(
        related_sites(sites[part.id], place, grammar) for place in places
    )


def _is_stream(sentence: Sentence) -> bool:
    return not any(token.punctuation for token in sentence.tokens)


def _later(sentence: Sentence, said: list[Side]) -> int | None:
    """In a long stream of speech, the token from which another side than the first is spoken of."""
    if not said or (len(sentence.tokens) <= _STREAM and any(token.punctuation for token in sentence.tokens)):
        return None
    return next((one.first for one in said if one.value not in (None, said[0].value)), None)


_STREAM = 40  # tokens


def opposite(side: Laterality | None) -> Laterality | None:
    """Right for left and left for right; None for both or none."""
    return "right" if side == "left" else "left" if side == "right" else None


def _of_other(sentence: Sentence, said: list[Side]) -> bool:
    """Whether a sentence speaks of another side than the one that stands: "the other eye", "each side", a graft."""
    taken = sentence.says(_TAKEN) and sentence.says(_FROM)
    each = sentence.says(_EACH) and any(
        one.norm == "each" and after.norm in _PAIRED for one, after in pairwise(sentence.tokens)
    )
    return sentence.says(_OTHER) or each or taken or any(one.value is None for one in said)


def _spans_of_other(sentence: Sentence, said: list[Side]) -> list[tuple[int, int]]:
    """The clauses of a stream of speech, by their first and last word, that speak of another side: "... underlay graft
    ...", "the other knee is fine"."""
    tokens = sentence.tokens
    marked = {one.first for one in said if one.value is None}
    marked |= {at for at, token in enumerate(tokens) if token.norm in _OTHER}
    marked |= {at for at, (one, after) in enumerate(pairwise(tokens)) if one.norm == "each" and after.norm in _PAIRED}
    for at, token in enumerate(tokens):
        near = {one.norm for one in tokens[max(0, at - _GRAFT_FROM) : at + _GRAFT_FROM]}
        if token.norm in _TAKEN and near & _FROM and near & _SIDES:
            marked.add(at)
    spans = [clauses.bounds(sentence, at) for at in sorted(marked)]
    return [(tokens[first].first, tokens[last - 1].last) for first, last in spans if first < last]


_GRAFT_FROM = 8  # tokens
_SIDES = frozenset({"left", "right", "same", "other", "opposite", "crest"})


def _is_label(sentence: Sentence, head: Side) -> bool:
    """ "Left: 5 cm incision", "Left knee." """
    tokens = sentence.tokens
    behind = (token for token in tokens[head.last + 1 :] if token.punctuation)
    mark = next(behind, None)
    sites = {at for m in sentence.mentions if m.table == "sites" for at in range(m.first, m.last + 1)}
    alone = all(token.punctuation or token.norm in side_turns.BEHIND or at in sites
                for at, token in enumerate(tokens) if at > head.last)  # fmt: skip
    at = tokens.index(mark) if mark is not None else len(tokens)
    given = at + 1 < len(tokens) and tokens[at + 1].quantity is not None  # "right thumb base, 25G, 0.5 mL ..."
    labelled = mark is not None and (mark.norm == ":" or (mark.norm == "," and given)) and at - head.last <= _FRAGMENT
    return alone or labelled or len(tokens) <= _FRAGMENT or _is_announced(sentence, head)


def _is_announced(sentence: Sentence, head: Side) -> bool:
    """ "Right knee first ...", "then the left knee ...", "we start on the left ...": what follows is of that side."""
    led = {token.norm for token in sentence.tokens[: head.first]}
    behind = [token.norm for token in sentence.tokens[head.last + 1 : head.last + 1 + _PART]]
    return not led.isdisjoint(_TURNS) or not _ORDER.isdisjoint(behind)


_PART = 3  # words of the part of the body
_ORDER = frozenset({"first", "firstly", "second", "next", "now", "last"})
_TURNS = _ORDER | frozenset(
    "then start started starting begin began beginning go going went turn turned turning move moved moving proceed "
    "proceeded proceeding switch switching switched come coming came cross crossing crossed over onto".split()
)


def is_of_a_year(sentence: Sentence, side: Side) -> bool:
    """ "On the left he had that done in 2019", "the right hip was replaced two years ago": told of before."""
    for at, token in enumerate(sentence.tokens[side.last + 1 : side.last + _STORY], side.last + 1):
        if token.punctuation or token.norm in ("left", "right"):
            return False
        two = sentence.tokens[at - 1].norm in ("in", "of", "since", "from") and context_years.in_two(sentence, at)
        if two or clauses.is_year(token) or token.norm == "ago" or _DAY.match(token.text):
            return True
    return False


_DAY = re.compile(r"\d{1,2}/\d{1,2}(?:/\d{2,4})?$")  # "OD done 12/3"


def is_remark(sentence: Sentence, side: Side) -> bool:
    """ "The right ear has a grommet from childhood and hears well": whether the words behind a side tell how that side
    is or what was done to it before, and nothing that is done there."""
    told = False
    for token in sentence.tokens[side.last + 1 : side.last + _STORY]:
        if token.norm in (".", ";", "left", "right", "then") or token.norm in _AT_WORK:
            break
        if token.norm in _AS_IT_IS:
            told = True
        if told and token.norm == ",":
            break
    return told


_AS_IT_IS = frozenset(
    "hears sees fine healthy untouched unaffected occluded observed asymptomatic childhood infancy ago already phakic "
    "pseudophakic blind deaf never painless compensatory absent pacemaker".split()
)
_AT_WORK = frozenset(
    "opened incision incised prepped draped injected drilled resected removed repaired inserted placed put cut closed "
    "excised drained sutured portal portals tourniquet now next".split()
)
_STORY = 11  # tokens in which a year is told of a side


def is_left_alone(sentence: Sentence) -> bool:
    """ "L elbow: normal on scan, nothing done": what is told there is no work."""
    return sentence.says(_ALONE) or (sentence.says(_NOTHING) and any(
        one.norm == "nothing" and after.norm in _DONE for one, after in pairwise(sentence.tokens)
    ))  # fmt: skip


_ALONE, _NOTHING = frozenset({"untouched", "unaffected"}), frozenset({"nothing"})
_DONE = frozenset({"done", "was", "else", "needed", "."})
_FRAGMENT = 6  # tokens


def _has_words(sentence: Sentence, head: Side) -> bool:
    """Whether what a label is for stands behind its colon: "L: limb 20 x 82"."""
    mark = next((at for at in range(head.last + 1, len(sentence.tokens)) if sentence.tokens[at].norm == ":"), None)
    return mark is not None and mark + 2 < len(sentence.tokens)


# Sections that tell of something else than the work on one side.
_ELSEWHERE = frozenset(
    "history consent aftercare follow-up team identity disposition counts diagnosis imaging indication preop-diagnosis "
    "postop-diagnosis both-diagnoses".split()
)
_EACH = frozenset({"each"})
_PAIRED = frozenset(
    "side knee hip shoulder elbow wrist hand ankle foot leg arm eye ear breast groin lung kidney".split()
)
_OTHER = frozenset({"other", "opposite", "contralateral", "opposing", "sides"})
_TAKEN = frozenset({"graft", "grafts", "autograft", "harvest", "harvested", "donor"})  # where it was taken, not put
_FROM = frozenset({"from"})
_LEAD = frozenset(
    "then now next and first firstly second secondly finally on the in to at for over back attention was were turned "
    "directed drawn moving turning going moved went turn go move switch switching switched come coming came cross "
    "crossing crossed proceed proceeding across continue we i same again a of started starting start with began "
    "beginning begin so okay ok right side only , proceeded continuing continued onto today it is it's this that's "
    "we're are operating operation procedure case doing working patient's patients patient his her".split()
)
_NOUNS = frozenset({"diagnoses", "findings", "procedures"})
_SHUT = frozenset({",", ":", ".", ";", "-", "—", "–"})


def _list_number(sentence: Sentence) -> int:
    """How many tokens the number of a list takes: "2) R thigh: ...", "1. Right ear." """
    tokens = sentence.tokens
    if tokens[0].norm[:-1].isdigit() and tokens[0].norm[-1] in ").":
        return 1
    if tokens[0].quantity is None or tokens[0].quantity.unit is not None:
        return 0
    return 2 if len(tokens) > 1 and tokens[1].norm in (")", ".", ":") else 0


def heading(sentence: Sentence, said: list[Side], operated: Set[str] = frozenset()) -> Side | None:
    """The side that a sentence opens with and means for what follows: "Right ear first.", "On the left, ...", "then
    the right knee old graft torn" where the knee is operated on."""
    if not said or len({one.value for one in said}) != 1 or any(one.axis == "status" for one in sentence.scopes):
        return None
    first = said[0]
    tokens = sentence.tokens
    number = _list_number(sentence)
    before = {index for m in sentence.mentions if m.table == "sites" for index in range(m.first, m.last + 1)
              if m.first == 0 and m.last + 2 == first.first and tokens[m.last + 1].norm == ","}  # "Shoulder, left"
    if first.first - number > 8 or any(
        tokens[index].norm not in _LEAD and index not in before for index in range(number, first.first)
    ):
        return None
    at = first.last + 1
    sites = {m.first: m.last for m in sentence.mentions if m.table == "sites"}
    own = {m.first: m.last for m in sentence.mentions if m.table == "sites" and m.first <= first.first <= m.last}
    at = max([at, *(last + 1 for last in own.values())])
    named = at
    while at < len(tokens) and (at in sites or tokens[at].norm in (
        side_turns.BEHIND if at == named else side_turns.BEHIND | side_turns.OF_PART
    )):  # fmt: skip
        at = sites.get(at, at) + 1
    turned = any(token.norm in _TURNS for token in tokens[: first.first])
    if turned and at == named:  # "then the left tennis elbow, ..."
        at = max((m.last + 1 for m in sentence.mentions if m.first == at and m.table in _NOUNS), default=at)
    if at + 1 < len(tokens) and tokens[at].norm.isalpha() and tokens[at + 1].norm == ":":
        at += 1  # "R orifice: wire ..."
    led = any(token.norm in ("on", "to") for token in tokens[: first.first])
    then = bool(first.first) and tokens[0].norm in ("then", "next", "now")
    led = led or then and any(m.table == "sites" and m.id in operated and m.last == at - 1 for m in sentence.mentions)
    led = led or tokens[at - 1].norm in _ORDER  # "right knee first lateral approach"
    if at < len(tokens) and tokens[at].norm not in _SHUT and not led:
        return None
    return first
