"""What is told of one drug and not of its neighbour: not given, stopped before the operation, given several times.

Speech often has no marks: "cocaine was not used xylometazoline pledgets were placed" says of the first drug that it was
not used, and nothing of the second.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from itertools import pairwise

from pipeline import clauses, cues
from pipeline.context_behind import ANOTHER
from pipeline.extractors import _stopped
from pipeline.grammar import Grammar
from pipeline.records import Mention, Sentence


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_FAR = 24  # what may lie between a drug and the words that deny it, as cues.gap counts
_BUT = 10  # tokens
_JOINERS = _words("and or nor with plus , / &")
_IN_LIST = _JOINERS | _words("of percent % the any a an either neither both iv im plain solution")
# "We did not give heparin": the object follows its verb; "heparin was not given": the subject goes before.
_ACTIVE = _words("did didn't no we")
_MEANT = _words("it this that them any these those either both")


def is_denied(sentence: Sentence, grammar: Grammar, drug: Mention, *ids: str) -> bool:
    """Whether one of these cues ("not-given") is said of this drug."""
    drugs = [mention for mention in sentence.mentions if mention.table == "drugs"]
    return any(drug in _denied(sentence, hit, drugs) for hit in cues.hits(sentence, grammar, *ids))


def _turned(sentence: Sentence, last: int, first: int) -> bool:
    """ "We did not give steroid only eight mils of bupivacaine": what comes behind "only" was given."""
    return any(token.norm in ("only", "just", "but", "instead") for token in sentence.tokens[last + 2 : first])


_HOLDERS = _words("syringe syringes tube tubes bag bags barrel canister vial ampoule reservoir that which")


def _contains(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "The syringe held 6 mL of heparin": it was in there, not held back."""
    if sentence.tokens[hit.last].norm != "held":
        return False
    after = sentence.tokens[hit.last + 1 : hit.last + 2]
    before = sentence.tokens[hit.first - 1 : hit.first] if hit.first else ()
    joined = bool(before) and before[0].norm == "and" and sentence.says(_HOLDERS)  # "were flushed and held 2 mL"
    return bool(after) and after[0].quantity is not None and (joined or (bool(before) and before[0].norm in _HOLDERS))


def _denied(sentence: Sentence, hit: cues.Hit, drugs: list[Mention]) -> list[Mention]:
    if any(scope.rule == "omitted-before" and scope.first <= hit.first <= scope.last for scope in sentence.scopes):
        return []  # "edoxaban 60 mg (omitted this am)"
    if _contains(sentence, hit) or sentence.tokens[hit.last + 1 : hit.last + 2] and (
        sentence.tokens[hit.last + 1].norm in ("until", "till")
    ):
        return []  # "vancomycin not started until samples were taken"
    before = [one for one in drugs if one.last < hit.first and cues.gap(sentence, one.last, hit.first) <= _FAR
              and _is_subject(sentence, one, hit)]  # fmt: skip
    if hit.first and sentence.tokens[hit.first - 1].norm == "but":  # "discussed but not needed"
        before += [one for one in drugs if one.last < hit.first and one not in before and hit.first - one.last <= _BUT
                   and not any(one.last < other.first < hit.first for other in drugs)]  # fmt: skip
    after = [one for one in drugs if one.first > hit.last and cues.gap(sentence, hit.last, one.first) <= _FAR
             and not _turned(sentence, hit.last, one.first)]  # fmt: skip
    first = sentence.tokens[hit.first].norm
    follows = sentence.tokens[hit.last + 1].norm if hit.last + 1 < len(sentence.tokens) else ""
    ahead = first in _ACTIVE or (first in _BOTH_WAYS and not (before and _passive(sentence, hit)))
    ahead = ahead and not _of_a_subject(sentence, hit)  # "drain omitted co-amoxiclav"
    if ahead and after and follows not in _MEANT:
        return _with_joined(sentence, after[0], drugs, 1)
    if before:
        listed = _closes_list(sentence, before[-1], drugs)
        return _with_joined(sentence, before[-1], drugs, -1) if listed else before[-1:]
    return _with_joined(sentence, after[0], drugs, 1) if after and not _of_a_subject(sentence, hit) and (
        not clauses.parted(sentence, hit.last, after[0].first)
    ) else []  # fmt: skip


def _of_a_subject(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "The crosslink was not used vancomycin one gram": what was not used stands before, a drug behind begins anew;
    not "she was not given heparin"."""
    if any(scope.value == "negated" and scope.first < hit.first <= scope.last <= hit.last for scope in sentence.scopes):
        return True  # its scope ends with it: "microfracture not needed ten mils of bupivacaine"
    if hit.first < 2:
        return False
    if sentence.tokens[hit.first].norm in _OF_BEFORE and any(
        m.last == hit.first - 1 and m.table not in ("sides", "team", "sex", "events") for m in sentence.mentions
    ):
        return True  # "general anaesthetic not needed cefuroxime ..."
    if sentence.tokens[hit.last].norm not in ("used", "needed", "required", "started"):
        return False
    return sentence.tokens[hit.first - 1].norm in ("was", "were", "but", "is", "are", "and")


_OF_BEFORE = _words("not never omitted withheld held")
# "We withheld the heparin" and "heparin withheld"
_BOTH_WAYS = _words("held withheld omitted")
_SUBJECTS = _words("we i they he she and")


def _passive(sentence: Sentence, hit: cues.Hit) -> bool:
    return not hit.first or sentence.tokens[hit.first - 1].norm not in _SUBJECTS


def _is_subject(sentence: Sentence, drug: Mention, hit: cues.Hit) -> bool:
    """Whether a drug before a denial may be what is denied: nothing was told of it in between."""
    between = [token.norm for token in sentence.tokens[drug.last + 1 : hit.first]]
    if ANOTHER & set(between):
        return False  # "one gram, a second gram not given": the first one was
    if "(" in between[:-1] and ")" not in between:
        return False  # "lidocaine 1 % (sedation not needed)"
    if any(token.quantity is not None for token in sentence.tokens[drug.last + 1 : hit.first]) and any(
        m.last == hit.first - 1 and m.first > drug.last and m.table in _OTHER_THINGS for m in sentence.mentions
    ):
        return False  # "tranexamic acid one gram brace not needed"
    return not any(norm in ("given", "injected", "used", "administered", "infiltrated") for norm in between)


def _closes_list(sentence: Sentence, last: Mention, drugs: list[Mention]) -> bool:
    """Whether "and" or the like stands before the last one: "tamsulosin 400 mcg, warfarin held" is no list."""
    place = drugs.index(last)
    if not place:
        return True
    between = sentence.tokens[drugs[place - 1].last + 1 : last.first]
    return any(token.norm in _JOINERS - {","} for token in between)


def _with_joined(sentence: Sentence, drug: Mention, drugs: list[Mention], way: int) -> list[Mention]:
    """The drug and those that a list joins to it on that side."""
    found = [drug]
    place = drugs.index(drug) + way
    while 0 <= place < len(drugs) and _is_joined(sentence, drugs[place], found[-1]):
        found.append(drugs[place])
        place += way
    return found


def _is_joined(sentence: Sentence, one: Mention, other: Mention) -> bool:
    low, high = sorted((one, other), key=lambda mention: mention.first)
    between = sentence.tokens[low.last + 1 : high.first]
    return any(token.norm in _JOINERS for token in between) and all(
        token.quantity is not None or token.norm in _IN_LIST for token in between
    )


def was_denied(sentence: Sentence, grammar: Grammar, drug: Mention, near: Collection[str]) -> bool:
    """Whether a drug was said not to be given. `near`: cues around it."""
    told = "not-given" in near and is_denied(sentence, grammar, drug, "not-given")
    return told or stopped_before(sentence, drug) or _thrown_away(sentence, drug)


_UP = (("drawn", "up"), ("made", "up"), ("drew", "up"))
_AWAY = frozenset({"binned", "discarded", "wasted", "thrown"})
_IT = frozenset({"it", "this", "that"})


def _thrown_away(sentence: Sentence, drug: Mention) -> bool:
    """ "Flucloxacillin one gram was drawn up but she turned out to be allergic to penicillin so it was thrown away":
    all of what was made ready; a part of it that is thrown away has a number of its own."""
    tokens = sentence.tokens
    norms = [token.norm for token in tokens]
    near = range(drug.last + 1, min(len(tokens) - 1, drug.last + _SOON))
    own = next((at for at in near if (norms[at], norms[at + 1]) in _UP), None)
    if own is None or any(m.table == "drugs" and drug.last < m.first < own for m in sentence.mentions):
        return False
    if _is_left_behind(norms[own + 2 : own + 2 + _SOON]):
        return True
    if not sentence.says(_AWAY):
        return False
    for at in range(own + 2, min(len(tokens) - 2, own + _LATER)):
        quantity = tokens[at].quantity
        if quantity is not None and quantity.dimension in ("mass", "amount", "volume"):
            return False
        if norms[at] in _IT and norms[at + 1] == "was" and norms[at + 2] in _AWAY:
            return True
    return False


def _is_left_behind(behind: list[str]) -> bool:
    """ "Drawn up and left on the table", "drawn up but then binned", right behind "drawn up"."""
    while behind and behind[0] in _AND_THEN:
        behind = behind[1:]
    if behind[:1] and behind[0] in _AWAY:
        return True
    return behind[:1] in (["left"], ["stayed"], ["remained"]) and bool(set(behind[1:4]) & _TABLE)


_AND_THEN = _words("and then but was were it , just simply")
_TABLE = _words("table trolley tray counter unused untouched fridge syringe vial there standing lying")
_SOON, _LATER = 8, 18  # tokens: to "drawn up", and on to "it was thrown away"


_EVER = frozenset({"before"})
_WENT = _words("went given ran run reached goes")


def stopped_before(sentence: Sentence, drug: Mention) -> bool:
    """ "Vancomycin was hung but she itched, so we stopped it before any went in": none of it was given."""
    tokens = sentence.tokens
    for at in range(drug.last + 1, len(tokens)) if sentence.says(_EVER) else ():
        if tokens[at].norm in (".", ";") or any(m.table == "drugs" and m.first == at for m in sentence.mentions):
            return False
        near = [token.norm for token in tokens[at + 1 : at + 6]]
        if tokens[at].norm == "before" and near[:1] in (["any"], ["it"], ["a"]) and _WENT & set(near):
            return True
    return False


def may_be_for_later(sentence: Sentence, mention: Mention, classes: Collection[str]) -> bool:
    """Whether a drug may be one for afterwards: an anaesthetic only where the words right behind it order it ("ten
    millilitres of bupivacaine tonight")."""
    if not {"local_anaesthetic", "general_anaesthetic"} & {*classes}:
        return True
    behind = [token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 4]]
    return not {"tonight", "tomorrow", "prn", "prescribed", "discharge"}.isdisjoint(behind)


_MEANT_TO = (("was", "to", "be"), ("were", "to", "be"), ("had", "been", "planned"), ("had", "been", "ordered"),
             ("was", "ordered", "but"), ("was", "planned", "but"), ("was", "intended", "but"))  # fmt: skip
NEVER_SAID = "said to be planned here; not said to be given"


def was_meant(sentence: Sentence, drug: Mention) -> bool:
    """ "Vancomycin was to be given but ...": meant for this operation, and no medicine to take home."""
    after = tuple(token.norm for token in sentence.tokens[drug.last + 1 : drug.last + 4])
    return after in _MEANT_TO and sentence.says({"but", "however", "instead"})


_OFTEN = _words("qds qid tds tid bd bid od hourly daily nightly b.d t.d.s q.i.d q.d.s t.i.d b.i.d")
_IN_THEATRE = _words(
    "intraoperatively intraoperative during repeated repeat redosed throughout until bypass incision closure"
)


def is_by_the_clock(sentence: Sentence, drug: Mention) -> bool:
    """Whether a drug is told with how often it is to be taken ("one gram every six hours", "50 mg q6h", "1 g qds"):
    a medicine for later, unless it was repeated within the operation."""
    ahead = _stopped.own_part(sentence, drug)
    if any(token.norm in _IN_THEATRE for token in ahead):
        return False
    for at, token in enumerate(ahead):
        if token.norm in _OFTEN:
            return True
        quantity = token.quantity
        if quantity is None:
            continue
        if quantity.form == "interval":
            return True
        if quantity.unit in ("h", "d") and at and ahead[at - 1].norm in ("every", "each"):
            return True
    return False


# What a solution is like, between its strength or its volume and its name.
SORTS = frozenset("preservative free buffered viscous hyperbaric isobaric plain heavy sterile cold warm fresh".split())


def behind_agent(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "Eighty mils of marrow into syringes with ACD-A, eight mils": an amount right behind an anticoagulant."""
    return drug.id in _AGENTS and drug.last < index and all(
        token.norm in (",", ":", "(") for token in sentence.tokens[drug.last + 1 : index]
    ) and [token.norm for token in sentence.tokens[index + 1 : index + 2]] != ["of"]


def is_bound(kind: str, sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "Eight of half percent bupivacaine", "40 mg, 1 % lidocaine": a strength right before its drug, behind "of" or a
    mark. "Ropivacaine 0.2 % twenty mils in the bursa kenalog": a volume right behind the strength of a drug, where a
    place follows it."""
    between = [token.norm for token in sentence.tokens[index + 1 : drug.first]]
    if between and SORTS.issuperset(between):
        return True  # "1 % preservative-free lidocaine"
    tokens = sentence.tokens
    if kind == "medication_volume" and behind_agent(sentence, index, drug):
        return True
    if kind == "medication_volume" and drug.last + 2 == index and index + 1 < len(tokens):
        strength = tokens[drug.last + 1].quantity
        placed = tokens[index + 1].norm in ("in", "into", "around", "to", "at", "under")
        return strength is not None and strength.dimension in ("fraction", "mass_concentration") and placed
    led = index > 0 and drug.first == index + 1 and tokens[index - 1].norm in _LEADS_STRENGTH
    return kind == "medication_concentration" and led


_AGENTS = frozenset({"acd-a", "sodium-citrate", "heparin"})
_LEADS_STRENGTH = frozenset({"of", "with", ",", "+", "(", "plus", ";"})


def explains(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "Cefazolin six hundred milligrams which is thirty milligrams per kilogram paracetamol ...": a number that tells
    what the one before it comes to is of no drug behind it."""
    if drug.first < index or (drug.first == index + 2 and sentence.tokens[index + 1].norm == "of"):
        return False  # "that is forty milligrams of triamcinolone in total"
    if drug.first == index + 1 and not any(m.table == "drugs" and m.last < index for m in sentence.mentions):
        return False  # "5 x 4 mL = 20 mL bupivacaine": of no drug before it
    before = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    return before in (["which", "is"], ["that", "is"], ["that", "makes"], ["which", "makes"]) or before[-1:] in (
        ["equals"], ["making"], ["equalling"], ["equaling"], ["ie"], ["i.e."], ["="]
    )  # fmt: skip


def _of_drug_before(sentence: Sentence, drug: Mention, hit: cues.Hit) -> bool:
    """ "Takes ramipril at home cefazolin two grams": what is said right behind one drug is not of the next."""
    return any(
        m.table == "drugs" and m.last < hit.first <= hit.last < drug.first
        and all(token.quantity is not None for token in sentence.tokens[m.last + 1 : hit.first])
        for m in sentence.mentions
    )


def stands_apart(sentence: Sentence, index: int, drug: Mention, fields: Mapping[str, object]) -> bool:
    """ "Lidocaine 1 % 10 ml, bicarbonate not added": a number before a comma is none of the denied drug behind; none is
    of a drug right behind a "no"."""
    if drug.first and sentence.tokens[drug.first - 1].norm in ("no", "without", "nor"):
        return True
    return fields.get("certainty") == "negated" and drug.first > index and any(
        m.table == "drugs" and m.last < index for m in sentence.mentions
    ) and any(token.norm in (",", ";") for token in sentence.tokens[index + 1 : drug.first])


_OVER = frozenset({"been", "already", "earlier"})


def is_of_next(sentence: Sentence, grammar: Grammar, drug: Mention, hit: cues.Hit) -> bool:
    """ "Metronidazole at induction home tomorrow", "cefazolin before incision enoxaparin tonight": what is said of a
    later time belongs to what stands behind the drug's own time, or to another drug."""
    if hit.first < drug.last:
        return _of_drug_before(sentence, drug, hit)
    if sentence.tokens[hit.first - 1].norm in ("none", "nothing", "no"):
        return True  # "adrenaline in the first bag only, none afterwards"
    if {token.norm for token in sentence.tokens[max(drug.last, hit.first - 6) : hit.last + 2]} & _OVER:
        return True  # "ergometrine 500 mcg she had been given 500 on the ward already"
    drugs = [mention for mention in sentence.mentions if mention.table == "drugs"]
    between = [one for one in drugs if drug.last < one.first < hit.first]
    if any(drug.last < one.first < hit.first and one.table in _OTHER_THINGS for one in sentence.mentions):
        return True  # "dexamethasone eight no antibiotics bandage off tomorrow"
    row = [drug, *between]
    if any(not _is_joined(sentence, one, other) for one, other in pairwise(row)):
        return True
    own = [one for one in cues.hits(sentence, grammar, "prophylaxis") if drug.last < one.first and one.last < hit.first]
    return bool(own) and not any(one.first < hit.first and one.first > own[0].last for one in between)


_OTHER_THINGS = frozenset({"dressings", "closures", "drains", "sutures", "specimens", "counts"})


def may_be_corrected(sentence: Sentence, drug: Mention) -> str | None:
    """ "Bupivacaine no lidocaine ten mils": another drug right behind a "no", with an amount of its own, may be the one
    that was meant; "lidocaine ten mils, no adrenaline" is none."""
    tokens = sentence.tokens
    drugs = [mention for mention in sentence.mentions if mention.table == "drugs"]
    place = drugs.index(drug)
    beside = drugs[max(0, place - 1) : place + 2]
    for one, other in pairwise(beside):
        between = [token.norm for token in tokens[one.last + 1 : other.first] if token.norm != ","]
        numbered = other.last + 1 < len(tokens) and tokens[other.last + 1].quantity is not None
        if between in (["no"], ["not"]) and numbered and drug in (one, other):
            first = " ".join(token.text for token in tokens[one.first : one.last + 1])
            second = " ".join(token.text for token in tokens[other.first : other.last + 1])
            return f"'{first} no {second}' may take back the first drug for the second"
    return None


def has_its_object(sentence: Sentence, hit: cues.Hit, drug: Mention) -> bool:
    """ "No NSAIDs two weeks paracetamol one gram": what is to be avoided is named with how long, and a drug behind
    that is another one."""
    if drug.first > hit.last and sentence.tokens[hit.last].norm in _PASSIVE:
        return True  # "diclofenac is forbidden metamizole one gram given"
    between = range(hit.last + 1, drug.first)
    span = next((at for at in between if (one := sentence.tokens[at].quantity) is not None and one.dimension == "time"),
                None)  # fmt: skip
    return span is not None and any(
        mention.table in ("drugs", "aftercare") and hit.first <= mention.last and mention.last < span
        for mention in sentence.mentions
    )


_PASSIVE = _words("forbidden prohibited allowed taken used")
