"""Medicines: drug, dose, volume, concentration, rate, route, adrenaline ratio.

Every drug said is an event of its own; numbers go to the nearest drug, in the order of saying that the sentence
uses ("two grams of cefazolin" or "cefazolin two grams"). A drug that one is allergic to was not given.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pipeline import cues, owners
from pipeline.extractors import (
    _drug_dilution,
    _drug_mixture,
    _drug_numbers,
    _drug_order,
    _drug_prepared,
    _drug_strength,
    _drug_times,
    _drug_told,
    _drug_words,
    _kit,
    _reactions,
    _stopped,
    _washes,
    base,
)
from pipeline.extractors._drug_events import (
    ADRENALINE,
    PIECES,
    Event,
    fields_of,
    of_a_strength,
    pieces,
    ratio,
    routes,
    summed,
    too_much,
)  # fmt: skip
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence
from pipeline.rows import Drug

KINDS = (
    "medication", "medication_dose", "medication_volume", "medication_concentration", "medication_rate",
    "medication_route", "adrenaline_ratio",
)  # fmt: skip

# What a number of a dimension tells of a drug, and how far from the drug it may stand.
_TELLS = {
    "mass": ("medication_dose", 24), "amount": ("medication_dose", 24), "catalytic": ("medication_dose", 24),
    "molar": ("medication_dose", 24), "volume": ("medication_volume", 34),
    "fraction": ("medication_concentration", 24), "concentration": ("medication_concentration", 40),
    "mass_per_mass": ("medication_dose", 24), "amount_per_mass": ("medication_dose", 24),
    "volume_per_mass": ("medication_volume", 34),
    "mass_concentration": ("medication_concentration", 40), "rate": ("medication_rate", 30),
}  # fmt: skip
_AMOUNTS = ("medication_dose", "medication_volume")
_DOSED = frozenset({"mass", "amount", "catalytic", "molar", "rate", "mass_per_mass"})
_LATER_SECTIONS, _FAR_BACK, _STILL_AFTERCARE, _STREAM = ("aftercare", "follow-up"), 99, 3, 40
_TAKEN_LATER = frozenset("analgesic nsaid opioid antibiotic anticoagulant antiplatelet laxative antiemetic ophthalmic "
                         "steroid bisphosphonate supplement acid_reducer antihypertensive".split())  # fmt: skip
_BARRIERS = ("devices", "specimens", "findings", "injectates", "drains", "aftercare")
_BEGINS, _BODY_UNITS = frozenset({"anaesthesia", "positions", "approaches", "tourniquet"}), ("kg", "[lb_av]", "[oz_av]")
# Tokens; before any other claim; where a row leaves no doubt; "cefazolin 2 g dexamethasone 8 mg": the order shown
_CLOSE, _SAID_ON, _CONCENTRATION_AHEAD, _TOTAL_REACH, _OWN, _OTHER_ORDER, _WRONG_STYLE = 16, 66, 9, 70, -1, 12, 8


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    drugs = grammar.table("drugs", Drug)
    facts: list[Fact] = []
    since = _FAR_BACK  # sentences since aftercare was last spoken of
    begun = False  # whether the anaesthesia or the way in has been told
    closed = False  # whether the counts, the blood loss or the closure have been told
    for sentence in reading.sentences:
        since = 0 if sentence.section in _LATER_SECTIONS else since + 1
        if not begun and any(m.table in _BEGINS for m in sentence.mentions):
            begun, since = True, since if sentence.section in _LATER_SECTIONS else _FAR_BACK  # "Plan: ... GA, supine."
        sentence.memo["before"] = not begun
        if any(mention.table == "drugs" for mention in sentence.mentions):
            ordered = closed and len(sentence.tokens) <= _STREAM and _drug_words.orders_care(sentence)
            events = _events(sentence, grammar, drugs, ordered or since <= _STILL_AFTERCARE)
            facts += _sentence(reading, sentence, grammar, events)
        closed = closed or cues.has(sentence, grammar, "swab-count", "blood-loss", "count-item")
        if closed and len(sentence.tokens) <= _STREAM and _drug_words.orders_care(sentence):
            since = 0
    return facts


def _events(sentence: Sentence, grammar: Grammar, drugs: Any, after: bool) -> list[Event]:
    allergic = cues.hits(sentence, grammar, "allergy")
    events: list[Event] = []
    for mention in base.mentions(sentence, "drugs"):
        drug = drugs[mention.id]
        if any(_drug_numbers.allergic_to(sentence, hit.first, hit.last, mention) for hit in allergic) or (
            _reactions.is_told_as_reaction(sentence, mention)
        ):
            continue
        diluent = "diluent" in drug.classes and not (
            _is_given(sentence, grammar, mention) or _drug_mixture.is_mixed_in(sentence, mention, drugs))
        pictured = "contrast" in drug.classes and _drug_words.is_of_a_picture(sentence)
        if diluent or pictured or _drug_words.is_measured(sentence, mention):
            continue
        additive = mention.id in ADRENALINE and bool(events) and (
            _follows_with(sentence, mention) or _drug_words.in_a_ratio(sentence, mention, events[-1].mention)
        )
        group = base.group_of(sentence, mention.first)
        fields = _circumstances(sentence, grammar, mention, drug, after)
        if not additive and (unsure := _drug_told.may_be_corrected(sentence, mention)):
            fields["doubts"] = (*fields.get("doubts", ()), unsure)
        if additive:
            fields = _drug_words.as_carrier(fields, events[-1].fields)
        elif events and not fields and _TAKEN_LATER & set(drug.classes):  # "..., and omeprazole twenty"
            fields = _drug_words.as_before(sentence, events[-1].mention, events[-1].fields, mention)
        events.append(Event(mention, drug, f"m{group}", additive, fields))
    return events


def _is_given(sentence: Sentence, grammar: Grammar, mention: Mention) -> bool:
    """Saline and water are medicines only where they are injected or mixed, not where they rinse."""
    if cues.has(sentence, grammar, "irrigation"):
        return False
    return cues.has(sentence, grammar, "injected", "mixture") and any(
        token.quantity is not None and token.quantity.dimension == "volume" for token in sentence.tokens
    )


def _follows_with(sentence: Sentence, mention: Mention) -> bool:
    return any(
        token.norm in ("with", "plus", "and", "w", "w/", "+", "&", "containing")
        for token in sentence.tokens[max(0, mention.first - 3) : mention.first]
    )


def _circumstances(sentence: Sentence, grammar: Grammar, mention: Mention, drug: Drug, after: bool) -> dict[str, Any]:
    """Role, status, certainty and doubts that the words around a drug give it."""
    found: dict[str, Any] = {}
    status = base.scope_at(sentence, "status", mention.first, "performed")
    ids = cues.around(sentence, grammar, mention.first, mention.last)
    if kept := _stopped.kept_on(sentence, mention):
        return kept
    if _avoided(sentence, grammar, mention):
        return {"role": "avoid", "status": "planned", "certainty": "affirmed"}
    not_yet = any(one.rule == "not-yet" and one.first <= mention.first <= one.last for one in sentence.scopes)
    denied = not not_yet and _drug_told.was_denied(sentence, grammar, mention, ids)
    if _drug_told.was_meant(sentence, mention) and not denied:
        return {"status": "planned", "doubts": (_drug_told.NEVER_SAID,)}
    was_taken, unsure = _stopped.stopped(sentence, mention, drug)
    later = sentence.section in _LATER_SECTIONS or (
        not (was_taken or denied)
        and status in ("performed", "planned", "conditional")
        and _is_later(sentence, grammar, mention, drug, after)
    )
    if later and _drug_told.may_be_for_later(sentence, mention, drug.classes):
        if base.scope_at(sentence, "certainty", mention.first, "affirmed") == "negated":
            return {"role": "avoid", "status": "planned", "certainty": "affirmed"}
        return {"role": "aftercare", "status": "planned"}
    if "anticoagulant" in drug.classes and (role := _kit.role(sentence, mention, ids)) is not None:
        found["role"] = role
    elif "prophylaxis" in ids and set(drug.classes) & {"antibiotic", "anticoagulant"}:
        found["role"] = "prophylaxis"
    elif "local_anaesthetic" in drug.classes and status != "historical":
        found["role"] = "local_anaesthetic"
    if was_taken:
        found |= {"status": "historical", "certainty": "affirmed", "doubts": unsure}
    elif denied or base.scope_at(sentence, "certainty", mention.first, "affirmed") == "negated":
        found["certainty"] = "negated"  # its numbers too: "eight milligrams of dexamethasone drawn up, not given"
    elif status == "performed" and (
        any(_drug_numbers.says_of(sentence, mention, hit.first) for hit in cues.hits(sentence, grammar, "prepared"))
        or _near(sentence, grammar, mention, 12, "prepared")
        and not _near(sentence, grammar, mention, 40, "given", "priming")
        and not any(_drug_prepared.and_given(sentence, hit.last) for hit in cues.hits(sentence, grammar, "prepared"))
    ):
        undone = base.scope_at(sentence, "certainty", mention.first, "affirmed") == "negated"  # "... and thrown away"
        found |= {"certainty": "negated"} if undone else {"status": "planned", "doubts": (_drug_prepared.DOUBT,)}
    elif status == "performed" and _drug_words.was_before(sentence, mention, drug):
        found |= {"status": "historical", "doubts": _drug_words.why_before(sentence, mention)}
    elif status == "performed" and _washes.holds(sentence, mention.first):
        found["doubts"] = ("said of what something was washed in, not of the patient",)
    return found


def _is_later(sentence: Sentence, grammar: Grammar, mention: Mention, drug: Drug, after: bool) -> bool:
    if _drug_words.is_at_home(sentence, mention):
        return False
    if _at_home(sentence, grammar, mention) or _drug_words.goes_home_on(sentence, mention):
        return True
    if _drug_told.is_by_the_clock(sentence, mention) and not _drug_words.was_given(sentence, mention):
        return True
    told = _near(sentence, grammar, mention, 40, "given", "not-given", "prophylaxis")
    return after and not told and bool(_TAKEN_LATER & set(drug.classes))


def _avoided(sentence: Sentence, grammar: Grammar, mention: Mention) -> bool:
    return _stopped.to_stop(sentence, mention) or any(
        cues.apart(sentence, hit, mention.first, mention.last) <= (30 if hit.first < mention.first else 10)
        for hit in cues.hits(sentence, grammar, "avoid") if not _drug_told.has_its_object(sentence, hit, mention)
    )


def _at_home(sentence: Sentence, grammar: Grammar, mention: Mention) -> bool:
    """A medicine to take later: said so, or given a course of days ("for ten days") or of times ("daily")."""
    near = [hit for hit in cues.hits(sentence, grammar, "take-home")
            if cues.apart(sentence, hit, mention.first, mention.last) <= 45
            and sentence.tokens[hit.first - 1].norm not in ("none", "nothing", "out")  # "none afterwards", "out today"
            and not _drug_told.is_of_next(sentence, grammar, mention, hit)]  # fmt: skip
    if near and not (_drug_words.was_given(sentence, mention) and _drug_words.says_how(sentence, near)):
        return True
    for index in range(mention.last + 1, min(mention.last + 8, len(sentence.tokens))):
        token = sentence.tokens[index]
        if token.punctuation and token.norm not in (",", "(", ")") or token.norm in _drug_words.NEXT:
            return False
        if token.quantity is not None and token.quantity.unit in ("d", "wk", "mo"):
            return _drug_words.is_course(sentence, mention, index)
    return False


def _near(said: Sentence, grammar: Grammar, mention: Mention, reach: int, *ids: str) -> bool:
    return cues.distance(said, grammar, mention.first, mention.last, *ids) <= reach


def _sentence(reading: Reading, sentence: Sentence, grammar: Grammar, events: list[Event]) -> list[Fact]:
    facts: list[Fact] = []
    numbers = [
        (index, quantity)
        for index, token in enumerate(sentence.tokens)
        if token.quantity is not None and (quantity := cues.unit_of(sentence, index)) is not None
    ]
    for event in events:
        facts.append(
            base.make("medication", reading, sentence, event.mention.first, event.mention.last,
                      name=event.mention.id, group=event.group, **event.fields)
        )  # fmt: skip
    if not events:
        return facts
    diluted = _drug_dilution.find(sentence, events)
    if diluted is not None:
        facts += _drug_dilution.told(reading, sentence, diluted)
        numbers = [(index, quantity) for index, quantity in numbers if index not in diluted.tokens]
    amounts = [index for index, quantity in numbers if quantity.dimension in _TELLS]
    drug_first = not amounts or events[0].mention.first < amounts[0]
    for index, quantity in numbers:
        if quantity.form == "ratio" or quantity.dimension == "ratio":
            facts += ratio(reading, sentence, index, quantity, events)
        elif quantity.dimension == "" and _drug_numbers.is_bare_dose(sentence, index, [e.mention for e in events]):
            event = next(item for item in events if item.mention.last == index - 1)
            if "contrast" in event.drug.classes:
                continue  # "Omnipaque 350" is a name; the number tells its strength in iodine
            kind = "medication_concentration" if _drug_strength.is_strength(quantity, event.drug) else "medication_dose"
            facts.append(base.claim(kind, reading, sentence, index, event.mention.first, event.mention.last, 4,
                                    **fields_of(sentence, index, quantity, event)))  # fmt: skip
        elif quantity.dimension == "" and (told := of_a_strength(reading, sentence, index, quantity, events)
                                           or summed(reading, sentence, index, quantity, events)):  # fmt: skip
            facts += told
        elif quantity.unit in PIECES:
            facts += pieces(reading, sentence, index, quantity, events)
        elif quantity.dimension in _TELLS and not _drug_numbers.of_container(sentence, grammar, index):
            facts += _number(reading, sentence, grammar, index, quantity, events, drug_first)
    return _drug_prepared.settle(sentence, facts + routes(reading, sentence, events))


def _number(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity, events: list[Event],
    drug_first: bool,
) -> list[Fact]:  # fmt: skip
    kind, limit = _TELLS[quantity.dimension]
    if _drug_numbers.is_said_again(sentence, index):
        return []
    if quantity.unit in _BODY_UNITS or too_much(index, quantity, events):
        return []
    if (same := _drug_numbers.of_the_same(sentence, index, [event.mention for event in events])) is not None:
        event = next(item for item in events if item.mention == same)
        fields = fields_of(sentence, index, quantity, event)
        fields["doubts"] = _drug_numbers.said_together(sentence, same)
        return [base.claim(kind, reading, sentence, index, index + 1, index + 1, 0, **fields)]
    if kind == "medication_volume" and (both := _drug_mixture.of_both_before(reading, sentence, index, quantity)):
        return both
    if (taken := _drug_words.goes_on_at_home(sentence, index, [event.mention for event in events])) is not None:
        event = next(item for item in events if item.mention == taken)
        later = {**fields_of(sentence, index, quantity, event), "role": "aftercare", "status": "planned"}
        return [base.claim(kind, reading, sentence, index, index, index, 0, **later)]
    told = _drug_order.order(sentence, index, [event.mention for event in events])
    drug_first = told == "drug" or (drug_first and told is None)
    prefix, postfix = (_WRONG_STYLE, 0) if drug_first else (0, _WRONG_STYLE)
    prefix += _OTHER_ORDER * (told == "drug")
    postfix += _OTHER_ORDER * (told == "number")
    ranked: list[tuple[int, int, Event]] = []
    rows = {event.mention.last: event.drug for event in events}
    for order, event in enumerate(events):
        if event.additive and kind in ("medication_volume", "medication_concentration"):
            continue
        mixed = event.additive and _drug_numbers.is_of_the_mixture(sentence, index, event.mention)
        agent = kind == "medication_volume" and _drug_told.behind_agent(sentence, index, event.mention)
        if mixed and kind == "medication_dose" or not agent and _barred(sentence, index, event.mention):
            continue
        if _drug_told.explains(sentence, index, event.mention) or (
            _drug_strength.of_unnamed(sentence, index, event.mention, event.drug)
        ) or _drug_strength.is_of_the_one_before(sentence, index, event.mention, event.drug, rows) or (
            _drug_told.stands_apart(sentence, index, event.mention, event.fields)
        ):
            continue
        share = quantity.dimension == "fraction" and "anticoagulant" in event.drug.classes
        if share and (event.mention.id == "acd-a" or index not in (event.mention.first - 1, event.mention.last + 1)):
            continue  # "citrate 3 mL (10 %)" is a share of the aspirate
        ratio_only = event.mention.id in ADRENALINE and quantity.dimension == "fraction"  # the percent is the other's
        if len(events) > 1 and (ratio_only or "diluent" in event.drug.classes and kind != "medication_volume"):
            continue
        ahead = event.mention.first > index
        led = quantity.dimension in _DOSED and told == "drug" and events[0].mention.last < index
        closed = ahead and _drug_order.is_closed(sentence, index, event.mention, quantity.dimension)
        again = ahead and quantity.dimension in _DOSED and _drug_numbers.is_repeat(sentence, index, events[0].mention)
        if closed or ahead and (led or again) and _drug_order.has_its_own(sentence, event.mention):
            continue
        price = cues.cost(sentence, index, event.mention.first, event.mention.last, prefix=prefix, postfix=postfix)
        if _drug_told.is_bound(kind, sentence, index, event.mention):
            price = 0  # "forty of one drug with eight of half percent bupivacaine"
        if kind == "medication_concentration" and ahead and price - prefix > _CONCENTRATION_AHEAD:
            continue
        ranked.append((price, order, event))
    ranked.sort(key=lambda item: item[:2])
    summed = kind == "medication_volume" and _drug_mixture.is_total(sentence, index)
    if not ranked:
        return []
    further: tuple[str, ...] = ()
    if ranked[0][0] > (_TOTAL_REACH if summed else limit):
        earlier = [event for _, _, event in ranked if event.mention.last < index]
        owner = max(earlier, key=lambda item: item.mention.first, default=None)
        sure = _drug_numbers.said_on(sentence, index, owner.mention) if owner is not None else None
        if owner is not None and sure is None:
            total = cues.scale(sentence, index) == "total"
            sure = _drug_numbers.said_again(sentence, index, owner.mention, total=total)
        sure = True if owner is not None and _drug_prepared.is_next_part(sentence, index) else sure
        if owner is None or sure is None:
            return []
        ranked = [(_SAID_ON, 0, owner)]
        further = () if sure else (f"taken as a number of {owner.drug.name}, which was said before it",)
    price, _, event = ranked[0]
    fields = fields_of(sentence, index, quantity, event) | ({"scale": "total"} if summed else {})
    mixture = _drug_mixture.mixture(sentence, grammar, index) if kind == "medication_volume" else None
    several = len({e.mention.id for e in events if not e.additive}) > 1 and not _drug_mixture.sums(sentence, index)
    if mixture is None and summed and several and event.mention.first < index:
        mixture = event.mention.first
    if mixture is not None and (several or mixture == index - 1):
        fields |= {"name": "mixture", "scale": "total" if summed else fields.get("scale")}
        fields["group"] = f"m{base.group_of(sentence, mixture)}"
        return [base.claim(kind, reading, sentence, index, mixture, mixture, _drug_mixture.COST, **fields)]
    part = (owners.PART_GIVEN,) if owners.is_whole_of_share(sentence.tokens, index) else ()
    doubts = [*event.fields.get("doubts", ()), *further, *part]
    if len(ranked) > 1 and ranked[1][0] == price:
        doubts.append(f"may also belong to {ranked[1][2].drug.name}")
    partner = _drug_mixture.partner(sentence, index, event, events)
    if kind in ("medication_volume", "medication_dose") and partner is not None and fields["scale"] != "each":
        doubts.append(f"may be the amount together with {partner.drug.name}")
    often = _drug_times.repeated(sentence, index, event.mention) if kind in _AMOUNTS else None
    if often is not None and fields["scale"] is None:
        fields["scale"] = "each"
        doubts.append(f"said {often} times; what it comes to was not worked out")
    fields["doubts"] = tuple(doubts)
    facts: list[Fact] = [
        base.claim(kind, reading, sentence, index, event.mention.first, event.mention.last, price, **fields)
    ]
    after = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    if after == ["each", "of"]:  # shared by what is listed behind it: no injection's alone
        facts = [replace(fact, cost=_OWN) if isinstance(fact, base.Claim) else fact for fact in facts]
        # "one gram each of vancomycin and tobramycin"
        for other in events:
            if other.mention.first > event.mention.last and not other.additive:
                shared = {**fields_of(sentence, index, quantity, other), "doubts": ()}
                facts.append(
                    base.make(kind, reading, sentence, index, other.mention.last, at=index,
                              **{**base.number(quantity), **shared})
                )  # fmt: skip
    return facts


def _barred(sentence: Sentence, index: int, mention: Mention) -> bool:
    """Whether a thing stands between the number and the drug ("40 g cement with gentamicin")."""
    low, high = min(index, mention.last), max(index, mention.first)
    tables = (*_BARRIERS, "drugs", "fluids") if index < mention.first else _BARRIERS
    if any(low < other.first and other.last < high and not _drug_numbers.holds(sentence, other)
           for other in base.mentions(sentence, *tables)):  # fmt: skip
        return True
    if _drug_numbers.is_of_another(sentence, index, mention):
        return True
    if _drug_numbers.is_taken_off(sentence, index):
        return True
    if [token.norm for token in sentence.tokens[index + 1 : index + 2]] in (["crossmatched"], ["cross"], ["reserved"]):
        return True  # "two units cross matched": of blood
    if index < mention.first:  # "1.7 mL each amoxicillin 2 g": each closes what came before
        after = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
        return after[:1] == ["each"] and "of" not in after[1:]
    if index == mention.last + 1:
        return False  # "oxytocin forty units in five hundred millilitres of saline"
    # "Depo-Medrol and 2 mL saline": the number belongs to what follows it
    return any(
        other.first > index and other != mention and cues.gap(sentence, index, other.first) <= _CLOSE
        for other in base.mentions(sentence, "fluids", "injectates", "drugs")
        if other.table != "drugs" or other.id in ("sodium-chloride", "water-for-injection")
    )
