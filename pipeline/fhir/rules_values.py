"""Rules on the values of one resource: units, numbers, narrative, times, LOINC, attachments, invariants by name."""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any

from lxml import etree

from pipeline.fhir.names import ABSENT, LOINC, TERMS, UCUM, XHTML
from pipeline.fhir.rules_tables import SYSTEMS
from pipeline.fhir.ucum import is_ucum

_DATETIME = re.compile(
    r"\d{4}(-\d{2}(-\d{2}(T([01]\d|2[0-3]):[0-5]\d:([0-5]\d|60)(\.\d+)?(Z|[+-](0\d|1[0-4]):[0-5]\d))?)?)?"
)
_TIME = re.compile(r"([01]\d|2[0-3]):[0-5]\d:([0-5]\d|60)(\.\d+)?")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
# What txt-1 allows, as far as this project writes it.
_ELEMENTS = frozenset(
    "div p ul ol li br b i em strong span table thead tbody tr th td caption h1 h2 h3 h4 h5 h6".split()
)
_ATTRIBUTES = frozenset({"class", "title", "lang", "dir", "colspan", "rowspan", "id"})
_MUST = {
    "Composition": ("status", "type", "date", "author", "title"),
    "Procedure": ("status", "subject", "code"),
    "Observation": ("status", "code"),
    "Condition": ("subject", "code"),
    "MedicationAdministration": ("status", "subject"),
    "DocumentReference": ("status", "content", "category", "type", "subject"),
    "Provenance": ("target", "recorded", "agent"),
    "CarePlan": ("status", "intent", "subject"),
    "Encounter": ("status", "class"),
    "BodyStructure": ("patient",),
    "Specimen": ("subject",),
}


def faults(resource: Mapping[str, Any]) -> Iterator[str]:
    """The faults of one resource, each with its path."""
    kind = str(resource.get("resourceType"))
    for name in _MUST.get(kind, ()):
        if name not in resource and f"_{name}" not in resource:
            yield f"{name}: missing"
    yield from _invariants(resource, kind)
    for path, name, node in _members(resource):
        yield from _member(path, name, node)
    for path, node in _objects(resource):
        yield from _object(path, node)


def _invariants(resource: Mapping[str, Any], kind: str) -> Iterator[str]:
    if (
        kind == "Procedure"
        and resource.get("status") in ("completed", "in-progress")
        and not _choice(resource, "performed")
    ):
        yield "performed: a completed act says when, or that this is not known (us-core-7)"
    if kind == "MedicationAdministration":
        dosage = resource.get("dosage")
        if dosage is not None and "dose" not in dosage and not _choice(dosage, "rate"):
            yield "dosage: neither dose nor rate (mad-1)"
        for name in ("effective", "medication"):
            if not _choice(resource, name):
                yield f"{name}[x]: missing"
    if kind == "Observation" and "dataAbsentReason" in resource and _choice(resource, "value"):
        yield "dataAbsentReason: beside a value (obs-6)"
    if kind == "Observation" and "dataAbsentReason" not in resource and not _choice(resource, "value"):
        yield "value: missing without a reason"
    if kind == "Composition":
        for path, section in _objects(resource.get("section", []), "section"):
            if path.endswith("section") and not {"text", "entry", "section"} & section.keys():
                yield "section: has no text, entry or section (cmp-1)"
            if path.endswith("section") and "emptyReason" in section and "entry" in section:
                yield "section: emptyReason beside entries (cmp-2)"


def _choice(node: Mapping[str, Any], name: str) -> bool:
    return any(re.fullmatch(rf"_?{name}[A-Z]\w*", key) for key in node)


def _objects(node: Any, path: str = "") -> Iterator[tuple[str, Mapping[str, Any]]]:
    if isinstance(node, Mapping):
        yield path, node
        for name, value in node.items():
            yield from _objects(value, f"{path}.{name}" if path else name)
    elif isinstance(node, list):
        for value in node:
            yield from _objects(value, path)


def _members(node: Any, path: str = "") -> Iterator[tuple[str, str, Any]]:
    """(path, name, value) of everything that is no object."""
    for where, one in _objects(node, path):
        for name, value in one.items():
            for part in value if isinstance(value, list) else [value]:
                if not isinstance(part, Mapping):
                    yield f"{where}.{name}" if where else name, name, part
            if value in ([], {}, ""):
                yield f"{where}.{name}" if where else name, name, ""


def _member(path: str, name: str, value: Any) -> Iterator[str]:
    if value == "" or value is None:
        yield f"{path}: empty"
    if not isinstance(value, str):
        return
    if _CONTROL.search(value):
        yield f"{path}: a character that FHIR forbids"
    if name == "div":
        yield from _narrative(path, value)
    if name.endswith("DateTime") or name in (
        "date",
        "recorded",
        "created",
        "recordedDate",
        "creation",
        "expirationDate",
        "start",
        "end",
    ):
        if not is_datetime(value):
            yield f"{path}: {value!r} is no dateTime (a time needs a time zone)"
    if name == "valueTime" and not _TIME.fullmatch(value):
        yield f"{path}: {value!r} is no time"


def is_datetime(value: Any) -> bool:
    """A FHIR dateTime that exists in the calendar."""
    if not isinstance(value, str) or not _DATETIME.fullmatch(value):
        return False
    try:
        if len(value) > 10:
            datetime.fromisoformat(value)
        elif len(value) == 10:
            date.fromisoformat(value)
    except ValueError:
        return value.endswith(":60Z")
    return True


def is_instant(value: Any) -> bool:
    return is_datetime(value) and len(value) > 10


def _narrative(path: str, text: str) -> Iterator[str]:
    try:
        root = etree.fromstring(text.encode(), etree.XMLParser(resolve_entities=False, no_network=True))
    except (etree.XMLSyntaxError, ValueError) as problem:
        yield f"{path}: is no XHTML ({problem})"
        return
    if root.tag != f"{{{XHTML}}}div":
        yield f"{path}: the root is no XHTML div"
    for element in root.iter():
        if not isinstance(element.tag, str):
            yield f"{path}: holds a comment or an instruction (txt-1)"
            continue
        tag = etree.QName(element)
        if tag.namespace != XHTML or tag.localname not in _ELEMENTS or not set(element.attrib) <= _ATTRIBUTES:
            yield f"{path}: <{tag.localname}> or its attributes are not allowed (txt-1)"
    if not "".join(str(part) for part in root.itertext()).strip():
        yield f"{path}: says nothing (txt-2)"


def _object(path: str, node: Mapping[str, Any]) -> Iterator[str]:
    if node.get("system") == UCUM:
        if not is_ucum(str(node.get("code", ""))):
            yield f"{path}: {node.get('code')!r} is no UCUM code"
        if not node.get("unit"):
            yield f"{path}: a UCUM code without a unit to read"
    if "code" in node and "value" in node and "system" not in node:
        yield f"{path}: a coded unit without its system (qty-3)"
    if "comparator" in node and path.endswith((".dose", "rateQuantity", ".low", ".high")):
        yield f"{path}: a SimpleQuantity with a comparator (sqty-1)"
    if node.get("system") == LOINC and not loinc_holds(str(node.get("code", ""))):
        yield f"{path}: {node.get('code')!r} is no LOINC code (check digit)"
    if "numerator" in node or "denominator" in node:
        if not {"numerator", "denominator"} <= node.keys():
            yield f"{path}: half a ratio (rat-1)"
        elif node["denominator"].get("value") == 0:
            yield f"{path}: a ratio over nothing"
    if "low" in node and "high" in node and _number(node["low"]) is not None and _number(node["high"]) is not None:
        if node["low"].get("code") == node["high"].get("code") and _number(node["low"]) > _number(node["high"]):
            yield f"{path}: low is above high (rng-2)"
    if "start" in node and "end" in node and is_instant(node["start"]) and is_instant(node["end"]):
        if datetime.fromisoformat(node["start"]) > datetime.fromisoformat(node["end"]):
            yield f"{path}: ends before it starts (per-1)"
    if path.endswith("extension"):
        yield from _extension(path, node)
    if "contentType" in node:
        yield from _attachment(path, node)
    if path.endswith("identifier") and not node.get("value"):
        yield f"{path}: an identifier without value"


def _number(node: Mapping[str, Any]) -> Any:
    return node.get("value")


def _extension(path: str, node: Mapping[str, Any]) -> Iterator[str]:
    values = [name for name in node if name.startswith("value")]
    if not node.get("url"):
        yield f"{path}: an extension without url"
    if len(values) + ("extension" in node) != 1:
        yield f"{path}: an extension has one value or extensions of its own (ext-1)"
    if node.get("url") == ABSENT and node.get("valueCode") not in SYSTEMS[f"{TERMS}data-absent-reason"]:
        yield f"{path}: {node.get('valueCode')!r} is no data-absent-reason"


def _attachment(path: str, node: Mapping[str, Any]) -> Iterator[str]:
    if "data" not in node:
        return
    try:
        content = base64.b64decode(str(node["data"]), validate=True)
    except (binascii.Error, ValueError):
        yield f"{path}.data: is no base64"
        return
    if "size" in node and node["size"] != len(content):
        yield f"{path}.size: {node['size']} for {len(content)} bytes"
    digest = base64.b64encode(hashlib.sha1(content, usedforsecurity=False).digest()).decode()
    if "hash" in node and node["hash"] != digest:
        yield f"{path}.hash: is not the SHA-1 of the data"


def loinc_holds(code: str) -> bool:
    """The mod 10 check digit of LOINC (LOINC Users' Guide, appendix C)."""
    found = re.fullmatch(r"(\d{1,5})-(\d)", code)
    if found is None:
        return False
    total = 0
    for index, digit in enumerate(reversed(found[1])):
        doubled = int(digit) * (2 if index % 2 == 0 else 1)
        total += doubled // 10 + doubled % 10
    return (10 - total % 10) % 10 == int(found[2])
