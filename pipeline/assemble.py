"""Facts -> the sections of the note, in plain medical English. Nothing stands here without a fact behind it.

Facts of one event (one `group`) in one section make one entry: "Cefazolin 2 g, intravenous". Numbers keep their
digits and their unit as said; what is planned, negated, suspected or historical says so in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache

from pipeline import leftovers, story
from pipeline.extractors.base import evidence
from pipeline.grammar import Grammar
from pipeline.note import Entry, Passage, Repair, SaidSide, Sections
from pipeline.records import Evidence, Fact, Reading, Sentence
from pipeline.rows import Kind, Unit

_COMPARED = {"<": "less than ", ">": "more than ", "<=": "at most ", ">=": "at least ", "~": "about "}
_STATUS = {
    "planned": "planned",
    "conditional": "only on a condition",
    "historical": "before this operation",
    "other_person": "of another person",
}
# UCUM to the way it is written in a note, where the grammar's own label would not do (UCUM 2.1, section 3).
_WRITTEN = {
    "%": "%", "a": "years", "wk": "weeks", "d": "days", "mo": "months", "h": "h", "min": "min", "s": "s",
    "[USP'U]": "units", "[iU]": "IU", "[IU]": "IU", "U": "units", "ug": "µg", "um": "µm", "uL": "µL", "Cel": "°C",
    "deg": "°", "mm[Hg]": "mmHg", "[Ch]": "Fr", "{gauge}": "gauge", "{turn}": "turns", "[in_i]": "inches", "1": "",
    "mm[H2O]": "mmH2O", "cm[H2O]": "cmH2O", "[lb_av]": "lb", "[ft_i]": "feet", "[degF]": "°F", "mo_j": "months",
    "a_j": "years",
}  # fmt: skip
_SINGULAR = {"years": "year", "weeks": "week", "days": "day", "months": "month", "units": "unit", "turns": "turn",
             "inches": "inch", "feet": "foot"}  # fmt: skip


@lru_cache(maxsize=4)
def _unit_labels(grammar: Grammar) -> dict[str, str]:
    return {row.ucum: row.label or row.ucum for row in grammar.table("units", Unit).values()}


def unit_text(unit: str | None, grammar: Grammar, value: Decimal | None = None) -> str:
    """A UCUM code as written for people: "mm[Hg]" -> "mmHg", "[USP'U]/mL" -> "units/mL", "wk" -> "weeks".

    `value` decides between singular and plural. An unknown code stays as it is; None is "".
    """
    if unit is None:
        return ""
    labels = _unit_labels(grammar)
    parts = [_WRITTEN.get(part, labels.get(part, part)) for part in unit.split("/")]
    parts = [parts[0], *(_SINGULAR.get(part, part) for part in parts[1:])]
    if value is not None and abs(value) == 1:
        parts[0] = _SINGULAR.get(parts[0], parts[0])
    return "/".join(parts)


def number_text(fact: Fact, grammar: Grammar) -> str:
    """The number of a fact with its unit: "2.50 mL", "20–30 mL", "about 5 mL", "0.25%"; "" without a number."""
    if fact.value is None and fact.low is None and fact.high is None:
        return ""
    if fact.name == "gestational-age" and fact.unit == "d" and fact.value is not None:
        return f"{fact.value // 7} weeks {fact.value % 7} days"
    if fact.value is not None:
        digits = format(fact.value, "f")
    else:
        digits = "–".join(format(end, "f") for end in (fact.low, fact.high) if end is not None)
    unit = unit_text(fact.unit, grammar, fact.value)
    gap = "" if unit in ("%", "°") or not unit else " "
    return f"{_COMPARED.get(fact.comparator or '', '')}{digits}{gap}{unit}"


def concept(fact: Fact, grammar: Grammar) -> str:
    """The label of the concept that a fact is about; "" when it has none."""
    if fact.name is None:
        return ""
    row = grammar.table("kinds", Kind).get(fact.kind)
    table = grammar.tables.get(row.table, {}) if row is not None and row.table else {}
    found = table.get(fact.name)
    if found is not None and found.name.endswith(")"):
        return found.name.partition(" (")[0]  # "Drain (kind not said)": what a row is called, not what was said
    return found.name if found is not None else fact.name.replace("-", " ").replace("_", " ")


def site(fact: Fact, grammar: Grammar) -> str:
    """The body site in words; "" when none was said."""
    if fact.body_site is None:
        return ""
    row = grammar.tables.get("sites", {}).get(fact.body_site)
    return row.name if row is not None else fact.body_site.replace("-", " ").replace("_", " ")


def display(fact: Fact, grammar: Grammar) -> str:
    """The value of a fact as every exporter prints it: number with unit, else text, else the concept's label.

    "2.50 mL", "20–30 mL", "L4-L5", "Vicryl 2-0", "1:200000", "Outerbridge 2-3", "No loose body".
    """
    number = number_text(fact, grammar)
    if fact.kind == "postop_diagnosis" and fact.text == "same":
        return "same as before"
    if fact.kind == "count" and fact.name == "correct":
        return f"Counts {fact.text or 'correct'}"
    if fact.kind == "adrenaline_ratio" and fact.value is not None:
        return f"1:{format(fact.value, 'f')}"
    if fact.kind in ("grade", "suture", "count"):
        return " ".join(part for part in (concept(fact, grammar), fact.text or number) if part)
    if number:
        return number
    if fact.text is not None:
        return fact.text
    return concept(fact, grammar) or fact.evidence.heard


def line(fact: Fact, grammar: Grammar) -> str:
    """A fact alone as a full line: with its concept, side, site, negation and status."""
    value, name = display(fact, grammar), concept(fact, grammar)
    if fact.kind == "aftercare" and fact.text is not None:
        name = fact.text
    if fact.role == "starts":
        value = f"from {value} on"
    kind = grammar.table("kinds", Kind).get(fact.kind)
    label = kind.name if kind is not None else fact.kind.replace("_", " ")
    if number_text(fact, grammar) and fact.kind not in ("grade", "suture"):
        text = f"{name or label}: {value}" if fact.kind in _NAMED_NUMBERS else f"{_with_name(label, name)}: {value}"
    elif kind is not None and kind.value in _WORDED and name and name.lower() != value.lower():
        text = f"{name}: {value}"
    else:
        text = value
    dressed = _dress(fact, text, grammar)
    return f"{label}: {dressed[:1].lower() if dressed.lower() == 'none' else dressed[:1]}{dressed[1:]}" if (
        fact.kind in _LABELLED
    ) else dressed


# Kinds that share a section with others and would be taken for them without their name.
_LABELLED = frozenset(
    {"preop_diagnosis", "postop_diagnosis", "equipment_problem", "recovery_concern", "warning_sign", "allergy",
     "handedness", "imaging", "history", "guidance", "urgency", "patient_name", "patient_identifier"}
)  # fmt: skip


_WORDED = frozenset({"text", "clock", "code", "count"})
_NAMED_NUMBERS = frozenset({"measurement", "duration", "clock_time", "fluid_in", "fluid_out", "pressure", "aftercare"})


def _with_name(label: str, name: str) -> str:
    return f"{label} ({name})" if name else label


def _dress(fact: Fact, text: str, grammar: Grammar) -> str:
    """The text with side, site, certainty and status in words."""
    lower = text.lower()
    if fact.role == "avoid":
        text = f"Avoid {text[:1].lower()}{text[1:]}"
    if fact.laterality is not None and fact.laterality not in lower:
        text = f"{text}, {fact.laterality}"
    place = site(fact, grammar)
    if place and place.lower() not in lower:
        text = f"{text}, {place.lower()}"
    if fact.certainty == "negated":
        text = _negated(text)
    elif fact.certainty == "suspected":
        text = f"{text} (suspected)"
    status = _STATUS.get(fact.status)
    told = fact.status == "planned" and (fact.kind in _INSTRUCTIONS or fact.role == "avoid")
    if status is not None and not told:
        text = f"{text} ({status})"
    return text[:1].upper() + text[1:]


_INSTRUCTIONS = frozenset({"aftercare", "follow_up", "next_step", "warning_sign"})


def _negated(text: str) -> str:
    if text.lower().startswith(("no ", "none", "not ", "without ", "nil")):
        return text
    return f"No {text[:1].lower()}{text[1:]}" if not text[:2].isupper() else f"No {text}"


def assemble(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> Sections:
    """The sections of the note. Every fact stands in exactly one entry; the description holds every sentence."""
    kinds = grammar.table("kinds", Kind)
    by_section: dict[str, list[list[Fact]]] = {}
    where: dict[tuple[str, str], int] = {}
    for fact in facts:
        kind = kinds.get(fact.kind)
        section = kind.section if kind is not None else "findings"
        events = by_section.setdefault(section, [])
        key = (section, _event(fact))
        if fact.group is not None and key in where:
            events[where[key]].append(fact)
        else:
            where[key] = len(events)
            events.append([fact])
    sections = {name: [_entry(event, grammar) for event in events] for name, events in by_section.items()}
    left = leftovers.numbers(facts, reading)
    sides = leftovers.sides(facts, reading, grammar)
    passages = [
        _passage(sentence, reading, left.get(sentence.index, []), sides.get(sentence.index, []))
        for sentence in reading.sentences
    ]
    return Sections(**sections, description=passages)


def _event(fact: Fact) -> str:
    return f"{fact.group}|{fact.status}|{fact.certainty}"


def _entry(event: list[Fact], grammar: Grammar) -> Entry:
    doubts = list(dict.fromkeys(doubt for fact in event for doubt in fact.doubts))
    added = list(dict.fromkeys(fact.added for fact in event if fact.added))
    return Entry(
        text=_told(event, grammar) + "".join(f" [not said; {one}]" for one in added),
        facts=[fact.id for fact in event],
        doubtful=bool(doubts),
        doubts=doubts,
    )


def _told(event: list[Fact], grammar: Grammar) -> str:
    """One event in words: the thing first, then its numbers, each named unless its unit tells what it is."""
    if len(event) == 1:
        return line(event[0], grammar)
    head = next((fact for fact in event if not number_text(fact, grammar)), None)
    rest = [fact for fact in event if fact is not head]
    primes = head is not None and head.role == "prime"
    if primes:
        rest = [fact for fact in rest if fact.kind != "medication_route"]
    parts = [_part(fact, head, grammar) for fact in rest]
    if head is None:
        return "; ".join(line(fact, grammar) for fact in event)
    thing = f"{display(head, grammar)} (to prime the kit)," if primes else display(head, grammar)
    text = f"{thing} {', '.join(parts)}" if parts else thing
    return _dress(head, text, grammar)


# Numbers that need no name beside the thing that they belong to.
_BARE = frozenset(
    {"medication_dose", "medication_volume", "medication_concentration", "medication_rate", "medication_route",
     "device_size", "drain_size", "injection_volume", "device_count", "suture", "aftercare", "fluid_in", "fluid_out"}
)  # fmt: skip


def _part(fact: Fact, head: Fact | None, grammar: Grammar) -> str:
    value = display(fact, grammar)
    if fact.kind == "adrenaline_ratio":
        return f"with adrenaline {value}"
    if fact.kind == "device_count":
        return f"× {value}"
    if fact.kind in _BARE:
        return value
    kind = grammar.table("kinds", Kind).get(fact.kind)
    label = (kind.name if kind is not None else fact.kind.replace("_", " ")).lower()
    return f"{label} {value}"


def _passage(sentence: Sentence, reading: Reading, unplaced: list[Evidence], sides: list[SaidSide]) -> Passage:
    """A sentence word for word, as it was heard, with what was taken back inside it."""
    first = min(token.first for token in sentence.tokens)
    last = max(token.last for token in sentence.tokens)
    for strike in sentence.strikes:
        first = min(first, strike.taken_back.first, strike.cue.first)
        last = max(last, strike.taken_back.last, strike.cue.last)
    words = story.words_between(reading, first, last)
    return Passage(
        text=" ".join(word.text for word in words),
        evidence=evidence(reading, first, last),
        section=sentence.section,
        taken_back=[strike.taken_back for strike in sentence.strikes],
        repaired=[Repair(text=word.text, heard=word.heard) for word in words if word.heard is not None],
        unplaced=unplaced,
        sides=sides,
    )
