"""Faults planted into a good bundle, one at a time; each is a kind of fault that a receiver could choke on or,
worse, swallow. The bundle is the unsigned note `notes.hip` as a document, or as a transaction where marked T."""

from __future__ import annotations

import base64
import copy
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any

import notes
import simplejson
from fhir_tools import resources

from pipeline import grammar
from pipeline.fhir import bundle as bundles
from pipeline.site import Site

Bundle = dict[str, Any]
DOCX = b"PK\x03\x04 stands for a Word file"


@dataclass(frozen=True)
class Fault:
    name: str
    plant: Callable[[Bundle], Any]
    transaction: bool = False


@lru_cache(maxsize=2)
def _text(transaction: bool) -> bytes:
    make = bundles.transaction if transaction else bundles.document
    made = make(notes.hip(), grammar.load(), Site(timezone="Europe/London"), DOCX)
    return bundles.to_bytes(made)


def good(transaction: bool = False) -> Bundle:
    """The bundle without a fault, made anew."""
    return dict(simplejson.loads(_text(transaction), use_decimal=True))


def broken(fault: Fault) -> Bundle:
    made = good(fault.transaction)
    fault.plant(made)
    return made


def _set(kind: str, path: str, value: Any, where: Callable[[Any], bool] = lambda one: True) -> Callable[[Bundle], None]:
    """Sets an element of the first resource of a type that fits; a dotted path, numbers for list places."""

    def plant(bundle: Bundle) -> None:
        node: Any = next(one for one in resources(bundle, kind) if where(one))
        *way, last = path.split(".")
        for part in way:
            node = node[int(part)] if part.isdigit() else node[part]
        if last.isdigit():
            node[int(last)] = value
        elif value is None:
            del node[last]
        else:
            node[last] = value

    return plant


def _entry(change: Callable[[list[Any]], Any]) -> Callable[[Bundle], None]:
    return lambda bundle: change(bundle["entry"])


def _has(*names: str) -> Callable[[Any], bool]:
    return lambda one: all(name in one for name in names)


def _other_patient(bundle: Bundle) -> None:
    copied = copy.deepcopy(next(entry for entry in bundle["entry"] if entry["resource"]["resourceType"] == "Patient"))
    ident = "11111111-2222-4333-8444-555555555555"
    copied["fullUrl"] = f"urn:uuid:{ident}"
    copied["resource"]["id"] = ident
    bundle["entry"].append(copied)
    resources(bundle, "Specimen")[0]["subject"] = {"reference": f"urn:uuid:{ident}"}


def _lonely(bundle: Bundle) -> None:
    copied = copy.deepcopy(next(one for one in bundle["entry"] if one["resource"]["resourceType"] == "Observation"))
    ident = "11111111-2222-4333-8444-666666666666"
    copied["fullUrl"], copied["resource"]["id"] = f"urn:uuid:{ident}", ident
    bundle["entry"].append(copied)


def _to(bundle: Bundle, kind: str) -> dict[str, str]:
    return {"reference": next(e["fullUrl"] for e in bundle["entry"] if e["resource"]["resourceType"] == kind)}


def _refer(kind: str, path: str, target: str) -> Callable[[Bundle], None]:
    return lambda bundle: _set(kind, path, _to(bundle, target))(bundle)


_MASS = {"value": Decimal("50"), "unit": "mg", "system": "http://unitsofmeasure.org", "code": "mg"}
_DIV = '<div xmlns="http://www.w3.org/1999/xhtml">{}</div>'
_ABSENT = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"


def _dose(one: Any) -> bool:
    return "value" in one.get("dosage", {}).get("dose", {})


FAULTS: tuple[Fault, ...] = (
    Fault("Composition.status outside its value set", _set("Composition", "status", "ready")),
    Fault("Procedure.status outside its value set", _set("Procedure", "status", "done")),
    Fault("MedicationAdministration.status outside its value set", _set("MedicationAdministration", "status", "given")),
    Fault("CarePlan.intent outside its value set", _set("CarePlan", "intent", "wish")),
    Fault("UDI entryType outside its value set",
          _set("Device", "udiCarrier.0.entryType", "spoken", _has("udiCarrier"))),
    Fault("verificationStatus with an unknown code", _set("Condition", "verificationStatus.coding.0.code", "sure")),
    Fault("Quantity.comparator '~'", _set("Observation", "valueQuantity.comparator", "~", _has("valueQuantity"))),
    Fault("Observation without status", _set("Observation", "status", None)),
    Fault("Encounter without class", _set("Encounter", "class", None)),
    Fault("Procedure without subject", _set("Procedure", "subject", None)),
    Fault("Provenance without agent", _set("Provenance", "agent", None)),
    Fault("Provenance agent without who", _set("Provenance", "agent.0.who", None)),
    Fault("DocumentReference without content", _set("DocumentReference", "content", None)),
    Fault("DocumentReference without category (US Core)", _set("DocumentReference", "category", None)),
    Fault("unknown element Procedure.laterality", _set("Procedure", "laterality", "left")),
    Fault("a resource type that does not exist", _set("Specimen", "resourceType", "Sample")),
    Fault("a list where one value is allowed", _set("Composition", "title", ["Operative note"])),
    Fault("one value where a list is needed", _set("Procedure", "performer", {"actor": {"display": "x"}})),
    Fault("two values of value[x]", _set("Observation", "valueString", "20 mL", _has("valueQuantity"))),
    Fault("a number with its unit as text", _set("Observation", "valueQuantity.value", "20 mL", _has("valueQuantity"))),
    Fault("dataAbsentReason beside a value (obs-6)",
          _set("Observation", "dataAbsentReason", {"text": "unknown"}, _has("valueQuantity"))),
    Fault("reference to a resource of the wrong type", _refer("Procedure", "subject", "Practitioner")),
    Fault("medication reference leads to a device",
          _refer("MedicationAdministration", "medicationReference", "Device")),
    Fault("reference that leads nowhere",
          _set("Condition", "subject", {"reference": "urn:uuid:99999999-9999-4999-8999-999999999999"})),
    Fault("relative reference into nothing", _set("Specimen", "subject", {"reference": "Patient/1"})),
    Fault("a resource about another patient", _other_patient),
    Fault("Composition not first", _entry(lambda entries: entries.append(entries.pop(0)))),
    Fault("document without Composition", _entry(lambda entries: entries.pop(0))),
    Fault("document without identifier", lambda bundle: bundle.pop("identifier")),
    Fault("document without timestamp", lambda bundle: bundle.pop("timestamp")),
    Fault("document with a request", _entry(lambda e: e[1].update(request={"method": "POST", "url": "Patient"}))),
    Fault("fullUrl twice", _entry(lambda entries: entries[2].update(fullUrl=entries[1]["fullUrl"]))),
    Fault("fullUrl is not the id of its resource",
          _entry(lambda e: e[-1].update(fullUrl="urn:uuid:99999999-9999-4999-8999-999999999999"))),
    Fault("resource that the Composition does not lead to", _lonely),
    Fault("unit mcg instead of ug", _set("MedicationAdministration", "dosage.dose.code", "mcg", _dose)),
    Fault("unit mmHg instead of mm[Hg]", _set("Observation", "valueQuantity.code", "mmHg", _has("valueQuantity"))),
    Fault("coded unit without its system (qty-3)",
          _set("Observation", "valueQuantity", {"value": Decimal(2), "code": "mL"}, _has("valueQuantity"))),
    Fault("narrative that is not well formed", _set("Composition", "text.div", _DIV.format("<p>open"))),
    Fault("narrative with an unescaped <", _set("Composition", "section.0.text.div", _DIV.format("less < than"))),
    Fault("narrative with a script", _set("Composition", "text.div", _DIV.format("<script>alert(1)</script>"))),
    Fault("narrative with an event handler", _set("Composition", "text.div", _DIV.format('<p onclick="x()">a</p>'))),
    Fault("narrative that says nothing", _set("Composition", "text.div", _DIV.format("<p> </p>"))),
    Fault("completed Procedure without performed (us-core-7)",
          lambda bundle: [one.pop(key) for one in resources(bundle, "Procedure")[:1] for key in list(one)
                          if key.startswith("performed")]),
    Fault("dosage without dose or rate (mad-1)", _set("MedicationAdministration", "dosage.dose", None, _dose)),
    Fault("SimpleQuantity with a comparator",
          _set("MedicationAdministration", "dosage.dose", {**_MASS, "comparator": "<"}, _dose)),
    Fault("administration without effective[x]",
          _set("MedicationAdministration", "effectiveDateTime", None, _has("effectiveDateTime"))),
    Fault("a time without time zone", _set("Composition", "date", "2026-03-02T11:40:00")),
    Fault("the thirtieth of February", _set("Procedure", "performedDateTime", "2026-02-30", _has("performedDateTime"))),
    Fault("period that ends before it starts",
          _set("Procedure", "performedPeriod.end", "2026-03-01T08:00:00+00:00", _has("performedPeriod"))),
    Fault("half a ratio (rat-1)",
          _set("Medication", "ingredient.0.strength.denominator", None,
               lambda one: "strength" in one["ingredient"][0])),
    Fault("range upside down", _set("Observation", "valueRange.low.value", Decimal(99), _has("valueRange"))),
    Fault("empty text", _set("Procedure", "code.text", "")),
    Fault("empty list", _set("Procedure", "note", [])),
    Fault("control character in a text", _set("Procedure", "code.text", "left\x07hip")),
    Fault("LOINC code with a wrong check digit", _set("Composition", "type.coding.0.code", "11504-7")),
    Fault("extension with two values",
          _set("Procedure", "extension.0", {"url": "urn:x:1", "valueString": "a", "valueBoolean": True})),
    Fault("extension without url", _set("Procedure", "extension.0", {"valueString": "a"})),
    Fault("data-absent-reason with an unknown code",
          _set("Encounter", "class.extension.0", {"url": _ABSENT, "valueCode": "forgotten"})),
    Fault("section without text or entries (cmp-1)", _set("Composition", "section.0", {"title": "Findings"})),
    Fault("attachment with a wrong hash",
          _set("DocumentReference", "content.0.attachment.hash", base64.b64encode(b"0" * 20).decode())),
    Fault("attachment with a wrong size", _set("DocumentReference", "content.0.attachment.size", 1)),
    Fault("attachment that is no base64", _set("DocumentReference", "content.0.attachment.data", "%%%")),
    Fault("final observation in an unsigned note", _set("Observation", "status", "final")),
    Fault("confirmed diagnosis in an unsigned note",
          _set("Condition", "verificationStatus.coding.0.code", "confirmed")),
    Fault("side of the words differs from the body structure",
          _set("Procedure", "bodySite.0.text", "right hip", _has("bodySite"))),
    Fault("side of the code differs from its words",
          _set("BodyStructure", "locationQualifier.0.coding.0.code", "24028007",
               lambda one: one["description"].startswith("left"))),
    Fault("T: entry without request", _entry(lambda entries: entries[3].pop("request")), True),
    Fault("T: create without condition (sent twice, made twice)",
          _entry(lambda entries: entries[3]["request"].pop("ifNoneExist")), True),
    Fault("T: condition that does not find what it makes",
          _entry(lambda entries: entries[3]["request"].update(ifNoneExist="identifier=urn:x|1")), True),
    Fault("T: request for another type", _entry(lambda entries: entries[3]["request"].update(url="Basic")), True),
    Fault("T: method outside its value set", _entry(lambda entries: entries[3]["request"].update(method="SEND")), True),
    Fault("T: identifier that a server would rewrite",
          _entry(lambda entries: entries[3]["resource"]["identifier"][0].update(value=entries[3]["fullUrl"])), True),
)  # fmt: skip
