"""Whether a side said elsewhere in a sentence is for a thing too, or for the way in or another part or statement."""

from __future__ import annotations

from pipeline import clauses, denied_sides, donor_sides
from pipeline.records import Mention, Sentence
from pipeline.side_names import BREAKS
from pipeline.sidewords import Side

_WITH = frozenset({"with", "via", "through", "by", "using", "from"})


def of_way(sentence: Sentence, side: Side, first: int, last: int) -> bool:
    """ "Fusion with a left transforaminal approach", "angiogram through the right radial": from where it was done."""
    tokens = sentence.tokens
    behind = [at for at in range(side.last + 1, min(side.last + _WAY, len(tokens))) if not first <= at <= last]
    before = {token.norm for token in tokens[max(0, side.first - 2) : side.first]}
    if before & (_WITH | {"("}) and any(tokens[at].norm in _WAYS for at in behind):
        return True
    if behind[:1] == [side.last + 1] and tokens[side.last + 1].norm in _WAYS and sentence.says(_ANTERIOR):
        return True  # "ACDF C5-6, right sided approach": on what lies in the middle
    if not before & _THROUGH or not behind or tokens[behind[0]].norm not in _VESSELS:
        return False
    return not any(  # a catheter lies in the vein that it came through
        m.table == "devices" and "catheter" in m.id and m.first <= last and m.last >= first for m in sentence.mentions
    )


_WAY = 4  # words
_WAYS = frozenset({"approach", "access", "exposure"})
_THROUGH = frozenset({"through", "via", "from"})
_ANTERIOR = frozenset({"acdf", "cervical", "alif", "corpectomy"})
_VESSELS = frozenset(
    "radial femoral brachial ulnar jugular subclavian groin cfa transradial transfemoral nostril naris".split()
)
_OWN = frozenset({"procedures", "diagnoses"})
_PARTS = frozenset({"acts", "findings", "devices", "drains", "complications", "diagnoses", "procedures"})


def of_later_part(sentence: Sentence, side: Side, first: int, last: int) -> bool:
    """ "Glands preserved, one reimplanted on the left": behind a comma, with what is told of it there. The name of an
    operation or a diagnosis may have its side at the end of a list."""
    if side.first <= last:
        return False
    tokens = sentence.tokens
    marks = [at for at in range(last + 1, side.first) if tokens[at].punctuation]
    if any(m.table in _OWN and m.first <= last and m.last >= first for m in sentence.mentions):
        listed = any(tokens[at].norm in (",", ";") for at in marks)
        led = _led(sentence, side) if listed else None  # "AAA 6.1 cm, right iliac aneurysm 3.8 cm"
        return led is not None and led.table in _OWN
    return bool(marks) and (
        any(m.table in _PARTS and marks[-1] < m.first < side.first for m in sentence.mentions)
        or any(clauses.is_participle(sentence, at) for at in range(marks[-1] + 1, side.first))
    )


def of_complaint(sentence: Sentence, found: list[Side], last: int) -> bool:
    """ "ACDF C6/7 for right arm pain": the only side tells why, and not where."""
    tokens = sentence.tokens
    told = [side for side in found if not of_way(sentence, side, -1, -1)]
    return bool(told) and all(
        side.first > last and any(token.norm == "for" for token in tokens[last + 1 : side.first])
        and any(token.norm in _COMPLAINTS for token in tokens[side.last + 1 : side.last + _WAY])
        for side in told
    )


_COMPLAINTS = frozenset(
    "pain pains weakness radiculopathy sciatica brachialgia numbness symptoms claudication paraesthesia paresthesia "
    "radiculitis deficit".split()
)


BRACKETS = "its sides stand in brackets, each with a part of its own"


def in_brackets(sentence: Sentence, sides: list[Side], last: int) -> bool:
    """Whether the sides behind a name stand in its brackets, each with a part of its own: "ORIF mandible (right
    parasymphysis, left angle)"."""
    tokens = sentence.tokens
    opened = next((at for at in range(last + 1, min(last + _WAY, len(tokens))) if tokens[at].norm == "("), None)
    if opened is None:
        return False
    shut = next((at for at in range(opened, len(tokens)) if tokens[at].norm == ")"), len(tokens))
    parts = [tokens[side.last + 1].norm for side in sides if side.last + 1 < shut]
    return all(opened < side.first < shut for side in sides) and len(set(parts)) == len(sides) and all(
        part.isalpha() and part not in BREAKS for part in parts
    )


def told_later(sentence: Sentence, side: Side, last: int) -> bool:
    """Whether a side after a thing is what a later clause tells of: "stenosis on ultrasound, the right is occluded"."""
    start, end = clauses.bounds(sentence, side.first)
    verbs = [at for at in range(side.first, end) if sentence.tokens[at].norm in clauses.FINITE]
    return start > last and side.first - start <= 2 and bool(verbs) and verbs[0] - side.last <= SUBJECT


SUBJECT = 4  # words of what is told of, behind its side


_HELD = frozenset("had has held contained showed bore revealed harboured".split())


def of_subject(sentence: Sentence, found: list[Side], first: int) -> Side | None:
    """The side of what a clause tells that it had something: "left ovary had a six centimetre endometrioma"."""
    tokens = sentence.tokens
    verb = next((at for at in range(first - 1, max(0, first - _TOLD), -1) if tokens[at].norm in _HELD), None)
    if verb is None:
        return None
    near = [side for side in found if verb - SUBJECT <= side.last < first]
    if len(near) != 1 or near[0].last >= verb or any(
        token.punctuation or token.norm in ("and", "no", "not") for token in tokens[near[0].last + 1 : first]
    ):  # fmt: skip
        return None
    return near[0]


_TOLD = 7  # words from the verb on to what is told


def _marked(sentence: Sentence) -> bool:
    """Whether a sentence is not a long stream of speech, in which nobody said where a phrase ends."""
    return len(sentence.tokens) <= _STREAM


_STREAM = 40  # tokens


def closing(sentence: Sentence, found: list[Side], last: int) -> Side | None:
    """The side that ends the phrase of a thing: "chest tube placed to the apex on the left", where nothing else is
    named between the two and no other side is said behind it."""
    later = [side for side in found if side.first > last] if _marked(sentence) else []
    if len({side.value for side in later}) != 1 or later[0].value not in ("left", "right"):
        return None
    if later[0].first - last > _PHRASE:
        return None
    side, tokens = later[0], sentence.tokens
    shut = side.last + 1 >= len(tokens) or tokens[side.last + 1].punctuation or (
        any(m.table == "sites" and m.first == side.last + 1 for m in sentence.mentions)
        or (side.last + 2 < len(tokens) and tokens[side.last + 1].norm.isalpha() and tokens[side.last + 2].punctuation)
    )  # fmt: skip
    between = range(last + 1, side.first)
    sized = all(tokens[at].quantity or tokens[at].punctuation or tokens[at].norm in _SIZE for at in between)
    if not shut or (not sized and any(tokens[at].punctuation or tokens[at].norm in _JOIN for at in between)):
        return None
    if sized and any(tokens[at].punctuation for at in between):  # "Redivac, ten French, on the left"
        return side if not any(tokens[at].norm in (".", ";") for at in between) else None
    if any(m.table in _NAMED - {"sites"} and m.first in between for m in sentence.mentions):
        return None
    led = any(tokens[at].norm in _LED for at in between) or (sized and len(between) > 0)
    return side if led and not clauses.parted(sentence, last, side.first) else None


def on_both_sides(sentence: Sentence, found: list[Side], last: int) -> bool:
    """ "Twenty two gauge spinal needle on both sides", right behind a thing."""
    tokens = sentence.tokens
    side = next((one for one in found if one.first > last), None)
    return side is not None and side.value == "bilateral" and side.first - last <= _NOUN and all(
        tokens[at].norm in _LED for at in range(last + 1, side.first)
    )


def ends_on_both(sentence: Sentence, word: int) -> bool:
    """ "TQ 300 both, R 58 min": whether "both" ends the phrase of a number that ends at a word."""
    tokens = sentence.tokens
    at = next((at for at, token in enumerate(tokens) if token.first > word), len(tokens))
    while at > 1 and (tokens[at - 1].punctuation or tokens[at - 1].norm in BOTH):
        at -= 1  # "21G both."
    at += [token.norm for token in tokens[at : at + 2]] in (["on", "both"], ["to", "both"])  # "soft dressing on both."
    both = at < len(tokens) and tokens[at].norm in BOTH and not tokens[at - 1].punctuation
    stream = not any(token.punctuation for token in tokens)  # "full weight bearing both stitches out at twelve days"
    return both and (at + 1 == len(tokens) or tokens[at + 1].punctuation or (
        stream and any(m.first == at + 1 and m.table != "sites" for m in sentence.mentions)
    ))


def led_into(sentence: Sentence, sides: list[Side], last: int) -> Side | None:
    """The side of the part that an amount ending at a token was given at: "two mils under the left nipple"."""
    tokens = sentence.tokens
    at = last + 1
    if at >= len(tokens) or tokens[at].norm not in _GIVEN_AT:
        return None
    while at < len(tokens) and tokens[at].norm in _GIVEN_AT | {"the", "his", "her"}:
        at += 1
    side = next((one for one in sides if one.first == at and one.value in ("left", "right")), None)
    return side if side is not None and _led(sentence, side) is not None else None


_GIVEN_AT = frozenset("into in under around beneath behind over to at through".split())
BOTH = frozenset({"both", "bilaterally", "bilat"})


def tells_state(sentence: Sentence, side: Side) -> bool:
    """ "In the left was dry": whether a state is told of a side right behind it."""
    tokens = sentence.tokens
    at = side.last + 2
    if at >= len(tokens) or tokens[at - 1].norm not in ("was", "were", "is"):
        return False
    return tokens[at].norm in _WELL or clauses.is_state(sentence, at) or any(
        m.table == "findings" and m.first == at for m in sentence.mentions
    )


_LED = frozenset("on in to into at through of under around beneath behind over near inside".split())
_SIZE = frozenset({"x", "on", "in", "to", "the", "at", "size", "french", "each", "a", "one", "single"})
_PHRASE = 12  # words from a thing to the side that ends its phrase
_JOIN = frozenset({"and", "but", "then", "while", "with", "no", "not", "from"})
_NAMED = frozenset("sites findings diagnoses acts procedures devices drains approaches complications".split())
_NOUN = 3  # words from a side to the noun that it leads


def of_another_part(sentence: Sentence, found: list[Side], value: str, thing: Mention, site: str) -> bool:
    """Whether every side of this value leads a noun that is neither a thing nor the part that it is in: "through the
    left nostril the palate was retracted", "uterus and appendix normal, a large left adnexal mass"."""
    leads = [_led(sentence, side) for side in found if side.value == value]
    return bool(leads) and all(
        noun is not None and noun.id != site and (noun.last < thing.first or noun.first > thing.last)
        for noun in leads
    )


def _led(sentence: Sentence, side: Side) -> Mention | None:
    """What a side stands right before, over words that describe it."""
    tokens = sentence.tokens
    for at in range(side.last + 1, min(side.last + 1 + _NOUN, len(tokens))):
        broken = tokens[at].norm in BREAKS and (tokens[at].norm != "and" or at == side.last + 1)
        if tokens[at].punctuation or broken or tokens[at].quantity is not None:
            return None  # "the right tube and ovary" goes on
        noun = next((m for m in sentence.mentions if m.table in _NAMED and m.first == at), None)
        if noun is not None:
            return noun
    return None


_INTO = frozenset({"into", "in", "to", "on", "through", "at"})


def on_both(sentence: Sentence, found: list[Side], last: int) -> bool:
    """ "Injected into the right cord and 2 mL into the left cord": what stands before was done to one and the other."""
    tokens = sentence.tokens
    after = [side for side in found if side.first > last and side.value in ("left", "right")]
    if len(after) != 2 or {side.value for side in after} != {"left", "right"}:
        return False
    one, other = after
    leads = [{token.norm for token in tokens[side.first - 2 : side.first]} & _INTO for side in (one, other)]
    if one.first - last > _NOUN or not all(leads):
        return False
    parts = [noun.id if noun is not None and noun.table == "sites" else None for noun in map(
        lambda side: _led(sentence, side), (one, other)
    )]  # fmt: skip
    between = [token.norm for token in tokens[one.last + 1 : other.first]]
    return parts[0] == parts[1] and "and" in between and not any(
        norm in clauses.FINITE or norm.endswith("ed") for norm in between
    )


_TELLING = frozenset("was were is are all noted seen found to be appeared looked both also".split())


def listed_part(sentence: Sentence, side: Side, thing: Mention) -> Mention | None:
    """The part with a side in the list of parts that a thing behind it is told of."""
    part = _led(sentence, side)
    if part is None or part.table != "sites" or part.last >= thing.first:
        return None
    sites = {at for m in sentence.mentions if m.table == "sites" for at in range(m.first, m.last + 1)}
    between = range(part.last + 1, thing.first)
    last = max((at for at in between if at in sites), default=None)
    if last is None or any(
        (token.norm in BREAKS and token.norm != "and") or (token.punctuation and token.norm != ",")
        or token.norm in clauses.FINITE
        for token in sentence.tokens[part.last + 1 : last]
    ):
        return None
    told = [sentence.tokens[at].norm for at in range(last + 1, thing.first)]
    return part if all(norm in _TELLING for norm in told) else None


def on_each(sentence: Sentence, last: int) -> bool:
    """Whether "on each side" or "one per side" ends the phrase of a thing."""
    norms = [token.norm for token in sentence.tokens[last + 1 : last + 1 + _EACH]]
    at = next((at for at in range(len(norms)) if norms[at] == "side" and at and norms[at - 1] in _EACH_SIDE), None)
    if at is None or norms[at + 1 : at + 2] == ["of"]:
        return False  # "three screws on each side of the fracture"
    return not any(norm in (",", ".", ";", "left", "right", "and", "no") for norm in norms[:at])


_EACH = 8  # words
_EACH_SIDE = frozenset({"each", "either", "per"})


def _on_both(sentence: Sentence, found: list[Side], at: int) -> bool:
    """Whether the other side is joined to the one at a token: "on the right with 5 mL and on the left with 4"."""
    tokens = sentence.tokens
    return any(side.first > at and [token.norm for token in tokens[side.first - 3 : side.first]] == ["and", "on", "the"]
               for side in found)  # fmt: skip


def aches(sentence: Sentence, site: Mention | None) -> bool:
    """ "Fusion C5-C6 for a soft disc with right arm pain": where it is felt, and no side of what was done."""
    if site is None or site.id not in _LIMBS:
        return False
    return any(t.norm in _FELT for t in sentence.tokens[site.last + 1 : site.last + 2])


_FELT = clauses.word_set("pain pains numbness weakness tingling paraesthesia paresthesia symptoms")
_LIMBS = clauses.word_set("arm leg hand foot thigh calf forearm upper-extremity lower-extremity")


def is_elsewhere(sentence: Sentence, side: Side, site: Mention | None, first: int, last: int) -> bool:
    """Whether a side tells where marrow or blood was taken, where it aches or what was found well, and not where a
    thing is."""
    if side.first > last and denied_sides.of_denied(sentence, side.first, last):
        return True
    taken = donor_sides.of_crest(sentence, side, first, last) or donor_sides.of_vein(sentence, side.first, first, last)
    return taken or aches(sentence, site) or is_well(sentence, site, first)


def is_well(sentence: Sentence, site: Mention | None, first: int) -> bool:
    """ "The left lung is clear on the scan specimen six biopsies": a part that is told to be well, and what comes after
    is of something else."""
    if site is None or site.last >= first:
        return False
    behind = [token.norm for token in sentence.tokens[site.last + 1 : min(site.last + 5, first)]]
    behind = behind[behind[:1] == ["which"] :][:_IS_WELL]
    return behind[:1] != [] and behind[0] in ("is", "was", "are", "were") and any(norm in _WELL for norm in behind[1:])


def is_left_out(sentence: Sentence, side: Side, first: int) -> bool:
    """ "Nothing went into the left knee which is still good bandage ...": whether what begins at a token is not of a
    side before it, at which nothing was done or that is well."""
    part = _led(sentence, side)
    site = part if part is not None and part.table == "sites" else None
    return denied_sides.closes_denial(sentence, side.first) or is_well(sentence, site, first)


_IS_WELL = 3  # words: "is still good"
_WELL = clauses.word_set("good clear normal healthy fine well unaffected unremarkable untouched quiet asymptomatic dry")


def right_behind(sentence: Sentence, found: list[Side], part: Mention | None, first: int, last: int) -> Side | None:
    """The side right behind a thing, where the one before it is of a part with words between: "weakness of the right
    hand cervical block left twenty five millilitres", "necrosis of both hips core decompression on the right"."""
    if part is None:
        return None
    on = [token.norm for token in sentence.tokens[last + 1 : last + 3]] == ["on", "the"]
    before = next((one for one in reversed(found) if one.last < part.first), None)
    if on and before is not None and before.value == "bilateral" and not _on_both(sentence, found, last + 3):
        return next((one for one in found if one.first == last + 3), None)
    tied = on and any(token.norm == "of" for token in sentence.tokens[max(0, part.first - _NOUN) : part.first])
    if part.last >= first - 1 and not tied:
        return None
    side = next((one for one in found if one.first == last + (3 if on else 1)), None)
    return side if side is not None and _led(sentence, side) is None else None


def title_end(sentence: Sentence) -> int:
    """Where the title of a stream of speech ends: at the patient, the team or a verb, after 25 tokens at most; 0 where
    there is none. Only what the narration begins with, or a procedure's own section, has one."""
    if sentence.section not in _TITLES or (sentence.index > 2 and sentence.section != "procedure"):
        return 0
    for index, token in enumerate(sentence.tokens[:25]):
        told = index > 1 and token.norm in _STORY_BEGINS
        if token.norm in _PERSONS or told or (index > 3 and token.norm in ("was", "were", "is", "are")):
            return index
    return 25


# What no title holds: the story has begun ("bilateral knee arthroscopy right first tourniquet ...").
_STORY_BEGINS = frozenset(
    "then next now starting started begin began beginning moving turning incision tourniquet supine prone".split()
)


_TITLES = frozenset(
    {"", "procedure", "indication", "preop-diagnosis", "postop-diagnosis", "both-diagnoses", "diagnosis"}
)
_PERSONS = clauses.word_set("mister missus miss mr mrs ms doctor dr patient surgeon")
