"""Speech without punctuation, cut where people begin a new statement: "... no complications | blood loss ten | skin
closed with nylon | then ...". Only long stretches with (nearly) no marks are cut; what was punctuated stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline import numerals
from pipeline.records import Token

_LONG = 30  # tokens that a stretch needs to be a stream
_MARKED = 25  # tokens to a mark at least, else somebody set marks
_SHORT = 3  # tokens that a piece has at least
# Phrases that open a statement of their own; common practice, no source.
_OPENERS = tuple(sorted((tuple(phrase.split()) for phrase in (
    "estimated blood loss", "blood loss", "ebl", "no complications", "no complication", "complications none",
    "no immediate complications", "counts correct", "counts were", "count correct", "swab count", "sponge count",
    "needle count", "swabs and needles", "instrument count", "no specimens", "no specimen", "specimens", "no drain",
    "no drains", "drains none", "then", "we then", "i then", "after that", "next", "finally", "okay", "the patient",
    "patient is", "patient was", "general anaesthesia", "general anesthesia", "spinal anaesthesia",
    "spinal anesthesia", "time out", "timeout", "antibiotic", "prophylaxis", "follow up", "aftercare", "skin closed",
    "skin with", "skin was", "wound closed", "dressing", "dry dressing", "sterile dressing", "findings", "there is",
    "there was", "there were", "there are", "i made", "i took", "i did", "i put", "i placed", "i used", "i drew",
    "i injected", "we made", "we took", "we did", "we put", "we placed", "we used", "we drew", "we injected",
    "no tourniquet", "tourniquet up", "tourniquet time", "tourniquet on", "weight bearing", "non weight bearing",
    "partial weight bearing", "full weight bearing", "discharge", "stitches out", "sutures out", "urine output",
    "irrigated with", "no allergies", "consent", "the plan is", "plan is", "indication", "patient supine", "needle out",
    "operation was",
    "needle removed", "needle withdrawn", "band aid", "bandaid",
)), key=len, reverse=True))  # fmt: skip
_LEADS = frozenset({"then", "next", "finally", "okay", "after"})  # words that lead to the statement itself
# Things of an arthroscopy that are told with their number: "... no loose bodies | tourniquet two eighty ...".
_SET_UP = frozenset({"tourniquet", "pump", "portals"})
_OF_SET_UP = frozenset("at up pressure time on set was inflated with closed sutured".split())
_ITS_OWN = frozenset("thigh arm upper calf ankle pneumatic proximal digital forearm finger high pressure fluid wound "
                     "anterolateral anteromedial lateral medial posterior anterior accessory standard usual working "
                     "infusion roller heart".split())  # fmt: skip
_BY_FIRST = {opener[0]: [other for other in _OPENERS if other[0] == opener[0]] for opener in _OPENERS}
_FIRST = frozenset(_BY_FIRST) | _SET_UP
# A statement does not begin behind one of these.
_OPEN = frozenset(
    "a an the of to at in on with by from for and or but into onto per under over between about approximately than "
    "is was were are be been being using through via as not less more very both each every number size grade stage "
    "type zone level lot plus minus point times x if when because that which who until before after while whether no "
    "without any some this his her my our their total estimated only up since".split()
)


def cut(tokens: Sequence[Token]) -> Iterator[list[Token]]:
    """The stretch in pieces; whole unless it is a stream. Pure."""
    if not _is_stream(tokens):
        yield list(tokens)
        return
    held: list[Token] = []
    for index, token in enumerate(tokens):
        least = _SHORT if not held or held[0].norm in _LEADS else _SHORT - 1
        if len(held) >= least and (
            (token.norm in _FIRST and _begins(tokens, index)) or (token.norm in _TO_SIDE and _turns(tokens, index))
            or (token.norm in _PATIENT and _tells_of_patient(tokens, index))
        ):
            yield held
            held = []
        held.append(token)
        if len(held) >= _SHORT - 1 and token.norm in _STATES and _lists_on(tokens, index):
            yield held
            held = []
    if held:
        yield held


_SIDES = frozenset({"left", "right"})
_GOING = frozenset({"moving", "going", "turning", "switching", "proceeding", "starting", "beginning", "crossing"})
_TO_SIDE = frozenset({"the", "left", "right", "now", "on", "over", "onto", "we", "i"}) | _GOING
_GO = frozenset("start started begin began go went turn turned move moved proceed proceeded change changed".split())
_WAY = frozenset({"on", "with", "to", "over", "at", "in", "the", "now", "onto"})
_TELL = frozenset("was were is are had has got showed shows looked".split())
_ORDER = frozenset({"first", "second", "next", "now", "then"})
_PART = 2  # words of the part of the body behind a side
_REMARKS = frozenset("stable normal intact fine same healthy unaffected untouched not negative fully".split())


_PATIENT = frozenset({"he", "she"})
_DID = frozenset("had has is was takes wants knows lives works".split())
_SAYING = frozenset("says said told tells knows thinks where what how why as like once so than the a his her".split())
_DONE_THERE = frozenset("done had been operated scoped fixed replaced injured broken".split())


def _tells_of_patient(tokens: Sequence[Token], index: int) -> bool:
    """ "... twelve by fifteen millimetres | he had the left knee done four years ago": a new statement, of the patient;
    not "the knee he had done", "because she is"."""
    before, after = tokens[index - 1].norm, [token.norm for token in tokens[index + 1 : index + 3]]
    if before in _OPEN or before in _SAYING or len(after) < 2 or after[0] not in _DID:
        return False
    return after[1] not in _DONE_THERE


def _turns(tokens: Sequence[Token], index: int) -> bool:
    """Whether a statement on one side begins: "the left shoulder was operated", "right knee first", "we go to the other
    side", "now the left", "on the right there is"."""
    if tokens[index - 1].norm in _OPEN or tokens[index - 1].norm in _ORDER:
        return False
    norms = [token.norm for token in tokens[index : index + 8]]
    if norms[0] in _SIDES and norms[1:2] != [] and norms[1] in ("first", "next", "second"):
        return True  # "left next incision"
    if norms[0] in _GOING or norms[:2] in (["on", "to"], ["over", "to"]) or norms[0] == "onto":
        rest = norms[1:]
        while rest and rest[0] in _WAY:
            rest = rest[1:]
        return len(rest) < len(norms) - 1 and bool(rest) and rest[0] in _SIDES | {"other"}
    if norms[0] in ("we", "i"):
        rest = norms[2:]
        while rest and rest[0] in _WAY:
            rest = rest[1:]
        return norms[1:2] != [] and norms[1] in _GO and bool(rest) and rest[0] in _SIDES | {"other"}
    if norms[0] == "now":
        return len(norms) > 2 and (norms[1] in _SIDES or (norms[1] == "the" and norms[2] in _SIDES | {"other"}))
    if norms[0] == "on":
        return norms[1:2] == ["the"] and norms[2:3] != [] and norms[2] in _SIDES and (
            norms[3:4] != [] and norms[3] in ("we", "i", "there") or norms[3:5] in (["side", "we"], ["side", "there"])
        )
    the = norms[0] == "the"
    part = norms[1 + the : 3 + the + _PART]
    if (norms[1:2] if the else norms[:1]) == [] or norms[the] not in _SIDES or not part or part[0] in _OPEN:
        return False
    at = next((at for at, norm in enumerate(part) if norm in _TELL | {"first"}), 0)
    remark = norms[the + at + 2 : the + at + 3]  # "examined, the right shoulder was stable" goes with what is before
    return 0 < at <= _PART and (the or part[at] == "first") and not _REMARKS.issuperset(remark)


_FEW = frozenset("two three four five six seven eight nine ten 2 3 4 5 6 7 8 9 10".split())
_MEASURED = frozenset("loss ebl bleeding times correct x day week urine point oh".split())  # "blood loss ten specimens"
_STATES = frozenset({"normal", "intact", "unremarkable", "stable", "fine"})
_STATED = 4  # tokens to the next state


def _lists_on(tokens: Sequence[Token], index: int) -> bool:
    """ "Lateral compartment normal | acl intact": the next thing with its state follows a state."""
    ahead = [token.norm for token in tokens[index + 1 : index + 1 + _STATED]]
    state = next((at for at, norm in enumerate(ahead) if norm in _STATES), 0)
    return state > 0 and not any(norm in _OPEN or norm in (",", ".") for norm in ahead[:state])


def _is_set_up(tokens: Sequence[Token], index: int) -> bool:
    """ "Tourniquet two eighty", "pump at sixty", "portals with three oh nylon": a number of its own close behind."""
    before, ahead = tokens[index - 1].norm, [token.norm for token in tokens[index + 1 : index + 4]]
    if before in _ITS_OWN or before in _FEW or before[:1].isdigit() or not ahead:
        return False
    number = ahead[0] in numerals.STARTS or ahead[0][:1].isdigit()
    return number or (ahead[0] in _OF_SET_UP and (tokens[index].norm != "portals" or ahead[0] != "at"))


def _is_answered(tokens: Sequence[Token], index: int) -> bool:
    """ "Conversion no blood loss one hundred": what has an amount of its own is not what the "no" denies."""
    if index < 2 or tokens[index - 1].norm != "no" or tokens[index - 2].norm in _OPEN:
        return False
    norms = [token.norm for token in tokens[index : index + 3]]
    amount = norms[2:] if norms[:2] == ["blood", "loss"] else norms[1:2] if norms[:1] == ["ebl"] else []
    return bool(amount) and (amount[0] in numerals.STARTS or amount[0][:1].isdigit())


def _answers(tokens: Sequence[Token], index: int) -> bool:
    """ "Drain no tourniquet none", "no tourniquet whole case ninety minutes": what follows the "no" has an answer or a
    number of its own, so that the "no" opens no statement but answers the thing before it."""
    if tokens[index].norm != "no" or not index or index + 2 >= len(tokens):
        return False
    after = [token.norm for token in tokens[index + 2 : index + 6]]
    if tokens[index + 1].norm == "tourniquet" and any(
        norm in numerals.STARTS and after[at + 1 : at + 3] != [] for at, norm in enumerate(after)
    ) and {"minutes", "time"} & {token.norm for token in tokens[index + 2 : index + 8]}:
        return True
    return after[0] in ("none", "nil", "yes", "no") or after[0] == "not" and len(after) > 1


def _goes_with(tokens: Sequence[Token], index: int) -> bool:
    """ "No prophylactic antibiotic", "a repair was planned we did a resection only": one statement."""
    if index < 2:
        return False
    before, last = tokens[index - 2].norm, tokens[index - 1].norm
    described = before in ("no", "without", "any") and last.endswith(("ic", "al", "ive", "ous"))
    if tokens[index].norm == "prophylaxis" and last in ("heparin", "antibiotic", "dvt", "vte", "thrombosis", "clot"):
        return True
    return described or (before in ("was", "were", "been") and last in ("planned", "intended", "booked"))


_LOADS = frozenset(
    "touch toe partial full non no not protected limited reduced restricted minimal flat down feather heel early "
    "forefoot immediate progressive gradual graduated partially fully normal of".split()
)
_TIMES = frozenset("week weeks month morning day visit appointment monday tuesday wednesday thursday friday".split())


def _is_stream(tokens: Sequence[Token]) -> bool:
    marks = sum(token.punctuation for token in tokens)
    return len(tokens) >= _LONG and marks * _MARKED <= len(tokens)


def _begins(tokens: Sequence[Token], index: int) -> bool:
    if _goes_with(tokens, index) or _answers(tokens, index):
        return False
    if tokens[index - 1].norm in _OPEN and not _is_answered(tokens, index):
        return False
    if tokens[index].norm in _SET_UP:
        return _is_set_up(tokens, index)
    norms = tuple(token.norm for token in tokens[index : index + 3])
    opener = next((phrase for phrase in _BY_FIRST.get(norms[0], ()) if norms[: len(phrase)] == phrase), None)
    if opener is None:
        return False
    if opener == ("weight", "bearing") and tokens[index - 1].norm in _LOADS:
        return False  # "touch weight bearing": how much
    if opener == ("next",) and tokens[index + 1 : index + 2] and tokens[index + 1].norm in _TIMES:
        return False
    if opener == ("specimens",) and tokens[index - 1].norm in _FEW and tokens[index - 2].norm not in _MEASURED:
        return False  # "two specimens tumour and base"
    # "two mils then three": a list goes on
    at = index + len(opener)
    if at + 1 < len(tokens) and tokens[at].norm in ("another", "again", "further"):
        at += 1  # "six milligrams then another six"
    after = tokens[at].norm if at < len(tokens) else ""
    number = after in numerals.STARTS or after[:1].isdigit()
    return not (opener in (("then",), ("next",)) and number)
