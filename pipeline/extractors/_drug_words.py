"""What the words beside a drug say of it: given here, tried before, a gas by its nature."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from pipeline import cues
from pipeline.extractors import base
from pipeline.records import Mention, Sentence
from pipeline.rows import Drug

_BEFORE, _AFTER = 12, 8  # tokens
_GIVING = frozenset({"given", "gave", "received", "administered", "loaded", "injected"})
# What begins something else in the orders: "tranexamic acid one gram crutches for three weeks".
NEXT = frozenset({"then", "crutches", "sling", "brace", "splint", "cast", "boot", "bandage", "drain", "physio"})
_LATER = frozenset({"prescription", "prescriptions", "instructions", "will", "home", "discharge", "script"})
_TRIED = frozenset({"treated", "tried", "managed", "trialled", "trialed", "requires", "started", "using", "maintained"})
_STORY = frozenset({"indication", "history", "imaging"})
_GASES = frozenset({"anesthetic", "anesthetics", "anaesthetic", "anaesthetics", "anesthesia", "anaesthesia", "agent",
                    "agents", "gas", "gases", "induction"})  # fmt: skip


def in_a_ratio(sentence: Sentence, drug: Mention, before: Mention) -> bool:
    """ "Xylocaine 1%, 1:100,000 epinephrine 7 ml": of the solution of the drug right before it, by its ratio."""
    ratio = sentence.tokens[drug.first - 1].quantity if drug.first else None
    between = sentence.tokens[before.last + 1 : drug.first - 1]
    return ratio is not None and ratio.form == "ratio" and all(
        token.quantity is not None or token.norm in (",", "plain", "and", "/") for token in between
    )


def is_measured(sentence: Sentence, drug: Mention) -> bool:
    """ "Glucose 11.2", "glucose was 6 mmol/L", "her glucose was high", "glucose to be checked": what is found in the
    blood, and no drug."""
    tokens = sentence.tokens
    if tokens[drug.first].norm not in _IN_BLOOD or drug.first != drug.last:
        return False
    told = [token.norm for token in tokens[drug.last + 1 : drug.last + 4]]
    if (drug.first and tokens[drug.first - 1].norm in _WHOSE) or _TESTED & set(told):
        return True
    after = drug.last + 1 + (drug.last + 1 < len(tokens) and tokens[drug.last + 1].norm in ("was", "is", "of", ":"))
    quantity = tokens[after].quantity if after < len(tokens) else None
    return quantity is not None and (quantity.unit is None or quantity.unit in ("mmol/L", "mg/dL", "meq/L"))


_WHOSE = frozenset("her his their blood serum plasma capillary fasting check checked monitor measure".split())
_TESTED = frozenset("high low normal raised elevated checked monitored measured level levels check checks control "
                    "controlled monitoring".split())  # fmt: skip
_IN_BLOOD = frozenset({"glucose", "bicarbonate", "bicarb", "potassium", "calcium", "magnesium", "phosphate", "sodium"})


_JOINED = frozenset({",", "and", "plus", "with", "or", "then", "&", "+"})


def as_before(
    sentence: Sentence, before: Mention, fields: dict[str, Any], drug: Mention
) -> dict[str, Any]:
    """ "Naproxen 500 twice a day for three weeks to stop bone forming, and omeprazole 20": what is joined to a medicine
    for later is for later, too. `fields`: what is known of the one before."""
    between = sentence.tokens[before.last + 1 : drug.first]
    joined = bool(between) and between[-1].norm in _JOINED and not any(t.norm in (".", ";") for t in between)
    told = {token.norm for token in (*between, *sentence.tokens[drug.last + 1 : drug.last + _AFTER])}
    if fields.get("role") != "aftercare" or not joined or told & _GIVING or was_given(sentence, drug):
        return {}
    return {"role": "aftercare", "status": "planned"}


def was_given(sentence: Sentence, drug: Mention) -> bool:
    """ "I have given 300 mg of oral clopidogrel": it was given here and now, however it is taken."""
    before = {token.norm for token in sentence.tokens[max(0, drug.first - _BEFORE) : drug.first]}
    after = {token.norm for token in sentence.tokens[drug.last + 1 : drug.last + _AFTER]}
    passive = bool(after & {"was", "were"} and after & _GIVING) or _into_part(sentence, drug)
    return not (before | after) & _LATER and (bool(before & _GIVING) or passive)


def _into_part(sentence: Sentence, drug: Mention) -> bool:
    """ "Hyaluronate two mils twenty milligrams into each knee third of three weekly injections"."""
    tokens = sentence.tokens
    ahead = range(drug.last + 1, min(len(tokens), drug.last + _AFTER))
    into = next((at for at in ahead if tokens[at].norm == "into"), 0)
    return into > 0 and any(m.table == "sites" and 0 < m.first - into <= 3 for m in sentence.mentions)


# Of a medicine that was given they say how or when, not that it is to be taken at home.
def is_course(sentence: Sentence, drug: Mention, at: int) -> bool:
    """ "Apixaban for 35 days", "zopiclone nocte 2/52"; "naproxen two weeks", "aspirin 75 mg daily six weeks", where
    nothing but its dose and how often it is taken stands before the length of time, and nothing tells of the past."""
    quantity = sentence.tokens[at].quantity
    if sentence.tokens[at - 1].norm in _COURSE or quantity is not None and quantity.said_unit in _IN_SHORT:
        return True
    after = sentence.tokens[at + 1].norm if at + 1 < len(sentence.tokens) else ""
    return after not in _SINCE and all(
        token.quantity is not None and token.quantity.dimension == "mass" or token.norm in _OFTEN
        for token in sentence.tokens[drug.last + 1 : at]
    )


_COURSE = frozenset({"for", "from", "x", "times", "another", "next", "of"})
_IN_SHORT = ("/7", "/52", "/12")
_SINCE = frozenset("ago before after prior preop preoperatively earlier previously back old later now".split())
_OFTEN = frozenset("daily od bd bid tds tid qds qid nightly nocte po oral orally once twice a day".split())
_HOW = frozenset({"oral", "by mouth", "postoperatively", "tablets", "weekly"})


def says_how(sentence: Sentence, hits: Sequence[cues.Hit]) -> bool:
    """Whether all these words for a medicine to take later may as well tell how one was given."""
    return all(cues.words(sentence, hit.first, hit.last).lower() in _HOW for hit in hits)


def was_before(sentence: Sentence, drug: Mention, row: Drug) -> bool:
    """ "On clopidogrel until yesterday", "was treated with methotrexate" in the story before the operation."""
    words = [token.norm for token in sentence.tokens[max(0, drug.first - 2) : drug.first]]
    taken = words[-1:] == ["on"] and words[:1] not in _NOT_TAKEN
    if {"vasoactive", "contrast"} & set(row.classes) or set(words) & {"off", "came", "transferred"}:
        taken = False  # "came off on milrinone": what runs at the end of a bypass; "no leak on contrast"
    before = {token.norm for token in sentence.tokens[max(0, drug.first - _BEFORE) : drug.first]}
    taken = taken and not goes_home_on(sentence, drug)
    if row.routes == ("oral",) and is_own(sentence, drug) or is_at_home(sentence, drug):
        return True
    ill = _for_an_illness(sentence, drug) or _in_own_list(sentence, drug)
    if ill and not set(row.classes) & _IN_THEATRE:
        return True
    behind = [token.norm for token in sentence.tokens[drug.last + 1 : drug.last + 3]]
    begun = bool(before & _TRIED) or behind in (["was", "started"], ["was", "begun"], ["was", "continued"])
    return taken or (sentence.section in _STORY and begun)


def is_of_a_picture(sentence: Sentence) -> bool:
    """ "She had a CT scan with contrast": the dye of a picture that led here, or was told of."""
    norms = {token.norm for token in sentence.tokens}
    scanned = bool(norms & _SCANS) and bool(norms & _PICTURED) and not norms & _PUT_IN
    return scanned or sentence.section in _STORY


_SCANS = frozenset({"scan", "scans"})
_PICTURED = frozenset({"had", "have", "has", "obtained", "underwent"})
_PUT_IN = frozenset({"injected", "instilled", "injection", "given", "administered", "needle"})


def goes_on_at_home(sentence: Sentence, index: int, drugs: Sequence[Mention]) -> Mention | None:
    """ "Clindamycin 600 mg IV given; home on 300 mg TID": a dose of the drug that was told last, to be taken later."""
    norms = [token.norm for token in sentence.tokens]
    before = [drug for drug in drugs if drug.last < index]
    led = tuple(norms[max(0, index - 2) : index]) in _HOME_ON
    named = any(drug.first in (index + 1, index + 2) for drug in drugs)  # "home on 300 mg of gabapentin"
    return before[-1] if led and before and not named else None


_HOME_ON = frozenset({("home", "on"), ("discharged", "on"), ("home", "with"), ("continue", "on"), ("continues", "on")})
_NOT_TAKEN = (["started"], ["discharged"], ["home"], ["continue"], ["go"], ["off"], ["left"], ["running"])
OWN = "taken for a medicine of the patient's own; not said to be given here"
_OPENING = 8  # sentences


def why_before(sentence: Sentence, drug: Mention) -> tuple[str, ...]:
    """What is unsure of a drug that is taken for one of before."""
    return (OWN,) if is_own(sentence, drug) else ()


_IN_THEATRE = frozenset({"local_anaesthetic", "general_anaesthetic", "antibiotic", "muscle_relaxant", "vasoactive"})
_BEHIND = frozenset({"-", "->", "(", "on", ":", "\u2013"})


def _for_an_illness(sentence: Sentence, drug: Mention) -> bool:
    """ "Epilepsy - levetiracetam", "asthma (salbutamol)" at the head of a note."""
    at = drug.first - 1
    if at < 1 or sentence.index >= _OPENING or sentence.tokens[at].norm not in _BEHIND or _tells_giving(sentence):
        return False
    named = any(m.table == "diagnoses" and m.last == at - 1 for m in sentence.mentions)
    said = sentence.tokens[at - 1].norm
    return named or said in _ILL_IN_SHORT or said.endswith(_ILLNESSES)


def _in_own_list(sentence: Sentence, drug: Mention) -> bool:
    """ "Meds: clopidogrel - not stopped; allopurinol." at the head of a note: no dose, nothing given."""
    tokens = sentence.tokens
    heads = sentence.section == "medicines" and sentence.index < _OPENING and tokens[0].norm in _HEADS
    return heads and not _tells_giving(sentence) and not any(
        token.quantity is not None and token.quantity.dimension in ("mass", "volume") for token in tokens
    )


_HEADS = frozenset({"meds", "medications", "medication", "rx", "dh", "regular", "current", "home"})
_ILL_IN_SHORT = frozenset("t2dm t1dm dm niddm iddm htn copd ihd af ckd gord gerd mi ra bph dvt pe oa ms sle".split())


_ILLNESSES = ("thyroidism", "thyroid", "itis", "osis", "aemia", "emia", "epsy", "tension", "pathy", "asthma", "algia")


def is_at_home(sentence: Sentence, drug: Mention) -> bool:
    """ "Hypothyroid - thyroxine at home", "meds: tranexamic acid prn at home": beside an illness, under the heading of
    medicines or before anything was done, and no course of days."""
    tokens = sentence.tokens
    end = min((m.first for m in sentence.mentions if m.table == "drugs" and m.first > drug.last), default=len(tokens))
    norms = [token.norm for token in tokens[drug.last + 1 : min(end, drug.last + _TO_HOME)]]
    if sentence.index >= _OPENING or _tells_giving(sentence) or ("at", "home") not in pairwise(norms):
        return False
    ill = any(m.table == "diagnoses" and m.last < drug.first for m in sentence.mentions) or (
        drug.first > 1 and tokens[drug.first - 1].norm in _BEHIND
    )
    told = ill or sentence.section in ("medicines", "history") or sentence.memo.get("before")
    return "for" not in norms and bool(told)


_TO_HOME = 8  # tokens


def _tells_giving(sentence: Sentence) -> bool:
    return sentence.says(_GIVING) or sentence.says({"prophylaxis"})


def is_own(sentence: Sentence, drug: Mention) -> bool:
    """ "Warfarin for AF" at the head of a note: a tablet, told with what it is taken for and without being given."""
    after = sentence.tokens[drug.last + 1 : drug.last + 3]
    timed = len(after) > 1 and after[1].quantity is not None and after[1].quantity.dimension == "time"
    led = bool(after) and after[0].norm == "for" and not timed
    return led and sentence.index < _OPENING and not _tells_giving(sentence)


_LEAVES = frozenset({"home", "discharge", "discharged", "leaves", "leave", "goes", "go", "restart", "restarted",
                     "resume", "continue", "continues"})  # fmt: skip


def goes_home_on(sentence: Sentence, drug: Mention) -> bool:
    """ "Home in the morning on cephalexin": to be taken later."""
    if _begins_later(sentence, drug):
        return True
    before = [token.norm for token in sentence.tokens[max(0, drug.first - _BEFORE) : drug.first]]
    at = max((index for index, norm in enumerate(before) if norm in (".", ";", "was", "were", "had")), default=-1)
    return before[-1:] in (["on"], ["with"]) and bool(_LEAVES & set(before[at + 1 :]))


def _begins_later(sentence: Sentence, drug: Mention) -> bool:
    """ "Enoxaparin 40 mg from 18:00", "from tonight", "apixaban start again in two days": when it is to begin."""
    started = False
    for at in range(drug.last + 1, min(drug.last + 6, len(sentence.tokens) - 1)):
        token, after = sentence.tokens[at], sentence.tokens[at + 1]
        started = started or token.norm in _STARTS
        if started and (token.norm == "again" or after.norm in ("tomorrow", "tonight") or (
            token.norm in ("in", "on", "after") and after.quantity is not None and after.quantity.dimension == "time"
        )):
            return True
        if started and token.norm in _STARTS | {"in", "on", "after", "back"}:
            continue
        if token.norm == "from":
            written = len(after.text) == 4 and after.text.isdigit() and any(
                later.norm in ("today", "tonight", "hrs", "h", "hours") for later in sentence.tokens[at + 2 : at + 3]
            )  # "from 1800 today"
            return written or after.norm in ("tomorrow", "tonight", "day") or (
                after.quantity is not None and after.quantity.form == "clock"
                and not any(later.norm in ("to", "until", "-") for later in sentence.tokens[at + 2 : at + 3])
            )
        if token.quantity is None and token.norm not in ("sc", "iv", "od", "daily", "bd", "subcutaneously", "once"):
            return False
    return False


_STARTS = frozenset({"start", "starts", "starting", "begin", "begins", "to", "can", "may", "restart", "restarts"})


def as_carrier(fields: dict[str, Any], carrier: dict[str, Any]) -> dict[str, Any]:
    """The fields of an additive (adrenaline) with the status of the drug that it is in, whatever is said of the next
    one: "lidocaine with adrenaline before and bupivacaine postoperatively"."""
    kept = {key: value for key, value in fields.items() if key not in ("status", "role", "doubts")}
    own: dict[str, Any] = {key: value for key, value in carrier.items() if key in ("status", "doubts")}
    return {**kept, **own, **({"role": "aftercare"} if carrier.get("role") == "aftercare" else {})}


def is_of_gas(sentence: Sentence, route: Mention) -> bool:
    """ "Inhalation anesthetics": the name of other agents, no route of the drug beside them."""
    after = sentence.tokens[route.last + 1 : route.last + 2]
    return route.id == "inhalation" and bool(after) and after[0].norm in _GASES


def orders_care(sentence: Sentence) -> bool:
    """Whether aftercare is told; not "EBL: 50 mL ... INDICATION: physical therapy failed", which was tried before the
    operation, where the head of the note has told the loss."""
    if sentence.section in _EARLIER_SECTIONS or sentence.says(_FAILED_BEFORE):
        return False
    kept = sentence.says(_WATCHED) and any(True for _ in base.mentions(sentence, "dispositions"))
    return kept or any(True for _ in base.mentions(sentence, "aftercare"))


_WATCHED = frozenset({"overnight", "hourly", "tonight"})  # "ward overnight, neurovascular hourly"


_EARLIER_SECTIONS = frozenset({"indication", "history", "imaging", "consent"})
_FAILED_BEFORE = frozenset({"failed", "despite", "tried", "conservative", "refractory"})
