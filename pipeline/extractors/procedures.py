"""Operations and the single acts within them.

An operation said in a history ("the first hip was done in twenty eleven"), refused, planned or not done keeps that
status. In the story before the operation ("presents for carpal tunnel release") it is planned until the note says
that it was done; `settle` lets the performed one stand.
"""

from __future__ import annotations

from pipeline import rephrased, story
from pipeline.extractors import (
    _attempts,
    _injected_titles,
    _operation_sides,
    _other_senses,
    _shared_name,
    _taken_out,
    _title_lists,
    _titles,
    base,
)
from pipeline.grammar import Grammar
from pipeline.records import Evidence, Fact, Mention, Reading, Sentence, replace

KINDS = ("procedure", "act")

_KIND = {"procedures": "procedure", "acts": "act"}
_BEFORE = frozenset({"indication", "history", "imaging"})
_LOOK = "examination-under-anaesthesia"  # of the whole part, whatever side it finds something on
# Sections whose words name no operation of today.
_ELSEWHERE = frozenset({"preop-diagnosis", "postop-diagnosis", "both-diagnoses", "diagnosis", "specimens", "consent"})
# "the arthroscopy portal", "after the biopsy site was closed": a name used to name something else.
_NAMES_ANOTHER = frozenset(
    {"site", "sites", "portal", "portals", "port", "tray", "set", "pack", "drape", "table", "scar", "scars", "team",
     "clinic", "specimen", "specimens", "forceps", "sheath", "instruments", "trial", "stitch", "margin", "margins",
     "incision", "incisions", "device", "guide", "jig", "kit", "kits", "awl", "awls", "probe"}
)  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    verbal: list[tuple[Fact, bool]] = []
    late: list[Fact] = []  # titles behind the first two sentences, for where no operation is named
    told: list[tuple[Fact, bool]] = []
    steps = _steps(reading)
    for sentence in reading.sentences:
        if sentence.section in _ELSEWHERE:
            continue
        before = len(facts)
        words = [] if sentence.index in steps else _titles.title(reading, sentence, grammar)
        if sentence.index > 1 and sentence.section == "" and words:
            late, words = (late or words), []
        words = words or _injected_titles.injected(reading, sentence, grammar)
        words = words or _titles.joined(reading, sentence, grammar)
        words += _title_lists.listed(reading, sentence, words, grammar)
        facts += words
        for fact, whole, called in _title_lists.told(reading, sentence, words, grammar):
            facts += [fact] if called else []
            told += [] if called else [(fact, whole)]
        if not words:
            told += [(fact, False) for fact in _title_lists.things(reading, sentence, grammar)]
        for mention in base.mentions(sentence, *_KIND):
            if _KIND[mention.table] == "act" and _is_procedure_too(sentence, mention):
                continue
            if _names_another(sentence, mention) or _other_senses.is_other_act(sentence, mention, grammar):
                continue
            if _is_thing(sentence, mention):
                continue
            behind = sentence.tokens[mention.last + 1 : mention.last + 2]
            if behind and behind[0].norm in _ROOMS:
                continue  # "the cardiac catheterization lab"
            kind = _KIND[mention.table]
            if mention.id.endswith("-harvest") and sentence.section != "procedure":
                kind = "act"  # a step on the way, with its own site and side
            out = _taken_out.explanted(reading, sentence, mention, grammar)
            if out is not None:
                facts.append(_before(sentence, out))
                continue
            own = mention.id == _LOOK or (
                mention.table == "procedures" and _operation_sides.takes_own_side_only(sentence, mention, grammar)
            )
            fact = base.named(kind, reading, sentence, mention, grammar, own_side=own)
            if fact.laterality is None and mention.id.startswith("bilateral-"):
                fact = replace(fact, laterality="bilateral")
            if mention.table == "procedures" and _operation_sides.is_of_a_part(sentence, mention, grammar):
                fact = replace(fact, laterality=None)
            if fact.status == "conditional" and mention.table == "procedures" and _risk(sentence, mention):
                continue
            fact = _before(sentence, fact)
            if fact.status == "performed" and _other_senses.is_of_wound(sentence, mention):
                if any(one.name == fact.name for one in facts):
                    continue  # of the operation of today
                fact = replace(fact, status="historical")
            if fact.status == "performed" and _found_on(sentence, mention):
                fact = replace(fact, status="historical")
            if fact.status == "performed" and _other_senses.is_old(sentence, mention):
                fact = replace(fact, status="historical")
            unsure = _attempts.doubt(sentence, mention) if fact.certainty == "affirmed" else None
            if unsure is not None and fact.status == "performed":
                fact = replace(fact, doubts=(*fact.doubts, unsure))
            if mention.table == "procedures" and rephrased.is_verbal(sentence, mention.first, mention.last):
                active = sentence.tokens[mention.first].norm in rephrased.VERBS
                verbal.append((fact, active))
            else:
                facts.append(fact)
        facts[before:] = _shared_name.split(reading, sentence, facts[before:], grammar)
    facts = [fact for fact in facts if not _is_occasion(reading, fact, facts)]
    # in the body of a note that names its operation, a further one in other words is a step
    named = any(fact.kind == "procedure" and fact.status == "performed" for fact in facts)
    facts += [replace(fact, kind="act") if named else fact for fact, whole in told if whole or not named]
    facts += [_as_step(fact, active, facts, grammar) for fact, active in verbal]
    if late and not any(fact.kind == "procedure" and fact.status == "performed" for fact in facts):
        facts += late
    return facts + _only_act(reading, facts, grammar)


def _steps(reading: Reading) -> frozenset[int]:
    """Sentences under a heading of the operation that name none: its story in short ("Operation: herniotomy ...
    Procedure: groin crease incision. Canal opened."), and what closes another heading ("Time-out: done, marked")."""
    runs: list[list[Sentence]] = []
    found: set[int] = set()
    ahead: Sentence | None = None
    for sentence in reading.sentences:
        if sentence.section == "procedure":
            opens = [token.norm for token in sentence.tokens[:2]]
            headed = opens[1:] == [":"] and opens[0] in _HEADINGS
            if ahead is not None and ahead.tokens and ahead.tokens[-1].norm == ":" and (
                ahead.section != "procedure" or ahead.tokens[0].norm not in _HEADINGS
            ):
                found.add(sentence.index)
            if ahead is None or ahead.section != "procedure" or headed:
                runs.append([])
            runs[-1].append(sentence)
        ahead = sentence
    named = [any(m.table == "procedures" for one in run for m in one.mentions) for run in runs]
    for at, run in enumerate(runs):
        if len(run) >= _STORY and any(named[:at]):
            found |= {one.index for one in run}
    return frozenset(found)


_HEADINGS, _STORY = frozenset({"procedure", "procedures", "operation", "technique", "description"}), 3
_LOOKS_BEFORE = frozenset({"colonoscopy", "flexible-sigmoidoscopy", "bronchoscopy", "upper-endoscopy"})


def _found_on(sentence: Sentence, mention: Mention) -> bool:
    """ "Caecal cancer on colonoscopy": where an illness was found that is operated on now."""
    before = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    return (
        mention.id in _LOOKS_BEFORE and sentence.index < _EARLY and before[-1:] in (["on"], ["at"])
        and mention.first >= _NAMED_BEFORE and not sentence.says({"today", "now"})
    )


_EARLY, _NAMED_BEFORE = 4, 2  # sentences; tokens of what was found


def _is_occasion(reading: Reading, fact: Fact, facts: list[Fact]) -> bool:
    """ "Right knee arthroscopy ... at arthroscopy no tear was seen": when it was seen, and no further operation."""
    if fact.kind != "procedure" or fact.name != "arthroscopy" or not any(
        other.kind == "procedure" and (other.name or "").endswith("-arthroscopy") for other in facts
    ):
        return False
    sentence = reading.sentence_at(fact.evidence.first)
    before = [token.norm for token in sentence.tokens if token.last < fact.evidence.first][-2:] if sentence else []
    return bool(before) and (before[-1] in _WHEN or (before[-1] in ("the", "this", "our") and before[0] in _WHEN))


_WHEN = frozenset({"at", "on", "during"})


def _as_step(fact: Fact, active: bool, facts: list[Fact], grammar: Grammar) -> Fact:
    """An operation said as a verb is a step where others are named: all of "sigmoid resected", of "we resected the
    sigmoid" only where the other is about the same part."""
    if fact.status != "performed":
        return fact
    named = [other for other in facts if other.kind == "procedure" and other.status == "performed"]
    if not named:
        return fact
    for other in named:
        if other.name == fact.name:  # told again: where it was done the name says
            agree = fact.laterality is None or other.laterality in (None, fact.laterality)
            return replace(fact, body_site=other.body_site) if agree else fact
    if active and not any(_akin(fact, other, grammar) for other in named):
        return fact
    return replace(fact, kind="act")


_COMMON = frozenset({"repair", "release", "removal", "resection", "excision", "drainage", "reconstruction", "fixation",
                     "replacement", "fusion", "laparoscopic", "arthroscopic"})  # fmt: skip


def _akin(one: Fact, other: Fact, grammar: Grammar) -> bool:
    if one.body_site is not None and one.body_site == other.body_site:
        return True
    rows = grammar.tables["procedures"]
    if one.name is None or other.name is None or not {one.name, other.name} <= set(rows):
        return True  # one in its own words: which part it is about cannot be told
    return bool(set(rows[one.name].name.lower().split()) & set(rows[other.name].name.lower().split()) - _COMMON)


_OPERATIVE = frozenset(
    {"excision", "resection", "release", "repair", "drainage", "tendon-repair", "reattachment", "curettage",
     "internal-fixation", "provisional-fixation", "reduction", "amputation", "decompression", "debridement",
     "tenotomy", "tenodesis", "loose-body-removal", "osteotomy", "marsupialization", "neurolysis"}
)  # fmt: skip


def _only_act(reading: Reading, facts: list[Fact], grammar: Grammar) -> list[Fact]:
    """Where no operation is named: the first act on a part of the body, in its words ("fixed the left radius")."""
    if any(fact.kind == "procedure" and fact.status == "performed" for fact in facts):
        return []
    into = _injected_titles.injected_into(reading, grammar)
    if into:
        return into
    for fact in facts:
        opening = fact.name == "injection" and fact.laterality is not None and fact.evidence.first < _OPENING
        if (fact.name in _OPERATIVE or opening) and fact.done:
            place = _place(reading, fact)
            if place is not None:
                said = place[1].replace("injected", "injection") if opening else place[1]
                return [replace(fact, kind="procedure", name=None, text=said, evidence=place[0])]
    return []


_OPENING = 12  # words: "both knees injected today, forty milligrams of triamcinolone each"
_LINKS = frozenset({"was", "were", "then", "the", "a", "an", "of", "left", "right", "on", "found", "and"})


def _place(reading: Reading, fact: Fact) -> tuple[Evidence, str] | None:
    """Evidence and words of an act with the site beside it."""
    for sentence in reading.sentences:
        if not sentence.tokens or not sentence.tokens[0].first <= fact.evidence.first <= sentence.tokens[-1].last:
            continue
        act = [at for at, token in enumerate(sentence.tokens)
               if fact.evidence.first <= token.first <= fact.evidence.last]  # fmt: skip
        for site in base.mentions(sentence, "sites", "diagnoses"):
            first, last = min(act[0], site.first), max(act[-1], site.last)
            if site.first > act[-1] and any(m.first == site.last + 1 for m in base.mentions(sentence, "acts")):
                continue  # "tear debrided subacromial bursectomy"
            between = {token.norm for token in sentence.tokens[min(act[-1], site.last) + 1 : max(act[0], site.first)]}
            joined = site.id == fact.body_site or (site.last < act[0] and between <= _LINKS) or (
                site.first > act[-1] and between <= _LINKS
            )
            for thing in base.mentions(sentence, "diagnoses", "findings"):  # "lipoma of the right forearm"
                link = {token.norm for token in sentence.tokens[thing.last + 1 : first]}
                if thing.last < first and first - thing.last <= 5 and "of" in link | {sentence.tokens[first].norm} and (
                    not any(norm.startswith("#") for norm in link)
                ):
                    first = thing.first
                    break
            denied = any(token.norm in ("not", "no") for token in sentence.tokens[first:last])
            if joined and last - first <= 10 and not denied:
                return base.token_evidence(reading, sentence, first, last), story.words(sentence, first, last)
    return None


def _before(sentence: Sentence, fact: Fact) -> Fact:
    if sentence.section in _BEFORE and fact.status == "performed" and fact.certainty == "affirmed":
        past = sentence.section == "history" or _was_had(sentence, fact)
        return replace(fact, status="historical" if past else "planned")
    return fact


_TOLD = frozenset({"showed", "revealed", "demonstrated", "confirmed"})
_RESULT = 6  # tokens to the colon
_HAD = frozenset({"had", "underwent", "undergone", "received"})


def _was_had(sentence: Sentence, fact: Fact) -> bool:
    """ "The patient had clipping of an aneurysm": done before. Not "has had pain and needs ..."."""
    at = next((at for at, token in enumerate(sentence.tokens) if token.first == fact.evidence.first), 0)
    end = next((at for at, token in enumerate(sentence.tokens) if token.last >= fact.evidence.last), at)
    showed = any(token.norm in _TOLD for token in sentence.tokens[end + 1 : end + 3])  # "the cystoscopy showed a stone"
    behind = [token.norm for token in sentence.tokens[end + 1 : end + _RESULT]]
    if ":" in behind and "." not in behind[: behind.index(":")]:
        return True  # "angiography the next day: 90 % of the LAD": told with what it showed
    return showed or any(token.norm in _HAD for token in sentence.tokens[max(0, at - 4) : at])


def _is_thing(sentence: Sentence, mention: Mention) -> bool:
    """Whether the words name what was put in, too ("ureteric stent"), and stand in no title, where they are the
    operation."""
    things = base.mentions(sentence, "devices", "drains")
    if not any((thing.first, thing.last) == (mention.first, mention.last) for thing in things):
        return False
    head = sentence.section == "procedure" or (sentence.section == "" and sentence.index < _FIRST)
    tokens = sentence.tokens
    if _is_named_so([token.norm for token in tokens[max(0, mention.first - _LED) : mention.first]]):
        return False
    before, after = tokens[mention.first - 1 : mention.first], tokens[mention.last + 1 : mention.last + 3]
    counted = bool(before) and (before[0].quantity is not None or before[0].norm in ("a", "the", "of"))
    counted = counted and not (sentence.index == 0 and mention.first == 1)  # "two dental implants lower jaw": a title
    told = any(token.norm in _titles.PROSE for token in (*tokens[: mention.first], *after))
    told = told or any(token.norm in _PUT for token in after)
    around = (*tokens[max(0, mention.first - 3) : mention.first], *tokens[mention.last + 1 : mention.last + 4])
    told = told or any(token.norm in _NOT_PUT_IN for token in around)
    return not head or counted or told


_LED = 6  # tokens


def _is_named_so(lead: list[str]) -> bool:
    """ "The operation was a reamed intramedullary nail of the right tibia"."""
    at = next((at for at in range(len(lead) - 2, -1, -1) if lead[at] in ("operation", "procedure", "surgery")), None)
    return at is not None and lead[at + 1] in ("was", "is") and lead[at + 2 : at + 3] in (["a"], ["an"])


# "Spinal cord stimulator removal": another operation than putting one in.
_NOT_PUT_IN = frozenset(
    "removal removed remove explant explantation explanted revision revised exchange exchanged replacement replaced "
    "change changed extraction extracted taken infection infected failure failed failing broken lead leads battery "
    "malfunction erosion reprogramming repositioning old previous existing repair out".split()
)
_PUT = frozenset({"inserted", "placed", "used", "put", "removed", "in", "with", "size"})


def _is_procedure_too(sentence: Sentence, mention: Mention) -> bool:
    return any(
        other.table == "procedures" and other.first <= mention.first and mention.last <= other.last
        for other in sentence.mentions
    )


def _names_another(sentence: Sentence, mention: Mention) -> bool:
    after = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 5]]
    lead = [token.norm for token in sentence.tokens[max(0, mention.first - 5) : mention.first]]
    if sentence.section != "procedure" and "of" in lead and _PARTS & set(lead[: lead.index("of")]):
        return True  # "at the edge of the laminectomy"
    cut = after[:1] in (["incision"], ["incisions"]) and len(after) > 1 and after[1].startswith("#")
    if after[:1] and after[0] in _NAMES_ANOTHER and not cut:  # not "left tympanoplasty incision four centimetres"
        return True
    if lead[-3:-1] in (["side", "of"], ["sides", "of"]):
        return True  # "two screws on either side of the osteotomy"
    if mention.id == "video-assisted-thoracoscopic-surgery" and any(
        m.table == "procedures" and 0 < m.first - mention.last <= _WAY and all(
            token.norm.isalpha() and token.norm not in ("and", "with", "for", "then")
            for token in sentence.tokens[mention.last + 1 : m.first]
        ) for m in sentence.mentions
    ):
        return True  # "right VATS upper lobectomy": the way in
    return bool(after) and after[0] in ("was", "were") and bool(set(after[1:]) & _TREATED)


_WAY = 3  # tokens
_PARTS = frozenset("portion midportion edge edges margin margins aspect depth border rim lips limits extent".split())
# "The arthrotomy was closed": the opening that it left.
_TREATED = frozenset({"closed", "extended", "enlarged", "irrigated", "widened", "sutured"})


_ROOMS = frozenset({"lab", "laboratory", "suite", "unit", "clinic", "department", "team", "service", "tray"})


def _risk(sentence: Sentence, mention: Mention) -> bool:
    """Whether only a risk list or a purpose names the operation ("risk of reoperation")."""
    return any(
        scope.rule in ("risks", "purpose", "would") and scope.first <= mention.first <= scope.last
        for scope in sentence.scopes
    )


_FIRST = 2  # sentences
