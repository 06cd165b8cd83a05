"""Whether "left" or "LT" before a state is a side after all ("LT intact", "drum left intact, right perforated", but "SL
and LT intact" tells of a ligament), whether a "right" is none but said to begin with, whether a "left" tells what
remained, whether a side is that of a limb out of the way, and whether it is the one that it was not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from pipeline.records import Mention, Sentence

WRITTEN = {"rt": "right", "lt": "left"}  # "rt handed", "lt lateral" are no sides either
_STATES = frozenset({"intact", "untreated", "free", "open"})
# Words beside which "LT" is the lunotriquetral ligament, and what is told of it.
_LIGAMENTS = frozenset({"sl", "tfcc", "scapholunate", "tfc", "druj", "lunotriquetral"})
_OF_LIGAMENT = frozenset(
    "intact normal stable tear torn ligament interval and , geissler grade gr partial lax attenuated frayed . complete "
    "ballottement probed instability injury".split()
)


def is_ligament(sentence: Sentence, at: int) -> bool:
    """ "SL grade 2, LT normal, TFCC torn": whether "LT" at a token is the ligament of the wrist."""
    tokens = sentence.tokens
    after = tokens[at + 1].norm if at + 1 < len(tokens) else "."
    return tokens[at].text == "LT" and after in _OF_LIGAMENT and sentence.says(_LIGAMENTS)


def is_side(sentence: Sentence, at: int) -> bool:
    """Whether the "left" at a token leads what is told of that side, and nothing was left so."""
    tokens = sentence.tokens
    if tokens[at].norm == "lt" or _leads_article(sentence, at):
        return True
    if tokens[at].norm != "left" or at + 1 >= len(tokens) or tokens[at + 1].norm not in _STATES:
        return False
    led = at == 0 or tokens[at - 1].norm in (",", ":", ";")
    paired = any(
        before.norm in (",", ";", "and") and after.norm == "right"
        for before, after in pairwise(tokens[at + 2 : at + 8])
    )
    # "drum left intact, right perforated": the other one stands as short
    short = tokens[at + 2 : at + 3] and tokens[at + 2].norm in (",", ";") and tokens[at + 3 : at + 4] and (
        tokens[at + 3].norm == "right" and not any(
            m.table == "sites" and m.first == at + 4 for m in sentence.mentions
        )
    )
    return paired if led else bool(short)


def _leads_article(sentence: Sentence, at: int) -> bool:
    """ "Both feet, left a fusion and the right a toe": each side leads what was done there."""
    norms = [token.norm for token in sentence.tokens[at : at + _EACH_OWN]]
    if norms[:1] != ["left"] or norms[1:2] not in (["a"], ["an"]):
        return False
    before = [token.norm for token in sentence.tokens[max(0, at - _REST_NEAR) : at]]
    pairs = any(one == "right" and after in ("a", "an") for one, after in pairwise(norms))
    return pairs or any(one == "right" and after in ("a", "an") for one, after in pairwise(before))


_EACH_OWN = 12  # tokens


def is_none(sentence: Sentence, norms: list[str], at: int) -> bool:
    """Whether the word at a token is no side, or the one that it was not. `norms`: words of the sentence, folded."""
    return (
        _is_denied(norms, at) or _stays_in(norms, at) or _stands_out(sentence, at) or _was_left(sentence, at)
        or _remains(sentence, at) or _is_query(sentence, at) or _is_direction(sentence, at)
        or _out_of_the_way(sentence, at) or lies_on(norms, at) is not None
    )  # fmt: skip


def _is_direction(sentence: Sentence, at: int) -> bool:
    """ "Head rotated 30 degrees left", "9 mm midline shift to the left": which way, behind how far."""
    tokens = sentence.tokens
    if at + 1 < len(tokens) and not tokens[at + 1].punctuation and tokens[at + 1].norm not in _AFTER_WAY:
        return False
    back = at - 1
    while back > 0 and tokens[back].norm in ("to", "the", "side", "towards", "toward"):
        back -= 1
    far = False
    while back > 0 and (tokens[back].quantity is not None or tokens[back].norm in ("degrees", "degree", "about", "by")):
        far, back = True, back - 1
    norm = tokens[back].norm if back >= 0 else ""
    return norm in _SHIFTS or (far and norm in _TURNED)


_SHIFTS = frozenset({"shift", "shifted", "tilt", "deviation", "deviated"})
_TURNED = frozenset("rotated turned tilted rolled angled deviated rotation displaced pointing".split())
_AFTER_WAY = frozenset("side and in with on under for over".split())


def lies_on(norms: Sequence[str], at: int) -> int | None:
    """The first token of "lying on his left side", "turned over onto the left side", "left side up": how the patient
    lies, and no side of anything; None where the "left" or "right" at a token is not told so."""
    if norms[at + 1 : at + 2] != ["side"]:
        return None
    if norms[at + 2 : at + 3] and norms[at + 2] in ("up", "uppermost", "upmost"):
        return at
    if at < _TO_VERB or norms[at - 1] not in _WHOSE or norms[at - 2] not in ("on", "onto"):
        return None
    first = at - _TO_VERB
    while first > 0 and norms[first] in _HOW_LAID:
        first -= 1
    if norms[first] in _LAID:
        return first
    whom = {"he", "she", "patient", "pt", "him", "her", "mister", "missus"} & set(norms[max(0, first - 3) : first])
    return first if norms[first] in _BROUGHT and whom else None


_TO_VERB = 3  # tokens from the verb to the side
_WHOSE = frozenset({"his", "her", "their", "the"})
_HOW_LAID = frozenset({"over", "now", "then", "up", "flat", "propped", "well", "carefully"})
_LAID = frozenset("lying lies lay laid turned rolled flipped he's she's patient he she propped wedged".split())
_BROUGHT = frozenset({"placed", "put", "positioned", "was", "is", "sat", "set"})


def _stays_in(norms: Sequence[str], at: int) -> bool:
    """ "A ten french drain left nothing for the lab": what stayed where it was put, before another matter."""
    before, after = norms[at - 1] if at else "", norms[at + 1] if at + 1 < len(norms) else ""
    return norms[at] == "left" and before in _STAYS and after in _ANOTHER_MATTER


def _was_left(sentence: Sentence, at: int) -> bool:
    """ "The third too small and left.", "looked at and left": what was done with it, at the end of its clause."""
    tokens = sentence.tokens
    ends = at + 1 >= len(tokens) or tokens[at + 1].norm in (".", ";", ",")
    if tokens[at].norm != "left" or not ends or at < 2 or tokens[at - 1].norm != "and":
        return False
    before = tokens[at - 2].norm
    return before in _SAID_OF or (before.endswith("ed") and len(before) > 4)


def _stands_out(sentence: Sentence, at: int) -> bool:
    """ "Two wires left 2 mm proud of the skin", "the pins left long": how far what was put in stands out."""
    tokens = sentence.tokens
    if tokens[at].norm != "left" or not at or tokens[at - 1].punctuation:
        return False
    after = at + 1
    while after < len(tokens) and (tokens[after].quantity is not None or tokens[after].norm in ("about", "just", "a")):
        after += 1
    return after < len(tokens) and tokens[after].norm in _OUT


_OUT = frozenset("proud long prominent outside sticking protruding buried standing".split())
_SAID_OF = frozenset("small big large deep high tiny at seen normal intact healthy stable benign soft".split())
_STAYS = frozenset({"drain", "catheter", "pack", "stent", "tube", "vacuum"})
_ANOTHER_MATTER = frozenset(
    "nothing no none count blood complication specimen skin closed wound portal for until".split()
)
_TALK = frozenset("so we i now then let lets let's i'm we're we've he's she's what how ok okay "
                  "well next that's that this the good there it here and".split())  # fmt: skip


_TALK_ON = frozenset("this so we i we're we've i'm i've that's let's okay ok".split())


def is_talk(sentence: Sentence, sided: Mapping[Mention, bool]) -> bool:
    """ "Right, so the knee was opened", "Right, elective section for twins,": said to begin with, and no side.

    `sided`: operations, diagnoses and parts of the sentence -> whether they have a left and a right.
    """
    norms = [token.norm for token in sentence.tokens]
    if norms[:1] == ["right"] and norms[1:2] and norms[1] in _TALK_ON:
        return True  # "right this is the left knee for ..."
    if norms[:2] != ["right", ","] or len(norms) < 3:
        return False
    end = next((at for at in range(2, len(norms)) if sentence.tokens[at].punctuation), len(norms))
    named = {mention.table: paired for mention, paired in sided.items() if mention.first < end}
    return norms[2] in _TALK or ("procedures" in named and not any(named.values()) and "#level" not in norms)


def _is_denied(norms: list[str], at: int) -> bool:
    """Whether a side is the one that it was not: "knee arthroscopy, not the left", "the right rather than the left"."""
    at -= 1
    while at >= 0 and norms[at] in ("the", "on", "in", "of", "at", "for", "to"):
        if norms[at] == "of" and norms[max(0, at - 1)] == "instead":
            return True
        at -= 1
    return at >= 0 and (norms[at] == "not" or norms[max(0, at - 1) : at + 1] == ["rather", "than"])


def _remains(sentence: Sentence, at: int) -> bool:
    """ "A rim of 4 mm left", "stump left 2 cm", "no fragments left": whether the "left" at a token tells what remained.
    Not where the other side is told in the same breath ("margin left 2 mm, right 3 mm")."""
    tokens = sentence.tokens
    if tokens[at].norm != "left" or sentence.says(_RIGHT):
        return False
    before = [token.norm for token in tokens[max(0, at - _REST_NEAR) : at]]
    if not before or before[-1] in _LEADS:
        return False
    shut = at + 1 >= len(tokens) or tokens[at + 1].punctuation or tokens[at + 1].norm in _GOES_ON
    amount = at + 1 < len(tokens) and tokens[at + 1].quantity is not None
    if before[-1] in _OF_NOTHING:
        return shut
    if before[-1] in _REST:
        denied = not _NONE.isdisjoint(before[-_DENIED_NEAR:])  # "no cartilage left on top"
        shut = shut or (denied and tokens[at + 1].norm in _LIES)
        return shut or amount or tokens[at + 1].norm in _MEASURED_OUT
    since = max((one for one, norm in enumerate(before) if norm in _MARKS), default=-1)
    clause = before[since + 1 :]
    if shut and not _NONE.isdisjoint(clause) and clause[-1] in _TAKEN_OUT:
        return True
    if shut and clause[:1] == ["no"] and any(m.table == "sites" and m.last == at - 1 for m in sentence.mentions):
        return True  # "no supra- or infraspinatus left; subscapularis repaired"
    if shut and (_THERE_IS & set(clause[:1]) or clause[:1] == ["there"]):
        return True  # "there's a small defect left"
    return shut and not _REST.isdisjoint(clause) and any(
        token.quantity is not None for token in tokens[at - len(clause) : at]
    )


_THERE_IS = frozenset({"there's", "that's", "leaves", "leaving"})
_RIGHT, _REST_NEAR = frozenset({"right"}), 7  # tokens from what is left of something to the word
_LEADS = frozenset({"the", "on", "in", "of", "to", "his", "her", "their", "side", "from"})
_GOES_ON = frozenset({"and", "in", "behind", "after", "at", "for", "to", "so", "then", "over", "there", "we", "but"})
_DENIED_NEAR, _LIES = 3, frozenset({"on", "over", "under", "inside", "anywhere", "underneath", "beneath"})
_MEASURED_OUT = frozenset({"about", "of", "around", "roughly", "approximately", "only"})
_OF_NOTHING = frozenset({"none", "nothing", "anything", "any", "much", "enough", "little"})
_NONE = frozenset({"no", "not", "any", "without"})
_MARKS = frozenset({",", ".", ";", ":", "?"})
# What is left of a thing that was cut, and what is looked for until there is none.
_REST = frozenset(
    "rim remnant remnants stump rest remainder residue residual sleeve shell tail bridge rind meniscus cartilage bone "
    "tissue margin lip strut".split()
)
_TAKEN_OUT = frozenset(
    "body bodies fragment fragments stone stones tumour tumor debris polyp polyps clot clots cement pus flap flaps "
    "synovium disc calculi tissue hardware metal screws wires glue remnants products deposits".split()
)


def _out_of_the_way(sentence: Sentence, at: int) -> bool:
    """ "Left foot padded", "left leg in the other boot": whether the side at a token leads a limb told to be out
    of the way, and nothing else of it."""
    tokens = sentence.tokens
    limb = at + 1
    if limb < len(tokens) and tokens[limb].norm in ("lower", "upper"):
        limb += 1
    if limb >= len(tokens) or tokens[limb].norm not in _PUT_AWAY:
        return False
    for index in range(limb + 1, min(limb + _WAYS_NEAR, len(tokens))):
        norm = tokens[index].norm
        after = {token.norm for token in tokens[index + 1 : index + 3]}
        if norm == "free" and {token.norm for token in tokens[max(0, at - 3) : at]} & _DRAPED:
            return False  # "draped the left arm free": to work on
        if norm in _WORN and _is_for_later(sentence, index):
            return False
        if norm in _AWAY or (norm == "free" and index <= limb + 2 and not after & _FREE_FLAP):
            return True
        if norm not in _LIGHT:
            return False
    return False


def _is_for_later(sentence: Sentence, at: int) -> bool:
    """ "Left foot in a boot, no weight for six weeks": whether what a limb lies in is ordered for the time after."""
    return sentence.section in _LATER or any(
        token.norm in _FOR_LATER or (token.quantity is not None and token.quantity.unit in ("d", "wk", "mo"))
        for token in sentence.tokens[at + 1 :]
    )


_LATER = frozenset({"aftercare", "follow-up", "disposition"})
_FOR_LATER = frozenset("until till weeks days weight weightbearing nwb wbat clinic home crutches".split())
_WORN = frozenset({"boot", "boots", "gutter"})  # else the traction boot, the gutter of the table
_DRAPED = frozenset({"draped", "drape", "draping", "prepped", "prepared"})
_FREE_FLAP = frozenset({"flap", "graft", "tissue", "transfer", "of", "from", "fat"})
_PUT_AWAY = frozenset("arm forearm hand leg foot thigh calf heel limb extremity elbow knee".split())
_WAYS_NEAR = 7  # tokens
_LIGHT = frozenset(
    "in on is was were a an the its his her well other lies lying placed put kept held hangs hanging rests resting and "
    "up down gently safely just at".split()
)
_AWAY = frozenset(
    "boot boots stirrup stirrups holder post padded strapped tucked board armboard rest pillow gutter support "
    "tray splayed secured taped lithotomy traction-boot".split()
)


def turns_to(sentence: Sentence, at: int) -> bool:
    """ "Moving to the left.", "we go to the right side", "on to the left": whether "to the ..." before the side at a
    token tells that the work went on there, and no direction ("head turned to the left")."""
    tokens = sentence.tokens
    if at < 2 or [token.norm for token in tokens[at - 2 : at]] != ["to", "the"]:
        return False
    after = tokens[at + 1].norm if at + 1 < len(tokens) else "."
    marked = any(token.punctuation for token in tokens)
    if marked and after not in _SHUT_BY and not tokens[min(at + 1, len(tokens) - 1)].punctuation:
        return False
    norms = [token.norm for token in tokens[: at - 2]]
    loose = not marked and not _TURNED_THINGS & set(norms[-4:])  # in speech without marks anything may stand before
    if loose and norms and norms[-1] in ("over", "on"):
        return True
    while norms and norms[-1] in ("over", "on", "back", "across", "straight") and len(norms) > 1:
        norms.pop()
    if not norms:
        return True  # "To the left now."
    verb, before = norms[-1], norms[-2] if len(norms) > 1 else "."
    if verb in _GOING:
        return loose or before in _AHEAD_OF_VERB
    if verb in _WENT:
        return not _US.isdisjoint(norms[-4:-1]) or (len(norms) == 1 and verb != "turned")
    return verb in _LINKS and (loose or before in _AHEAD_OF_VERB or len(norms) == 1)


_TURNED_THINGS = frozenset(
    "head neck face table patient bed body light camera monitor he she rolled tilted rotated leaning bent eye scope "
    "gaze chin trachea spine deviated deviation shift needle".split()
)
_SHUT_BY = frozenset({"side", "now", "next", "again", "and", "where", "one", "first", "for", "with"})
_GOING = frozenset({"moving", "going", "switching", "proceeding", "coming", "crossing", "turning", "continuing"})
_WENT = frozenset(
    "move moved go went turn turned switch switched proceed proceeded come came cross crossed continue continued "
    "directed attention".split()
)
_LINKS = frozenset({"then", "now", "next", "on", "over", "and", "attention", "back", "so"})
_AHEAD_OF_VERB = _MARKS | {"and", "then", "now", "next", "so", "we're", "i'm", "are", "am", "ok", "okay", "before"}
_US = frozenset({"we", "i", "attention", "then"})


def _is_query(sentence: Sentence, at: int) -> bool:
    """ "Two litres, right?": asks whether it is so."""
    norms = [token.norm for token in sentence.tokens[at - 1 : at + 2]] if at else []
    return norms[1:] == ["right", "?"] and norms[0] not in _LEADS | {"or"}
