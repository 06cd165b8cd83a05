"""When the patient is seen again, what should bring them back sooner, and what comes next if this does not help."""

from __future__ import annotations

from pipeline import clauses, not_of_today, story, visits, what_if
from pipeline.extractors import _care_stages, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence, replace

KINDS = ("follow_up", "warning_sign", "next_step")

_SOONEST = 6  # hours until somebody is seen again
_UNITS = frozenset({"d", "wk", "mo", "a", "h"})
_EARLY = frozenset({"indication", "history", "imaging", "consent", "preop-diagnosis", "postop-diagnosis",
                    "both-diagnoses", "diagnosis", "procedure"})  # fmt: skip
_RETURN = frozenset(
    {"return", "returns", "call", "calls", "contact", "seek", "report", "attend", "ring", "warn", "warned", "back",
     "watch", "worry", "worrying", "warning", "flags", "alert", "rings", "phone", "phones", "ed", "come", "comes",
     "a&e", "called", "bring", "brings", "straight", "->"}
)  # fmt: skip
_NAMING = frozenset({"flags", "warning", "alert"})  # "red flags are swelling and fever"
_NOUNS = frozenset({"ring", "report", "contact", "watch", "alert", "flags"})
_TO_VERB = frozenset("to please and or must should will can patient he she they , ; : . then red also would".split())
_LINK = frozenset({"if", "for", "with", "should", "about", "when", "signs", "include", ":"})
_SIGN_SECTIONS = frozenset({"aftercare", "follow-up", "", "disposition"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section in _EARLY:
            continue
        step = _next_step(reading, sentence)
        sign = [] if step else _warning(reading, sentence)
        facts += step + sign
        if not step:
            seen = [fact for fact in _seen_again(reading, sentence) if not sign or _apart(fact, sign[0])]
            facts += [_behind_sign(fact, sign[0]) if sign else fact for fact in seen]
            dated = _on_a_day(reading, sentence) if sign else []
            facts += [fact for fact in dated if fact.evidence.last < sign[0].evidence.first]
        else:  # "review six weeks if no better at six months consider an osteotomy"
            facts += [fact for fact in _seen_again(reading, sentence) if fact.evidence.last < step[0].evidence.first]
    return facts


def _behind_sign(fact: Fact, sign: Fact) -> Fact:
    """ "Come back if fever, clinic six weeks": the visit behind the sign does not hang on it."""
    behind = fact.evidence.first > sign.evidence.last and fact.status == "conditional"
    return replace(fact, status="planned") if behind else fact


def _apart(fact: Fact, sign: Fact) -> bool:
    """Whether a time stands beside what should bring the patient back, not inside it."""
    inside = fact.evidence.last >= sign.evidence.first and fact.evidence.first <= sign.evidence.last
    return not inside and (fact.value is not None or fact.low is not None)


def _seen_again(reading: Reading, sentence: Sentence) -> list[Fact]:
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "time"):
        if quantity.unit not in _UNITS or quantity.form not in ("number", "range", "fraction"):
            continue
        if quantity.unit == "h" and (quantity.value or quantity.low or 0) < _SOONEST:
            continue  # "up in two hours clinic two weeks"
        if _care_stages.is_of_a_rate(sentence, index):
            continue
        cue = visits.cue_of(sentence, index)
        if cue is None or base.scope_at(sentence, "status", index, "") == "historical":
            continue
        if any(m.id == "wound-care" and m.first < cue <= m.last for m in base.mentions(sentence, "aftercare")):
            continue  # "a dressing change on day five": no visit
        distance = abs(index - cue)
        denied = any(
            s.rule in ("not-done", "none") and s.value == "negated" and min(cue, index) >= s.first and index < s.last
            and sentence.tokens[s.last].norm in _NO_NEED for s in sentence.scopes
        )  # fmt: skip
        fact = base.claim("follow_up", reading, sentence, index, cue, cue, min(3 * distance, 60),
                          name=visits.name_of(sentence, cue), certainty="negated" if denied else "affirmed")
        planned = fact.status == "performed" or fact.status == "conditional" and _is_sure(sentence, index)
        facts.append(replace(fact, status="planned") if planned else fact)
        facts += _and_again(reading, sentence, index, cue)
    facts += [] if facts else _on_a_day(reading, sentence)
    if not facts:
        cue = visits.alone(sentence)
        if cue is not None:
            first, last = _from_day(sentence, cue), min(len(sentence.tokens) - 1, cue + 10)
            facts.append(base.make("follow_up", reading, sentence, first, last, status="planned",
                                   text=story.words(sentence, first, last)))  # fmt: skip
    return facts


def _on_a_day(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Review in the fracture clinic on the fourteenth of January": a visit with its date, in words."""
    for index, quantity in base.quantities(sentence, ""):
        if quantity.form != "date" or base.scope_at(sentence, "status", index, "") == "historical":
            continue
        cue = visits.cue_of(sentence, index, _LEADS)
        if cue is not None and sentence.tokens[max(0, cue - 1)].norm in _THEN and (
            [token.norm for token in sentence.tokens[max(0, cue - 5) : cue - 1]][-3:] in _AT_THE_TIME
        ):
            continue  # "findings at the time of the consultation on 3 May"
        if cue is not None:
            return [base.make("follow_up", reading, sentence, cue, index, status="planned", certainty="affirmed",
                              text=story.words(sentence, cue, index))]  # fmt: skip
    return []


_THEN = frozenset({"the", "his", "her", "their", "a", "that"})
_AT_THE_TIME = (["the", "time", "of"], ["that", "time", "of"], ["since"], ["during"])
_LEADS = frozenset({"on", "the", "for", ",", "monday", "tuesday", "wednesday", "thursday", "friday", "dated", "until"})


def _and_again(reading: Reading, sentence: Sentence, index: int, cue: int) -> list[Fact]:
    """ "RV 2/52 wound, 6/52 clinic", "f/u 2/52 (ROS), 6/52, 3/12": further visits, right behind the first one."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    last, parted = index, False
    for at in range(index + 1, len(tokens)):
        quantity = tokens[at].quantity
        if quantity is None and at - last <= _TO_NEXT:
            parted = parted or tokens[at].norm in _AND
            inside = tokens[at - 1].norm == "("
            if parted and not inside and tokens[at].norm.isalpha() and tokens[at].norm not in _AND | _SEEN_FOR | _ANEW:
                break
            continue
        again = tokens[at - 1].norm in _ANEW and "again" in [token.norm for token in tokens[at - 3 : at]]
        ends = again or at + 1 >= len(tokens) or tokens[at + 1].punctuation or tokens[at + 1].norm in _ENDS
        if quantity is None or not parted or not ends or quantity.dimension != "time" or quantity.unit not in _UNITS:
            break
        facts.append(base.claim("follow_up", reading, sentence, at, cue, cue, _AGAIN, name=None, certainty="affirmed",
                                status="planned"))  # fmt: skip
        last, parted = at, False
    return facts


_NO_NEED = frozenset({"needed", "required", "necessary", "planned", "booked", "arranged", "wanted", "indicated"})
_AND = frozenset({",", "+", "and", "&", "then", ")", "("})
_ANEW = frozenset({"again", "at", "in", "after"})
_TO_NEXT, _AGAIN = 5, 8
_SEEN_FOR = frozenset({"clinic", "wound", "opd", "xray", "x-ray", "mri", "check", "review", "physio", "outpatients"})
_ENDS = _SEEN_FOR | _AND | {"with", "for"}
_DAYS = frozenset("tomorrow monday tuesday wednesday thursday friday saturday sunday".split())
_TO_DAY = 6  # tokens


def _from_day(sentence: Sentence, cue: int) -> int:
    """ "Back to the office tomorrow for a review": the day said before the visit belongs to it."""
    low = max(clauses.bounds(sentence, cue)[0], cue - _TO_DAY)
    return next((at for at in range(low, cue) if sentence.tokens[at].norm in _DAYS), cue)


def _warning(reading: Reading, sentence: Sentence) -> list[Fact]:
    if (listed := not_of_today.signs_before_place(sentence)) is not None and sentence.section in _SIGN_SECTIONS:
        first = int(sentence.tokens[0].norm in ("if", "any"))
        return [base.make("warning_sign", reading, sentence, first, listed, status="planned", certainty="affirmed",
                          text=story.words(sentence, first, listed))]  # fmt: skip
    calls = sentence.says(_RETURN) or what_if.is_call(sentence)
    if not calls or (sentence.says({"free"}) and sentence.says({"questions"})):
        return []  # "if you have any questions, please feel free to contact me"
    tokens = sentence.tokens
    planned = any(scope.value == "planned" for scope in sentence.scopes)
    if sentence.section not in _SIGN_SECTIONS and not planned:
        return []
    told = what_if.sign_before_call(sentence)
    if told is not None:
        first, last = told
        return [base.make("warning_sign", reading, sentence, first, last, status="planned", certainty="affirmed",
                          text=story.words(sentence, first, last))]  # fmt: skip
    for index, token in enumerate(tokens):
        if token.norm not in _RETURN:
            continue
        if token.norm in ("come", "comes") or (token.norm == "ed" and not token.text.isupper()):
            continue  # "come back if", "the excised lesion"
        following = [other.norm for other in tokens[index + 1 : index + 4]]
        if token.norm in ("returns", "return") and following[:2] == ["for", "a"] and set(following) & _ONCE_MORE:
            continue  # "he returns for a second round of grafting"
        led = tokens[index - 1].norm if index else ""
        ours = {other.norm for other in tokens[max(0, index - 4) : index]} & {"we", "i"}
        if token.norm in ("bring", "brings", "worry", "watch") and ours:
            continue  # "we will bring him back for a second stage", "we will worry about the stone later"
        if token.norm == "called" and led != "be":
            continue  # "the referring doctor called about the scan"
        if token.norm in ("return", "returns") and {"operating", "theatre", "theater", "surgery"} & {
            other.norm for other in tokens[index + 1 : index + 5]
        }:
            continue
        if token.norm == "contact" and led == "to" and sentence.says({"free", "questions"}):
            continue  # "please feel free to contact me"
        if token.norm == "back" and (not index or tokens[index - 1].norm not in ("come", "came", "comes", "bring")):
            continue
        if token.norm in _NOUNS and index and tokens[index - 1].norm not in _TO_VERB:
            continue  # "trigger finger release, left ring, with adrenaline"
        for at in range(index + 1, min(index + 9, len(tokens))):
            if tokens[at].norm in (".", ";", "operating", "theatre", "room", "clinic"):
                break
            named = token.norm in _NAMING and tokens[at].norm == "are"
            if not (named or tokens[at].norm in _LINK) or at + 1 >= len(tokens):
                continue
            if tokens[at].norm in ("for", "with") and not _is_sign(sentence, at + 1):
                break
            last = _sign_end(sentence, at + 1)
            return [base.make("warning_sign", reading, sentence, index, last, status="planned", certainty="affirmed",
                              text=story.words(sentence, at + 1, last))]  # fmt: skip
    return []


_ONCE_MORE = frozenset({"second", "third", "repeat", "further", "another", "staged"})
_NO_SIGN = frozenset(
    {"follow", "followup", "review", "the", "a", "an", "his", "her", "suture", "sutures", "me", "us", "dr", "dr.",
     "doctor", "clinic", "removal", "dressing", "wound", "further", "physical"}
)  # fmt: skip


_VISITS = frozenset(
    {"removal", "change", "surgery", "check", "review", "scan", "visit", "appointment", "x-ray", "films"}
)


def _is_sign(sentence: Sentence, at: int) -> bool:
    while at + 1 < len(sentence.tokens) and sentence.tokens[at].norm in ("a", "an", "any"):
        at += 1
    if (said := sentence.tokens[at].quantity) is not None and said.dimension == "time":
        return False  # "warn sugars up for a week"
    near = range(at, at + 3)
    done = any(m.first in near and m.table in ("acts", "procedures", "aftercare") and m.id != "drainage"
               for m in sentence.mentions)  # fmt: skip
    removal = any(token.norm in _VISITS for token in sentence.tokens[at : at + 4])
    return sentence.tokens[at].norm not in _NO_SIGN and not done and not removal


def _end(sentence: Sentence, start: int) -> int:
    last = start
    for index in range(start, min(start + 25, len(sentence.tokens))):
        if sentence.tokens[index].norm in (".", ";"):
            break
        last = index
    return last


def _sign_end(sentence: Sentence, start: int) -> int:
    """The last token of the signs: not "fever or calf pain, clinic at six weeks", which goes on about a visit."""
    end = _end(sentence, start)
    tokens = sentence.tokens
    for at in range(start + 1, end):
        if tokens[at].norm == "," and at + 1 <= end and tokens[at + 1].norm in _VISIT_NEXT:
            return at - 1
    return end


_VISIT_NEXT = frozenset("clinic review reviewed otherwise follow followup follow-up appointment see seen sutures "
                        "stitches physio physiotherapy outpatient outpatients back next".split())  # fmt: skip


def _behind_visit(sentence: Sentence, first: int) -> int:
    """ "Back in six weeks; if no better, open release": the condition, where a visit with its time stands before it."""
    tokens = sentence.tokens
    cue = next((at for at in range(first, len(tokens)) if tokens[at].norm == "if"), None)
    if cue is None or tokens[cue - 1].norm not in (",", ";"):
        return first  # "repeat in six weeks if it helps": both are one
    seen = [at for at, quantity in base.quantities(sentence, "time") if first <= at < cue and quantity.unit in _UNITS]
    return cue if any(visits.cue_of(sentence, at) is not None for at in seen) else first


def _is_sure(sentence: Sentence, index: int) -> bool:
    """Whether a visit does not hang on the condition behind it: "review in three weeks, if no better then MRI", where
    the condition has something else that hangs on it; or "unless", which leaves it planned."""
    tokens = sentence.tokens
    cue = next((at for at in range(index + 1, len(tokens)) if tokens[at].norm in ("if", "unless")), None)
    if cue is None:
        return False
    if tokens[cue].norm == "unless":
        return True
    return tokens[cue - 1].norm in (",", ";", "and") and what_if.next_step_at(sentence) is not None


def _next_step(reading: Reading, sentence: Sentence) -> list[Fact]:
    first = what_if.next_step_at(sentence)
    if first is None:
        return []
    first = _behind_visit(sentence, what_if.step_begins(sentence, first))  # the condition belongs to it
    last = min(_end(sentence, first), what_if.step_ends(sentence, first))
    return [base.make("next_step", reading, sentence, first, last, text=story.words(sentence, first, last),
                      certainty="affirmed")]  # fmt: skip
