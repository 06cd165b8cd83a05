"""Instructions for after the operation, with how long they hold: status planned unless said otherwise.

A duration goes to the instruction right before it ("cast for six weeks"), and to those joined to it by "with" or
"and" ("non weight bearing with crutches for four weeks"). An instruction that no row names stands in its own words.
"""

from __future__ import annotations

from typing import Any

from pipeline import cues, story, visits, what_if
from pipeline.extractors import _care_stages, _care_times, _care_words, _drug_words, _no_setting, _stopped, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence, replace
from pipeline.rows import Concept

KINDS = ("aftercare",)

_AHEAD = frozenset({"aftercare", "follow-up"})
_ELSEWHERE = frozenset({"indication", "history", "imaging", "consent", "preop-diagnosis",
                        "postop-diagnosis", "both-diagnoses", "diagnosis", "tourniquet"})  # fmt: skip
_UNITS = frozenset({"d", "wk", "mo", "h"})
_OFTEN = frozenset(
    {"daily", "bid", "tid", "qid", "qd", "b.i.d", "t.i.d", "twice", "hourly", "day", "nightly", "prn", "bd", "tds",
     "qds", "od", "nocte", "mane"}
)  # fmt: skip
_ALSO = ("dressings", "devices", "drugs", "positions", "drains", "closures", "prophylaxis")
_LEADS = frozenset({"for", "x", "until", "next", "over", "another", "first", "additional", "further", "about", "at",
                    "least", "of", "the", "up", "to", "then", "a", "total", "in", "equinus", "continue", "daily",
                    "day", "and", "night", "times", "use", "be", "worn", "on", "kept", "wear", "-", ":", "only",
                    "from", "twice"})  # fmt: skip
_NOT = frozenset({"no", "avoid", "avoiding"})
_LOADS = frozenset({"partial", "bearing", "lift", "lifting", "load", "over", "above", "than", "gripping", "carry",
                    "carrying", "pwb", "ttwb", "tdwb", "fwb"})  # fmt: skip
_FAILED = frozenset({"failed", "conservative", "nonoperative", "refractory", "despite", "relief", "tried", "sessions",
                     "helped", "elsewhere", "unhelpful"})  # fmt: skip
_REACH, _LEAST = 9, 2  # tokens; the second before a next step that can tell of aftercare


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    closed = False  # whether the counts or the blood loss have been told
    for sentence in reading.sentences:
        closed = closed or cues.has(sentence, grammar, *_CLOSED)
        if sentence.section in _ELSEWHERE or sentence.says(_FAILED):
            continue
        step = what_if.next_step_at(sentence)
        begins = None if step is None else what_if.step_begins(sentence, step)
        ends = len(sentence.tokens) - 1 if begins is None else what_if.step_ends(sentence, begins)
        if begins is not None and begins < _LEAST and ends == len(sentence.tokens) - 1:
            continue
        told = _sentence(reading, sentence, grammar, closed)
        facts += [fact for fact in told if begins is None or fact.evidence.last < sentence.tokens[begins].first
                  or fact.evidence.first > sentence.tokens[ends].last]  # fmt: skip
    return facts


_LEGS = frozenset({"legs"})
_CLOSED = ("swab-count", "blood-loss", "count-item")


def _sentence(reading: Reading, sentence: Sentence, grammar: Grammar, closed: bool) -> list[Fact]:
    ahead = sentence.section in _AHEAD
    lies = bool(_no_setting.legs_up(reading, sentence)) if sentence.says(_LEGS) else False
    told = [*_care_words.physiotherapy(sentence, ahead), *_care_stages.elevated(sentence, ahead),
            *_care_words.collar(sentence), *_care_words.threads(sentence), *_care_stages.partly(sentence)]  # fmt: skip
    named = [m for m in base.mentions(sentence, "aftercare") if not _care_words.is_before(sentence, m)
             and not _care_words.is_movement(sentence, m) and not (lies and m.id == "elevation")]  # fmt: skip
    own = sorted([*named, *told], key=lambda mention: mention.first)
    facts: list[Fact] = []
    used: set[Mention] = set()
    before: tuple[int, Mention] | None = None  # the last time, and what it was of
    for index, quantity in base.quantities(sentence, "time", "fraction", "mass"):
        on = None if before is None else _care_stages.stage(sentence, grammar, before, index, quantity)
        if on is None and not _may_measure(sentence, index, quantity):
            continue
        target = _target(sentence, grammar, index, quantity, own)
        if before is not None and not isinstance(target, Mention) and _care_words.listed(sentence, before[0], index):
            target = before[1]
        elif on is not None and not isinstance(target, Mention):
            words = {"text": on.text} if on.text else {}
            last = max(on.first, index - 1) if quantity.dimension == "time" else index
            facts.append(_claim(reading, sentence, index, on.first, last, name=on.mention.id, **words))
            before = (index, on.mention) if quantity.dimension == "time" else before
            continue
        if isinstance(target, Mention) and not closed and _stopped.is_stopped(sentence, target, index, ahead):
            continue
        if isinstance(target, Mention):
            before = (index, target) if quantity.dimension == "time" else before
            joined = _care_words.joined(sentence, target, own) if quantity.dimension == "time" else []
            facts += _durations(reading, sentence, index, quantity, target, joined)
            used.update((target, *joined))
        elif target is not None:
            facts.append(_claim(reading, sentence, index, target, index - 1,
                                text=story.words(sentence, target, _words_end(sentence, target, index))))  # fmt: skip
    facts += _avoid(reading, sentence)
    for mention in own:
        if mention not in used and _stands(sentence, mention):
            facts.append(_plan(base.make("aftercare", reading, sentence, mention.first, mention.last, name=mention.id)))
    return [_as_said(fact, reading, sentence, grammar) for fact in facts]


def _as_said(fact: Fact, reading: Reading, sentence: Sentence, grammar: Grammar) -> Fact:
    """Rows whose sayings tell a thing and its opposite ("driving", "no driving") keep the words as said."""
    row = grammar.table("aftercare", Concept).get(fact.name or "")
    if row is None or row.meaning or fact.text is not None:
        return fact
    said = [m for m in base.mentions(sentence, "aftercare") if m.id == fact.name
            and fact.evidence.first <= sentence.tokens[m.first].first <= fact.evidence.last]  # fmt: skip
    return replace(fact, text=story.words(sentence, said[0].first, said[0].last)) if said else fact


def _avoid(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Avoid diving": an instruction in its own words. A medicine to avoid is left to the medicines."""
    tokens = sentence.tokens
    if not sentence.says({"avoid"}):
        return []
    for index, token in enumerate(tokens[:-1]):
        if token.norm != "avoid" or not _told_ahead(sentence, index):
            continue
        end = index + 1
        while end + 1 < len(tokens) and end - index < 5 and not tokens[end + 1].punctuation and (
            tokens[end + 1].quantity is None and tokens[end + 1].norm not in ("for", "until", "and", "then")
        ):
            end += 1
        if tokens[end].punctuation or any(
            m.table in ("drugs", "aftercare") and index < m.last and m.first <= end for m in sentence.mentions
        ):
            continue
        if end + 1 < len(tokens) and tokens[end + 1].norm == "for":
            continue  # with a duration it is taken there
        text = story.words(sentence, index, end)
        return [_plan(base.make("aftercare", reading, sentence, index, end, text=text, certainty="affirmed"))]
    return []


def _told_ahead(sentence: Sentence, index: int) -> bool:
    """Whether "avoid" is an instruction and no purpose ("retracted to avoid the nerve")."""
    if sentence.section in _AHEAD or index == 0:
        return True
    planned = base.scope_at(sentence, "status", index, "") == "planned"
    return planned and sentence.tokens[index - 1].norm != "to" or sentence.tokens[index - 1].norm in ("should", "must")


def _may_measure(sentence: Sentence, index: int, quantity: Quantity) -> bool:
    if quantity.dimension == "time":
        if quantity.form == "interval":
            return False  # "q.4-6h": how often
        if quantity.unit not in _UNITS | {"min"} or base.scope_at(sentence, "status", index, "") == "historical":
            return False
        if index and sentence.tokens[index - 1].norm in ("last", "past", "previous"):
            return False  # "on vancomycin for the last five days"
        if _care_stages.is_of_a_rate(sentence, index):
            return False
        if [token.norm for token in sentence.tokens[max(0, index - 2) : index]] == ["in", "for"]:
            return False  # "old stent out, in for eleven weeks"
        following = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
        return following not in ("ago", "old", "history", "prior", "earlier", "before", "postoperatively")
    near = {token.norm for token in sentence.tokens[max(0, index - 5) : index + 5]}
    return bool(near & _LOADS)


def _target(
    sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity, own: list[Mention]
) -> Mention | int | None:
    """The instruction that a number belongs to: a named thing, or the token where its words begin."""
    if _care_words.is_of_visit(sentence, index):
        return None
    before = [m for m in own if m.last < index and index - m.last <= _REACH and _same_part(sentence, m.last, index)
              and not _care_words.of_another(sentence, m.last, index)
              and not _care_words.leads_at(sentence, m.last, index)]  # fmt: skip
    if before and not _care_words.denied_between(sentence, before[-1].last, index):
        later = [m for m in base.mentions(sentence, "drugs") if before[-1].last < m.first and m.last < index]
        if later and quantity.dimension == "mass":
            return None  # "over the padded rest cefazolin one and a half grams"
        between = sentence.tokens[before[-1].last + 1 : later[-1].first] if later else ()
        joins = any(token.norm in ("and", "with", ",") for token in between)
        joins = joins and all(token.quantity is None for token in between)  # "CPM 4 h a day, naproxen 2 wk"
        if later and quantity.dimension == "time" and (_care_words.is_dosed(sentence, later[-1], index) or not joins):
            return later[-1]  # "full weight bearing from today aspirin 150 mg for six weeks"
        if _care_words.is_of_worn(sentence, before[-1].last, index):
            return next(m for m in base.mentions(sentence, "dressings") if m.last == index - 1)
        aimed = len(before) > 1 and before[-1].first and sentence.tokens[before[-1].first - 1].norm == "for"
        return before[-2] if aimed else before[-1]  # "brace in extension for walking for two weeks"
    after = _after(sentence, index, quantity, own)
    if after is not None:
        return _care_words.course_of(sentence, index) or after
    if quantity.unit == "min":
        return None
    if quantity.dimension != "time" and not any(t.norm in _NOT for t in sentence.tokens[max(0, index - 6) : index]):
        return None
    if quantity.dimension == "time":
        things = [m for m in base.mentions(sentence, *_ALSO)
                  if m.last < index and index - m.last <= _REACH and _same_part(sentence, m.last, index)
                  and not (m.table == "drugs" and quantity.unit == "h" and not _is_often(sentence, m.last, index))
                  and not _care_words.leads_at(sentence, m.last, index)]
        if len(things) > 1 and things[-2].table == "drugs" and _care_words.is_way(sentence, things[-1]):
            things.pop()  # "ceftriaxone 2 g od via PICC for 6/52"
        if things and things[-1].table == "drugs" and _care_words.is_refused(sentence, grammar, index):
            return None
        if things and not _care_words.denied_between(sentence, things[-1].last, index) and (
            _cued(sentence, index) or _beside(sentence, things[-1], index)
        ):
            return things[-1]
    if visits.cue_of(sentence, index) is not None:
        return None
    start = _own_words(sentence, index, quantity)
    drugs = [m for m in base.mentions(sentence, "drugs") if m.last < index]
    words = [] if start is None else [token.norm for token in sentence.tokens[start:index]]
    if words and drugs and _care_words.BY_MOUTH.issuperset(words):
        return drugs[-1]  # "IV clindamycin 600 mg qds 2/52, then oral 4/52"
    return start


def _is_often(sentence: Sentence, last: int, index: int) -> bool:
    """ "1.2 g tds 48 h": how often a day stands between a drug and its hours."""
    return any(token.norm in _OFTEN for token in sentence.tokens[last + 1 : index])


def _cued(sentence: Sentence, index: int) -> bool:
    """Whether the words tell that a time lies ahead: instructions, a plan, "for", or how often a day."""
    near = sentence.tokens[max(0, index - 4) : index]
    return (
        sentence.section in _AHEAD
        or base.scope_at(sentence, "status", index, "") == "planned"
        or _led_by_for(sentence, index)
        or any(token.norm in _OFTEN for token in near)
        or (sentence.tokens[index].text[:1].isdigit() and "/" in sentence.tokens[index].text)
    )


def _beside(sentence: Sentence, thing: Mention, index: int) -> bool:
    """A dressing or a device right before a time of days or more ("sling three days"), a drug and its course."""
    quantity = sentence.tokens[index].quantity
    short = thing.table == "drugs" and quantity is not None and (quantity.said_unit or "").startswith("/")
    between = {token.norm for token in sentence.tokens[thing.last + 1 : index]}
    if thing.table == "drugs" and 0 < len(between) < 3 and quantity is not None and quantity.unit in _care_words.SPANS:
        return _drug_words.is_course(sentence, thing, index)
    return (thing.table in ("dressings", "devices") or short) and between <= _HELD_IN


_HELD_IN = frozenset({"in", "supination", "pronation", "neutral", "extension", "flexion", "full", "locked"})


def _after(sentence: Sentence, index: int, quantity: Quantity, own: list[Mention]) -> Mention | None:
    """The instruction after its number: "six weeks of physiotherapy", "20 kg partial weight bearing"."""
    tokens = sentence.tokens
    time = quantity.dimension == "time"
    if quantity.unit == "min" and index and tokens[index - 1].norm == "at":
        return None  # "tested at twenty minutes with ice"
    leads = time and _care_times.leads(sentence, index)
    if time and index and tokens[index - 1].norm in ("at", "in", "after"):
        visit = visits.cue_of(sentence, index)
        if visit is not None and visit < index:
            return None  # "seen at two weeks with wound check": the time of the visit
    for mention in own:
        gap = mention.first - index - 1
        if gap < 0 or gap > (2 if time else 3):
            continue
        between = tokens[index + 1 : mention.first]
        if any(token.punctuation for token in between):
            continue
        opens = index == 0 or tokens[index - 1].punctuation or leads
        if not time or opens or any(token.norm in ("of", "in", "with") for token in between):
            return mention
    return None


def _led_by_for(sentence: Sentence, index: int) -> bool:
    return any(token.norm in ("for", "x", "until", "another") for token in sentence.tokens[max(0, index - 3) : index])


def _same_part(sentence: Sentence, first: int, index: int) -> bool:
    """Whether no border and no other number of time lies between an instruction and its duration."""
    for at in range(first + 1, index):
        token = sentence.tokens[at]
        if token.norm == "then" and sentence.tokens[at + 1].norm in _OFTEN:
            continue  # "tonight, then daily for ten days"
        time = token.quantity is not None and token.quantity.dimension == "time"
        if time and _care_words.lasts_no_longer(sentence, at, index):
            continue
        if token.norm == "/" and sentence.tokens[at + 1].norm in _PERIODS:
            continue  # "6 h/day x 6/52", "3x/week x 6 weeks"
        if time or token.norm in (".", ";", "then", "when", "below", "/"):
            return False
        if token.norm == "," and index - first > 6 and not _care_words.a_day(sentence, index):
            return False
    return True


_PERIODS = frozenset({"day", "d", "week", "wk", "w"})


def _own_words(sentence: Sentence, index: int, quantity: Quantity) -> int | None:
    """Where an instruction in its own words begins: at "no ..." or "avoid ...", else at its clause's start."""
    tokens = sentence.tokens
    for at in range(index - 1, max(-1, index - 8), -1):
        if tokens[at].norm in _NOT and at + 1 < index:
            return at
        number = tokens[at].quantity
        if tokens[at].punctuation or (number is not None and number.dimension == "time"):
            break
    if quantity.dimension == "time" and (held := _care_words.held_to(sentence, index)) is not None:
        return held
    if sentence.section not in _AHEAD or quantity.dimension != "time" or not _led_by_for(sentence, index):
        return None
    start = index - 1
    while start > 0 and not tokens[start - 1].punctuation and index - start < 8 and tokens[start - 1].norm != "then":
        start -= 1
    end = _words_end(sentence, start, index)
    return start if end >= start and any(tokens[at].norm not in _LEADS for at in range(start, end + 1)) else None


def _words_end(sentence: Sentence, start: int, index: int) -> int:
    # "No flexion above ninety degrees two weeks": the limit is part of what is not to be done
    own = sentence.tokens[start].norm in _NOT or _care_words.held_to(sentence, index) == start
    numbers = [at for at in range(start, index) if (said := sentence.tokens[at].quantity) is not None
               and not (own and said.dimension in ("angle", ""))]  # fmt: skip
    end = min([index, *numbers]) - 1
    while end > start and sentence.tokens[end].norm in _LEADS | {"more", "above", "than", "\u00d7"}:
        end -= 1
    return end


def _durations(
    reading: Reading, sentence: Sentence, index: int, quantity: Quantity, target: Mention, joined: list[Mention]
) -> list[Fact]:
    states = [base.scope_at(sentence, "certainty", at, "affirmed") for at in (target.first - 1, target.first)]
    apart = states == ["negated", "affirmed"] or sentence.tokens[target.first - 1].norm == ","  # "cast no, sling 1/52"
    denied = not apart and _care_words.is_avoided(sentence, target)
    avoided = denied or target.table == "drugs" and _stopped.says_stopped(sentence, target, index)
    starts = {"role": "starts"} if _care_times.starts(sentence, index, quantity, target) else {}
    role = {"role": "avoid"} if avoided and target.table != "aftercare" else starts
    if _care_words.a_day(sentence, index):
        return [_claim(reading, sentence, index, target.first, target.last, name=target.id, unit=f"{quantity.unit}/d",
                       **role)]  # fmt: skip
    if _care_times.forbids(sentence, index, target) and "role" not in role:
        role = {"certainty": "negated"}
    facts = [_claim(reading, sentence, index, target.first, target.last, name=target.id, **role,
                    **_care_words.run_on(sentence, target, index))]  # fmt: skip
    for mention in joined:
        facts.append(
            _plan(base.make("aftercare", reading, sentence, mention.first, index, name=mention.id, at=mention.first,
                            role=role.get("role") if role.get("role") == "starts" else None, **base.number(quantity)))
        )  # fmt: skip
    return facts


def _claim(reading: Reading, sentence: Sentence, index: int, first: int, last: int, **fields: Any) -> Fact:
    distance = index - last if index > last else first - index
    plain = "text" in fields or fields.get("role") == "avoid"  # their own words say what is not to be done
    certainty = "affirmed" if plain else base.scope_at(sentence, "certainty", first, "affirmed")
    certainty = fields.pop("certainty", certainty)
    return _plan(
        base.claim("aftercare", reading, sentence, index, first, last, min(2 * distance, 40),
                   certainty=certainty, **fields)
    )  # fmt: skip


def _plan(fact: Fact) -> Fact:
    if (fact.name or "").startswith(_DENIES) and fact.certainty == "negated":
        fact = replace(fact, certainty="affirmed")  # the "no" is part of it: "no problems, no NSAIDs for two weeks"
    return replace(fact, status="planned") if fact.status == "performed" else fact


_DENIES = ("avoid-", "no-", "non-")


_SHOWED = frozenset({"showed", "shows", "demonstrated", "demonstrates", "revealed", "confirmed"})
_GIVEN = frozenset({"received", "given", "administered", "got", "gave"})


def _stands(sentence: Sentence, mention: Mention) -> bool:
    """Whether an instruction without a duration is one: not in the telling of what was done."""
    if _care_words.is_movement(sentence, mention) or _care_words.came_out(sentence, mention):
        return False
    if mention.first and sentence.tokens[mention.first - 1].norm in ("until", "till", "unless", "before", "once"):
        return False  # "Clexane until full weight bearing": how long something else lasts
    if any(token.norm in _SHOWED for token in sentence.tokens[mention.last + 1 : mention.last + 4]):
        return False  # "postoperative x-ray showed a good position"
    if sentence.section in _AHEAD:
        return True
    status = base.scope_at(sentence, "status", mention.first, "")
    if status in ("planned", "conditional"):
        return True
    if mention.id == "antibiotic-course" and any(token.norm in _GIVEN for token in sentence.tokens):
        return False  # "received IV antibiotics before the incision"
    past = any(token.norm in ("was", "were", "had") for token in sentence.tokens) and len(sentence.tokens) <= 40
    return sentence.section not in ("description",) and status == "" and not past
