"""Times of day with their events, how long things took, and the date of the operation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline import cues
from pipeline.extractors import _clock_names, _moments, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence
from pipeline.rows import Concept, Drug

KINDS = ("clock_time", "duration", "date")

_ANTIBIOTIC_REACH = 64  # "cefazolin, two grams intravenously, was given at eight twenty-five"
_CLOCK_REACH, _SPAN_REACH, _DATE_REACH = 40, 24, 20
_LATER = ("aftercare", "follow-up", "history", "indication")
_MOMENT_NAMES = {
    "moment-incision": "incision", "moment-closure": "closure", "moment-tourniquet_up": "tourniquet_up",
    "moment-tourniquet_down": "tourniquet_down", "moment-out_of_room": "out_of_room", "moment-in_room": "in_room",
    "moment-operation_end": "operation_end",
}  # fmt: skip
_ROOMS, _MOMENTS = frozenset({"room", "theatre", "theater", "or"}), tuple(_MOMENT_NAMES)
_TOURNIQUET_MOMENTS = ("moment-tourniquet_up", "moment-tourniquet_down")
_SPANS = {
    "span-fluoroscopy": "fluoroscopy", "span-traction": "traction", "span-centrifugation": "centrifugation",
    "span-clamp": "clamp", "span-operation": "operation", "span-bypass": "bypass", "span-cold": "cold-ischaemia",
}  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    rows = grammar.table("events", Concept)
    facts: list[Fact] = []
    for sentence in reading.sentences:
        for index, quantity in base.quantities(sentence):
            if quantity.form == "clock":
                facts += _clock(reading, sentence, grammar, index, quantity, rows, facts)
            elif quantity.form == "date":
                facts += _date(reading, sentence, grammar, index, quantity)
            elif quantity.dimension == "time" and not _moments.is_moment(sentence, index):
                facts += _duration(reading, sentence, grammar, index, rows)
    return _clock_names.over_midnight(facts)


def _nearest(
    sentence: Sentence, index: int, rows: Mapping[str, Concept], group: str, prefix: int, postfix: int = 0
) -> tuple[int, Mention] | None:
    ranked = [
        (cues.cost(sentence, index, mention.first, mention.last, prefix=prefix, postfix=postfix), mention.first,
         mention)
        for mention in base.mentions(sentence, "events")
        if rows[mention.id].group == group
    ]
    if not ranked:
        return None
    price, _, mention = min(ranked, key=lambda item: item[:2])
    return price, mention


def _clock(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity,
    rows: Mapping[str, Concept], before_it: Sequence[Fact],
) -> list[Fact]:  # fmt: skip
    """The event is a phrase of events.toml, else a single word beside the time ("incision 1432", "up 08:41"), else
    the antibiotic that was given then, else no name."""
    before = sentence.tokens[index - 1].norm if index else ""
    year = before in ("in", "since") and quantity.text[:2] in ("19", "20")  # "in twenty nineteen"
    if year or _moments.is_of_a_dose(sentence, grammar, index):
        return []
    found: list[tuple[int, int, int, str]] = []
    told = _clock_names.name_of(sentence, index) or _clock_names.goes_on(sentence, index, before_it)
    if told is not None:  # no claim: two times may be one written word ("0910-1025")
        first, last = sorted((index, told[1]))
        return [base.make("clock_time", reading, sentence, first, last, at=index, places=(index, told[1]), name=told[0],
                          text=quantity.text)]  # fmt: skip
    prefix, postfix = (0, 8) if _time_first(sentence, grammar, rows) else (12, 0)
    near = _nearest(sentence, index, rows, "moment", prefix, postfix)
    if near is not None and not _of_next(sentence, index, near[1].first, near[1].last) and not (
        near[1].id == "in_room" and _given_there(sentence, near[1].first, index)
    ):
        found.append((near[0], near[1].first, near[1].last, near[1].id))
    tourniquet = cues.has(sentence, grammar, "tourniquet", "cuff")
    for hit in cues.hits(sentence, grammar, *_MOMENTS):
        if hit.id in _TOURNIQUET_MOMENTS and not tourniquet:
            continue
        if _between_clocks(sentence, index, hit) or _of_next(sentence, index, hit.first, hit.last):
            continue
        after = [token.norm for token in sentence.tokens[hit.last + 1 : hit.last + 3]]
        outside = hit.id == "moment-out_of_room" and after[:1] == ["of"] and not _ROOMS & set(after)
        if outside or (hit.id == "moment-operation_end" and _clock_names.ends_nothing(sentence, hit.first)):
            continue  # "out of ice 10:20", "artery end to end"
        alone = hit.first == hit.last and _clock_names.is_another(sentence, hit.first)
        if hit.id == "moment-out_of_room" and (alone or _clock_names.is_pause(sentence, hit.first)):
            continue
        if hit.id in ("moment-in_room", "moment-operation_end") and _given_there(sentence, hit.first, index):
            continue  # "vancomycin one gram finished at eight twenty"
        if hit.id == "moment-incision" and _begins_other(sentence, grammar, hit):
            continue
        price = cues.cost(sentence, index, hit.first, hit.last, prefix=prefix, postfix=postfix) + 2
        name = "anaesthesia_end" if _ends_anaesthesia(sentence, rows, hit) else _MOMENT_NAMES[hit.id]
        found.append((price, hit.first, hit.last, name))
    drugs = grammar.table("drugs", Drug)
    for mention in base.mentions(sentence, "drugs"):
        course = mention.first > index and _is_course(sentence, mention)
        course = course or _of_drug_before(sentence, index, mention.first)
        course = course or any(  # "cefuroxime 1.5 g, heparin 5000 units at 11:12"
            mention.last < other.first < index and "anticoagulant" in drugs[other.id].classes
            for other in base.mentions(sentence, "drugs")
        )
        if "antibiotic" in drugs[mention.id].classes and not course:
            price = cues.cost(sentence, index, mention.first, mention.last, prefix=6) + 4
            if price <= _ANTIBIOTIC_REACH:
                found.append((min(price, _CLOCK_REACH), mention.first, mention.last, "antibiotic"))
    best = min(found, default=(cues.FAR, index, index, ""))
    if best[0] > _CLOCK_REACH:
        return _unnamed(reading, sentence, index, quantity)
    price, first, last, name = best
    return [
        base.claim("clock_time", reading, sentence, index, first, last, price, name=name, text=quantity.text,
                   value=None, unit=None, **_clock_names.of_today(name))
    ]  # fmt: skip


def _given_there(sentence: Sentence, first: int, index: int) -> bool:
    """ "Co-amoxiclav 1.2 g in theatre 0425": where the dose before it was given, and when."""
    before = sentence.tokens[first - 1].quantity if 0 < first < index else None
    return before is not None and before.dimension in ("mass", "amount")


def _is_course(sentence: Sentence, drug: Mention) -> bool:
    """ "Blood count at six am, co-amoxiclav 625 mg tds for five days": a course that has no time of day."""
    return any(token.norm in _DAILY for token in sentence.tokens[drug.last + 1 : drug.last + 5])


_DAILY = frozenset({"tds", "bd", "od", "qds", "tid", "bid", "qid", "daily", "twice", "hourly"})


def _of_drug_before(sentence: Sentence, index: int, first: int) -> bool:
    """ "TXA 1 g at 0815, Ancef 2 g": a time that closes the part of another drug is not that of the next one."""
    if first < index or not any(token.norm in (",", ";") for token in sentence.tokens[index + 1 : first]):
        return False
    start = max((at for at in range(index) if sentence.tokens[at].norm in (",", ";")), default=-1)
    return any(start < mention.first < index for mention in base.mentions(sentence, "drugs"))


def _ends_anaesthesia(sentence: Sentence, rows: Mapping[str, Concept], hit: cues.Hit) -> bool:
    """ "Anaesthesia started at 14:00 and ended at 16:10": what ended is what had begun last."""
    if hit.id != "moment-operation_end":
        return False
    begun = [m for m in base.mentions(sentence, "events") if m.last < hit.first and rows[m.id].group == "moment"]
    return bool(begun) and begun[-1].id == "anaesthesia_start"


def _of_next(sentence: Sentence, index: int, first: int, last: int) -> bool:
    """ "On the table 08:25, incision 08:55": the word after a time of day has a time of its own."""
    parted = any(token.norm in (",", ";", "and") for token in sentence.tokens[index + 1 : first])
    closed = _closes(sentence, index)  # "given at 08:25 tourniquet up at 08:55"
    if first < index or not (parted or closed):
        return False  # "08:25 in the room 08:55 incision": the time stands first
    for token in sentence.tokens[last + 1 : last + 1 + (_TO_CLOCK_AT if closed else _TO_CLOCK)]:
        if token.quantity is not None:
            return token.quantity.form == "clock"
        if token.punctuation and token.norm not in (":", "-"):
            return False
    return False


def _closes(sentence: Sentence, index: int) -> bool:
    """Whether a time of day stands behind what it is of ("was given at 08:40")."""
    return index >= 2 and sentence.tokens[index - 1].norm == "at" and not (
        sentence.tokens[index - 2].punctuation or sentence.tokens[index - 2].norm in ("then", "and", "so")
    )


_TO_CLOCK, _TO_CLOCK_AT = 4, 8
_BEGINS = frozenset({"started", "began"})
_BEGUN_REACH = 9  # tokens
_BEGUN = frozenset({"infusion", "transfusion", "anaesthesia", "anesthesia", "cooling", "bypass", "antibiotic",
                    "antibiotics", "dialysis", "ventilation", "drip", "perfusion"})  # fmt: skip


def _begins_other(sentence: Sentence, grammar: Grammar, hit: cues.Hit) -> bool:
    """ "Vancomycin one gram over an hour, started at seven": what began was the drug, not the operation."""
    if sentence.tokens[hit.last].norm not in _BEGINS:
        return False
    drugs = grammar.table("drugs", Drug)
    start = max(0, hit.first - _BEGUN_REACH)
    for at in range(start, hit.first):  # a drug with a time of its own is done with
        if (quantity := sentence.tokens[at].quantity) is not None and quantity.form == "clock":
            start = at
    return any(token.norm in _BEGUN for token in sentence.tokens[start : hit.first]) or any(
        start <= mention.first < hit.first and "antibiotic" in drugs[mention.id].classes
        for mention in base.mentions(sentence, "drugs")
    )


def _time_first(sentence: Sentence, grammar: Grammar, rows: Mapping[str, Concept]) -> bool:
    """Whether the times stand before their events ("14:05 in the room 14:20 induction")."""
    clocks = [index for index, quantity in base.quantities(sentence) if quantity.form == "clock"]
    events = [(m.first, m.last) for m in base.mentions(sentence, "events") if rows[m.id].group == "moment"]
    events += [(hit.first, hit.last) for hit in cues.hits(sentence, grammar, *_MOMENTS)]
    if not clocks or any(first < clocks[0] for first, _ in events) or _closes(sentence, clocks[0]):
        return False
    # "Room at eight ten incision eight forty": only where the last time has its event after it too.
    return all(any(0 < first - clock <= _TO_CLOCK for first, _ in events) for clock in (clocks[0], clocks[-1]))


def _unnamed(reading: Reading, sentence: Sentence, index: int, quantity: Quantity) -> list[Fact]:
    """ "First twin at nine thirty six": a time whose event has no row. Without "at" it may be no time at all."""
    if not index or sentence.section in _LATER:
        return []
    before = sentence.tokens[index - 1].norm
    dosed = sentence.tokens[index - 1].quantity  # "heparin 6000 U 10:22"
    written = dosed is not None and dosed.dimension in ("mass", "amount") and (
        ":" in sentence.tokens[index].text or sentence.tokens[index].text.isdigit()
    )
    moved = before in ("in", "out", "off") and index > 1 and quantity.text[:2] not in ("19", "20")
    if before not in ("at", "uterus", "baby") and not written and not moved:
        return []  # "pack in ten twenty" has one
    round_the_clock = quantity.text[3:] in ("00", "30") and any(
        abs(mention.first - index) <= _STITCH for mention in base.mentions(sentence, "sutures", "devices")
    )
    anchors = [m for m in base.mentions(sentence, "devices") if m.id.endswith("anchor")]
    if round_the_clock or any(0 < index - m.last <= _AT_FACE for m in anchors):
        return []  # "anchors at half past six": a place on the clock face
    first = max(0, index - 4)
    return [
        base.claim("clock_time", reading, sentence, index, first, index, _FALLBACK, text=quantity.text, value=None,
                   unit=None)
    ]  # fmt: skip


def _between_clocks(sentence: Sentence, index: int, hit: cues.Hit) -> bool:
    """Whether another time of day stands between this one and the word, so that the word belongs to that one."""
    low, high = min(index, hit.first), max(index, hit.last)
    return any(
        token.quantity is not None and token.quantity.form == "clock" for token in sentence.tokens[low + 1 : high]
    )


def _duration(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, rows: Mapping[str, Concept]
) -> list[Fact]:
    found: list[tuple[int, int, int, str]] = []
    near = _nearest(sentence, index, rows, "span", 3)
    if near is not None and not _of_next_time(sentence, index, near[1].first, near[1].last):
        found.append((near[0], near[1].first, near[1].last, near[1].id))
    quantity = sentence.tokens[index].quantity
    if quantity is not None and quantity.unit in ("s", "min", "h"):
        for hit in cues.hits(sentence, grammar, *_SPANS):
            if _of_next_time(sentence, index, hit.first, hit.last):
                continue
            price = cues.cost(sentence, index, hit.first, hit.last, prefix=6) + 2
            found.append((price, hit.first, hit.last, _SPANS[hit.id]))
        if index and sentence.tokens[index - 1].norm == "after":
            found = []  # "a further thousand after forty minutes clamps on": when, not how long
        at = index - 1 - (index > 1 and sentence.tokens[index - 1].norm in (":", "-"))
        if at >= 0 and sentence.tokens[at].norm in _WORK and sentence.section not in _LATER:
            found.append((_BESIDE, at, at, _WORK[sentence.tokens[at].norm]))  # "closed 11:38, operation 94 minutes"
        if _behind_traction(sentence, index):
            found.append((_BESIDE, index, index, "traction"))
        if _at_speed(sentence, index):
            found.append((_BESIDE, index, index, "centrifugation"))
    infused = _infused(sentence, index)
    if infused is not None and (not found or min(found)[0] > _BESIDE):
        return [base.claim("duration", reading, sentence, index, infused.first, infused.last, _FALLBACK,
                           text=cues.words(sentence, infused.first, infused.last))]  # fmt: skip
    if not found or min(found)[0] > _SPAN_REACH:
        return _by_words(reading, sentence, index)
    price, first, last, name = min(found)
    return [base.claim("duration", reading, sentence, index, first, last, price, name=name)]


def _behind_traction(sentence: Sentence, index: int) -> bool:
    """ "Traction on at eight forty off at nine thirty five, so fifty five minutes": right behind the time it ended."""
    tokens = sentence.tokens
    at = index - 1
    while at > 0 and (tokens[at].norm in _SO or tokens[at].punctuation):
        at -= 1
    clock = tokens[at].quantity if at > 0 else None
    if clock is None or clock.form != "clock" or tokens[index + 1 : index + 2] and tokens[index + 1].norm == "of":
        return False
    return any(token.norm in ("traction", "distraction") for token in tokens[max(0, at - _TRACTION) : at]) and not any(
        token.norm in _OTHER_CUFF for token in tokens[max(0, at - _TRACTION) : at]
    )


_SO = frozenset("so that is which makes making total in all thus hence came to".split())
_TRACTION = 8  # tokens
_OTHER_CUFF = frozenset({"tourniquet", "tq", "cuff", "clamp"})


def _at_speed(sentence: Sentence, index: int) -> bool:
    """ "Spun twice, 5 minutes at 1500 and 10 minutes at 3400", "1200 g for 6 min and 600 g for 4 min"."""
    tokens = sentence.tokens
    if not any(token.norm in _SPIN for token in tokens[:index]):
        return False
    ahead = tokens[index + 2].quantity if index + 2 < len(tokens) and tokens[index + 1].norm == "at" else None
    behind = tokens[index - 2].quantity if index > 1 and tokens[index - 1].norm == "for" else None
    return any(speed is not None and (speed.value or 0) >= _SLOWEST for speed in (ahead, behind))


_SPIN = frozenset({"spun", "spin", "spins", "centrifuged", "centrifugation", "centrifuge"})
_SLOWEST = 50  # in g or turns a minute; no time of day and no number of spins


def _infused(sentence: Sentence, index: int) -> Mention | None:
    """The drug that runs for a length of time: "oxytocin 40 units in 500 mL over four hours"."""
    quantity = sentence.tokens[index].quantity
    led = index > 0 and sentence.tokens[index - 1].norm == "over"
    if not led or quantity is None or quantity.unit not in ("min", "h") or sentence.section in _LATER:
        return None
    drugs = [m for m in base.mentions(sentence, "drugs", "fluids") if 0 < index - m.last <= _INFUSED]
    between = sentence.tokens[drugs[-1].last + 1 : index] if drugs else ()
    apart = any(drugs and drugs[-1].last < m.first < index for m in base.mentions(sentence, "aftercare"))
    return drugs[-1] if drugs and not apart and not any(token.norm in (".", ";") for token in between) else None


_INFUSED = 10  # tokens


def _of_next_time(sentence: Sentence, index: int, first: int, last: int) -> bool:
    """ "Console time 95 min, operative time 140 min": the word after a length of time has one of its own."""
    if first < index:
        return False
    for token in sentence.tokens[last + 1 : last + 1 + _TO_CLOCK]:
        if token.quantity is not None:
            return token.quantity.dimension == "time" and any(
                mark.punctuation or mark.norm == "and" for mark in sentence.tokens[index + 1 : first]
            )
        if token.punctuation and token.norm not in (":", "-"):
            return False
    return False


_RELATIVE = frozenset(
    ("after", "later", "within", "before", "ago", "every", "for", "each", "until", "next", "under", "over", "another",
     "at", "last", "past", "first", "preoperatively", "preop", "prior")
)  # fmt: skip
_FALLBACK, _BESIDE, _STITCH, _AT_FACE = 80, 4, 7, 2
_WORK = dict.fromkeys(("operation", "surgery", "procedure", "case", "op"), "operation") | {"bypass": "bypass"}


def _by_words(reading: Reading, sentence: Sentence, index: int) -> list[Fact]:
    """How long something without a row took ("balloon up for two minutes"): named by the words before it."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.unit not in ("s", "min") or sentence.section in _LATER:
        return []
    if base.scope_at(sentence, "status", index, "performed") != "performed":
        return []
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
    start = index - 1 if sentence.tokens[index - 1].norm == "for" else index
    while start and _is_other(sentence, start - 1):
        start -= 1  # "balloon held at twelve atmospheres for ninety seconds"
    said = [token.norm for token in sentence.tokens[max(0, start - 3) : start]]
    said = said[-1:] if said[-1:] == ["console"] else said
    if said[-1:] == ["time"] and "," in said:
        said = said[said.index(",") + 1 :]  # "total energy 9.2 kJ, laser time 21 min"
    if after == "to" and index + 2 < len(sentence.tokens) and sentence.tokens[index + 2].norm.isalpha() and not set(
        said[-1:]
    ) & _RELATIVE:  # "12 min to cannulation"
        last = index + 2
        return [base.claim("duration", reading, sentence, index, index, last, _FALLBACK,
                           text=cues.words(sentence, index + 1, last))]  # fmt: skip
    if not said or set(said) & _RELATIVE or after in _RELATIVE or after in ("q", "x") or "," in said:
        return []
    first = max(0, start - min(2, len(said)))
    text = cues.words(sentence, first, start - 1)
    return [base.claim("duration", reading, sentence, index, first, index, _FALLBACK, text=text)]


# "On 3 May he was taken to theatre": the day of the operation.
_STORIES = frozenset({"history", "indication", "imaging", "follow-up", "aftercare"})
_CAME = frozenset({"taken", "brought", "wheeled", "transported", "escorted"})
_TO_THEATRE = frozenset({"operating", "operative", "theatre", "theater", "suite", "or"})


def _is_other(sentence: Sentence, at: int) -> bool:
    """Whether a token is a number of another kind, or the word that leads to one."""
    token = sentence.tokens[at]
    if token.quantity is not None:
        return token.quantity.dimension not in ("", "time")
    following = sentence.tokens[at + 1].quantity
    return token.norm in ("at", "to") and following is not None and following.dimension not in ("", "time")


def _date(reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity) -> list[Fact]:
    near = cues.nearest(sentence, grammar, index, "operation-date")
    if near is None or near[0] > _DATE_REACH:
        norms = {token.norm for token in sentence.tokens}
        if not index or sentence.tokens[index - 1].norm != "on" or sentence.section in _STORIES or not (
            norms & _CAME and norms & _TO_THEATRE
        ):
            return []
        return [base.claim("date", reading, sentence, index, index, index, _FALLBACK, text=quantity.text, value=None,
                           unit=None)]  # fmt: skip
    price, hit = near
    return [base.claim("date", reading, sentence, index, hit.first, hit.last, price, text=quantity.text, value=None,
                       unit=None)]  # fmt: skip
