"""What the words around an instruction tell of whose number it is, and the short form of physiotherapy."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from pipeline import cues, visits
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Mention, Sentence


def physiotherapy(sentence: Sentence, ahead: bool) -> list[Mention]:
    """ "PT from day 2", "PT 3 x week": physiotherapy, where it is no patient."""
    tokens = sentence.tokens
    if not sentence.says({"pt"}):
        return []
    return [
        Mention("aftercare", "physiotherapy", at, at) for at, token in enumerate(tokens)
        if token.text == "PT" and at + 1 < len(tokens) and (
            tokens[at + 1].norm in _PT_WHEN or (ahead and tokens[at + 1].quantity is not None)
            or (tokens[at + 1].norm[:1].isdigit() and tokens[at + 1].norm[1:] == "x")
        )
    ]  # fmt: skip


_PT_WHEN = frozenset("today tomorrow tonight d1 from daily starting starts weekly twice after begins to for".split())


_WORN = {"collar": "collar", "plaster": "cast", "pop": "cast", "running": "return-to-sport"}


def collar(sentence: Sentence) -> list[Mention]:
    """ "Collar 6/52 hard, then soft 2/52", "plaster for six weeks": to be worn, where a length of time stands right
    behind the bare word. "Running 12/52": again, where it is no suture."""
    tokens = sentence.tokens
    if not sentence.says(_WORN.keys()):
        return []
    named = [m for m in sentence.mentions if m.id != "running-suture"]
    return [
        Mention("aftercare", _WORN[token.norm], at, at) for at, token in enumerate(tokens[:-1])
        if token.norm in _WORN and not any(m.first <= at <= m.last for m in named)
        and (any(near.quantity is not None and near.quantity.unit in SPANS for near in tokens[at + 1 : at + 3])
             or token.norm == "running" and _is_run_again(sentence, at))
    ]  # fmt: skip  # fmt: skip


_THREADS = frozenset({"stitches", "sutures", "clips", "staples"})


def threads(sentence: Sentence) -> list[Mention]:
    """ "Stitches at twelve days", "clips in two weeks": when they come out, told by the time alone."""
    if not sentence.says(_THREADS):
        return []
    return [Mention("aftercare", "suture-removal", at, at) for at in range(len(sentence.tokens))
            if come_out(sentence, at)]  # fmt: skip


def come_out(sentence: Sentence, at: int) -> bool:
    """Whether the token is one of stitches or clips, alone before "at" or "in" so many days or weeks."""
    tokens = sentence.tokens
    if tokens[at].norm not in _THREADS or at + 2 >= len(tokens) or (at and tokens[at - 1].norm not in _LED_ANEW):
        return False
    quantity = tokens[at + 2].quantity
    return tokens[at + 1].norm in ("at", "in", "after") and quantity is not None and quantity.unit in ("d", "wk")


_LED_ANEW = frozenset({",", ";", ".", ":", "and", "then"})


def _is_run_again(sentence: Sentence, at: int) -> bool:
    """ "Running not before six weeks", "running allowed from three months on": no suture."""
    for token in sentence.tokens[at + 1 : at + 1 + _TO_SPAN]:
        if token.quantity is not None:
            return token.quantity.unit in SPANS
        if token.norm not in _RUN_AGAIN:
            return False
    return False


_TO_SPAN = 8  # tokens
_RUN_AGAIN = frozenset(
    "not before until allowed to be avoided forbidden may can start begin again only after from at in for the first "
    "earliest is should permitted no once up a total of off stop then till".split()
)


def lasts(sentence: Sentence, index: int) -> bool:
    """ "Range of motion zero to ninety for four weeks": a number that is allowed for so long, and was not measured."""
    tokens = sentence.tokens
    at = index + 1 + (index + 1 < len(tokens) and tokens[index + 1].norm in ("for", "x", "\u00d7"))
    at += at < len(tokens) and tokens[at].norm in ("#angle", "degrees", "the", "first")
    span = tokens[at].quantity if at < len(tokens) else None
    return span is not None and span.unit in SPANS


def came_out(sentence: Sentence, mention: Mention) -> bool:
    """ "Six packs out before closing", "throat pack out and seen": counted out on the table, and no order."""
    if mention.id != "packing-removal" or sentence.tokens[mention.last].norm != "out":
        return False
    ahead = sentence.tokens[max(0, mention.first - 2) : mention.first]
    behind = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 4]]
    counted = any(token.quantity is not None or token.norm in ("all", "throat") for token in ahead)
    later = any(norm in _LATER for norm in behind) or any(
        token.quantity is not None and token.quantity.unit in SPANS
        for token in sentence.tokens[mention.last + 1 : mention.last + 5]
    )
    return not later and (counted or bool(_SEEN_OUT & set(behind)))


_LATER = frozenset({"tomorrow", "tonight", "in", "at", "after", "on", "when"})
_SEEN_OUT = frozenset({"before", "seen", "counted", "correct", "complete", "again"})


def _is_aimed_at(sentence: Sentence, index: int) -> bool:
    """ "BP target 110-150", "keep the MAP above 80": what is wished for, and was not measured."""
    near = [token.norm for token in sentence.tokens[max(0, index - 6) : index]]
    mark = max((at for at, norm in enumerate(near) if norm in (".", ";", ",")), default=-1)
    return bool(_AIMS & set(near[mark + 1 :]))


_AIMS = frozenset({"target", "targets", "goal", "keep", "aim", "maintain"})


def held_to(sentence: Sentence, index: int) -> int | None:
    """ "ER 0 x3/52", "flexion 60 for two weeks": where the movement stands that may go so far until then."""
    tokens = sentence.tokens
    at = index - 1
    while at > 0 and (tokens[at].norm in _LIMIT_WAY or tokens[at].norm in ("x", "\u00d7")):
        at -= 1
    limit = tokens[at].quantity if at > 0 else None
    if limit is None or limit.dimension not in ("", "angle") or limit.form not in ("number", "range"):
        return None
    at -= 1
    while at > 0 and tokens[at].norm in _LIMIT_WAY | _LIMITED | {"max", "only", "up"}:
        at -= 1
    if tokens[at].norm not in MOVEMENTS:
        return None
    first = at - (tokens[at - 1].norm in _WAYS)
    for back in range(at - 1, max(-1, at - _JOINED), -1):  # "rotation to neutral and elevation to ninety"
        if tokens[back].punctuation or tokens[back].quantity is not None:
            break
        first = back - (tokens[back - 1].norm in _WAYS) if tokens[back].norm in MOVEMENTS else first
    return first


_WAYS, _JOINED = frozenset({"external", "internal", "active", "passive", "forward"}), 6


MOVEMENTS = frozenset("er ir ff fe flexion extension abduction rotation elevation abd flex ext pronation supination "
                       "dorsiflexion plantarflexion".split())  # fmt: skip


def is_avoided(sentence: Sentence, target: Mention) -> bool:
    """Whether a "no" right before a thing is of it: not in "no drain abduction brace six weeks"."""
    start = max(0, target.first - 2)
    no = next((at for at in range(start, target.first) if sentence.tokens[at].norm in _NO), None)
    return no is not None and not any(no < m.first and m.last < target.first and m.table not in ("sites", "sides")
                                      for m in sentence.mentions)  # fmt: skip


_NO = frozenset({"no", "avoid", "avoiding"})


def denied_between(sentence: Sentence, last: int, index: int) -> bool:
    """ "(Ossification prophylaxis), no flexion over ninety two weeks": what is not to be done has the time."""
    return any(token.norm in _NO for token in sentence.tokens[last + 1 : index])


def is_of_visit(sentence: Sentence, index: int) -> bool:
    """ "Review 2/52 ROS, 6/52 XR": a further time of a row of visits."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.dimension != "time" or not index or sentence.tokens[index - 1].norm != ",":
        return False
    return visits.cue_of(sentence, index) is not None


def is_refused(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """ "Co-amoxiclav for five days was discussed but not needed": no course of it."""
    return any(0 < hit.first - index <= _REFUSED for hit in cues.hits(sentence, grammar, "not-given"))


_REFUSED = 6  # tokens


def is_of_worn(sentence: Sentence, instruction: int, index: int) -> bool:
    """ "Full weight bearing, stockings six weeks": of what is worn right before the time, and of no instruction."""
    worn = [m for m in base.mentions(sentence, "dressings") if instruction < m.first and m.last == index - 1]
    between = [token.norm for token in sentence.tokens[instruction + 1 : worn[-1].first]] if worn else []
    return bool(worn) and (between[:1] == [","] or worn[-1].id == "compression-stockings") and "with" not in between


def allowed(sentence: Sentence, index: int) -> bool:
    """ "Flexion limited to sixty degrees for two weeks": what is allowed, and not what was measured."""
    if lasts(sentence, index) or _until_week(sentence, index) or _is_aimed_at(sentence, index):
        return True
    behind = sentence.tokens[index + 1 : index + 3]
    if len(behind) == 2 and behind[0].norm in ("from", "after") and behind[1].quantity is not None and (
        behind[1].quantity.unit in SPANS
    ):
        return True  # "ROM 0-30 from 2/52"
    if any(token.norm == "only" for token in sentence.tokens[max(0, index - 3) : index]) and any(
        m.table == "aftercare" and 0 < index - m.last <= _TOLD_NEAR for m in sentence.mentions
    ):  # fmt: skip
        return True  # "brace six weeks, prone flexion only to ninety"
    at = index - 1
    while at > 0 and (sentence.tokens[at].quantity is not None or sentence.tokens[at].norm in _LIMIT_WAY):
        at -= 1
    if at < 0 or sentence.tokens[at].norm not in _LIMITED:
        return False
    bare = [token.norm for token in sentence.tokens[index + 1 : index + 3]] == ["for", "#number"]
    worn = any(token.norm in _SPLINTS for token in sentence.tokens[:at])
    return bare or worn or any(quantity.unit in SPANS and place > index for place, quantity in cues.numbers(sentence))


_TOLD_NEAR = 14  # tokens


def run_on(sentence: Sentence, drug: Mention, index: int) -> dict[str, Any]:
    """ "Clexane forty six weeks", "aspirin one fifty six weeks": a dose and how long, said as one number."""
    token = sentence.tokens[index]
    value = token.quantity.value if token.quantity is not None else None
    if drug.table != "drugs" or value is None or token.quantity is None or token.quantity.unit not in ("wk", "mo"):
        return {}
    between = sentence.tokens[drug.last + 1 : index]
    if value <= _LONGEST or not value % 10 or any(one.quantity is not None for one in between):
        return {}
    unit = "weeks" if token.quantity.unit == "wk" else "months"
    said = f"'{token.text}' was read as a dose and {value % 10} {unit}; it may be {value} {unit}"
    return {"value": value % 10, "doubts": (said,)}


_LONGEST = 16  # weeks or months of a course that is said without its dose; common practice, no source


def _until_week(sentence: Sentence, index: int) -> bool:
    """ "Passive elevation to ninety only until week six", "ROM 0-90 by week 4": a point in time to come."""
    ahead = [token.norm for token in sentence.tokens[index + 1 : index + 5]]
    return any(word in ("until", "till", "by") and (after in _THEN or after.startswith("#time"))
               for word, after in pairwise(ahead))  # fmt: skip


_THEN = frozenset({"week", "weeks", "day", "month", "review", "reviewed", "clinic", "seen", "union", "healed"})
_LIMITED = frozenset({"limited", "restricted", "limit", "restrict"})
_SPLINTS = frozenset({"brace", "orthosis", "splint", "sling"})  # "brace six weeks, flexion limited to ninety"
_LIMIT_WAY = frozenset({"to", "for", ",", "then", "and", "till", "until"})


SPANS = frozenset({"d", "wk", "mo"})
BY_MOUTH = frozenset({"oral", "orally", "po", "iv", "intravenous", "intravenously", "tablets", "then", "for", "x"})


def is_dosed(sentence: Sentence, drug: Mention, index: int) -> bool:
    """ "Crutches, enoxaparin 40 mg daily for six weeks": a dose between a drug and a time binds them."""
    between = [token.quantity for token in sentence.tokens[drug.last + 1 : index] if token.quantity is not None]
    return any(quantity.dimension in ("mass", "amount") for quantity in between)


def of_another(sentence: Sentence, last: int, index: int) -> bool:
    """ "WBAT, PT 1 wk", "crutches, flexion to 90 for three weeks": behind a comma, a word of its own stands right
    before the number, or a measure."""
    between = sentence.tokens[last + 1 : index]
    if any(last < m.first < index for m in base.mentions(sentence, "dispositions")):
        return True  # "diet tomorrow, home day two"
    seen = visits.cue_of(sentence, index)
    if seen is not None and last < seen < index:
        return True  # "weight as he likes clinic ten days"
    if [token.norm for token in between[:2]] == [")", ","]:
        return True  # "RV 2/52 (ROS), 6/52": what stood in brackets is over
    comma = max((at for at in range(last + 1, index) if sentence.tokens[at].norm == ","), default=None)
    if comma is not None and any(comma < m.first < index for m in base.mentions(sentence, "measures")):
        return True
    if len(between) != 2 or between[0].norm != ",":
        return False
    return between[1].text.isupper() and between[1].norm.isalpha()


def is_movement(sentence: Sentence, mention: Mention) -> bool:
    """ "Elevation ninety": how far the arm goes up, and nothing to be done."""
    if mention.id == "digit-motion" and sentence.tokens[mention.first].norm in ("moves", "moved", "moving", "wiggles"):
        return True  # "pulse good, moves the fingers": how the patient is
    after = sentence.tokens[mention.last + 1 : mention.last + 3]
    after = after[1:] if after and after[0].norm in ("to", "of", "limited") else after
    quantity = after[0].quantity if after else None
    return mention.id == "elevation" and quantity is not None and quantity.dimension in ("", "angle")


_FOUND = frozenset(
    "normal fine intact unremarkable ok okay clear clean good healthy stable looked looks is was were".split()
)


_BEFOREHAND = frozenset({"prior", "beforehand", "preoperatively", "preop", "previously"})
_TODAY = frozenset({"procedure", "injection", "operation", "surgery", "today", "this"})


def is_before(sentence: Sentence, mention: Mention) -> bool:
    """Whether what sounds like an instruction tells what is left of a part, or how it was before: "no NSAIDs for seven
    days prior"."""
    if is_remainder(sentence, mention):
        return True
    for at in range(mention.last + 1, min(mention.last + 6, len(sentence.tokens))):
        token = sentence.tokens[at]
        if token.punctuation:
            return False
        if token.norm in _BEFOREHAND:
            return sentence.tokens[at + 1 : at + 2] == () or sentence.tokens[at + 1].norm not in ("to", "weight")
        if token.norm == "before":
            return any(after.norm in _TODAY for after in sentence.tokens[at + 1 : at + 4])
    return False


def is_remainder(sentence: Sentence, mention: Mention) -> bool:
    """ "Meniscus trimmed, rest normal": what is left, and no instruction to rest."""
    if mention.first != mention.last or sentence.tokens[mention.first].norm != "rest":
        return False
    after = sentence.tokens[mention.last + 1 : mention.last + 2]
    graded = bool(after) and after[0].quantity is not None and not after[0].quantity.dimension and any(
        one.table == "grades" and one.last < mention.first for one in sentence.mentions
    )  # "MFC ICRS 1, rest 0"
    return bool(after) and (after[0].norm in _FOUND or after[0].norm == "of" or graded)


_DAILY = (("a", "day"), ("per", "day"), ("each", "day"), ("every", "day"), ("/", "d"), ("/", "day"), ("daily",))


def a_day(sentence: Sentence, index: int) -> bool:
    """Whether a time is for how much of every day: "four hours a day", "4 h/d"."""
    quantity = sentence.tokens[index].quantity
    after = tuple(token.norm for token in sentence.tokens[index + 1 : index + 3])
    short = quantity is not None and quantity.unit in ("h", "min")
    return short and any(after[: len(words)] == words for words in _DAILY)


def lasts_no_longer(sentence: Sentence, at: int, index: int) -> bool:
    """Whether the time at `at` does not tell how long an instruction lasts, so that the one at `index` may: "eight
    hourly for five days", "four hours a day for two weeks", "from day one, for six weeks", "twenty minutes every two
    hours for three days"."""
    one, other = sentence.tokens[at].quantity, sentence.tokens[index].quantity
    if one is None or other is None:
        return False
    before = sentence.tokens[at - 1].norm if at else ""
    longer = other.unit in ("d", "wk", "mo") and (one.unit == "min" or (one.unit == "h" and before == "every"))
    between = {token.norm for token in sentence.tokens[at + 1 : index]}
    longer = longer or (one.unit == "h" and other.unit in ("d", "wk", "mo") and bool(between & {"day", "daily"}))
    begins = before in ("from", "starting") and sentence.tokens[index - 1].norm in ("for", "x")
    return one.form == "interval" or a_day(sentence, at) or longer or begins


def course_of(sentence: Sentence, index: int) -> Mention | None:
    """ "Oxycodone 5 mg prn for three days with a laxative": the dosed drug that a time led by "for" is of."""
    quantity = sentence.tokens[index].quantity
    drugs = [m for m in base.mentions(sentence, "drugs") if m.last < index <= m.last + _COURSE]
    if not drugs or not index or sentence.tokens[index - 1].norm != "for" or quantity is None or (
        quantity.dimension != "time" or not is_dosed(sentence, drugs[-1], index)
    ):
        return None
    between = sentence.tokens[drugs[-1].last + 1 : index]
    ended = any(token.norm in (".", ";", "then") or token.quantity is not None and token.quantity.unit in SPANS
                for token in between)  # fmt: skip
    return None if ended else drugs[-1]


_COURSE = 12  # tokens


def is_way(sentence: Sentence, thing: Mention) -> bool:
    """ "Via PICC", "through the port": how a medicine goes in."""
    before = [token.norm for token in sentence.tokens[max(0, thing.first - 2) : thing.first]]
    return bool({"via", "through"} & set(before))


def listed(sentence: Sentence, at: int, index: int) -> bool:
    """ "Dressing change on day two and day five": two times of one instruction."""
    one, other = sentence.tokens[at].quantity, sentence.tokens[index].quantity
    between = {token.norm for token in sentence.tokens[at + 1 : index]}
    alike = one is not None and other is not None and one.unit == other.unit
    return alike and "and" in between and between <= {"and", ",", "on", "at"}


def leads_at(sentence: Sentence, last: int, index: int) -> bool:
    """ "Pin care daily, dynamise at 8/52": behind a comma, words of their own lead to a moment."""
    if not index or sentence.tokens[index - 1].norm != "at":
        return False
    comma = max((at for at in range(last + 1, index) if sentence.tokens[at].norm == ","), default=index)
    return comma + 1 < index - 1


def joined(sentence: Sentence, target: Mention, own: list[Mention]) -> list[Mention]:
    """Instructions joined to one by "with" or "and", nothing else between."""
    found: list[Mention] = []
    at = target
    for mention in reversed(own):
        between = [token.norm for token in sentence.tokens[mention.last + 1 : at.first]]
        if mention.last < at.first and between and set(between) <= {"with", "and", "in", "on", "a", "the", "two"}:
            found.append(mention)
            at = mention
    return found
