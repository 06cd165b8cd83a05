"""Implants that were there before this operation: what is called old, what such a thing held, and what came out later
and was only said to be there ("the old plate had eight screws in it, we took out seven"). What was put in and taken out
on the same day is no removal of hardware."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from pipeline import clauses, replacements
from pipeline.records import Fact, Reading, Sentence

_KINDS = frozenset({"device", "device_size", "device_count"})
_OLD = frozenset("old existing previous previously prior preexisting pre-existing indwelling original".split())
_HELD = frozenset("had has contained containing held with by fixed consisted consisting of locked including".split())
_NEW = frozenset("new replaced exchanged and then but , ;".split())
_THERE = frozenset("there situ present had has contained showed shows seen visible palpable loose broken".split())
_BEFORE, _HELD_REACH = 4, 12  # tokens
# With these words a thing may have been put in today, and come out again on the same day.
_PUT = frozenset(
    "inserted insert placed place put fixed secured screwed deployed seated impacted cemented implanted applied locked "
    "replaced exchanged new repaired used fixation fix provisional provisionally temporary temporarily hold held "
    "holding reduction passed drilled advanced introduced driven positioned sutured loaded introducing passing placing "
    "inserting using then".split()
)


def mark(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts, implants from before with the status "historical". Pure; order kept."""
    out: dict[str | None, int] = {fact.name: fact.evidence.first for fact in reversed(facts)
                                  if fact.kind in _KINDS and fact.role == "explanted" and fact.name
                                  and fact.status == "performed" and fact.certainty == "affirmed"}  # fmt: skip
    tried = min((fact.evidence.first for fact in facts if fact.role == "trial"), default=None)
    marked: list[Fact] = []
    placed: set[str | None] = set()  # what was put in earlier on this day
    for fact in facts:
        sentence = reading.sentence_at(fact.evidence.first)
        if sentence is None:
            marked.append(fact)
        elif tried is not None and fact.evidence.first > tried and fact.name in _PROSTHESES and (
            fact.role == "explanted" or fact.kind in ("procedure", "act")
        ) and not sentence.says(_BAD):
            marked += [replace(fact, role="trial")] if fact.kind in _KINDS else []  # it came out again
        elif _is_implant(fact):
            before = _was_there(fact, sentence, out) and not (
                fact.name in placed and _was_placed_before(fact, sentence)
            )
            placed |= set() if before else {fact.name}
            marked.append(replace(fact, status="historical") if before else fact)
        elif fact.kind in _KINDS and fact.role == "explanted" and fact.status == "performed":
            marked.append(replace(fact, status="historical") if _came_out_later(fact, sentence) else fact)
        elif fact.kind == "procedure" and fact.name == "removal-of-hardware" and fact.status == "performed":
            marked.append(replace(fact, kind="act") if _was_put_today(fact, sentence, facts) else fact)
        else:
            marked.append(fact)
    return marked


def _was_placed_before(fact: Fact, sentence: Sentence) -> bool:
    """ "Using the previously placed anchor": in the telling of an operation that placed one."""
    before = [token.norm for token in sentence.tokens if token.last < fact.evidence.first][-_BEFORE:]
    return any(before[at : at + 2] in _EARLIER for at in range(len(before) - 1))


_EARLIER = tuple(["previously", verb] for verb in ("placed", "inserted", "passed", "implanted", "mentioned", "loaded"))
_PROSTHESES = frozenset({"prosthesis", "explantation-of-the-prosthesis"})
_BAD = _OLD | frozenset({"infected", "loose", "loosened", "failed", "worn", "broken", "explanted"})
_TO_YEAR = frozenset("out in removed was were taken came since then of again it ( ,".split())
_SPANS = frozenset({"d", "wk", "mo", "a"})


def _came_out_later(fact: Fact, sentence: Sentence) -> bool:
    """ "The plate came out a year later": told of the years before this operation."""
    tokens = sentence.tokens
    for at, token in enumerate(tokens):
        if token.first <= fact.evidence.last or token.quantity is None:
            continue
        if clauses.is_year(token) and all(other.norm in _TO_YEAR for other in tokens[:at]
                                          if other.first > fact.evidence.last):  # fmt: skip
            return True  # "plate out 2010"
        if token.quantity.unit not in _SPANS:
            continue
        after = [other.norm for other in tokens[at + 1 : at + 3]]
        behind = sum(other.first > fact.evidence.last for other in tokens[:at])
        return behind <= _HELD_REACH and after[:1] in (["later"], ["ago"], ["afterwards"]) and not any(
            other.norm in (".", ";") for other in tokens[:at] if other.first > fact.evidence.last
        )
    return False


def _was_put_today(removal: Fact, sentence: Sentence, facts: Sequence[Fact]) -> bool:
    """ "Two K-wires for provisional fixation ... the K-wires were removed": a step, and no removal of hardware."""
    words = {_singular(word) for word in removal.evidence.heard.lower().split()}
    return any(
        fact.kind == "device" and fact.role != "explanted" and fact.status == "performed"
        and fact.certainty == "affirmed" and fact.evidence.last < sentence.tokens[0].first
        and _singular(fact.evidence.heard.lower().split()[-1]) in words
        for fact in facts
    )  # fmt: skip


def _singular(word: str) -> str:
    return word.strip(".,;:").removesuffix("s").rsplit("-")[-1]


def _is_implant(fact: Fact) -> bool:
    return (fact.kind in _KINDS and fact.role == "implanted" and fact.certainty == "affirmed"
            and fact.status == "performed")  # fmt: skip


def _was_there(fact: Fact, sentence: Sentence, out: Mapping[str | None, int]) -> bool:
    tokens = sentence.tokens
    at = next((index for index, token in enumerate(tokens) if token.last >= fact.evidence.first), 0)
    if any(one.cue == at for one in replacements.in_sentence(sentence)):
        return False  # "the old insert exchanged for a 14 mm"
    if _stays_in(sentence, at, fact) and not sentence.says(_PUT_IN):
        return True
    dated = sentence.says(_OLD)
    end = next((index for index, token in enumerate(tokens) if token.last >= fact.evidence.last), at)
    counted = fact.kind == "device_count" and at < end and tokens[at].quantity is not None  # "two old anchors"
    if dated and (_is_old(sentence, at) or (counted and _is_old(sentence, end))):
        return True
    old = next((index for index in range(at) if _is_old(sentence, index + 1)), None) if dated else None
    if old is not None and at - old <= _HELD_REACH:
        between = {token.norm for token in tokens[old:at]}
        if between & _HELD and not between & (_NEW | _PUT - _HELD):
            return True
    later = out.get(fact.name)
    if later is None or later <= fact.evidence.last:
        return False
    return not any(token.norm in _PUT for token in tokens) and _said_there(sentence, at)


def _stays_in(sentence: Sentence, at: int, fact: Fact) -> bool:
    """ "The screw stays", "the plate was left in place", "a screw from the previous operation", "we leave the plate
    alone": what nobody put in today was there."""
    norms = [token.norm for token in sentence.tokens]
    end = next((index for index, token in enumerate(sentence.tokens) if token.last >= fact.evidence.last), at) + 1
    behind = norms[end : end + _STAYED]
    behind = behind[next((n for n, norm in enumerate(behind) if norm not in ("was", "is", "were", "are")), 0) :]
    if behind[:1] and behind[0] in _STAYS:
        return True
    into = behind[1:2] == ["in"] and behind[2:3] in (["the"], ["a"], ["each"])  # "six clips left in the cavity"
    if behind[:1] == ["left"] and not into and (behind[1:2] in (["in"], ["over"], ["alone"], ["there"], ["behind"])):
        return True
    if behind[:1] == ["still"] and behind[1:2] == ["in"]:
        return True
    if "from" in behind[:3] and not {*behind[behind.index("from") :][1:4]}.isdisjoint(_BEFORE_TODAY):
        return True
    left = norms[max(0, at - 3) : at]
    if "," in left or behind[1:2] in (["all"], ["total"]):
        return False  # "four on the left, eight screws in all"
    verb = next((place for place, norm in enumerate(left) if norm in ("leave", "leaving", "left")), None)
    if verb is None or not set(left[verb + 1 :]) <= _POINTS:
        return False  # "left wrist: screw 24 mm in the scaphoid"
    return behind[:1] in (["alone"], ["in"], ["there"], ["be"])


_STAYED = 6  # tokens
_POINTS = _OLD | frozenset("the this that these those a one two three other its all #number".split())
_PUT_IN = frozenset("inserted placed put fixed implanted seated deployed screwed cemented impacted used new".split())
_STAYS = frozenset({"stays", "stay", "stayed", "remains", "remain", "remained", "retained"})
_BEFORE_TODAY = frozenset({"previous", "first", "last", "index", "before", "earlier", "old", "primary"})


def _said_there(sentence: Sentence, at: int) -> bool:
    """Whether a word near a thing, no comma between, tells that it was there: not "the nerve was seen, two plates"."""
    end = min(len(sentence.tokens), at + _HELD_REACH)
    for way in (range(at - 1, max(-1, at - _HELD_REACH), -1), range(at + 1, end)):
        for place in way:
            token = sentence.tokens[place]
            if token.norm in (",", ";", "."):
                break
            if token.norm in _THERE:
                return True
    return False


def _is_old(sentence: Sentence, at: int) -> bool:
    """Whether a word for "from before" stands right before a token, of the same thing ("fourteen year old" is none)."""
    words = [token.norm for token in sentence.tokens[max(0, at - _BEFORE) : at]]
    follows = [token.norm for token in sentence.tokens[at : at + 1]]
    for back in range(len(words) - 1, -1, -1):
        if words[back] in _NEW:
            return False
        if words[back] == "prior" and "to" in [*words, *follows][back + 1 : back + 2]:
            return False  # "prior to placement of the rods"
        if words[back] in _OLD:
            return words[max(0, back - 1) : back] not in (["year"], ["years"], ["month"], ["months"])
    return False
