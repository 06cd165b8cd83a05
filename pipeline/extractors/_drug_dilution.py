"""A dose that was made up to a volume, of which a part was given: "ten millilitres of dilute vasopressin around the
cervix, twenty units in a hundred millilitres". The dose is what was prepared; what was given is the part."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from pipeline.conversion import convert
from pipeline.extractors import base
from pipeline.extractors._drug_events import Event, fields_of
from pipeline.records import Fact, Quantity, Reading, Sentence

_DOSES = frozenset({"mass", "amount", "catalytic"})
_INTO = frozenset({"in", "into", "to"})
_BETWEEN = frozenset("of made up diluted dissolved mixed drawn with a the in into to total".split())
_LEAST = Decimal(10)  # mL: less is what a dose comes in, and is given whole
_NEAR = 12  # tokens between the drug and its dose
_REACH = 24  # tokens between what was made up and the part that was given
_GIVING = frozenset("injected infiltrated instilled given used administered dilute diluted around of total".split())


@dataclass(frozen=True, slots=True)
class Dilution:
    """`dose`, `whole`, `parts`: tokens of the numbers."""

    event: Event
    dose: int
    whole: int
    parts: tuple[int, ...]

    @property
    def tokens(self) -> frozenset[int]:
        return frozenset((self.dose, self.whole, *self.parts))


def find(sentence: Sentence, events: list[Event]) -> Dilution | None:
    """The dilution of a sentence that tells a dose, what it was made up to, and what was given of it."""
    for dose, token in enumerate(sentence.tokens):
        if token.quantity is None or token.quantity.dimension not in _DOSES:
            continue
        whole = _whole(sentence, dose, events)
        event = _event(dose, events) if whole is not None else None
        if whole is None or event is None:
            continue
        most = _millilitres(sentence.tokens[whole].quantity)
        parts = [
            at for at in range(max(0, dose - _REACH), min(len(sentence.tokens), whole + _REACH))
            if at not in (dose, whole) and (part := _millilitres(sentence.tokens[at].quantity)) is not None
            and most is not None and part < most and _is_given(sentence, at, whole, events)
        ]
        if len(parts) == 1:
            return Dilution(event, dose, whole, tuple(parts))
    return None


def _whole(sentence: Sentence, dose: int, events: list[Event]) -> int | None:
    """Token of the volume that a dose was made up to: "twenty units (of vasopressin) in a hundred millilitres"."""
    drugs = {at for event in events for at in range(event.mention.first, event.mention.last + 1)}
    led = False
    for at in range(dose + 1, min(len(sentence.tokens), dose + 8)):
        token = sentence.tokens[at]
        if token.quantity is not None:
            volume = _millilitres(token.quantity)
            return at if led and volume is not None and volume >= _LEAST else None
        if token.norm not in _BETWEEN and at not in drugs:
            return None
        led = led or token.norm in _INTO
    return None


def _event(dose: int, events: list[Event]) -> Event | None:
    """The drug of a dose: the one right behind it, else the last one before it."""
    plain = [event for event in events if not event.additive and "diluent" not in event.drug.classes]
    behind = next((event for event in plain if 0 < event.mention.first - dose <= 2), None)
    before = [event for event in plain if 0 < dose - event.mention.last <= _NEAR]
    return behind or (before[-1] if before else None)


def _is_given(sentence: Sentence, at: int, whole: int, events: list[Event]) -> bool:
    """Whether a volume is told of as given: beside a word of giving, and not of another drug."""
    near = {token.norm for token in sentence.tokens[max(0, at - 4) : at + 5]}
    others = [event for event in events if "diluent" in event.drug.classes and event.mention.first > whole]
    behind = sentence.tokens[at + 1 : at + 3]
    of_other = len(behind) == 2 and behind[0].norm == "of" and any(
        event.mention.first == at + 2 for event in others
    )
    return bool(near & _GIVING) and not of_other


def _millilitres(quantity: Quantity | None) -> Decimal | None:
    if quantity is None or quantity.dimension != "volume" or quantity.value is None or quantity.unit is None:
        return None
    return convert(quantity.value, quantity.unit, "mL")


def told(reading: Reading, sentence: Sentence, diluted: Dilution) -> list[Fact]:
    """The dose as prepared, and what was given of it by volume."""
    event, tokens = diluted.event, sentence.tokens
    dose, whole = tokens[diluted.dose].quantity, tokens[diluted.whole]
    assert dose is not None
    fields = fields_of(sentence, diluted.dose, dose, event)
    doubts = (*fields.get("doubts", ()), f"made up to {whole.text}, of which a part was given")
    facts: list[Fact] = [
        base.claim("medication_dose", reading, sentence, diluted.dose, diluted.dose, diluted.whole, 0,
                   **{**fields, "role": "prepared", "doubts": doubts})
    ]  # fmt: skip
    for at in diluted.parts:
        part = tokens[at].quantity
        assert part is not None
        facts.append(
            base.claim("medication_volume", reading, sentence, at, at, at, 0, **fields_of(sentence, at, part, event))
        )
    return facts
