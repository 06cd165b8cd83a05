"""Devices that were opened and did not stay: dropped, contaminated, wasted, sent back, or changed for another.

"A second mesh was opened but returned", "one screw was dropped on the floor and replaced": not used. "The sixteen did
not bite and was changed for an eighteen": it came out, and the other one is in. All that was said of the device (its
size, its count) shares its fate.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline import replacements
from pipeline.records import Fact, Reading, Sentence, Token, replace

_KINDS = frozenset({"device", "device_size", "device_count", "drain", "drain_size"})


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_NEVER_IN = _words("unused wasted discarded dropped contaminated desterilised desterilized unsterile returned rejected "
                   "binned")  # fmt: skip
_BACK = frozenset({("went", "back"), ("sent", "back"), ("put", "back"), ("handed", "back"), ("given", "back"),
                   ("thrown", "away"), ("not", "used"), ("not", "needed"), ("not", "required"), ("not", "implanted"),
                   ("never", "used"), ("not", "deployed"), ("not", "opened"), ("not", "placed"),
                   ("not", "inserted")})  # fmt: skip
_NO_PASS = _words("pass fit seat go hold bite")
_TRIALLED = _words("trialled trialed tried")
_CHANGED = _words("exchanged changed swapped replaced upsized downsized")
_CHANGING = _words("exchanging changing swapping replacing")
_REMOVED = _words("removed explanted")
_TAKEN_OUT = frozenset({("taken", "out"), ("pulled", "out"), ("came", "out")})
_TELLING = (_TRIALLED | _NO_PASS | _NEVER_IN | _CHANGED | _CHANGING | _REMOVED
            | {last for _, last in (*_BACK, *_TAKEN_OUT)})  # fmt: skip
_FOR = _words("for by with to")
_SO = _words("so therefore hence")
_DENIED = _words("not never nothing")
_TOO = _words("long short big large small wide narrow thick loose tight")
_PASSIVE = _words("was were been being is and then immediately promptly subsequently therefore so had got it be which "
                  "that but opened found to too long short big large small loose tight in out on the floor drapes from "
                  "trial used pulled failed could would did not bite hold engage get purchase came fall fell hit a an "
                  "first off table again because as stripped bent broke broken torn haptic haptics damaged "
                  "shelf stock standby cracked kinked leaking defective faulty taken deployed migrated "
                  "snared")  # fmt: skip
_REACH = 14  # tokens between a device and what became of it
_OUTS = ("implanted", "used", None)  # a drain has no role


def set_aside(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts; what was not used is denied (role "not_used"), what was changed for another is "explanted". Pure."""
    fates: dict[str, str] = _changed_in_the_next(facts, reading)
    replaced, some = _replaced(facts, reading)
    for fact in facts:
        if fact.kind not in _KINDS or fact.group is None or fact.status != "performed":
            continue
        sentence = reading.sentence_at(fact.evidence.first)
        if sentence is None:
            continue
        wire = fact.name in _WIRES and fact.role == "implanted" and _is_held_for_now(sentence, fact)
        if wire or fact.role in ("implanted", "explanted") and _is_provisional(sentence, fact):
            fates.setdefault(fact.group, "used")
            continue
        fate = _fate(fact, sentence, facts)
        if fate:
            fates[fact.group] = "not_used" if "not_used" in (fate, fates.get(fact.group)) else fate
    fates |= {group: fate for group, fate in replaced.items() if fates.get(group) != "not_used"}
    return [_told(_less(fact, some), fates) for fact in _faulty(facts, reading)]


def _faulty(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """ "Head plus four was too long": whether that size stayed in was not said."""
    told: list[Fact] = []
    for fact in facts:
        sized = fact.kind == "device_size" and fact.role == "implanted"
        sentence = reading.sentence_at(fact.evidence.first) if sized else None
        behind = [] if sentence is None else [
            token.norm for token in sentence.tokens if token.first > fact.evidence.last
        ][:3]
        if sentence is not None and fact.done and _is_in_turn(sentence):
            fact = replace(fact, doubts=(*fact.doubts, "a row of sizes is told of; it may only have been tried"))
        faulty = behind[1:2] == ["too"] and behind[0] in ("was", "is", "were", "proved") and behind[-1] in _TOO
        told.append(replace(fact, doubts=(*fact.doubts, f"said to be too {behind[-1]}")) if faulty else fact)
    return told


# "A series of spacers, a size 8 spacer was placed"
_IN_TURN = _words("series sequence sequentially serially upsized upsizing")


def _is_in_turn(sentence: Sentence) -> bool:
    """Whether sizes are told one after the other; not "a series of five 2 mm screws"."""
    tokens = sentence.tokens
    return sentence.says(_IN_TURN) and not any(
        token.norm == "of" and tokens[at - 1].norm == "series" and at + 1 < len(tokens)
        and tokens[at + 1].quantity is not None for at, token in enumerate(tokens) if at
    )


_OFFSET = "said as an offset"


def _replaced(facts: Sequence[Fact], reading: Reading) -> tuple[dict[str, str], set[str]]:
    """The fates of what was replaced and of what came (`replacements.py`), and the groups of which one was replaced.
    Where only an offset changed ("plus four in place of plus nought") what has that size stays."""
    fates: dict[str, str] = {}
    some: set[str] = set()
    before: Sentence | None = None
    things = [fact for fact in facts if fact.kind in _KINDS and fact.group is not None]
    for sentence in reading.sentences:
        for one in replacements.in_sentence(sentence):
            tokens = sentence.tokens
            begins, ends = tokens[one.cue].first, tokens[min(len(tokens) - 1, max(one.new, default=one.cue) + 5)].last
            came = [fact for fact in things if begins <= fact.evidence.first <= ends and (
                fact.evidence.first == begins or one.named
            )]  # fmt: skip
            start = (before or sentence).tokens[0].first
            went = [fact for fact in things if came and start <= fact.evidence.first < begins
                    and (fact.name, fact.text) == (came[0].name, came[0].text)
                    and (not one.offset or any(_OFFSET in doubt for doubt in fact.doubts))]  # fmt: skip
            fates |= {fact.group or "": "implanted" for fact in came[:1]}
            if not went or went[-1].group == came[0].group:
                continue
            here = next((at for at, token in enumerate(tokens) if token.last >= went[-1].evidence.last), 0)
            several = replacements.one_of_them(sentence, here, one.cue) is not None or any(
                fact.kind == "device_count" and fact.group == went[-1].group and (fact.value or 0) > 1
                for fact in things
            )
            if several and not one.offset:
                some.add(went[-1].group or "")
                fates[went[-1].group or ""] = "implanted"
            elif one.offset:
                some.update(f"{fact.group} {fact.value}" for fact in went)
            else:
                tried = replacements.is_tried(sentence, here - 6, one.cue)
                fates[went[-1].group or ""] = "trial" if tried else "explanted"
        before = sentence if sentence.tokens else before
    return fates, some


def _less(fact: Fact, some: set[str]) -> Fact:
    """The count of things of which one was changed, in doubt; an offset that was changed, taken out."""
    if f"{fact.group} {fact.value}" in some and any(_OFFSET in doubt for doubt in fact.doubts):
        return replace(fact, role="explanted")
    if fact.kind == "device_count" and fact.group in some and fact.role == "implanted" and (fact.value or 0) > 1:
        return replace(fact, doubts=(*fact.doubts, "one of them was changed for another"))
    return fact


def _told(fact: Fact, fates: dict[str, str]) -> Fact:
    fate = fates.get(fact.group or "") if fact.kind in _KINDS else None
    if fate == "implanted" and fact.role == "explanted":
        return replace(fact, role="implanted")
    if fate == "used" and fact.role == "explanted":
        return replace(fact, role="used")
    if fate in (None, "implanted") or fact.role not in _OUTS or fact.status != "performed":
        return fact
    if fate == "used":
        return replace(fact, role="used") if fact.role == "implanted" else fact
    if fate == "not_used":
        return replace(fact, certainty="negated", role="not_used")
    if fate == "trial":
        return replace(fact, role="trial")
    return replace(fact, role="explanted") if fact.role == "implanted" and fact.certainty == "affirmed" else fact


_WIRES = frozenset({"k-wire", "steinmann-pin", "pin"})
_FOR_NOW = _words("temporary temporarily provisional provisionally")
_STAYS = _words("cut bent buried left percutaneous percutaneously weeks")
_GUIDES = _words("guide guides")
_MARKS = _words("localize localise locate mark confirm identify")  # a pin laid over the spine for the picture
_PRONOUNS = _words("this it these those they which")
_LATER = 7  # tokens from a pronoun to what became of it


def _is_provisional(sentence: Sentence, fact: Fact) -> bool:
    """ "A provisional plate", "the provisional screws and plates": called so right before its name, or in a row."""
    first = next((at for at, token in enumerate(sentence.tokens) if token.last >= fact.evidence.first), 0)
    before = [token.norm for token in sentence.tokens[max(0, first - _ROW) : first + 1]]
    if "temporary" in before and (fact.name or "").endswith(("screw", "plate", "pin", "k-wire")):
        return not sentence.says(_STAYS) and _ENDS_ROW.isdisjoint(before[before.index("temporary") :])
    return "provisional" in before and _ENDS_ROW.isdisjoint(before[before.index("provisional") :])


_DRILLED, _BLEEDS = _words("drilled fenestrated perforated"), _words("induce stimulate promote encourage")
_ROW, _ENDS_ROW = 4, _words("the a an to was were with for by over")


def _is_held_for_now(sentence: Sentence, fact: Fact) -> bool:
    """ "Temporarily held with two K-wires", "two K-wires as guides": a tool of a step, no implant."""
    norms = [token.norm for token in sentence.tokens]
    if sentence.says(_DRILLED) and any(norm == "to" and _BLEEDS & set(norms[at + 1 : at + 2])
                                       for at, norm in enumerate(norms)):  # fmt: skip
        return True  # "drilled with a wire to induce bleeding"
    told = sentence.says(_FOR_NOW) or any(
        norms[at] == "as" and _GUIDES & set(norms[at + 1 : at + 4]) for at in range(len(norms))
    )
    told = told or any(norm == "to" and _MARKS & set(norms[at + 1 : at + 2]) for at, norm in enumerate(norms))
    if not told or sentence.says(_STAYS):
        return False
    first = next(at for at, token in enumerate(sentence.tokens) if token.last >= fact.evidence.first)
    said = [at for at, norm in enumerate(norms) if norm in _FOR_NOW | _GUIDES | _MARKS]
    between = [norms[min(at, first) : max(at, first)] for at in said]
    return any(";" not in words and len(words) <= _REACH for words in between)


def _changed_in_the_next(facts: Sequence[Fact], reading: Reading) -> dict[str, str]:
    """ "A K-wire was placed. This was then exchanged for a screw.": the group of what the pronoun means."""
    found: dict[str, str] = {}
    for sentence, after in pairwise(reading.sentences):
        norms = [token.norm for token in after.tokens[:_LATER]]
        if not norms or norms[0] not in _PRONOUNS or not any(
            norm in _CHANGED and norms[at + 1 : at + 2] and norms[at + 1] in _FOR for at, norm in enumerate(norms)
        ):
            continue
        index = sentence.tokens[0].first
        held = [fact for fact in facts if fact.kind in _KINDS and fact.role == "implanted" and fact.group is not None
                and index <= fact.evidence.first <= sentence.tokens[-1].last]  # fmt: skip
        if held:
            found[held[-1].group or ""] = "explanted"
    return found


def _fate(fact: Fact, sentence: Sentence, facts: Sequence[Fact]) -> str:
    """ "not_used", "explanted", "implanted" (for another) or "": what the words around a device say of it."""
    if not sentence.says(_TELLING):
        return ""
    tokens = sentence.tokens
    start = next((at for at, token in enumerate(tokens) if token.first > fact.evidence.last), len(tokens))
    ends = [other.evidence.first for other in facts if other.kind in _KINDS and other.group != fact.group
            and other.evidence.first > fact.evidence.last]  # fmt: skip
    end = min([next((at for at, token in enumerate(tokens) if token.first >= first), len(tokens)) for first in ends],
              default=len(tokens))  # fmt: skip
    norms = [token.norm for token in tokens]
    first = next((at for at, token in enumerate(tokens) if token.last >= fact.evidence.first), 0)
    if _told_before(sentence, first):
        return "not_used"
    if _in_its_place(sentence, first):
        return "implanted"
    if start and norms[start - 1] in (".", ";"):
        return ""  # what follows is told of something else
    for at in range(start, min(end, start + _REACH)):
        quantity = tokens[at].quantity
        if at == start and quantity is not None and quantity.value == 1 and not quantity.unit and (
            norms[at - 1].endswith("s")
        ):
            return ""  # "three anchors one pulled out": told of one of them
        if norms[at] in (".", ";", "?", "!") or (
            quantity is not None and quantity.form == "ordinal" and norms[at - 1] in ("the", "a")
        ):
            return ""  # "three anchors, the fourth was not needed": told of another one
        denied = bool(_DENIED & set(norms[max(start, at - 2) : at])) or norms[first - 1 : first] == ["no"]
        if norms[at] in _NEVER_IN and not denied:
            return "not_used"
        if tuple(norms[at : at + 2]) in _BACK or norms[at] in _TRIALLED and _TOO & set(norms[at + 1 : at + 5]):
            return "not_used"  # "10 mm trialled, too loose"
        if norms[at] in _NO_PASS and denied and norms[start : start + 1] != ["for"]:
            behind = norms[at + 1 : at + 3]
            if behind and (behind[0] in _SO or behind[:1] == [","] and behind[-1] in _SO):
                return "not_used"  # "would not fit so a twenty one millimetre valve was put in"
            if _is_another_told(tokens, at):
                return "not_used"
            continue
        if not denied and (norms[at] in _REMOVED or tuple(norms[at : at + 2]) in _TAKEN_OUT):
            return "explanted"
        if norms[at] in _CHANGING and norms[at + 1 : at + 2] and norms[at + 1] in _PRONOUNS and not denied:
            return "explanted"  # "... and exchanging these for screws"
        if norms[at] in _CHANGED and at + 1 < len(norms) and norms[at + 1] in _FOR and not denied:
            return "explanted"
        if norms[at] not in _PASSIVE and norms[at] not in _TOO and not tokens[at].punctuation and (
            tokens[at].quantity is None and norms[at] not in _NO_PASS
        ):  # fmt: skip
            return ""
    return ""


def _is_another_told(tokens: Sequence[Token], at: int) -> bool:
    """ "A 36 mm cup would not fit, a 34 mm cup was placed": what did not fit gave way to one of another size."""
    for token in tokens[at + 1 : at + 1 + _SOON]:
        if token.norm in (".", ";") or token.norm in _AFTER_ALL | _CHANGED:
            return False
        if token.norm in _OTHER_SIZE or (token.quantity is not None and token.quantity.dimension in _SIZES):
            return True
    return False


_SOON = 6  # tokens
_AFTER_ALL = _words("after until dilated dilatation dilation reamed reaming eventually finally once")
_OTHER_SIZE = _words("smaller larger bigger shorter longer thinner thicker next size")
_SIZES = frozenset({"length", "french", "gauge", ""})

_LED = _words("a an the one first second other this that single and another")


def _told_before(sentence: Sentence, first: int) -> bool:
    """ "Dropped one screw", "an unused mesh": the verb in the active voice, or the word as an adjective."""
    at = first - 1
    while at >= 0 and (sentence.tokens[at].norm in _LED or sentence.tokens[at].quantity is not None):
        at -= 1
    before = [token.norm for token in sentence.tokens[max(0, at - 2) : at]]
    said = sentence.tokens[at].norm if at >= 0 else ""
    if at > 0 and sentence.tokens[at - 1].quantity is not None:
        return False  # "cell saver two hundred returned two drains"
    return said in _NEVER_IN and not _DENIED & set(before) and not _words("was were been being") & set(before[-1:])


def _in_its_place(sentence: Sentence, first: int) -> bool:
    """ "... was replaced by a 5.5 mm anchor": what came instead."""
    tokens = sentence.tokens
    at = first - 1
    while at >= 0 and (tokens[at].norm in _LED | {"new", "longer", "shorter", "larger", "smaller", "x"}
                       or tokens[at].quantity is not None):  # fmt: skip
        at -= 1
    return at > 0 and tokens[at].norm in _FOR and tokens[at - 1].norm in _CHANGED
