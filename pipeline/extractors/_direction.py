"""Which way an amount went: out of the bone or into the patient, and into what it was only put by the way."""

from __future__ import annotations

from typing import Any

from pipeline import cues
from pipeline.extractors import _amount_words as words
from pipeline.extractors import base
from pipeline.extractors._beside_amount import LOOKS
from pipeline.grammar import Grammar
from pipeline.records import Mention, Quantity, Sentence

_INTO = frozenset("into in to each around beneath under".split())
_TO_SITE = frozenset("left right l r lt rt the of concentrate ia".split())  # "6 mL IA R knee"
_REACH = 9


def held_in(sentence: Sentence, index: int) -> bool:
    """ "Sixty mils into two thirty mil syringes": what it was drawn into, no part of the patient."""
    tokens = sentence.tokens
    if index + 1 >= len(tokens) or tokens[index + 1].norm not in ("in", "into"):
        return False
    if into_one(sentence, index):
        return True
    for token in tokens[index + 2 : index + 7]:
        if token.punctuation:
            return False
        if token.norm in words.VESSELS:
            return True
    return False


def went_in(sentence: Sentence, at: int) -> bool:
    """ "The other twenty eight went in", "so twenty six go in": into the patient; not "went in the bag", nor "the
    needle went in three centimetres"."""
    tokens = sentence.tokens
    if at + 1 >= len(tokens) or tokens[at].norm not in words.WENT or tokens[at + 1].norm != "in":
        return False
    way = tokens[at + 2].quantity if at + 2 < len(tokens) else None
    tool = _TOOLS & {token.norm for token in tokens[max(0, at - 2) : at]}
    if tool or (way is not None and way.dimension == "length"):
        return False
    return not {token.norm for token in tokens[at + 2 : at + 5]} & (words.VESSELS | words.BENCH)


_TOOLS = frozenset("needle needles trocar cannula jamshidi wire drill reamer scope we i he she".split())


def is_spin(sentence: Sentence, at: int, quantity: Quantity) -> bool:
    """ "Fourteen minutes at 2500": how long it was spun, without a word of the centrifuge."""
    tokens = sentence.tokens
    if quantity.unit != "min" or at + 2 >= len(tokens) or tokens[at + 1].norm != "at":
        return False
    speed = tokens[at + 2].quantity
    return speed is not None and not speed.dimension and (speed.value or 0) >= _SLOWEST


_SLOWEST = 300  # turns a minute; common practice, no source


def into_one(sentence: Sentence, index: int) -> bool:
    """ "Twenty into the first syringe and twenty into the second": one draw, by what holds it."""
    behind = [token for token in sentence.tokens[index + 1 : index + 4] if token.norm not in ("the", "in")]
    which = behind[1].quantity if len(behind) > 1 and behind[0].norm == "into" else None
    return which is not None and which.form == "ordinal" and sentence.says(words.VESSELS)


def received(sentence: Sentence, index: int) -> bool:
    """ "The right hip got four mils", "the right hip took five millilitres": it went in there."""
    tokens = sentence.tokens
    for at in range(max(1, index - 2), index):
        if tokens[at].norm in words.RECEIVED:
            return True
        if tokens[at].norm in ("took", "takes") and any(
            site.last == at - 1 and "crest" not in site.id for site in base.mentions(sentence, "sites")
        ):
            return True
    return False


def after_giving(sentence: Sentence, index: int) -> bool:
    """ "Five millilitres into the tear and one into the bursa, eight altogether": whether the amount before a total
    went into the patient, so that the total is of what was given."""
    tokens = sentence.tokens
    before = next((at for at in range(index - 1, max(-1, index - _SINCE), -1) if tokens[at].quantity is not None), None)
    quantity = tokens[before].quantity if before is not None else None
    if before is None or quantity is None or held_in(sentence, before):
        return False
    volume = quantity.dimension in ("volume", "")
    into = tokens[before + 1].norm == "into"
    return volume and into and not any(token.norm in words.OUT for token in tokens[before:index])


_SINCE = 14  # tokens


def is_drawn(sentence: Sentence, index: int) -> bool:
    """ "Fifty four mils of blood were drawn into six of ACD-A, so sixty altogether": nothing of it was given."""
    told = [token.norm for token in sentence.tokens[:index]]
    drawn = {at for at, norm in enumerate(told) if norm in ("drawn", "drew") and told[at + 1 : at + 2] != ["up"]}
    return bool(drawn) and not set(told) & (words.PUT | words.WENT | words.GAVE)


def target(sentence: Sentence, index: int) -> Mention | None:
    """ "Four in each knee", "three right hip under fluoroscopy", "three mils and two in the plateau": the site that an
    amount goes into; none where marrow is taken from."""
    tokens = sentence.tokens
    for site in base.mentions(sentence, "sites"):
        if site.first <= index:
            continue
        between = list(tokens[index + 1 : site.first])
        while len(between) > 1 and between[0].norm == "and" and between[1].quantity is not None:
            between = between[2:]
        if len(between) > _REACH or any(token.punctuation or token.quantity for token in between):
            continue
        said = {token.norm for token in between}
        if {"came", "back"} <= said or said & {"turned", "supine", "prone"}:
            return None  # "five mils came back, scope in the knee", "seven mils, turned him supine, right knee"
        if "from" in said or "iliac-crest" in site.id:
            return None
        if said & _INTO or not said - _TO_SITE:
            return site
    return None


def place(sentence: Sentence, index: int) -> Mention | None:
    """The site of an amount: its own target, else the one that was gone into before: "went into the condyle and gave
    three mils and two mils in the plateau"."""
    own = target(sentence, index)
    if own is not None and not any(token.quantity for token in sentence.tokens[index + 1 : own.first]):
        return own
    if any(token.norm == "into" for token in sentence.tokens[index + 1 : index + _REACH]):
        return None  # "two tracks to the subchondral bone, six mils of it through the cannula into the head"
    volumes = [at for at, _ in base.quantities(sentence, "volume") if at < index]
    taken = [target(sentence, at) for at in volumes]
    sites = [site for site in base.mentions(sentence, "sites") if site.last < index]
    if not sites or sites[-1] in taken or any(at > sites[-1].last for at in volumes):
        return None
    before = [token.norm for token in sentence.tokens[max(0, sites[-1].first - 3) : sites[-1].first]]
    return sites[-1] if {"into", "in", "to"} & set(before) and "iliac-crest" not in sites[-1].id else None


def thrown(sentence: Sentence, index: int) -> bool:
    """ "Throw the 14 mL of red cells away", "we throw away nineteen of the plasma"."""
    before = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    if len(before) == 2 and before[0] in _THROW and before[1] in ("away", "out"):
        return True
    if not before or (before[-1] not in _THROW and not (before[0] in _THROW and before[-1] in ("the", "those"))):
        return False
    for token in sentence.tokens[index + 1 : index + 7]:
        if token.punctuation or token.quantity is not None:
            return False
        if token.norm in ("away", "out"):
            return True
    return False


def as_ordered(sentence: Sentence, index: int) -> dict[str, Any]:
    """The status of "nurse, please throw the 14 mL away": an order at the table, carried out there and then."""
    asked = any(token.norm == "please" for token in sentence.tokens[max(0, index - 4) : index])
    return {"status": "performed"} if asked and thrown(sentence, index) else {}


_THROW = frozenset("throw throws threw throwing thrown".split())


def to_bench(sentence: Sentence, index: int) -> bool:
    """ "Half a mil to the lab", "one mL in the freezer", "two went for culture": no part of it was given."""
    after: list[str] = []
    for token in sentence.tokens[index + 1 : index + 7]:
        if token.punctuation or token.quantity is not None:
            break
        after.append(token.norm)
    if after in (["count"], ["qc"], ["lab"], ["culture"], ["cell", "count"]):
        return True  # "inj 4.5 mL, 0.5 mL count"
    lead = next((at for at, norm in enumerate(after[:4]) if norm in ("to", "for", "in")), None)
    return lead is not None and bool(words.BENCH & set(after[lead + 1 : lead + 4])) and "joint" not in after[:lead]


def led_in(sentence: Sentence, index: int) -> bool:
    """ "Concentrate in, three mils each pass": what goes in was told right before."""
    tokens = sentence.tokens
    if index < 3 or tokens[index - 1].norm not in (",", ":", "-") or tokens[index - 2].norm != "in":
        return False
    return tokens[index - 3].norm in words.PRODUCTS | words.WENT | {"marrow", "aspirate", "product", "it", "all"}


def all_in(sentence: Sentence, index: int) -> bool:
    """ "Then the whole five mils in", "all six millilitres went in": nothing was kept of what there was."""
    tokens = sentence.tokens
    after = [token.norm for token in tokens[index + 1 : index + 4]]
    went = 1 if after[:1] == ["went"] else 2 if after[:1] in (["was"], ["were"]) and after[1:2] != ["drawn"] else 0
    before = {token.norm for token in tokens[max(0, index - 2) : index]}
    in_it = after[went : went + 1] in (["in"], ["into"]) and not held_in(sentence, index)
    return in_it and bool(before & {"whole", "all"})


def to_part(sentence: Sentence, index: int) -> bool:
    """ "5 mL to the right head and 5 mL to the left": where it went to."""
    words_after = [token.norm for token in sentence.tokens[index + 1 : index + 4] if not token.punctuation]
    return words_after[:1] == ["to"] and bool({"left", "right"} & set(words_after)) and not held_in(sentence, index)


def is_vessel(sentence: Sentence, at: int) -> bool:
    """ "2 x 30 mL syringes": what it was drawn into was counted."""
    return at < len(sentence.tokens) and sentence.tokens[at].norm in words.VESSELS


def is_size_of_vessel(sentence: Sentence, index: int) -> bool:
    """ "Through a fourteen mil bucket", "six syringes of ten millilitres each had been filled with ACD": how much a
    thing holds, not how much there was."""
    tokens = sentence.tokens
    held = index > 1 and tokens[index - 1].norm == "of" and tokens[index - 2].norm in words.COUNTED_VESSELS
    if held and _FILLED & {token.norm for token in tokens[index + 1 : index + 6]}:
        return True
    return index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm in words.SIZED


_FILLED = frozenset("prefilled preloaded loaded primed wetted wet rinsed coated flushed heparinised filled".split())


def looks_like_fluid(sentence: Sentence, index: int) -> bool:
    """ "Aspirated 22 mL clear", "thirty of straw coloured fluid": out of a joint, no marrow."""
    behind = {token.norm for token in sentence.tokens[index + 1 : index + 5] if token.quantity is None}
    return bool(behind & LOOKS) and not behind & {"marrow", "aspirate"}


def out_of_joint(sentence: Sentence, index: int) -> int | None:
    """ "Joint aspirated 6 mL", "knee aspirated under sterile conditions thirty five mils", "nine aspirated from the
    joint": the token that tells of fluid out of a joint that was told right beside it; None where there is none, and
    for marrow."""
    tokens = sentence.tokens
    if (beside := _emptied(sentence, index)) is not None:
        return beside
    at = index - 1
    while at > 0 and index - at <= _TO_TAP and tokens[at].norm not in _OUT_OF and (
        (said := tokens[at].quantity) is None or said.form == "ordinal"
    ):  # "aspirated first, twelve ml clear"
        at -= 1
    parted = _COMES_NEXT - {","} if looks_like_fluid(sentence, index) else _COMES_NEXT
    if at < 1 or tokens[at].norm not in _OUT_OF or parted & {token.norm for token in tokens[at + 1 : index]}:
        return None
    last = at - 1 - (tokens[at - 1].norm in ("was", "were"))
    told = last >= 0 and (tokens[last].norm == "joint" or any(
        site.last == last and site.id in _JOINTS for site in base.mentions(sentence, "sites")
    ))  # fmt: skip
    return at if told else None


def _emptied(sentence: Sentence, index: int) -> int | None:
    """ "Nine mils drained", "nine aspirated from the joint", "the joint was emptied of nine": the token of the verb."""
    tokens = sentence.tokens
    at = index + 1
    while at < len(tokens) and tokens[at].norm in words.IS:
        at += 1
    off = at + 1 < len(tokens) and tokens[at + 1].norm == "off"  # "sixty mils drained off and thrown out"
    if at < len(tokens) and tokens[at].norm in _EMPTIED and not off:
        return at
    if at < len(tokens) and tokens[at].norm in words.OUT and tokens[at + 1 : at + 2] and (
        tokens[at + 1].norm in ("from", "out", "off")
    ):
        near = range(at + 2, at + 6)
        joint = any(token.norm in ("joint", "bursa") for token in tokens[at + 2 : at + 6])
        if joint or any(m.first in near and m.id in _JOINTS for m in base.mentions(sentence, "sites")):
            return at
    if index > 1 and tokens[index - 1].norm == "of" and tokens[index - 2].norm in (*_EMPTIED, "aspirated"):
        return index - 2
    return None


_EMPTIED = frozenset({"drained", "tapped", "emptied", "evacuated", "relieved"})
_TO_TAP = 5  # tokens
_OUT_OF = ("aspirated", "drained")
_COMES_NEXT = frozenset("then and injected of . ; , with no".split())
_JOINTS = frozenset("knee hip ankle shoulder elbow wrist glenohumeral-joint".split())


def headed(sentence: Sentence, index: int) -> Mention | None:
    """ "Left hip: seven millilitres", "right knee, three, left knee two": the site that leads a statement, or a part of
    it, of nothing else."""
    tokens = sentence.tokens
    low = max((at + 1 for at, _ in cues.numbers(sentence) if at < index), default=0)
    sites = [site for site in base.mentions(sentence, "sites") if low <= site.first and site.last < index]
    if len(sites) != 1 or "iliac-crest" in sites[0].id:
        return None
    if index + 1 < len(tokens) and not tokens[index + 1].punctuation and tokens[index + 1].norm not in _NEXT_PART:
        return None
    inside = range(sites[0].first, sites[0].last + 1)
    rest = {tokens[at].norm for at in range(low, index) if at not in inside}
    return sites[0] if rest <= _HEAD else None


_HEAD = frozenset({"left", "right", "l", "r", "the", ":", ",", "-", "and", "then", "in", "into", "another"})
_NEXT_PART = frozenset({"and", "then", "left", "right"})


def from_bone(sentence: Sentence, index: int, grammar: Grammar) -> bool:
    """ "Fifty five mils from the crest": it came out of the bone, whatever was made of it."""
    tokens = sentence.tokens
    if index + 1 >= len(tokens) or tokens[index + 1].norm not in ("from", "out"):
        return False
    return any(0 < hit.first - index <= _FROM for hit in cues.hits(sentence, grammar, "marrow"))


_FROM = 7


def of_other(sentence: Sentence, index: int) -> bool:
    """Whether a drug or a fluid stands in the phrase of an amount: "fifteen mils of half percent bupivacaine"."""
    tokens = sentence.tokens
    for mention in base.mentions(sentence, "drugs", "fluids"):
        between = tokens[index + 1 : mention.first] if mention.first > index else tokens[mention.last + 1 : index]
        behind = tokens[mention.last + 1].quantity if mention.last + 1 < len(tokens) else None
        if mention.first == index + 1 and behind is not None and behind.dimension == "volume":
            continue  # "together forty millilitres citrate four millilitres"
        if len(between) <= _PHRASE and not any(
            token.punctuation or token.norm in ("and", "then") or token.norm == "#volume" for token in between
        ):
            return True
    return False


_PHRASE = 5


def moved(sentence: Sentence, index: int) -> bool:
    """ "Half a turn back, three mils": what was drawn after the needle was moved."""
    tokens = sentence.tokens
    for at in range(index - 1, max(-1, index - 4), -1):
        quantity = tokens[at].quantity
        if tokens[at].norm in words.MOVES or (quantity is not None and quantity.dimension == "turns"):
            return True
        if quantity is not None and (quantity.dimension != "length" or not (
            words.MOVES & {token.norm for token in tokens[max(0, at - 3) : at + 3]}
        )):  # fmt: skip
            return False
        if quantity is not None:
            return True  # "advanced 1 cm more, 5 mL", "back 5 mm: 4 mL"
    return False
