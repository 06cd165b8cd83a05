"""What a reviewer types for a fact -> the new fact, checked at once.

The typed text is read by the readers that read narrations: "2.5 mL", "twenty-five milligrams", "250 mmHg",
"20 to 30 mL", "left", "14:05". A number without a unit takes the unit that stood there; a unit must measure what
the fact measures. Nothing is guessed: what cannot be read is refused with what would be right.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import get_args

from pipeline import utterances
from pipeline.assemble import concept, display, number_text, unit_text
from pipeline.errors import BadDecision
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Quantity
from pipeline.rows import Concept, Kind, Unit
from pipeline.tokens import words_from_text

SIDES = get_args(Laterality)
STATUSES = {
    "performed": "done", "planned": "planned", "conditional": "only on a condition",
    "historical": "before this operation", "other_person": "of another person",
}  # fmt: skip
CERTAINTIES = {"affirmed": "stated", "negated": "stated as absent", "suspected": "suspected"}
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)")


@dataclass(frozen=True, slots=True)
class Field:
    """One thing of a fact that can be corrected. `choices`: (value, label) to choose from, empty for typing."""

    name: str
    label: str
    value: str
    hint: str = ""
    choices: tuple[tuple[str, str], ...] = ()


def fields(fact: Fact, grammar: Grammar) -> list[Field]:
    """What of this fact can be corrected, the value first."""
    kind = grammar.table("kinds", Kind).get(fact.kind)
    listed: list[Field] = []
    if number_text(fact, grammar):
        unit = unit_text(fact.unit, grammar)
        hint = f"in {unit}, or with another unit" if unit else "a number, with its unit"
        listed.append(Field("value", "Value", _typed_number(fact, grammar), hint))
    elif fact.text is not None:
        hint = "hours and minutes, 08:25" if kind is not None and kind.value == "clock" else ""
        listed.append(Field("text", "Value", fact.text, hint))
    if fact.name is not None and (known := concepts(fact, grammar)):
        listed.append(Field("name", kind.name if kind is not None and not listed else "What", fact.name, "", known))
    sided = fact.laterality is not None or any("side" in doubt for doubt in fact.doubts) or _has_side(fact, grammar)
    if sided:
        sides = (("", "not said"), *((side, side) for side in SIDES))
        listed.append(Field("laterality", "Side", fact.laterality or "", "", sides))
    listed.append(Field("status", "Done or not", fact.status, "", tuple(STATUSES.items())))
    listed.append(Field("certainty", "Certainty", fact.certainty, "", tuple(CERTAINTIES.items())))
    return listed


def concepts(fact: Fact, grammar: Grammar) -> tuple[tuple[str, str], ...]:
    """(row id, label) of what the fact may be about, by label; empty where its kind has no table."""
    kind = grammar.table("kinds", Kind).get(fact.kind)
    rows = grammar.tables.get(kind.table, {}) if kind is not None and kind.table else {}
    return tuple(sorted(((ident, row.name) for ident, row in rows.items()), key=lambda pair: pair[1].lower()))


def corrected(fact: Fact, attribute: str, typed: str, grammar: Grammar) -> Fact:
    """The fact with what was typed in place of what stood there. Raises BadDecision that says what would be right."""
    typed = " ".join(typed.split())
    made = _changed(fact, attribute, typed, grammar)
    if made == fact:
        raise BadDecision("That is what stands there already.", "Accept it, or type another value.")
    return made


def shown(fact: Fact, attribute: str, grammar: Grammar) -> str:
    """The value of an attribute in words, for the record of a decision."""
    if attribute == "value":
        return number_text(fact, grammar) or "not said"
    if attribute == "text":
        return fact.text or "not said"
    if attribute == "name":
        return concept(fact, grammar) or "not said"
    if attribute == "laterality":
        return fact.laterality or "not said"
    if attribute == "status":
        return STATUSES[fact.status]
    if attribute == "certainty":
        return CERTAINTIES[fact.certainty]
    return display(fact, grammar)


def _changed(fact: Fact, attribute: str, typed: str, grammar: Grammar) -> Fact:
    if attribute == "value":
        return _numbered(fact, typed, grammar)
    if attribute == "text":
        return replace(fact, text=_text(fact, typed, grammar))
    if attribute == "name":
        chosen = dict(concepts(fact, grammar))
        if typed not in chosen:
            by_label = {label.lower(): ident for ident, label in chosen.items()}
            typed = by_label.get(typed.lower(), typed)
        if typed not in chosen:
            raise BadDecision(f"'{typed}' is not known here.", "Choose one of the list.")
        return replace(fact, name=typed)
    if attribute == "laterality" and typed in ("", *SIDES):
        return replace(fact, laterality=typed or None)  # type: ignore[arg-type]
    if attribute == "status" and typed in STATUSES:
        return replace(fact, status=typed)  # type: ignore[arg-type]
    if attribute == "certainty" and typed in CERTAINTIES:
        return replace(fact, certainty=typed)  # type: ignore[arg-type]
    raise BadDecision(f"'{typed}' cannot be set as {attribute}.", "Choose one of the list.")


def _text(fact: Fact, typed: str, grammar: Grammar) -> str:
    kind = grammar.table("kinds", Kind).get(fact.kind)
    if not typed:
        raise BadDecision("Nothing was typed.", "Type the value, or reject the fact.")
    if kind is not None and kind.value == "clock" and _CLOCK.fullmatch(fact.text or ""):
        found = _CLOCK.fullmatch(typed)
        if found is None:
            raise BadDecision(f"'{typed}' is no time of day.", "Type hours and minutes, as 08:25.")
        return f"{int(found[1]):02d}:{found[2]}"
    return typed


def _numbered(fact: Fact, typed: str, grammar: Grammar) -> Fact:
    quantity = _read(typed)
    if quantity is None:
        raise BadDecision(f"'{typed}' is not read as one number.", f"Type {_wanted(fact, grammar)}.")
    unit = quantity.unit if quantity.unit is not None else fact.unit
    if quantity.unit is not None and quantity.unit != fact.unit:
        allowed, measures = _dimensions(fact, grammar), quantity.dimension
        if allowed and measures not in allowed:
            raise BadDecision(
                f"'{typed}' measures {measures or 'nothing known'}, not {' or '.join(allowed)}.",
                f"Type {_wanted(fact, grammar)}.",
            )
    return replace(fact, value=quantity.value, low=quantity.low, high=quantity.high, comparator=quantity.comparator,
                   unit=unit)  # fmt: skip


def _read(typed: str) -> Quantity | None:
    """The one number of what was typed, None when there is none, more than one, or words beside it."""
    words = words_from_text(typed)
    sentences = utterances.read(words) if words else []
    tokens = [token for sentence in sentences for token in sentence.tokens if not token.punctuation]
    if len(tokens) != 1 or tokens[0].quantity is None:
        return None
    quantity = tokens[0].quantity
    numeric = quantity.value is not None or quantity.low is not None
    return quantity if numeric and quantity.form in ("number", "range", "fraction") and not quantity.doubts else None


def _dimensions(fact: Fact, grammar: Grammar) -> tuple[str, ...]:
    kind = grammar.table("kinds", Kind).get(fact.kind)
    own = {row.dimension for row in grammar.table("units", Unit).values() if row.ucum == fact.unit}
    listed = kind.dimensions if kind is not None else ()
    return tuple(sorted(own & set(listed))) or tuple(listed) or tuple(sorted(own))


def _wanted(fact: Fact, grammar: Grammar) -> str:
    return f"it as {_typed_number(fact, grammar)}" if fact.unit else "a number with its unit, as 5 mL"


def _typed_number(fact: Fact, grammar: Grammar) -> str:
    return number_text(fact, grammar).replace("–", " to ")


def _has_side(fact: Fact, grammar: Grammar) -> bool:
    kind = grammar.table("kinds", Kind).get(fact.kind)
    row = grammar.tables.get(kind.table, {}).get(fact.name or "") if kind is not None and kind.table else None
    return isinstance(row, Concept) and row.sided or fact.kind in ("procedure", "injection", "act", "finding")
