"""The book in which the resources of one note are collected, and the small parts that all of them are made of.

Resources are plain dicts with Decimals; ids are made from the note's id and a key, so the same note gives the
same ids. Nothing is invented: what is missing is left out, or says so by data-absent-reason where FHIR needs it.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from pipeline.fhir.names import ABSENT, APPROXIMATE, DOUBT, EVIDENCE, ROLE, SCALE, TAGS, UCUM, UUIDS
from pipeline.fhir.narrative import clean
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact
from pipeline.site import Site

Resource = dict[str, Any]

_NAMESPACE = uuid.UUID("0d3b4f0a-1c55-5e0b-8f6e-7f0e7a6c2b11")
# Roles of things that were there but did not go into, or stay in, the patient.
NOT_GIVEN = frozenset({"prepared", "discarded", "held", "avoid", "trial", "explanted", "not_given", "not_used"})
# The state of the note as statuses of resources that have a preliminary state.
STATUS = {"draft": "preliminary", "signed": "final", "amended": "amended"}


@dataclass
class Book:
    """`resources`: in the order added. `docx`: the Word document to embed, None without one."""

    note: OperativeNote
    grammar: Grammar
    site: Site
    docx: bytes | None = None
    resources: list[Resource] = field(default_factory=list)
    made: dict[str, list[Resource]] = field(default_factory=dict)

    @property
    def status(self) -> str:
        return STATUS[self.note.state]

    @property
    def unsigned(self) -> bool:
        return self.note.state == "draft"

    def ident(self, kind: str, key: str) -> str:
        """The UUID of a resource of this note."""
        return str(uuid.uuid5(_NAMESPACE, f"{self.note.id}/{kind}/{key}"))

    def add(self, resource: Resource, key: str, facts: Sequence[Fact] = ()) -> Resource:
        """Takes a resource in under its type and a key unique within the type; gives its reference.

        Adds id and identifier, the tag of an unsigned note, and evidence and doubts of the facts behind it."""
        kind = resource["resourceType"]
        ident = self.ident(kind, key)
        head: Resource = {"resourceType": kind, "id": ident}
        if self.unsigned and kind not in ("Patient", "Practitioner", "Organization", "Encounter"):
            head["meta"] = {"tag": [tag("unsigned")]}
        if "meta" in resource:
            head["meta"] = resource["meta"]
        extensions = [*resource.get("extension", []), *evidence(facts), *doubt(facts)]
        if extensions:
            head["extension"] = extensions
        if kind == "Composition":
            head["identifier"] = own_identifier(ident)
        elif kind != "Provenance":
            head["identifier"] = [own_identifier(ident), *resource.get("identifier", [])]
        made = {**head, **{name: value for name, value in resource.items() if name not in head}}
        self.resources.append(made)
        for fact in facts:
            self.made.setdefault(fact.id, []).append(reference(made))
        return reference(made)

    def label(self, fact: Fact) -> str:
        """What a fact is about, in words: the name of its concept, else its text, else the name of its kind."""
        kind = self.grammar.tables.get("kinds", {}).get(fact.kind)
        row = self.grammar.tables.get(getattr(kind, "table", ""), {}).get(fact.name or "")
        if row is not None:
            return row.name
        if fact.name and fact.name not in ("same", "none"):
            return clean(fact.name.replace("-", " ").replace("_", " "))
        return clean(fact.text or "") or (kind.name if kind else fact.kind)

    def kind_label(self, fact: Fact) -> str:
        kind = self.grammar.tables.get("kinds", {}).get(fact.kind)
        return kind.name if kind else fact.kind.replace("_", " ")

    def of(self, *kinds: str) -> list[Fact]:
        """Facts of these kinds that were done or found: performed, not negated, not held back."""
        return [fact for fact in self.note.of(*kinds, given=True) if fact.role not in NOT_GIVEN]


def tag(code: str) -> Resource:
    display = {"unsigned": "From an unsigned note", "placeholder": "Placeholder: identity not given by the site"}
    return {"system": TAGS, "code": code, "display": display[code]}


def reference(resource: Resource, display: str = "") -> Resource:
    made = {"reference": f"urn:uuid:{resource['id']}"}
    return {**made, "display": display} if display else made


def own_identifier(ident: str) -> Resource:
    return {"system": UUIDS, "value": f"urn:uuid:{ident}"}


def concept(text: str, *codings: Resource) -> Resource:
    """A CodeableConcept with the words as said."""
    made: Resource = {"coding": list(codings)} if codings else {}
    return {**made, "text": clean(text)}


def coding(system: str, code: str, display: str = "") -> Resource:
    made = {"system": system, "code": code}
    return {**made, "display": display} if display else made


def absent(reason: str = "unknown") -> Resource:
    """What stands in for a value that is not known (value set data-absent-reason)."""
    return {"extension": [{"url": ABSENT, "valueCode": reason}]}


def doubts_of(facts: Iterable[Fact]) -> list[str]:
    """Why these facts are unsure, each reason once."""
    reasons: list[str] = []
    for fact in facts:
        reasons += fact.doubts
        reasons += [f"also heard as {other}" for other in fact.alternatives]
        if fact.certainty == "suspected":
            reasons.append("suspected, not confirmed")
    return [clean(reason) for reason in dict.fromkeys(reasons) if clean(reason)]


def doubt(facts: Iterable[Fact]) -> list[Resource]:
    return [{"url": DOUBT, "valueString": reason} for reason in doubts_of(facts)]


def evidence(facts: Iterable[Fact]) -> list[Resource]:
    """Where the facts were said, once for each stretch of words."""
    made: dict[tuple[int, int], Resource] = {}
    for fact in facts:
        piece = fact.evidence
        parts: list[Resource] = [{"url": "heard", "valueString": clean(piece.heard) or "(no words)"}]
        for name, value in (("start", piece.start), ("end", piece.end), ("confidence", piece.confidence)):
            if value is not None:
                parts.append({"url": name, "valueDecimal": round(Decimal(str(value)), 3)})
        made.setdefault((piece.first, piece.last), {"url": EVIDENCE, "extension": parts})
    return list(made.values())


def number(value: Decimal) -> Decimal:
    """The same digits without an exponent, so that 2.50 stays 2.50 in the JSON."""
    return Decimal(format(value, "f"))


def simple_quantity(value: Decimal, unit: str | None) -> Resource:
    """A Quantity; a unit that was never said is marked as such."""
    if unit is None:
        return {"value": number(value), "_unit": absent()}
    return {"value": number(value), "unit": unit, "system": UCUM, "code": unit}


def quantity(fact: Fact) -> Resource | None:
    """The Quantity of a fact with a single value, comparator and doubts included; None for ranges and words."""
    if fact.value is None:
        return None
    made = simple_quantity(fact.value, fact.unit)
    extensions = doubt([fact])
    if fact.comparator == "~":
        extensions.append({"url": APPROXIMATE, "valueBoolean": True})
    elif fact.comparator is not None:
        made = {"value": made.pop("value"), "comparator": fact.comparator, **made}
    return {"extension": extensions, **made} if extensions else made


def value_of(fact: Fact) -> Resource:
    """The value[x] of an Observation; nothing said gives dataAbsentReason."""
    single = quantity(fact)
    if single is not None:
        return {"valueQuantity": single}
    if fact.low is not None or fact.high is not None:
        ends = {
            name: simple_quantity(value, fact.unit)
            for name, value in (("low", fact.low), ("high", fact.high))
            if value is not None
        }
        return {"valueRange": ends}
    if fact.text and clean(fact.text):
        return {"valueString": clean(fact.text)}
    return {
        "dataAbsentReason": concept(
            "unknown", coding("http://terminology.hl7.org/CodeSystem/data-absent-reason", "unknown", "Unknown")
        )
    }


def scale(fact: Fact) -> list[Resource]:
    return [{"url": SCALE, "valueCode": fact.scale}] if fact.scale else []


def role(fact: Fact) -> list[Resource]:
    return [{"url": ROLE, "valueString": fact.role}] if fact.role else []


def without_empty(resource: Resource) -> Resource:
    """Drops members that are None or empty: FHIR forbids empty objects, lists and strings."""
    return {name: value for name, value in resource.items() if value not in (None, "", [], {})}
