"""Drugs that were taken before the operation and stopped, and for how long: "off warfarin for five days"."""

from __future__ import annotations

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.extractors import base
from pipeline.records import Mention, Sentence, Token
from pipeline.rows import Drug

_STOPPED = frozenset("stopped held withheld paused discontinued ceased omitted suspended interrupted off".split())

_TO_STOP = frozenset("hold withhold stop suspend omit pause discontinue cease interrupt holding stopping".split())


def is_stopped(sentence: Sentence, drug: Mention, index: int, ahead: bool) -> bool:
    """ "Off warfarin for five days", "rivaroxaban held for three days": how long it was not taken."""
    if drug.table != "drugs" or ahead:
        return False
    if base.scope_at(sentence, "status", drug.first, "") == "planned":
        return False  # how long it is not to be taken
    return _was_stopped(sentence, drug, index)


def says_stopped(sentence: Sentence, drug: Mention, index: int) -> bool:
    """Whether a word for stopping stands beside a drug and a time behind it: "hold aspirin for seven days"."""
    return sentence.tokens[_verb(sentence, drug)].norm in _TO_STOP or _was_stopped(sentence, drug, index)


def _was_stopped(sentence: Sentence, drug: Mention, index: int) -> bool:
    before = [token.norm for token in sentence.tokens[max(0, drug.first - 3) : drug.first]]
    while before and before[-1] in ("the", "of", "his", "her", "their"):
        before.pop()  # "off of the warfarin"
    after = [token.norm for token in sentence.tokens[drug.last + 1 : index]]
    return any(norm in _STOPPED for norm in (*before[-1:], *after))


_STOPS = _words(
    "stopped discontinued paused ceased suspended interrupted stopping discontinuing continued bridged cont ctd cont'd"
)
_LAST = _words("taken dose tablet intake")
_OFF = _words("off stopped discontinued paused suspended stopping discontinuing ceased continued")
_BEFORE = _words(
    "yesterday ago before prior preoperatively preop since last monday tuesday wednesday thursday friday saturday "
    "sunday january february march april may june july august september october november december week weeks day days "
    "month months years morning night weekend admission beforehand earlier"
)
# What stops within the operation.
_HERE = _words("end once when during after closure cpb bypass infusion drip emergence extubation pump rate wound skin")
_RUNNING = _words("general_anaesthetic vasoactive muscle_relaxant sedative tocolytic cardioplegic uterotonic")
_WINDOW = 9  # tokens


def stopped(sentence: Sentence, drug: Mention, row: Drug) -> tuple[bool, tuple[str, ...]]:
    """Whether a drug was taken before the operation and stopped, and what is unsure of that: "Diamox stopped",
    "apixaban last taken on Tuesday", "off warfarin for five days"; not "propofol infusion stopped at 14:30"."""
    tokens = sentence.tokens
    if _goes_on(sentence, drug) or to_stop(sentence, drug):
        return False, ()
    ahead = own_part(sentence, drug)
    cue = next((at for at, token in enumerate(ahead) if _is_stop(ahead, at)), None)
    if cue is not None and _stops_another(sentence, drug.last + 1 + cue):
        cue = None
    lead = [token.norm for token in tokens[max(0, drug.first - 3) : drug.first]]
    if any(m.table == "drugs" and drug.first - 4 <= m.last < drug.first for m in sentence.mentions):
        lead = []  # "warfarin stopped five days before heparin": of the drug before
    off = bool(_OFF & set(lead)) and not set(lead) & {"switched", "turned", "cut", "not"} and not (
        any(token.quantity is not None and token.quantity.form == "clock"
            for token in tokens[max(0, drug.first - 3) : drug.first])  # "traction off at 10:01, cefuroxime 1.5 g"
        or lead[-2:] == [",", "then"] or lead[-1:] in (["then"], [","])  # "twelve mL off, then hyaluronate"
    )
    if cue is None and not off:
        return False, ()
    told = {token.norm for token in (*ahead, *tokens[max(0, drug.first - 3) : drug.first])}
    dated = bool(told & _BEFORE) or any(
        token.quantity is not None and token.quantity.unit in ("d", "wk", "mo", "h") for token in ahead
    )
    clock = any(token.quantity is not None and token.quantity.form == "clock" for token in ahead)
    if (told & _HERE and not dated) or clock or set(row.classes) & _RUNNING:
        return False, ()
    said = ahead[cue].norm if cue is not None else "off"
    if said in ("continued", "cont", "ctd", "cont'd"):
        return True, ("said to be continued; not said to be given here",)
    return True, () if dated or said in ("last", "until") else ("said to be stopped; not said when",)


def _goes_on(sentence: Sentence, drug: Mention) -> bool:
    """ "She will be continued on cefazolin": from now on."""
    lead = [token.norm for token in sentence.tokens[max(0, drug.first - 3) : drug.first]]
    return "continued" in lead and base.scope_at(sentence, "status", drug.first, "") == "planned"


def to_stop(sentence: Sentence, drug: Mention) -> bool:
    """ "Stop Diamox", "hold apixaban for two days": an order at the head of a sentence or of a part of it."""
    behind = [token.norm for token in sentence.tokens[drug.last + 1 : drug.last + 4]]
    if behind[:2] == ["to", "be"] and behind[2:] and behind[2] in _STOPPED - {"off"} or behind[:2] == ["to", "stop"]:
        return True  # "tamsulosin to be stopped"
    at = _verb(sentence, drug)
    if sentence.tokens[at].norm not in _TO_STOP - {"stopping", "holding"}:
        return False
    return at == 0 or sentence.tokens[at - 1].norm not in _NO_ORDER


_NO_ORDER = _words("not never don't didn't won't we i they he she")


def kept_on(sentence: Sentence, drug: Mention) -> dict[str, str]:
    """ "Do not stop his aspirin", "she has not stopped her warfarin": the stopping is denied, so that it goes on,
    or went on before the operation."""
    at = _verb(sentence, drug)
    norm = sentence.tokens[at].norm
    before = [token.norm for token in sentence.tokens[max(0, at - 2) : at]]
    if norm not in _TO_STOP | {"stopped", "discontinued", "paused"} or not set(before[-1:]) & _NOT:
        return {}
    told = norm not in _TO_STOP or "did" in before or before[-1:] == ["didn't"]
    if told:
        return {"status": "historical", "certainty": "affirmed"}
    return {"role": "aftercare", "status": "planned", "certainty": "affirmed"}


_NOT = _words("not never don't didn't hasn't haven't")


def _verb(sentence: Sentence, drug: Mention) -> int:
    """Where the word before a drug stands, over whose it is: "stop his usual clopidogrel"."""
    at = drug.first - 1
    while at > 0:
        norm = sentence.tokens[at].norm
        other = next((m for m in sentence.mentions if m.table == "drugs" and m.last == at - 1), None)
        if norm in _WHOSE:
            at -= 1
        elif norm in ("and", ",", "or") and other is not None:  # "stop aspirin and clopidogrel"
            at = other.first - 1
        else:
            break
    return max(at, 0)


_WHOSE = _words("the his her their my usual regular home own")


def _stops_another(sentence: Sentence, verb: int) -> bool:
    """ "Takes bisoprolol and stopped her rivaroxaban": the verb has the next drug as its object."""
    lead = sentence.tokens[verb - 1].norm
    return lead in ("and", "but", "she", "he", "they", "who", "we", "i") and any(
        m.table == "drugs" and verb < m.first <= verb + 2 for m in sentence.mentions
    )


def _is_stop(ahead: list[Token], at: int) -> bool:
    norm = ahead[at].norm
    following = ahead[at + 1].norm if at + 1 < len(ahead) else ""
    before = ahead[at - 1].norm if at else ""
    if norm == "off" and (before == "->" or following == "since"):
        return True  # "warfarin -> off since the ablation"
    if norm == "last":
        return following in _LAST
    if norm == "until":
        return bool({token.norm for token in ahead[at + 1 : at + 4]} & _BEFORE)
    if norm in ("held", "withheld"):  # "apixaban held for three days", not "antibiotic held until cultures"
        led = [token.norm for token in ahead[at + 1 : at + 2]] == ["for"] and before not in ("not", "be", "never")
        near = [token.quantity for token in ahead[at + 2 : at + 4] if token.quantity is not None]
        return led and any(quantity.unit in ("d", "wk") for quantity in near)
    return norm in _STOPS and before not in ("not", "be", "never")


def own_part(sentence: Sentence, drug: Mention) -> list[Token]:
    """The tokens behind a drug that may still be told of it: up to a mark, the next drug or the next clause."""
    end = min(len(sentence.tokens), drug.last + 1 + _WINDOW, clauses.bounds(sentence, drug.first)[1])
    found: list[Token] = []
    for index in range(drug.last + 1, end):
        token = sentence.tokens[index]
        if token.norm == "," and found and found[-1].norm in ("tonight", "tomorrow"):
            break  # "LMWH tonight, PPI continued"
        if token.norm in (".", ";", "but") or any(m.table == "drugs" and m.first == index for m in sentence.mentions):
            break
        found.append(token)
    return found
