"""The book in which the resources of one note are collected, and the small parts that all of them are made of.

Resources are plain dicts with Decimals; ids are made from the note's id and a key, so the same note gives the
same ids. Nothing is invented: what is missing is left out, or says so by data-absent-reason where FHIR needs it.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from pipeline.assemble import concept as concept_name
from pipeline.assemble import display, site
from pipeline.fhir.names import ABSENT, APPROXIMATE, DOUBT, EVIDENCE, RECORDS, ROLE, SCALE, TAGS, TERMS, UCUM
from pipeline.fhir.narrative import clean
from pipeline.fhir.ucum import is_ucum
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import NOT_GIVEN, Fact
from pipeline.site import Site

Resource = dict[str, Any]

_NAMESPACE = uuid.UUID("0d3b4f0a-1c55-5e0b-8f6e-7f0e7a6c2b11")
# Resources that have no identifier in R4; a tag finds them again.
_WITHOUT_IDENTIFIER = frozenset({"Provenance"})
# HL7 security label for what is of uncertain reliability (v3 SecurityIntegrityObservationValue).
UNCERTAIN = {"system": f"{TERMS}v3-ObservationValue", "code": "UNCERTREL", "display": "uncertain reliability"}
# The state of the note as statuses of resources that have a preliminary state.
STATUS = {"draft": "preliminary", "signed": "final", "amended": "amended"}


@dataclass
class Book:
    """`resources`: in the order added. `made`: references by fact id. `shared`: ids of resources of the site.
    `docx`: the Word document to embed, None without one."""

    note: OperativeNote
    grammar: Grammar
    site: Site
    docx: bytes | None = None
    resources: list[Resource] = field(default_factory=list)
    made: dict[str, list[Resource]] = field(default_factory=dict)
    shared: set[str] = field(default_factory=set)

    @property
    def status(self) -> str:
        return STATUS[self.note.state]

    @property
    def unsigned(self) -> bool:
        return self.note.state == "draft"

    def codings(self, fact: Fact) -> list[Resource]:
        """The codes that a coder entered for a fact."""
        return [coding(code.system, code.code, code.display) for code in self.note.codes if fact.id in code.facts]

    def ident(self, kind: str, key: str) -> str:
        """The UUID of a resource of this note."""
        return str(uuid.uuid5(_NAMESPACE, f"{self.note.id}/{kind}/{key}"))

    def add(self, resource: Resource, key: str, facts: Sequence[Fact] = ()) -> Resource:
        """Takes a resource in under its type and a key unique within the type; gives its reference.

        Adds id and identifier, the tag of an unsigned note, and evidence and doubts of the facts behind it."""
        kind = resource["resourceType"]
        ident = self.ident(kind, key)
        meta = {
            "security": [UNCERTAIN] if doubts_of(facts) else [],
            "tag": [*([tag("unsigned")] if self.unsigned else []), *resource.get("meta", {}).get("tag", [])],
        }
        if kind in _WITHOUT_IDENTIFIER:
            meta["tag"].append({"system": TAGS, "code": ident})
        head: Resource = {
            "resourceType": kind,
            "id": ident,
            "meta": without_empty(meta),
            "text": resource.get("text"),
            "extension": [*resource.get("extension", []), *evidence(facts), *doubt(facts)],
        }
        if kind == "Composition":
            head["identifier"] = own_identifier(ident)
        elif kind not in _WITHOUT_IDENTIFIER:
            head["identifier"] = [own_identifier(ident), *resource.get("identifier", [])]
        return self._take(head, resource, facts)

    def once(self, resource: Resource, key: str, facts: Sequence[Fact] = ()) -> Resource:
        """Like `add`, but a resource of that type and key that is there already is used again."""
        ident = self.ident(resource["resourceType"], key)
        if all(one["id"] != ident for one in self.resources):
            return self.add(resource, key, facts)
        ref = {"reference": f"urn:uuid:{ident}"}
        for fact in facts:
            self.made.setdefault(fact.id, []).append(ref)
        return ref

    def share(self, resource: Resource, **links: Resource) -> Resource:
        """Takes in a resource of the site as it is: it is the same one in every note; gives its reference.

        Its own identifier is kept; one without any gets an identifier made from its id. References other than
        `links` lead to resources that are not here, and are left out."""
        kind = resource["resourceType"]
        named = (resource.get("identifier") or [{}])[0]
        key = f"{named.get('system', '')}|{named.get('value', '')}|{resource.get('id', '')}"
        if key == "||":
            key = json.dumps(resource, sort_keys=True)
        ident = str(uuid.uuid5(_NAMESPACE, f"site/{kind}/{key}"))
        if ident in self.shared:
            return {"reference": f"urn:uuid:{ident}"}
        head: Resource = {"resourceType": kind, "id": ident, "meta": resource.get("meta")}
        if not resource.get("identifier"):
            head["identifier"] = [own_identifier(ident)]
        self.shared.add(ident)
        kept = {name: value for name, value in resource.items() if not _refers(value)}
        return self._take(head, {**kept, **links}, ())

    def _take(self, head: Resource, resource: Resource, facts: Sequence[Fact]) -> Resource:
        made = without_empty({**head, **{name: value for name, value in resource.items() if name not in head}})
        self.resources.append(made)
        ref = reference(made)
        for fact in facts:
            self.made.setdefault(fact.id, []).append(ref)
        return ref

    def label(self, fact: Fact) -> str:
        """What a fact is about, in words: the name of its concept, else its text, else the name of its kind."""
        named = "" if fact.name in ("same", "none") else clean(concept_name(fact, self.grammar))
        return named or clean(fact.text or "") or self.kind_label(fact)

    def kind_label(self, fact: Fact) -> str:
        kind = self.grammar.tables.get("kinds", {}).get(fact.kind)
        return kind.name if kind else fact.kind.replace("_", " ")

    def shown(self, fact: Fact) -> str:
        """The value of a fact as printed in every document."""
        return clean(display(fact, self.grammar))

    def place(self, fact: Fact) -> str:
        """Side and site in words ("left ankle"); the site that the words of the concept imply when none was said."""
        where = clean(site(fact, self.grammar))
        table = getattr(self.grammar.tables.get("kinds", {}).get(fact.kind), "table", "")
        if not where and table == "sites":
            where = self.label(fact)
        if not where:
            row = self.grammar.tables.get(table, {}).get(fact.name or "")
            implied = self.grammar.tables.get("sites", {}).get(getattr(row, "site", ""))
            where = implied.name if implied else ""
        parts = [part for part in (fact.laterality, where[:1].lower() + where[1:]) if part]
        return " ".join(parts)

    def of(self, *kinds: str) -> list[Fact]:
        """Facts of these kinds that were done or found: performed, not negated, not held back."""
        return [fact for fact in self.note.of(*kinds, given=True) if fact.role not in NOT_GIVEN]


def _refers(node: Any) -> bool:
    """Whether a Reference stands somewhere inside."""
    if isinstance(node, dict):
        return "reference" in node or any(_refers(value) for value in node.values())
    return isinstance(node, list) and any(_refers(value) for value in node)


def tag(code: str) -> Resource:
    display = {"unsigned": "From an unsigned note", "placeholder": "Placeholder: identity not given by the site"}
    return {"system": TAGS, "code": code, "display": display[code]}


def reference(resource: Resource, display: str = "") -> Resource:
    made = {"reference": f"urn:uuid:{resource['id']}"}
    return {**made, "display": display} if display else made


def own_identifier(ident: str) -> Resource:
    return {"system": RECORDS, "value": ident}


def words(text: str, *codings: Resource) -> Resource:
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
    """A Quantity; a unit that was never said is marked as such, one that UCUM does not know stands without a code."""
    if unit is None or not clean(unit):
        return {"value": number(value), "_unit": absent()}
    if not is_ucum(unit):
        return {"value": number(value), "unit": clean(unit)}
    return {"value": number(value), "unit": unit, "system": UCUM, "code": unit}


# Kinds that count things: a number of them has no unit.
COUNTS = frozenset({"draw_count", "device_count", "specimen_count"})


def quantity(fact: Fact) -> Resource | None:
    """The Quantity of a fact with a single value, comparator and doubts included; None for ranges and words."""
    if fact.value is None:
        return None
    made = simple_quantity(fact.value, "1" if fact.unit is None and fact.kind in COUNTS else fact.unit)
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
    return {"dataAbsentReason": words("unknown", coding(f"{TERMS}data-absent-reason", "unknown", "Unknown"))}


def scale(fact: Fact) -> list[Resource]:
    return [{"url": SCALE, "valueCode": fact.scale}] if fact.scale else []


def role(fact: Fact) -> list[Resource]:
    return [{"url": ROLE, "valueString": fact.role}] if fact.role else []


def within(made: Resource, *groups: Sequence[Resource]) -> Resource:
    """The element with these extensions in front, if there are any."""
    extensions = [one for group in groups for one in group]
    if not extensions:
        return made
    return {
        "extension": [*extensions, *made.get("extension", [])],
        **{k: v for k, v in made.items() if k != "extension"},
    }


def without_empty(resource: Resource) -> Resource:
    """Drops members that are None or empty: FHIR forbids empty objects, lists and strings."""
    return {name: value for name, value in resource.items() if value not in (None, "", [], {})}
