"""What is told of a drug apart from its plain numbers: routes, adrenaline ratios, doses by the tablet or cartridge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pipeline import cues, owners
from pipeline.extractors import _drug_strength, _drug_words, base
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence
from pipeline.rows import Drug

PIECES = frozenset({"{cartridge}", "{ampule}", "{vial}", "{tablet}", "{capsule}", "{puff}", "{drop}"})
_PIECE_REACH = 10
ADRENALINE = frozenset({"adrenaline", "epinephrine"})
_NO_ROUTES = ("priming", "irrigation", "insufflation")  # told by the role
_CLOSE, _RATIO_REACH = 16, 12
_SMALLEST_RATIO = 1000  # 1:1 is a mixture; adrenaline is 1:1000 to 1:400,000 (labels)
_TOO_STRONG = 20  # "1:100 adrenaline" is read, for the checks to ask about


@dataclass(frozen=True)
class Event:
    """One drug said: its mention, row, group, and the fields that all its facts share."""

    mention: Mention
    drug: Drug
    group: str
    additive: bool
    fields: dict[str, Any]


def fields_of(sentence: Sentence, index: int, quantity: Quantity, event: Event) -> dict[str, Any]:
    denied = base.scope_at(sentence, "certainty", event.mention.first, "affirmed") == "negated"
    asked = any(token.norm == "?" for token in sentence.tokens[index + 1 : index + 4])  # "Indocin 50 mg PR? None."
    return {
        "name": event.mention.id, "group": event.group, "unit": quantity.unit,
        "scale": cues.scale(sentence, index), **({"certainty": "negated"} if denied and asked else {}), **event.fields,
    }  # fmt: skip


def ratio(
    reading: Reading, sentence: Sentence, index: int, quantity: Quantity, events: list[Event]
) -> list[Fact]:
    beside = any(event.mention.id in ADRENALINE and index in (event.mention.first - 1, event.mention.last + 1)
                 for event in events)  # fmt: skip
    if quantity.value is None or quantity.value < (_TOO_STRONG if beside else _SMALLEST_RATIO):
        return []
    adrenalines = [event for event in events if event.mention.id in ADRENALINE]
    if not adrenalines:  # "lidocaine 1% with 1:200,000": a ratio beside a local anaesthetic is of nothing else
        carriers = [item for item in events if "local_anaesthetic" in item.drug.classes and item.mention.last < index]
        if not carriers or index - carriers[-1].mention.last > _RATIO_REACH:
            return []
        at = carriers[-1].mention
        return [
            base.claim("adrenaline_ratio", reading, sentence, index, at.first, at.last, _CLOSE, name="adrenaline",
                       group=carriers[-1].group, unit=None)
        ]  # fmt: skip
    event = min(adrenalines, key=lambda item: cues.cost(sentence, index, item.mention.first, item.mention.last))
    price = cues.cost(sentence, index, event.mention.first, event.mention.last)
    carrier = [item for item in events if "local_anaesthetic" in item.drug.classes and item.mention.last < index]
    fields = {key: value for key, value in event.fields.items() if key != "role"}
    return [
        base.claim("adrenaline_ratio", reading, sentence, index, event.mention.first, event.mention.last, price,
                   name=event.mention.id, group=carrier[-1].group if carrier else event.group, unit=None, **fields)
    ]  # fmt: skip


def routes(reading: Reading, sentence: Sentence, events: list[Event]) -> list[Fact]:
    facts: list[Fact] = []
    for route in base.mentions(sentence, "routes"):
        if route.id in _NO_ROUTES or _drug_words.is_of_gas(sentence, route):
            continue
        if route.first and sentence.tokens[route.first - 1].norm in ("nothing", "none", "nil", "not"):
            continue  # "marcaine around the wound nothing into the joint"
        near = [
            (_distance(sentence, route, event.mention), order)
            for order, event in enumerate(events)
            if not event.additive
        ]
        if not near or min(near)[0] > 40:
            continue
        event = events[min(near)[1]]
        fields = {key: value for key, value in event.fields.items() if key != "doubts"}
        facts.append(
            base.make("medication_route", reading, sentence, route.first, route.last, name=route.id,
                      group=event.group, **fields)
        )  # fmt: skip
    return facts


def of_a_strength(
    reading: Reading, sentence: Sentence, index: int, quantity: Quantity, events: list[Event]
) -> list[Fact]:
    """ "Twenty of half percent ropivacaine": what is given of a strength is a volume; its unit was not said. "Twenty of
    point two ropivacaine": the strength's own was not said either."""
    tokens = sentence.tokens
    bare = _strength_of(sentence, index, quantity, events)
    if bare is not None:
        return [base.claim("medication_concentration", reading, sentence, index, index, bare.mention.last, 4,
                           **fields_of(sentence, index, quantity, bare))]  # fmt: skip
    at = index + 2 + (index + 2 < len(tokens) and tokens[index + 2].norm == "the")
    strength = tokens[at].quantity if at < len(tokens) and tokens[index + 1].norm in ("of", "x") else None
    if quantity.form not in ("number", "range") or strength is None:
        return []
    told = strength.unit == "%" or strength.dimension == "mass_concentration"
    if not told and _strength_of(sentence, at, strength, events) is None:
        return []
    event = next((item for item in events if 0 < item.mention.first - at <= _STRENGTH_REACH), None)
    if event is None or any(token.punctuation for token in tokens[at + 1 : event.mention.first]):
        return []
    return [base.claim("medication_volume", reading, sentence, index, index, event.mention.last, 4,
                       **fields_of(sentence, index, quantity, event))]  # fmt: skip


def _strength_of(sentence: Sentence, index: int, quantity: Quantity, events: list[Event]) -> Event | None:
    """ "Point two ropivacaine", "point five heavy bupivacaine": the drug right behind a bare number that is one of its
    usual strengths."""
    led = index > 0 and sentence.tokens[index - 1].norm == "of"
    if quantity.dimension or quantity.form != "number" or quantity.value is None or not (led or quantity.value < 1):
        return None  # "1.5 lidocaine" may be a volume
    if index > 1 and sentence.tokens[index - 1].norm == ",":  # "Marcaine, nought point five, eight mils"
        told = next((item for item in events if item.mention.last == index - 2), None)
        if told is not None and _drug_strength.is_strength(quantity, told.drug):
            return told
    at = index + 1 + (index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm in _PLAIN)
    event = next((item for item in events if item.mention.first == at), None)
    return event if event is not None and _drug_strength.is_strength(quantity, event.drug) else None


_PLAIN = frozenset({"plain", "heavy", "hyperbaric", "isobaric"})


def summed(reading: Reading, sentence: Sentence, index: int, quantity: Quantity, events: list[Event]) -> list[Fact]:
    """ "Ephedrine six milligrams, then another six, that makes twelve": the sum of the doses said before it, without a
    unit of its own."""
    tokens = sentence.tokens
    told = cues.scale(sentence, index) == "total" or (index and tokens[index - 1].norm in _MAKES)
    before = [event for event in events if event.mention.first < index and not event.additive]
    if not told or not before or quantity.form != "number" or quantity.value is None:
        return []
    event = before[-1]
    doses = [other for at, other in cues.numbers(sentence)
             if max(0, event.mention.first - 2) <= at < index and other.dimension in ("mass", "amount", "volume")]
    units = {dose.unit for dose in doses}
    if len(doses) < 2 or len(units) != 1 or sum(dose.value or 0 for dose in doses) != quantity.value:
        return []
    kind = "medication_volume" if doses[0].dimension == "volume" else "medication_dose"
    fields = {**fields_of(sentence, index, quantity, event), "scale": "total"}
    return [base.claim(kind, reading, sentence, index, index, index, 4, **fields)]


_MAKES = frozenset({"makes", "make", "making", "made"})
_STRENGTH_REACH = 3  # tokens: "ten of one percent plain lidocaine"


def _distance(sentence: Sentence, one: Mention, other: Mention) -> int:
    before, after = sorted((one, other), key=lambda item: item.first)
    return cues.gap(sentence, before.last, after.first)


def pieces(
    reading: Reading, sentence: Sentence, index: int, quantity: Quantity, events: list[Event]
) -> list[Fact]:
    """ "Two cartridges of articaine", "paracetamol two tablets": a dose in pieces whose contents were not said."""
    near = [
        (cues.cost(sentence, index, event.mention.first, event.mention.last), order, event)
        for order, event in enumerate(events) if not event.additive
        and not any(token.norm == "each" for token in sentence.tokens[index + 1 : event.mention.first])
    ]  # fmt: skip
    if not near or min(near)[0] > _PIECE_REACH:
        return []
    price, _, event = min(near)
    fields = fields_of(sentence, index, quantity, event)
    if owners.is_whole_of_share(sentence.tokens, index):
        fields["doubts"] = (*fields.get("doubts", ()), owners.PART_GIVEN)
    return [base.claim("medication_dose", reading, sentence, index, event.mention.first, event.mention.last, price,
                       **fields)]  # fmt: skip


def too_much(index: int, quantity: Quantity, events: list[Event]) -> bool:
    """A litre and more is the volume of no drug but cardioplegia, said right beside it."""
    return quantity.unit == "L" and quantity.value is not None and quantity.value >= 1 and not any(
        "cardioplegic" in event.drug.classes and index - event.mention.last in (1, 2) for event in events
    )
