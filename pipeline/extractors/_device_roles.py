"""What was done with a device: removed, only tried, or there already before the operation."""

from __future__ import annotations

from pipeline import clauses, people
from pipeline.extractors import _care_words
from pipeline.records import Mention, Sentence


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_PASSIVE = _words("was were been being is are")
_ADVERBS = _words("then also now subsequently finally all both easily carefully")


def is_anothers(sentence: Sentence, removed: int, thing: int) -> bool:
    """Whether a word of removal is said of something else than a thing: of the subject before it ("the cannulas were
    removed and cement was injected"), or in another clause ("the plate was fixed and the guide was removed")."""
    tokens = sentence.tokens
    if thing < removed:
        if any(token.norm in _TOO_MUCH for token in tokens[thing + 1 : removed]):
            return True  # "put in with cement, excess cement was removed"
        if any(token.norm in _DENIED for token in tokens[max(thing + 1, removed - 2) : removed]):
            return True  # "three anchors, none pulled out"
        behind = tokens[removed + 1 : removed + 4]
        with_object = any(token.quantity is not None or token.norm in _DETERMINERS for token in behind)
        if with_object and tokens[removed - 1].norm in ("we", "i"):
            return True  # "it had eight screws, we took out seven"
        if removed - thing > _ITS_OWN and _is_one_more(sentence, removed - 1):
            return True  # "two anchors, a third pulled out"
        if tokens[removed - 1].text.lower() == "one" and any(
            tokens[at].norm == "the" for at in range(max(thing + 1, removed - 3), removed - 1)
        ):
            return True  # "two anchors ... the lateral one pulled out"
        one = tokens[removed - 1].quantity
        if removed - thing > 1 and one is not None and one.value == 1 and not one.unit and (
            tokens[removed - 2].norm.endswith("s")
        ):
            return True  # "three anchors one pulled out replaced"
        named = next((m for m in sentence.mentions if m.table == "devices" and m.first == thing), None)
        if named is not None and any(
            m.id == named.id and named.last < m.first < removed and m.last >= removed - _BETWEEN
            for m in sentence.mentions if m.table == "devices"
        ):
            return True  # "second anchor in, third anchor pulled out"
        return _is_findings(sentence, thing, removed) or clauses.parted(sentence, thing, removed)
    at = removed - 1
    while at >= 0 and tokens[at].norm in _ADVERBS:
        at -= 1
    listed = any(token.norm == ":" for token in tokens[removed + 1 : thing])
    between = {token.norm for token in tokens[removed + 1 : thing]}
    if not listed and (tokens[removed].norm == "came" or between & _INSTEAD):
        return True  # "the tooth came out, one plate of two millimetres"
    own = at >= 0 and tokens[at].norm in _PASSIVE and at > 0 and tokens[at - 1].norm not in ("there", "what")
    return (own or tokens[removed].norm in _PASSIVE or _has_subject(sentence, at, removed, thing)) and not listed


def _has_subject(sentence: Sentence, at: int, removed: int, thing: int) -> bool:
    """ "Osteophytes removed, a 3.5 mm screw passed", "cartilage removed, plate and four screws": whether what ends at a
    token is what was removed, as no device, and the thing is told behind a comma."""
    tokens = sentence.tokens
    if at < 0 or tokens[removed].norm not in _REMOVED or not any(
        token.norm in (",", ";") for token in tokens[removed + 1 : thing]
    ):
        return False
    word = tokens[at]
    return word.norm.isalpha() and word.norm not in _NO_SUBJECT and not any(
        m.table == "devices" and m.first <= at <= m.last for m in sentence.mentions
    )


_NO_SUBJECT = _words("we i and we've it them these those metalwork hardware metal implant implants everything all was")


_DENIED = _words("none not never neither nothing no")
_INSTEAD = _words("so instead replaced exchanged making total")  # "pulled out so a 5.5 instead so three anchors in"
_ITS_OWN = 2  # tokens


def _is_one_more(sentence: Sentence, at: int) -> bool:
    """Whether one more is spoken of there: "a third", "and the fourth", ", another"."""
    tokens = sentence.tokens
    at -= tokens[at].norm == "one" and tokens[at - 1].quantity is not None  # "the third one"
    said = tokens[at].quantity
    if said is not None and said.form == "ordinal":
        return tokens[at - 1].norm in ("a", "the") and tokens[at - 2].norm in (",", "and", ";")
    return tokens[at].norm in ("another", "one") and tokens[at - 1].norm in (",", "and", ";")


def _is_findings(sentence: Sentence, thing: int, removed: int) -> bool:
    """ "Drilled with a wire five holes loose body five millimetres removed": what was found stands nearer."""
    found = [mention for mention in sentence.mentions
             if mention.table in _FOUND and thing < mention.first and mention.last < removed]  # fmt: skip
    return bool(found) and not any(token.norm in ("and", "&") for token in sentence.tokens[thing + 1 : found[-1].first])


_FOUND = frozenset({"findings", "specimens"})
_DETERMINERS = _words("the all both a an one")


def stays_in(sentence: Sentence, last: int) -> bool:
    """ "Old screw removed, old button left in place": what stays, right behind the thing."""
    behind = [token.norm for token in sentence.tokens[last + 1 : last + 6]]
    while behind and behind[0] in ("was", "were", "is", "been", "had", "has"):
        behind = behind[1:]
    return behind[:1] != [] and behind[0] in _REMAINS or (
        behind[:2] in (["left", "in"], ["left", "behind"], ["left", "there"], ["kept", "in"])
    )


_REMAINS = _words("retained stays stay stayed remains remain remained")


def is_dated(sentence: Sentence, first: int, last: int) -> bool:
    """Whether a word of putting in is of a day before: "had been implanted", "implanted in 2015"."""
    tokens = sentence.tokens
    before = {token.norm for token in tokens[max(0, first - 3) : first]}
    behind = [token.norm for token in tokens[last + 1 : last + 5]]
    year = any(len(word) == 4 and word.isdigit() and word[:2] in ("19", "20") for word in behind)
    return {"had", "been"} <= before or "previously" in before or year or "ago" in behind or "elsewhere" in behind


_JOINING = _words("and , &")
_NEW = _words("a an then but while")
_LIST = 5  # tokens


def joined_to_trial(sentence: Sentence, first: int) -> bool:
    """Whether a thing goes on a list that "trial" begins ("the trial stem and cup")."""
    joined = False
    if sentence.says(_TRIAL) and _under_trials(sentence, first):
        return True
    for token in reversed(sentence.tokens[max(0, first - _LIST) : first]):
        if token.norm in _TRIAL:
            return joined
        joined = joined or token.norm in _JOINING
        if token.norm in clauses.FINITE or token.norm in _NEW or (token.punctuation and token.norm != ","):
            return False
    return False


_TRIAL = _words("trial trials")
_REAL = _words("definitive final real actual permanent definite chosen selected new cemented")


def _under_trials(sentence: Sentence, first: int) -> bool:
    """ "We put in our trial components, a size 4 femur and a 10 mm tray": all that is named up to the next clause or to
    what is called the real one."""
    tokens = sentence.tokens
    for at in range(first - 1, max(-1, first - _TRIALS), -1):
        if tokens[at].norm in _TRIED and tokens[at - 1].norm in _TRIAL:
            return not any(token.norm in _REAL or token.norm in clauses.FINITE and token.norm != "were"
                           for token in tokens[at + 1 : first])  # fmt: skip
        if tokens[at].norm in (";", "."):
            return False
    return False


_TRIED = _words("components component implants parts sizes")
_TRIALS = 24  # tokens
_LINKS = _words("and , & the all both a with their its")
_PUTTING = _words("fixed placed inserted implanted put secured applied locked used with")


def listed_as_removed(sentence: Sentence, thing: Mention) -> bool:
    """Whether a thing begins a list that was removed ("four screws and one rod were removed")."""
    tokens = sentence.tokens
    low = clauses.bounds(sentence, thing.first)[0]
    if any(token.norm in _PUTTING for token in tokens[low : thing.first]):
        return False
    named = {at for mention in sentence.mentions if mention.table == "devices"
             for at in range(mention.first, mention.last + 1)}  # fmt: skip
    at, joined = thing.last + 1, False
    while at < len(tokens) and (at in named or tokens[at].quantity is not None or tokens[at].norm in _LINKS):
        joined = joined or tokens[at].norm in ("and", "&")
        at += 1
    words = [token.norm for token in tokens[at : at + 3]]
    return joined and words[:1] == ["were"] and any(word in _REMOVED for word in words[1:])


_REMOVED = _words("removed explanted extracted retrieved")

_OF_HEART = _words("pacemaker defibrillator icd aicd")
_SWITCHED = _words("off function functions deactivated reprogrammed interrogated magnet disabled inactivated")
_PERSON = _words("he she patient who lady gentleman man woman boy girl child they")
_HAS = _words("has had wears wore carries")
_PUT_IN = _words("placed inserted implanted put applied fitted fixed deployed used exchanged removed revised changed")
_BETWEEN, _TO_PERSON = 7, 12  # tokens
_BACKGROUND = _words("indication history imaging")


def has_already(sentence: Sentence, first: int, last: int) -> bool:
    """Whether the patient had a thing before the operation: "he has a pacemaker", "with a port in place". In the story
    of the operation "the patient had a stent placed" is done today."""
    tokens = sentence.tokens
    if tokens[last].norm in _OF_HEART and any(token.norm in _SWITCHED for token in tokens[last + 1 : last + 7]):
        return True  # "his pacemaker was turned off": that of the patient
    seen = [token.norm for token in tokens[last + 1 : last + 5] if not token.punctuation]
    if seen[:1] == ["left"] and seen[1:3] in (["well", "fixed"], ["alone"], ["as", "it"], ["well", "seated"]):
        return True  # "all components out, patella button left, well fixed"
    if seen[:1] in (["seen"], ["found"]) and "left" in seen[1:3]:
        return True  # "one plate screw seen and left", "seen left in"
    low = max(clauses.bounds(sentence, first)[0], first - _BETWEEN)
    verb = next((at for at in range(first - 1, low - 1, -1) if tokens[at].norm in _HAS), None)
    if verb is None or not any(
        token.norm in _PERSON for token in tokens[max(0, verb - _TO_PERSON) : verb]
    ):
        return False
    before = sentence.section in _BACKGROUND
    put = any(token.norm in _PUT_IN for token in (*tokens[verb + 1 : first], *tokens[last + 1 : last + 5]))
    return before or (tokens[verb].norm != "had" and not put)


def is_excess(sentence: Sentence, mention: Mention) -> bool:
    """ "Excess cement was removed": what was put in stays. "A 35 mm trephine for the stoma" is no needle for marrow."""
    before = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    after = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 2]]
    if people.is_name(sentence, mention) or _is_awaited(sentence, mention, before, after):
        return True
    if mention.id in _SCREWED and before[-2:] in (["in", "the"], ["into", "the"], ["through", "the"]) and any(
        m.id.endswith("screw") and 0 < mention.first - m.last <= _SCREWS
        for m in sentence.mentions if m.table == "devices"
    ):
        return True  # "screws two in the cup, twenty five and thirty": where they are
    if mention.id == "pin" and _holds_the_head(sentence, mention):
        return True
    if mention.id in ("pin", "k-wire", "half-pin", "drain") and after[:1] and after[0] in _TRACKS:
        return True  # "swabs from the pin sites"
    if mention.id == "tacks" and sentence.tokens[mention.last].norm == "tack" and before[-1:] in (["to"], ["and"]):
        return True  # "a suture was used to tack the testis"
    if mention.id == "rod" and before[-1:] and before[-1] in ("alignment", "guide", "drop", "reduction"):
        return True  # a tool
    if mention.id == "surgical-clip" and any(m.table == "sutures" and m.last == mention.first - 1
                                             for m in sentence.mentions):  # fmt: skip
        return True  # "two oh vicryl clips": on the skin
    if mention.id == "plate" and before[-1:] and before[-1] in _OWN_PLATES:
        return True  # "the pterygoid plates", "a growth plate": of the patient
    if mention.id not in ("k-wire", "guide-wire") and after[:1] and after[0] in _OF_TOOLS:
        return True  # "a femoral stem guide", "the tray impactor": tools
    if mention.id == "marrow-needle" and sentence.tokens[mention.last].norm == "trephine":
        return not sentence.says(_OF_MARROW)
    if mention.id == "bone-cement" and after[:1] and after[0] in _CLEARED:
        return True  # "all out, cement cleared"
    return mention.id == "bone-cement" and bool(_TOO_MUCH & set(before))


_SCREWED = frozenset({"acetabular-cup", "tibial-component", "glenoid-component"})
_SCREWS = 5  # tokens


def _holds_the_head(sentence: Sentence, mention: Mention) -> bool:
    """ "Mayfield, three pins", "supine, three pins, head turned": of the clamp that holds it meanwhile."""
    near = [token.norm for token in sentence.tokens[max(0, mention.first - 6) : mention.last + 5]]
    return "head" in near or "skull" in near or any(
        m.table == "positions" and abs(m.first - mention.first) <= _TO_HEAD for m in sentence.mentions
    )


_TO_HEAD = 6  # tokens


def _is_awaited(sentence: Sentence, mention: Mention, before: list[str], after: list[str]) -> bool:
    """ "Tamsulosin until the stent is out", "stent out in six weeks": when what was told already comes out."""
    if _care_words.come_out(sentence, mention.first):
        return True
    if not after or after[0] not in ("is", "out", "removal", "removed", "comes", "to"):
        return False
    if set(before) & {"until", "till", "once"}:
        return True
    ahead = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 3]]
    behind = sentence.tokens[mention.last + 2 : mention.last + 8]
    return ("out" in ahead or "removal" in ahead or "removed" in ahead) and any(
        token.quantity is not None and token.quantity.unit in ("d", "wk", "mo") for token in behind
    ) and {"in", "at", "after"} & {token.norm for token in behind} != set()


_CLEARED = _words("cleared removed mantle chipped")
_TOO_MUCH = _words("excess extra extruded extruding excessive surplus")
_OF_TOOLS = _words("type style guide guides impactor impactors inserter inserters holder extractor sizer template jig")
_TRACKS = _words("site sites tract tracts track tracks hole holes")
_OWN_PLATES = _words("pterygoid cribriform tarsal growth orbital palatal hilar neural nail target mesenteric")
_OF_MARROW = _words("marrow crest biopsy aspirate aspirated aspiration needle harvest bone core draw draws")


def is_own_part(sentence: Sentence, at: int) -> bool:
    """ "R tube: 3 cm": a tube that has a side in front of it, and no size in French, is one of the patient's own; so is
    the external ring."""
    before = sentence.tokens[at - 1].norm if at else ""
    if sentence.tokens[at].norm == "strip":
        return before not in ("steri", "gauze", "test", "foam", "mesh")  # "a pleural strip 5 x 5 cm"
    behind = sentence.tokens[at + 1].norm if at + 1 < len(sentence.tokens) else ""
    if sentence.tokens[at].norm == "sheet":
        return before in ("the", "implant", "device", "sticker", "log", "record")  # "on the sheet: a 46 mm screw"
    if sentence.tokens[at].norm in ("ring", "rings"):
        return before in _OWN_RINGS or behind in ("finger", "fingers", "ray", "digit")
    if sentence.tokens[at].norm in ("fibre", "fiber", "fibers", "fibres"):
        return any(token.norm in ("wire", "wires", "optic", "bundle") for token in sentence.tokens[at + 1 : at + 2])
    if sentence.tokens[at].norm == "band" and before in ("post", "posterior", "anterior", "ant", "intermediate"):
        return True  # of the disc of a jaw
    if sentence.tokens[at].norm == "band":
        return any(m.table == "sites" and m.first <= at <= m.last for m in sentence.mentions)  # "iliotibial band"
    if sentence.tokens[at].norm == "sheath":
        tendon = any(m.table == "sites" and m.last == at - 1 for m in sentence.mentions) and not any(
            token.quantity is not None and token.quantity.dimension == "french" for token in sentence.tokens
        )  # "FHL sheath released four centimetres"
        return tendon or (before in _OWN_SHEATHS and any(m.table == "sutures" for m in sentence.mentions))
    return sentence.tokens[at].norm in ("tube", "tubes") and before in _SIDES and not any(
        token.quantity is not None and token.quantity.dimension in ("french", "gauge") for token in sentence.tokens
    )


_OWN_SHEATHS = _words("the rectus anterior posterior fascial tendon")
_OWN_RINGS = _words("external internal inguinal deep superficial femoral umbilical hymenal tympanic fibrous")
_SIDES = _words("l r left right lt rt fallopian both")


def is_place(sentence: Sentence, first: int) -> bool:
    """ "Fixed on the femur with a 6 by 20 mm screw": where it was, and no component."""
    led = [token.norm for token in sentence.tokens[max(0, first - 2) : first]]
    return sentence.tokens[first].norm in ("femur", "tibia", "patella") and len(led) > 1 and (
        led[0] in ("on", "in", "into", "to", "at", "through") and led[1] == "the"
    )


def is_part_of(sentence: Sentence, last: int) -> bool:
    """ "Four anchors two of them loose and taken out": some of them came out, and not all."""
    behind = [token for token in sentence.tokens[last + 1 : last + 5] if not token.punctuation]
    return len(behind) > 2 and (behind[0].quantity is not None or behind[0].norm in ("one", "some", "most")) and (
        behind[1].norm == "of" and behind[2].norm in ("them", "these", "which", "those")
    )


_WERE = frozenset(
    "was were is are been be then and both all also carefully easily intact identified exposed found located loosened "
    "subsequently now first each entirely in its their entirety".split()
)


def were_removed(sentence: Sentence, last: int) -> bool:
    """Whether nothing but a passive stands between a thing and "removed" ("were identified and removed"), and what
    tells where they lay and how large they were ("screws from the transfer, 4.5 by 45 mm, were removed")."""
    before, aside = "", False
    for token in sentence.tokens[last + 1 : last + _TO_VERB]:
        if (before, token.norm) in _NEXT or token.norm in _TOO_MUCH:
            return False
        before = token.norm
        if token.norm in ("removed", "explanted", "extracted"):
            return True
        aside = token.norm not in ("was", "were") and (aside or token.norm in ("from", "of", ","))
        if not aside and token.norm not in _WERE or token.norm in (".", ";") or (aside and token.norm == "and"):
            return False
    return False


_TO_VERB = 18  # tokens
_NEXT = frozenset({(",", "the"), (",", "a"), (",", "both"), (",", "all")})  # "upon putting in the screws, the wires"
