"""Implants that this operation took out: what a removal of hardware names is no implant of today.

"Plate and nine screws out": explanted. "One screw was left in place": it stays from before. Where something was put in
as well, only what is told to have come out counts as such.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace
from itertools import pairwise

from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Device

_KINDS = frozenset({"device", "device_size", "device_count"})
_REMOVAL = frozenset({"removal-of-hardware"})
_OF_JOINT = frozenset({"explantation-of-the-prosthesis"})  # takes out the parts of a joint, and nothing else
_PUT = frozenset(
    "inserted insert placed place put fixed secured screwed deployed seated impacted cemented implanted applied locked "
    "replaced exchanged new repaired used insertion".split()
)
_STAYS = frozenset({"stays", "stay", "stayed", "remains", "remain", "remained", "retained", "left"})
_IN_PLACE = frozenset({"place", "situ", "in", "behind", "there", "buried"})
_OUT = frozenset({"out", "explanted", "extracted"})
_TAKING = frozenset({"removal", "extraction", "explantation", "retrieved", "removed"})
_WAY = frozenset("and the all both a of came come taken brought backed were was came with its their".split())
_REACH = 8
_NEW = frozenset({"antibiotic-spacer", "cement-spacer", "antibiotic-beads"})  # put in where a joint came out


def explant(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, implants that came out with the role "explanted", those left from before as history. Pure; order kept.
    """
    removal, of_joint = _is_removal(facts, _REMOVAL), _is_removal(facts, _OF_JOINT)
    revision = any(name.startswith("revision-") for name in _done(facts))
    named = frozenset(name for name in _done(facts) if name.endswith("-removal") and _is_removal(facts, {name}))
    fixed = [fact.evidence.first for fact in facts if fact.kind == "act" and fact.name == "internal-fixation"
             and fact.done]  # fmt: skip
    told = [
        _told(fact, sentence, grammar, removal or f"{fact.name}-removal" in named, of_joint, revision)
        if fact.kind in _KINDS and fact.role == "implanted" and fact.certainty == "affirmed" and (
            (sentence := reading.sentence_at(fact.evidence.first)) is not None and not _fixed_by(sentence, fixed)
        ) else fact
        for fact in facts
    ]  # fmt: skip
    return [_doubted(_as_the_thing(fact, told), reading) for fact in told]


def _doubted(fact: Fact, reading: Reading) -> Fact:
    """ "Six locking screws, four retrieved": how many there were, and fewer that came out."""
    sentence = reading.sentence_at(fact.evidence.first) if fact.kind == "device_count" else None
    if sentence is None or fact.role != "explanted" or fact.value is None:
        return fact
    for token, behind in pairwise(sentence.tokens):
        own = token.quantity.value if token.quantity is not None else None
        fewer = own is not None and 0 < own < fact.value
        if token.first > fact.evidence.last and fewer and behind.norm in _GOT_OUT:
            doubt = f"'{token.text} {behind.text}' is told of them: how many came out is less than there were"
            return replace(fact, doubts=tuple(dict.fromkeys((*fact.doubts, doubt))))
    return fact


_GOT_OUT = frozenset({"retrieved", "removed", "recovered", "extracted", "out", "came", "explanted"})


def _fixed_by(sentence: Sentence, fixed: Sequence[int]) -> bool:
    """ "2. Revision fixation with a plate and screws": told of what was put in, whatever was removed before."""
    first, last = sentence.tokens[0].first, sentence.tokens[-1].last
    return any(first <= at <= last for at in fixed) and not sentence.says(_CAME_OUT)


_CAME_OUT = frozenset("removal removed remove removing out explanted extracted".split())


def _as_the_thing(fact: Fact, facts: Sequence[Fact]) -> Fact:
    """ "K-wire x1 temp, removed", "one plate seen left in": a count or a size has the fate of its thing."""
    if fact.kind not in _KINDS - {"device"} or fact.role != "implanted" or fact.status != "performed":
        return fact
    thing = next((
        other for other in facts
        if other.kind == "device" and other.name == fact.name and other.certainty == "affirmed"
        and fact.evidence.first <= other.evidence.first and other.evidence.last <= fact.evidence.last
    ), None)  # fmt: skip
    gone = thing is not None and (thing.role == "explanted" or thing.status == "historical")
    return replace(fact, role=thing.role, status=thing.status) if gone and thing is not None else fact


def _done(facts: Sequence[Fact]) -> set[str]:
    return {fact.name or "" for fact in facts if fact.kind == "procedure" and fact.status == "performed"
            and fact.certainty == "affirmed"}  # fmt: skip


def _is_removal(facts: Sequence[Fact], removals: Set[str]) -> bool:
    """Whether one of these removals was done and no other operation that implants."""
    done = _done(facts)
    if removals == _REMOVAL and _in_passing(facts):
        return False
    others = {name for name in done - _REMOVAL - _OF_JOINT if not name.endswith("-removal")}
    return bool(done & removals) and not any(_implants(name) for name in others)


def _in_passing(facts: Sequence[Fact]) -> bool:
    """ "... tibial screw removed. BTB autograft ... anchor": one step among others, after which implants are told."""
    told = [fact for fact in facts if fact.kind == "procedure" and fact.name in _REMOVAL
            and fact.status == "performed" and fact.certainty == "affirmed"]  # fmt: skip
    if not told or not all(fact.evidence.heard.lower().rstrip(".,;:").endswith(_PARTICIPLES) for fact in told):
        return False
    last, before = told[-1].evidence.last, told[0].evidence.first
    grafted = any(fact.kind == "device" and fact.name in _GRAFTS and fact.evidence.first > last for fact in facts)
    return before > _TITLE and grafted


_PARTICIPLES = ("removed", "out")
_GRAFTS = frozenset({"autograft", "allograft", "tendon-graft", "bone-graft"})  # nobody takes hardware out with a graft
_TITLE = 6  # words


def _implants(name: str) -> bool:
    return any(part in name for part in ("plasty", "fixation", "fusion", "desis", "reconstruction", "orif", "nailing",
                                         "revision", "exchange", "repair", "implant", "pinning"))  # fmt: skip


def _told(fact: Fact, sentence: Sentence, grammar: Grammar, removal: bool, of_joint: bool,
          revision: bool) -> Fact:  # fmt: skip
    row = grammar.table("devices", Device).get(fact.name or "")
    if row is not None and not row.implant:
        return fact
    revised = revision and row is not None and row.group == "joint-prosthesis"
    if revised and _stays(_behind(fact, sentence)) and "in" in _behind(fact, sentence)[:3]:
        return replace(fact, status="historical")  # "hip revision ... stem left in"
    removal = removal or (of_joint and row is not None and row.group == "joint-prosthesis" and fact.name not in _NEW)
    after = _behind(fact, sentence)
    if removal and _stays(after):
        return replace(fact, status="historical")
    if _comes_out(fact, sentence) or _is_named(fact, sentence) or _and_out(fact, sentence):
        return replace(fact, role="explanted")
    if removal and not _is_put(sentence):
        return replace(fact, role="explanted")
    return fact


def _is_named(fact: Fact, sentence: Sentence) -> bool:
    """Whether the name of an operation says it: "removal of a breast implant"."""
    first, last = fact.evidence.first, fact.evidence.last
    return any(
        mention.table == "procedures" and mention.id.endswith("-removal")
        and sentence.tokens[mention.first].first <= first and last <= sentence.tokens[mention.last].last
        for mention in sentence.mentions
    )


def _and_out(fact: Fact, sentence: Sentence) -> bool:
    """ "To dislocate the prosthesis and remove it"."""
    after = _behind(fact, sentence)[:4]
    return any(verb in _VERBS and what in ("it", "them") for verb, what in pairwise(after))


_VERBS = frozenset({"remove", "removed", "extract", "extracted", "explant", "explanted"})


def _is_put(sentence: Sentence) -> bool:
    """Whether a sentence tells that something was put in; "cemented" right before a thing tells how it had been."""
    things = {mention.first for mention in sentence.mentions if mention.table == "devices"}
    return any(
        token.norm in _PUT and not (token.norm == "cemented" and at + 1 in things)
        for at, token in enumerate(sentence.tokens)
    )


def _behind(fact: Fact, sentence: Sentence) -> list[str]:
    """The words behind a thing, up to a full stop or the next number."""
    found: list[str] = []
    for token in sentence.tokens:
        if token.first > fact.evidence.last and not token.punctuation:
            if token.quantity is not None or len(found) == _REACH:
                break
            found.append(token.norm)
    return found


def _stays(after: list[str]) -> bool:
    return any(
        word in _STAYS and (word != "left" or bool(_IN_PLACE & set(after[at + 1 : at + 3])))
        for at, word in enumerate(after)
    )


def _comes_out(fact: Fact, sentence: Sentence) -> bool:
    """Whether "out" follows a thing, with only other things and numbers between ("plate and nine screws out")."""
    named = {at for mention in sentence.mentions if mention.table == "devices"
             for at in range(mention.first, mention.last + 1)}  # fmt: skip
    for at, token in enumerate(sentence.tokens):
        if token.first <= fact.evidence.last:
            continue
        if token.norm in _TAKING:
            return not _is_to_come(sentence, at)  # "tibial rod removal"
        if token.norm in _OUT:
            return not (token.norm == "out" and (_is_carried(sentence, at) or _is_to_come(sentence, at)))
        if not (at in named or token.quantity is not None or token.norm in _WAY or token.norm == ","):
            return False
    return False


def _is_to_come(sentence: Sentence, at: int) -> bool:
    """ "Screws out 1 y", "wires out six weeks": when they will come out."""
    ahead = sentence.tokens[at + 1 : at + 4]
    ahead = ahead[1:] if ahead and ahead[0].norm in ("in", "at", "after") else ahead
    quantity = ahead[0].quantity if ahead else None
    if quantity is None:
        return False
    unit = ahead[1].norm if len(ahead) > 1 else ""
    return quantity.dimension == "time" or (not quantity.dimension and unit in ("y", "yr", "yrs", "mo", "wk", "w", "/"))


def _is_carried(sentence: Sentence, at: int) -> bool:
    """ "Screws out of the tray", "carried out" tell nothing of a removal."""
    tokens = sentence.tokens
    behind = [token.norm for token in tokens[at + 1 : at + 4]]
    return behind[:1] == ["of"] and bool({"tray", "set", "box"} & set(behind))
