"""Device and Specimen: implants and devices with what was said of size, count, lot, serial number, expiry and UDI."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.fhir import times
from pipeline.fhir.acts import Operation, device_action, notes
from pipeline.fhir.base import Book, Resource, quantity, role, without_empty, words
from pipeline.fhir.bodies import body_site
from pipeline.fhir.narrative import clean
from pipeline.fhir.people import People
from pipeline.fhir.rules_values import is_datetime
from pipeline.records import Fact

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_GTIN = re.compile(r"\(?01\)?\s*(\d{14})")
_PROPERTIES = ("device_size", "drain_size", "device_count")
_FOCAL = {"implanted": "implanted", "explanted": "explanted"}


def add_devices(book: Book, people: People, operation: Operation) -> None:
    """One Device for each device or drain said; implanted and explanted ones are focal, others were used."""
    for fact in book.note.of("device", "drain"):
        done = fact.status == "performed" and fact.certainty != "negated"
        if not done or fact.role in ("trial", "prepared", "held", "not_used", "discarded", "avoid"):
            continue
        ref = _device(book, people, fact)
        if fact.role in _FOCAL:
            operation.devices.append({"action": device_action(_FOCAL[fact.role]), "manipulated": ref})
        else:
            operation.used.append(ref)


def _device(book: Book, people: People, fact: Fact) -> Resource:
    mine = [one for one in book.note.group(fact) if one.status == "performed" and one.certainty != "negated"]
    facts = [fact, *(one for one in mine if one is not fact and one.kind.startswith(("device_", "drain_")))]
    sites = body_site(book, fact)
    made: Resource = {
        "resourceType": "Device",
        "extension": role(fact),
        "udiCarrier": [_udi(one) for one in facts if one.kind == "device_udi" and one.text],
        "expirationDate": _first(one.text for one in facts if one.kind == "device_expiry" and _is_day(one.text)),
        "lotNumber": _first(one.text for one in facts if one.kind == "device_lot"),
        "serialNumber": _first(one.text for one in facts if one.kind == "device_serial"),
        "deviceName": [{"name": book.label(fact), "type": "user-friendly-name"}],
        "type": words(book.label(fact)),
        "property": [_property(book, one) for one in facts if one.kind in _PROPERTIES],
        "patient": people.patient if fact.role == "implanted" else None,
        "note": [*([{"text": f"Site: {sites[0]['text']}"}] if sites else []), *_leftovers(book, facts),
                 *notes(book, facts)],
    }  # fmt: skip
    return book.add(without_empty(made), fact.id, facts)


def _first(values: object) -> str | None:
    """The only value; two different ones stand in the notes instead, since neither can be chosen."""
    found = list(dict.fromkeys(clean(str(value)) for value in values if value))  # type: ignore[attr-defined]
    return found[0] if len(found) == 1 else None


def _is_day(text: str | None) -> bool:
    return bool(text and _DAY.fullmatch(text)) and is_datetime(text)


def _leftovers(book: Book, facts: Sequence[Fact]) -> list[Resource]:
    kinds = [fact.kind for fact in facts]
    return [
        {"text": f"{book.kind_label(fact)}: {book.shown(fact)}"}
        for fact in facts
        if (fact.kind in ("device_lot", "device_serial", "device_expiry") and kinds.count(fact.kind) > 1)
        or (fact.kind == "device_expiry" and not _is_day(fact.text))
    ]


def _udi(fact: Fact) -> Resource:
    """The carrier as read aloud; the device identifier when it holds a GTIN whose check digit is right."""
    said = clean(fact.text or "")
    found = _GTIN.match(said)
    made: Resource = {"carrierHRF": said, "entryType": "manual"}
    if found and gtin_holds(found[1]):
        made = {"deviceIdentifier": found[1], "issuer": "http://hl7.org/fhir/NamingSystem/gs1-di", **made}
    return made


def gtin_holds(digits: str) -> bool:
    """GS1 check digit, mod 10, weights 3 and 1 from the right (GS1 General Specifications)."""
    body = [int(digit) for digit in digits[:-1]]
    total = sum(digit * (3 if index % 2 == 0 else 1) for index, digit in enumerate(reversed(body)))
    return (10 - total % 10) % 10 == int(digits[-1])


def _property(book: Book, fact: Fact) -> Resource:
    single = quantity(fact)
    if single is not None:
        return {"type": words(book.kind_label(fact)), "valueQuantity": [single]}
    return {"type": words(book.kind_label(fact)), "valueCode": [words(book.shown(fact))]}


def add_specimens(book: Book, people: People) -> None:
    """One Specimen a specimen said; "none" makes none."""
    for fact in book.of("specimen"):
        if fact.name == "none" or (fact.text or "").strip().lower() in ("none", "no specimen", "no specimens"):
            continue
        counts = [one for one in book.note.group(fact) if one.kind == "specimen_count" and one in book.of(one.kind)]
        sites = body_site(book, fact)
        day = times.day(book)
        said = clean(fact.text or "")
        made: Resource = {
            "resourceType": "Specimen",
            "type": words(book.label(fact)),
            "subject": people.patient,
            "collection": without_empty({"collectedDateTime": day, "bodySite": sites[0] if sites else None}),
            "note": [
                *([{"text": said}] if said and said != book.label(fact) else []),
                *({"text": f"{book.kind_label(one)}: {book.shown(one)}"} for one in counts),
                *notes(book, [fact]),
            ],
        }
        book.add(without_empty(made), fact.id, [fact])
