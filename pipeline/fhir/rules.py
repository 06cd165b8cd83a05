"""What no validator checks: rules of our own for the bundles of this project.

`faults(bundle)` gives every fault as "where: what". The exporter checks its own work with it; the tests too.
Rules on values stand in `rules_values`, the tables of codes and targets in `rules_tables`. Names such as bdl-11,
mad-1 or us-core-7 are those of the FHIR R4 specification and of US Core.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import unquote

from pipeline.fhir import rules_values
from pipeline.fhir.names import SIDES
from pipeline.fhir.rules_tables import CODES, SYSTEMS, TARGETS

_URN = re.compile(r"urn:uuid:[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_STATES = {"preliminary": "preliminary", "final": "final", "amended": "amended"}

Node = Mapping[str, Any]


def faults(bundle: Node) -> list[str]:
    """All faults of a document or transaction bundle; none for a good one."""
    if bundle.get("resourceType") != "Bundle" or not isinstance(bundle.get("entry"), list) or not bundle["entry"]:
        return ["Bundle: is no bundle with entries"]
    found = [*_bundle(bundle), *_references(bundle)]
    for entry in bundle["entry"]:
        resource = entry.get("resource", {})
        where = resource.get("resourceType", "?")
        found += [f"{where}.{fault}" for fault in _codes(resource, where)]
        found += [f"{where}.{fault}" for fault in rules_values.faults(resource)]
    return list(dict.fromkeys([*found, *_agreement(bundle)]))


def _bundle(bundle: Node) -> Iterator[str]:
    kind, entries = bundle.get("type"), bundle["entry"]
    if kind not in ("document", "transaction"):
        yield f"Bundle.type: {kind!r} is neither document nor transaction"
    urls = [entry.get("fullUrl") for entry in entries]
    if len(set(urls)) != len(urls):
        yield "Bundle.entry.fullUrl: not unique (bdl-7)"
    known = set(urls)
    for entry in entries:
        yield from _entry(entry, kind)
        for path, node in walk(entry.get("resource", {})):
            if path.endswith("identifier") and node.get("value") in known:
                yield f"Bundle.entry.resource.{path}: is a fullUrl, which servers replace"
    if kind == "document":
        if entries[0].get("resource", {}).get("resourceType") != "Composition":
            yield "Bundle.entry: a document starts with its Composition (bdl-11)"
        if not (bundle.get("identifier", {}).get("system") and bundle.get("identifier", {}).get("value")):
            yield "Bundle.identifier: a document has an identifier with system and value (bdl-9)"
        if not rules_values.is_instant(bundle.get("timestamp")):
            yield "Bundle.timestamp: a document has a timestamp with time zone (bdl-10)"
        yield from _unreachable(entries)
    conditions = [entry.get("request", {}).get("ifNoneExist") for entry in entries if entry.get("request")]
    if len(set(filter(None, conditions))) != len(list(filter(None, conditions))):
        yield "Bundle.entry.request.ifNoneExist: two entries would find the same resource"


def _entry(entry: Node, kind: str | None) -> Iterator[str]:
    resource, url, request = entry.get("resource"), entry.get("fullUrl"), entry.get("request")
    if not isinstance(resource, Mapping) or not resource.get("resourceType"):
        yield "Bundle.entry.resource: missing"
        return
    if not isinstance(url, str) or not _URN.fullmatch(url):
        yield f"Bundle.entry.fullUrl: {url!r} is no urn:uuid in lower case"
    elif resource.get("id") and _is_uuid(resource["id"]) and url != f"urn:uuid:{resource['id']}":
        yield f"Bundle.entry.fullUrl: {url} is not the id of its resource"
    if kind == "document" and (request or entry.get("response") or entry.get("search")):
        yield "Bundle.entry.request: a document has none (bdl-2, bdl-3, bdl-4)"
    if kind == "transaction":
        yield from _request(resource, request)


def _request(resource: Node, request: Any) -> Iterator[str]:
    if not isinstance(request, Mapping):
        yield "Bundle.entry.request: a transaction needs one (bdl-3)"
        return
    kind, url, method = resource["resourceType"], str(request.get("url", "")), request.get("method")
    condition = str(request.get("ifNoneExist", "")) if method == "POST" else url.partition("?")[2]
    if method not in ("POST", "PUT") or url.partition("?")[0] != kind:
        yield f"Bundle.entry.request: {method} {url} does not fit a {kind}"
    key, _, value = condition.partition("=")
    if key not in ("identifier", "_tag") or "|" not in value or not value.partition("|")[2]:
        yield f"Bundle.entry.request: {kind} would be made again when sent twice"
    elif key == "identifier":
        held = resource.get("identifier")
        listed = held if isinstance(held, list) else [held] if held else []
        values = {f"{one.get('system', '')}|{one.get('value', '')}" for one in listed}
        if re.sub(r"\\(.)", r"\1", unquote(value)) not in values:
            yield f"Bundle.entry.request: the condition of {kind} does not find the resource it makes"


def _is_uuid(text: str) -> bool:
    try:
        return str(uuid.UUID(text)) == text
    except ValueError:
        return False


def walk(node: Any, path: str = "") -> Iterator[tuple[str, Node]]:
    """Every object inside, with its path without indexes."""
    if isinstance(node, Mapping):
        yield path, node
        for name, value in node.items():
            yield from walk(value, f"{path}.{name}" if path else name)
    elif isinstance(node, list):
        for value in node:
            yield from walk(value, path)


def _references(bundle: Node) -> Iterator[str]:
    """Each reference leads to an entry of a type that the element allows."""
    types = {entry.get("fullUrl"): entry.get("resource", {}).get("resourceType") for entry in bundle["entry"]}
    for entry in bundle["entry"]:
        resource = entry.get("resource", {})
        kind = resource.get("resourceType", "?")
        for path, node in walk(resource):
            if "reference" not in node or not isinstance(node["reference"], str):
                continue
            target = types.get(node["reference"])
            where = f"{kind}.{path}".replace("section.section", "section")
            if target is None:
                yield f"{where}: {node['reference']} leads nowhere"
                continue
            allowed = TARGETS.get(where) or TARGETS.get(f"*.{path.rsplit('.', 1)[-1]}")
            if allowed is None:
                yield f"{where}: a reference that the rules do not know"
            elif target not in allowed:
                yield f"{where}: refers to a {target}, allowed are {', '.join(sorted(allowed))}"


def _unreachable(entries: list[Node]) -> Iterator[str]:
    """A document holds what its Composition leads to, Provenance of that, and nothing else (R4, 3.3.1)."""
    links = {
        entry.get("fullUrl"): {node["reference"] for _, node in walk(entry.get("resource")) if "reference" in node}
        for entry in entries
    }
    types = {entry.get("fullUrl"): entry.get("resource", {}).get("resourceType") for entry in entries}
    open_, reached = [entries[0].get("fullUrl"), *(url for url, kind in types.items() if kind == "Provenance")], set()
    while open_:
        url = open_.pop()
        if url not in reached:
            reached.add(url)
            open_ += list(links.get(url, ()))
    without_provenance = {url for url, kind in types.items() if kind != "Provenance"}
    from_head, open_ = set(), [entries[0].get("fullUrl")]
    while open_:
        url = open_.pop()
        if url not in from_head:
            from_head.add(url)
            open_ += list(links.get(url, ()))
    for url in without_provenance - from_head:
        # Who and what a Provenance names, and nothing of the Composition's own, may hang on the Provenance alone.
        if types[url] not in ("Device", "Practitioner") or url not in reached:
            yield f"Bundle.entry: the {types[url]} {url} cannot be reached from the Composition"


def _codes(resource: Node, kind: str) -> Iterator[str]:
    """Required bindings: plain codes, and codings of a system with a closed list."""
    for path, node in walk(resource):
        for name, value in node.items():
            full = f"{path}.{name}" if path else name
            allowed = CODES.get(f"{kind}.{full}") or CODES.get(f"*.{name}")
            for one in value if isinstance(value, list) else [value]:
                if allowed is not None and isinstance(one, str) and one not in allowed:
                    yield f"{full}: {one!r} is not in the required value set"
        known = SYSTEMS.get(str(node.get("system")))
        if known is not None and "code" in node and node["code"] not in known:
            yield f"{path}: {node['code']!r} is no code of {node['system']}"


def _agreement(bundle: Node) -> Iterator[str]:
    """One patient, one state of the note, one side for each act."""
    resources = {entry.get("fullUrl"): entry.get("resource", {}) for entry in bundle["entry"]}
    patients = {
        node["reference"]
        for one in resources.values()
        for path, node in walk(one)
        if "reference" in node and path in ("subject", "patient")
    }
    if len(patients) > 1:
        yield "Bundle: the resources are about more than one patient"
    heads = [one for one in resources.values() if one.get("resourceType") == "Composition"]
    if len(heads) != 1:
        yield "Bundle: there must be exactly one Composition"
        return
    state = heads[0].get("status")
    for one in resources.values():
        kind = one.get("resourceType")
        status = one.get("docStatus") if kind == "DocumentReference" else one.get("status")
        if kind in ("DocumentReference", "Observation") and status != _STATES.get(str(state)):
            yield f"{kind}.status: {status!r} in a note that is {state!r}"
        if state == "preliminary" and kind == "Condition" and "confirmed" in _coded(one.get("verificationStatus")):
            yield "Condition.verificationStatus: confirmed in a note that nobody has signed"
    yield from _sides(resources)


def _coded(concept: Any) -> list[str]:
    return [str(one.get("code")) for one in (concept or {}).get("coding", [])]


def _sides(resources: Mapping[Any, Node]) -> Iterator[str]:
    """The side in the words of a Procedure is the side of its BodyStructure."""
    sides = ("left", "right", "bilateral")
    for one in resources.values():
        if one.get("resourceType") == "BodyStructure":
            said = [side for side in sides if str(one.get("description", "")).split(" ")[0] == side]
            coded = {str(part.get("text")) for part in one.get("locationQualifier", [])}
            codes = {code for part in one.get("locationQualifier", []) for code in _coded(part)}
            if any(codes != {code for code, _ in SIDES.get(side, ())} for side in coded):
                yield f"BodyStructure.locationQualifier: the codes {sorted(codes)} are not those of {sorted(coded)}"
            if said and set(said) != coded:
                yield f"BodyStructure.locationQualifier: {sorted(coded)} beside the words {one.get('description')!r}"
        if one.get("resourceType") != "Procedure":
            continue
        for extension in one.get("extension", []):
            target = resources.get(extension.get("valueReference", {}).get("reference"))
            if target is None or target.get("resourceType") != "BodyStructure":
                continue
            words = {str(site.get("text")) for site in one.get("bodySite", [])}
            if words != {target.get("description")}:
                yield f"Procedure.bodySite: {sorted(words)} beside the structure {target.get('description')!r}"
