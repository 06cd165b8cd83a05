"""What a time of day is of where the event is left out or said once for two: "clamp on at 10:15, off at 10:53",
"tourniquet from 9:12 to 10:14", "in at seven forty, out nine oh five"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from pipeline.clocks import DONE_WITH
from pipeline.records import Fact, Sentence

# What lasts -> the events at its begin and end. The longest phrase counts; common practice, no source.
_LASTING = {
    "tourniquet": ("tourniquet_up", "tourniquet_down"), "tq": ("tourniquet_up", "tourniquet_down"),
    "op": ("incision", "operation_end"), "duration": ("incision", "operation_end"),
    "cuff": ("tourniquet_up", "tourniquet_down"),
    "clamp": ("clamp_on", "clamp_off"), "clamps": ("clamp_on", "clamp_off"), "bypass": ("bypass_on", "bypass_off"),
    "clamped": ("clamp_on", "clamp_off"), "cpb": ("bypass_on", "bypass_off"), "ecc": ("bypass_on", "bypass_off"),
    "traction": ("traction_on", "traction_off"), "anaesthesia": ("anaesthesia_start", "anaesthesia_end"),
    "anesthesia": ("anaesthesia_start", "anaesthesia_end"), "anaesthetic": ("anaesthesia_start", "anaesthesia_end"),
    "theatre": ("in_room", "out_of_room"), "theater": ("in_room", "out_of_room"), "room": ("in_room", "out_of_room"),
    "skin": ("incision", "closure"), "surgery": ("incision", "operation_end"),
    "operation": ("incision", "operation_end"), "operating": ("incision", "operation_end"),
    "operative": ("incision", "operation_end"), "procedure": ("incision", "operation_end"),
    "case": ("incision", "operation_end"),
}  # fmt: skip
_SWITCHED = frozenset({"tq", "tourniquet", "cuff", "clamp", "clamps", "bypass", "cpb", "ecc", "traction"})
_ON = frozenset({"on", "up", "applied", "inflated"})
_OFF = frozenset({"off", "down", "dn", "released", "removed", "deflated"})
_JOINED = frozenset({"-", "–", "to", "until", "till", "and"})
_REACH, _NEAR = 12, 8
_ROOM = frozenset({"wheels", "patient", "room", "theatre", "theater", "he", "she", "him", "her", "of", "we", "time"})
_LIGHT = frozenset({"was", "were", "is", "came", "taken", "then", ",", "and", "at", "-", ":", "."})


def _clock(sentence: Sentence, at: int) -> bool:
    quantity = sentence.tokens[at].quantity if 0 <= at < len(sentence.tokens) else None
    return quantity is not None and quantity.form == "clock"


def name_of(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """(event, token of the word that tells it) of the time at a token; None where nothing here tells it."""
    return (_shut(sentence, index) or _of_span(sentence, index) or _switched(sentence, index)
            or _of_scope(sentence, index) or _in_or_out(sentence, index) or _skin(sentence, index)
            or _done(sentence, index) or _blown_up(sentence, index) or _cut(sentence, index)
            or _clamped(sentence, index))  # fmt: skip


_CUFF_STATES = {"closed": "tourniquet_up", "shut": "tourniquet_up", "open": "tourniquet_down",
                "opened": "tourniquet_down"}  # fmt: skip
_OTHER_CLOSED = frozenset(
    "skin wound incision fascia capsule paratenon joint abdomen layers vicryl nylon staples".split()
)


def _shut(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "Tourniquet three hundred at the thigh, closed 12:56", "tourniquet open 13:34": as other tongues say it."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm == "at")
    if at < 1 or tokens[at].norm not in _CUFF_STATES:
        return None
    led = [token.norm for token in tokens[max(0, at - _REACH) : at]]
    cuffs = [place for place, norm in enumerate(led) if norm in ("tourniquet", "tq", "cuff")]
    return (_CUFF_STATES[tokens[at].norm], at) if cuffs and _OTHER_CLOSED.isdisjoint(led[cuffs[-1] :]) else None


_CLAMPED = {"clamped": "clamp_on", "unclamped": "clamp_off", "declamped": "clamp_off", "reperfused": "clamp_off",
            "reperfusion": "clamp_off"}  # fmt: skip


def _clamped(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "Carotids clamped 1417 ... off 1448, clamp time 31 min", "reperfused at ten"; not the cord of a baby."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm == "at")
    if at < 0 or any(token.norm in ("cord", "drain", "catheter") for token in tokens[max(0, at - _CORD) : at]):
        return None
    if tokens[at].norm in _CLAMPED:
        return _CLAMPED[tokens[at].norm], at
    if tokens[at].norm == "divided" and "pedicle" in {token.norm for token in tokens[max(0, at - _CORD) : at]}:
        return "clamp_on", at  # a free flap without blood
    near = {token.norm for token in tokens[max(0, at - 2) : at + 1]}
    if tokens[at].norm in ("flow", "back", "restored") and "flow" in near:
        return "clamp_off", at  # "flow back at 12:00"
    ahead = {token.norm for token in tokens[index + 1 : index + _CORD]}
    return ("clamp_off", at) if tokens[at].norm == "off" and ahead & {"clamp", "clamps", "ischaemia"} else None


_CORD = 5  # tokens


def _of_scope(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "Scope in 0911, caecum 0920, out 0954": an endoscopy begins and ends with its scope."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm == "at")
    if at < 0 or tokens[at].norm not in ("in", "out"):
        return None
    back = at - 1 - (at > 1 and tokens[at - 1].norm in ("was", "came", "went"))
    said = back >= 0 and tokens[back].norm == "scope"
    bare = tokens[0].norm == "in" and sentence.says(_BOWEL)  # "In 09:10, caecum 09:19"
    said = said or (at == 0 and bare)
    went_in = bare or any(one.norm == "scope" and two.norm == "in" for one, two in pairwise(tokens[: at + 1]))
    if not said and (tokens[at].norm == "in" or not went_in or not tokens[at - 1].punctuation):
        return None
    return ("incision" if tokens[at].norm == "in" else "operation_end"), at


_BOWEL = frozenset({"caecum", "cecum", "ileum", "withdrawal"})


def _done(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "Cut at eleven nineteen, ..., done at eleven thirty four", "no complications done sixteen oh nine", "Over at ten
    past nine."."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm in ("at", ",", ":"))
    if at >= 0 and tokens[at].norm == "baby":
        return "delivery", at
    behind = tokens[at - 2].quantity if at > 1 else None  # "10:04 baby out 10:40 skin closed": the time stands first
    if at > 0 and tokens[at].norm in ("out", "born", "delivered") and tokens[at - 1].norm in _BORN and (
        behind is None or behind.form != "clock"
    ):
        return "delivery", at
    if at >= 0 and tokens[at].norm == "decision":
        return "decision", at
    at -= at > 0 and tokens[at].norm == "by" and tokens[at - 1].norm == "done"  # "all done by twenty past three"
    if at < 0 or tokens[at].norm not in ("done", "over") or _ran_in(sentence, at):
        return None
    before = tokens[at - 1] if at else None
    lead = {token.norm for token in tokens[max(0, at - 4) : at]}
    infused = tokens[at].norm == "done" and bool({"started", "infusion"} & lead)
    if is_headed(sentence, at) or infused:
        return None  # "vancomycin started 0710, done 0755"
    alone = before is None or before.norm == "all" or before.punctuation or (
        tokens[at].norm == "done" and (before.norm in DONE_WITH or any(
            m.table in ("sutures", "closures", "dressings") and m.last == at - 1 for m in sentence.mentions
        ))
    )
    return ("operation_end", at) if alone else None


def is_headed(sentence: Sentence, at: int) -> bool:
    """ "Time out: done at 9:05": whether a word of an end closes what its heading names, and not the operation."""
    tokens = sentence.tokens
    return at > 1 and tokens[at - 1].norm == ":" and tokens[at - 2].norm not in _TIMED | set(_LASTING)


def ends_nothing(sentence: Sentence, at: int) -> bool:
    """Whether a word of an end is of a seam ("end to end"), of a heading before it, or of a drug that ran in."""
    return is_seam(sentence, at) or is_headed(sentence, at) or _ran_in(sentence, at)


def _ran_in(sentence: Sentence, at: int) -> bool:
    """ "1 g vancomycin started 0710, done 0755"."""
    drug = next((m for m in reversed(sentence.mentions) if m.table == "drugs" and m.last < at), None)
    return drug is not None and at - drug.last <= _RUNS and any(
        token.norm in ("started", "start", "running", "from") for token in sentence.tokens[drug.last + 1 : at]
    )


_RUNS = 12  # tokens: "vancomycin 1 g started 10:05 (cephalosporin rash), finished 10:58"


def _of_span(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """Both times of "from nine twelve to ten fourteen", "0912-1014"."""
    tokens = sentence.tokens
    first = index
    if _joins(sentence, index - 2, index):
        first = index - 2
    elif not _joins(sentence, index, index + 2):
        return None
    led = tokens[first - 1].norm if first else ""
    dashed = tokens[first + 1].norm in ("-", "–", "to", "until", "till")
    if led not in ("from", "between") and not dashed:
        return None
    for at in range(first - 1, max(-1, first - _REACH), -1):
        if tokens[at].norm in (_LASTING if first - at < _NEAR else _SWITCHED):
            return _LASTING[tokens[at].norm][index != first], at
        if tokens[at].norm in (".", ";") or (tokens[at].quantity is not None and not _passes(sentence, at, dashed)):
            break
    if dashed and led in _TIMED and (first < 2 or tokens[first - 2].norm in _SHUT):
        return _LASTING["operation"][index != first], first - 1  # "Time 10:05-11:32"
    return None


def _passes(sentence: Sentence, at: int, dashed: bool) -> bool:
    """Whether a number between the word and its two times is its own: "TQ 250 mmHg, 13:20 to 14:31", "duration 42 min
    (22:10-22:52)"."""
    quantity = sentence.tokens[at].quantity
    return dashed and quantity is not None and quantity.form == "number" and (
        quantity.dimension in ("pressure", "time") or (quantity.dimension == "" and (quantity.value or 0) >= _PRESSED)
    )


_PRESSED = 100  # mmHg of a tourniquet at the least
_TIMED = frozenset({"time", "times"})
_SHUT = frozenset({".", ";", ",", ":", "|"})


def _skin(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "Skin 21:10", "skin at nine eighteen": the cut, where nothing near tells of closing."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm in ("at", ",", ":"))
    if at < 0 or tokens[at].norm != "skin":
        return None
    start = max((place + 1 for place in range(max(0, at - _REACH), at) if tokens[place].norm in (".", ";")),
                default=max(0, at - _REACH))  # fmt: skip
    end = next((place for place in range(index + 1, index + 1 + _SEWN)
                if place >= len(tokens) or tokens[place].punctuation), index + 1 + _SEWN)  # fmt: skip
    near = {token.norm for token in (*tokens[start:at], *tokens[index + 1 : end])}
    return None if near & _SEWING else ("incision", at)


_SEWN = 3  # tokens behind the time ("skin ten fifty with monocryl")
_SEWING = frozenset("closed closing closure close shut sewn sutured stitched fascia subcutaneous subcuticular vicryl "
                    "pds nylon monocryl prolene ethilon staples clips glue dermabond last layers layer suture sutures "
                    "stitch stitches done to".split())  # fmt: skip


def _blown_up(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "Tourniquet at nine fifty one", "tourniquet 300 mmHg at 11:12": when it went up, where no word says so."""
    tokens = sentence.tokens
    after = tokens[index + 1].norm if index + 1 < len(tokens) else ""
    if after in _ON | _OFF:
        return None
    for at in range(index - 1, max(-1, index - _REACH), -1):
        quantity = tokens[at].quantity
        if tokens[at].norm in ("tourniquet", "tq"):
            return "tourniquet_up", at
        pressed = quantity is not None and quantity.form == "number" and (
            quantity.dimension == "pressure" or (quantity.dimension == "" and (quantity.value or 0) >= _PRESSED)
        )
        if not pressed and tokens[at].norm not in _WHERE:
            break
    return None


_WHERE = frozenset({"at", ",", "@", ":", "to", "of", "on", "the", "left", "right", "thigh", "arm", "upper", "l", "r",
                    "pressure", "set", "inflated", "forearm", "calf", "leg", "ankle"})  # fmt: skip


def _cut(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "Cut at nine eighteen", "250 mmHg cut nine fifty three": the incision; not "the biceps cut at nine"."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm in ("at", ",", ":"))
    if at >= 0 and tokens[at].norm in ("caecum", "cecum"):
        return "caecum", at  # "cecum 10:13"
    opened = at >= 0 and tokens[at].norm in _OPENED and (at == 0 or tokens[at - 1].punctuation)
    if opened:
        return "incision", at  # "Sternotomy at 08:12"
    if at < 0 or tokens[at].norm != "cut":
        return None
    before = tokens[at - 1] if at else None
    free = before is None or before.punctuation or before.quantity is not None or before.norm in _CUTS
    return ("incision", at) if free else None


_OPENED = frozenset({"sternotomy", "laparotomy", "thoracotomy"})
_CUTS = frozenset({"we", "i", "first", "then", "and", "skin", "knee", "shoulder", "hip", "ankle", "elbow", "wrist",
                   "foot", "hand"})  # fmt: skip


def _joins(sentence: Sentence, first: int, last: int) -> bool:
    return (
        first >= 0 and _clock(sentence, first) and _clock(sentence, last)
        and sentence.tokens[first + 1].norm in _JOINED
    )


def _switched(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "Traction on ten oh four, off ten fifty one"."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm == "at")
    while at > 0 and tokens[at].norm in _ONCE_MORE:
        at -= 1  # "off again at ten sixteen", "inflated a second time at ten"
    if at < 0 or tokens[at].norm not in _ON | _OFF:
        return None
    for back in range(at, max(-1, at - _REACH), -1):
        if tokens[back].norm in _SWITCHED:
            return _LASTING[tokens[back].norm][tokens[at].norm in _OFF], at
        if tokens[back].norm in (".", ";"):
            return None
        if back < at and tokens[back].norm.isalpha() and tokens[back].norm not in _ON | _OFF | _LIGHT | _ROOM | _MIDDLE:
            return None
    return None


def goes_on(sentence: Sentence, index: int, told: Sequence[Fact]) -> tuple[str, int] | None:
    """ "Tourniquet up at nine twelve. Down at nine fifty seven.": a sentence that begins with "down" goes on with what
    was put up or on last."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm == "at")
    if at < 0 or tokens[at].norm not in _ON | _OFF or any(token.norm not in _OPENS for token in tokens[:at]):
        return None
    pairs = {name: pair for pair in _LASTING.values() if pair[0].endswith(("_up", "_on")) for name in pair}
    last = next((fact.name for fact in reversed(told) if fact.kind == "clock_time" and fact.name in pairs), None)
    place = int(tokens[at].norm in _OFF)
    return (pairs[last][place], at) if last is not None and pairs[last][1 - place] == last else None


_OPENS = frozenset("and then it came was went let finally back now is , tourniquet cuff".split())
_ONCE_MORE = frozenset("again a second third time once more".split())
_MIDDLE = frozenset({"cross", "aortic", "the", "for", "minutes", "left", "right", "thigh", "arm", "pressure", "mmhg",
                     "full", "partial", "went", "set", "a", "l", "r", "upper"})  # fmt: skip


def _in_or_out(sentence: Sentence, index: int) -> tuple[str, int] | None:
    """ "In at seven forty, out nine oh five", "time in 13:20, time out 15:05": the patient, where nothing else is."""
    tokens = sentence.tokens
    at = index - 1 - (index >= 2 and tokens[index - 1].norm == "at")
    if at < 0 or tokens[at].norm not in ("in", "out"):
        return None
    other = "out" if tokens[at].norm == "in" else "in"
    pair = next((back for back, token in enumerate(tokens) if token.norm == other and (
        _clock(sentence, back + 1) or (back + 1 < len(tokens) and tokens[back + 1].norm == "at"
                                       and _clock(sentence, back + 2))
    )), None)  # fmt: skip
    if pair is None or not (_is_patient(sentence, at) and _is_patient(sentence, pair)):
        return None
    return ("in_room" if tokens[at].norm == "in" else "out_of_room"), at


def _is_patient(sentence: Sentence, at: int) -> bool:
    """Whether "in" or "out" is said of the patient: of nothing, of a word for him or for the room."""
    tokens = sentence.tokens
    before = tokens[at - 1] if at else None
    return (
        before is None or before.norm in _ROOM or before.norm in (",", ";", ".", ":", "and", "then")
        or before.quantity is not None
    )


# Ends of a vessel, a graft or a bone.
_ENDS = frozenset(
    "top bottom distal proximal upper lower other cut each one both cranial caudal medial lateral".split()
)


def is_seam(sentence: Sentence, at: int) -> bool:
    """Whether "end" at a token is one of two that are joined: "artery end to end", "end to side"."""
    beside = (*sentence.tokens[max(0, at - 1) : at], *sentence.tokens[at + 1 : at + 2])
    led = sentence.tokens[at - 1].norm if at else ""
    return sentence.tokens[at].norm == "end" and (led in _ENDS or any(token.norm == "to" for token in beside))


def is_pause(sentence: Sentence, at: int) -> bool:
    """Whether "out" is that of a time-out, where nothing was told of the time in."""
    return any(m.table == "events" and m.id == "time_out" and m.first <= at <= m.last for m in sentence.mentions) and (
        not any(one.norm == "time" and two.norm == "in" for one, two in pairwise(sentence.tokens))
    )


_BORN = frozenset({"twin", "twins", "baby", "girl", "boy", "cephalic", "breech", "head", "delivered"})
_BIRTH = 8  # tokens


def is_another(sentence: Sentence, at: int) -> bool:
    """Whether the single word "out" at a token is said of something else than the patient: "throat pack in at nine,
    out at ten", "the scope was out at 10:35"."""
    tokens = sentence.tokens
    if tokens[at].norm != "out":
        return False
    if _BORN & {token.norm for token in tokens[max(0, at - _BIRTH) : at]}:
        return True  # "twin one, a girl, cephalic, out at nine forty three"
    back = at - 1
    while back >= 0 and tokens[back].norm in ("was", "were", "is", "came", "then", "taken"):
        back -= 1
    if back < 0:
        return False
    if tokens[back].norm.isalpha() and tokens[back].norm not in _LIGHT:
        return tokens[back].norm not in _ROOM
    for first in range(back, max(-1, back - _REACH), -1):  # ", out at ten": of what was said to go in
        if tokens[first].norm == "in":
            return not _is_patient(sentence, first)
    return False


def over_midnight(facts: Sequence[Fact]) -> list[Fact]:
    """ "Knife at twenty three nineteen ... clamps off at twelve fifty one": by night "twelve" is midnight as well."""
    clocks = [fact for fact in facts if fact.kind == "clock_time" and fact.text]
    if not any((fact.text or "") >= _LATE for fact in clocks):
        return list(facts)
    unsure = [fact for fact in clocks if (fact.text or "")[:2] == "12" and "twelve" in fact.evidence.heard.lower()]
    return [replace(fact, doubts=(*fact.doubts, "noon or midnight was not said")) if fact in unsure else fact
            for fact in facts]  # fmt: skip


_LATE = "20:00"


def of_today(name: str) -> dict[str, str]:
    """ "Time out at 09:10, the right hip was replaced in May": what is told behind it makes no time-out a past one."""
    return {"status": "performed"} if name == "time_out" else {}
