"""What the site knows and nobody says aloud: patient, encounter, practitioners, organisation, time zone, template.

Read from the file given as `--context`. Either FHIR R4 as JSON (one resource, a list, or a Bundle of Patient,
Encounter, Organization and Practitioner; the HL7 extension `timezone` on the Organization gives the time zone), or
a small TOML:

    timezone = "Europe/London"          # IANA name; without it times of day stay without a date

    [patient]
    system = "urn:oid:2.999.1"          # who gives the number; needed, so that nobody is mixed up
    number = "7712345"
    family = "Lind"
    given = "Tobias"                    # text or list
    birth_date = 1967-05-04
    sex = "male"                        # male, female, other, unknown

    [encounter]
    system = "urn:oid:2.999.2"
    number = "E-2041"
    class = "inpatient"                 # inpatient, outpatient, emergency, day
    start = 2026-03-02T07:30:00+00:00   # optional

    [organization]
    name = "Example Hospital"
    phone = "+44 20 7946 0000"          # whom a patient calls

    [[practitioner]]
    system = "urn:oid:2.999.3"
    number = "1001"
    family = "Obi"
    given = "Amara"

Without a context every identity stays empty, and exporters write clearly marked placeholders.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pipeline.errors import BadContext

KINDS = ("Patient", "Encounter", "Organization", "Practitioner")
_TIMEZONE = "http://hl7.org/fhir/StructureDefinition/timezone"
_SEXES = ("male", "female", "other", "unknown")
_STATES = ("planned", "arrived", "triaged", "in-progress", "onleave", "finished", "cancelled", "entered-in-error",
           "unknown")  # fmt: skip
_CLASSES = {"inpatient": "IMP", "outpatient": "AMB", "emergency": "EMER", "day": "SS"}
_FIELDS = {
    "patient": {"system", "number", "family", "given", "birth_date", "sex"},
    "encounter": {"system", "number", "class", "start", "end", "status"},
    "organization": {"system", "number", "name", "phone"},
    "practitioner": {"system", "number", "family", "given", "prefix"},
}


@dataclass(frozen=True)
class Site:
    """`resources`: FHIR R4 resources by type ("Patient", "Encounter", "Organization", "Practitioner").
    `template`: a hospital's own DOCX template. `timezone`: IANA name, "" when not known."""

    resources: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    template: Path | None = None
    timezone: str = ""


def load(path: Path) -> Site:
    """Reads a context file. Raises BadContext that says what is wrong and where."""
    try:
        content = path.read_bytes()
    except OSError as problem:
        raise BadContext(f"cannot be read ({problem.strerror}).", "Check the path.", where=str(path)) from problem
    return parse(content, str(path))


def parse(content: bytes, name: str) -> Site:
    """The content of a context file; `name` tells the form (.toml, else JSON). Raises BadContext."""
    path = Path(name)
    try:
        text = content.decode("utf-8-sig")
        if path.suffix.lower() == ".toml":
            listed, timezone = _from_toml(tomllib.loads(text))
        else:
            listed, timezone = _from_json(json.loads(text)), ""
        return _checked(listed, timezone)
    except UnicodeDecodeError as problem:
        raise BadContext("is not UTF-8 text.", "Save it as UTF-8.", where=str(path)) from problem
    except (tomllib.TOMLDecodeError, json.JSONDecodeError) as problem:
        form = "TOML" if path.suffix.lower() == ".toml" else "JSON"
        raise BadContext(f"is not {form} ({problem}).", "Give FHIR JSON or TOML.", where=str(path)) from problem
    except RecursionError as problem:
        raise BadContext("is nested too deeply.", "Give plain FHIR resources.", where=str(path)) from problem
    except BadContext as problem:
        raise BadContext(problem.what, problem.do, where=str(path)) from problem


def _from_json(content: Any) -> list[dict[str, Any]]:
    if isinstance(content, dict) and content.get("resourceType") == "Bundle":
        entries = content.get("entry", [])
        content = [entry.get("resource") if isinstance(entry, dict) else None for entry in entries]
    listed = content if isinstance(content, list) else [content]
    for position, one in enumerate(listed, 1):
        if not isinstance(one, dict) or not isinstance(one.get("resourceType"), str):
            raise BadContext(f"entry {position} is no FHIR resource.", "Each needs a resourceType.")
        if one["resourceType"] not in KINDS:
            raise BadContext(f"holds a {one['resourceType']}, which is not used.", f"Give only {', '.join(KINDS)}.")
    return listed


def _checked(listed: list[dict[str, Any]], timezone: str) -> Site:
    resources: dict[str, list[dict[str, Any]]] = {}
    for one in listed:
        _check_shape(one)
        resources.setdefault(one["resourceType"], []).append(one)
    for kind in ("Patient", "Encounter", "Organization"):
        if len(resources.get(kind, [])) > 1:
            raise BadContext(f"holds more than one {kind}.", "A note is about one: leave the others out.")
    _check_meaning(resources)
    for extension in (resources.get("Organization") or [{}])[0].get("extension", []):
        if extension.get("url") == _TIMEZONE:
            timezone = timezone or str(extension.get("valueCode", ""))
    if timezone:
        try:
            ZoneInfo(timezone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise BadContext(f"timezone {timezone!r} is not known.", 'Write an IANA name: "Europe/London".') from None
    return Site(resources, timezone=timezone)


def _check_shape(resource: dict[str, Any]) -> None:
    """Types and cardinalities, by the R4B classes (R4 has the same elements for these four)."""
    from fhir.resources.R4B import get_fhir_model_class
    from pydantic import ValidationError

    kind = resource["resourceType"]
    try:
        get_fhir_model_class(kind).model_validate(resource)
    except ValidationError as problem:
        faults = "; ".join(
            f"{'.'.join(str(part) for part in fault['loc']) or kind}: {fault['msg']}" for fault in problem.errors()[:3]
        )
        raise BadContext(f"{kind} is not valid FHIR R4: {faults}.", "Mend it at its source.") from problem


def _check_meaning(resources: dict[str, list[dict[str, Any]]]) -> None:
    for kind, listed in resources.items():
        for one in listed:
            if one.get("gender", "unknown") not in _SEXES:
                raise BadContext(f"{kind}.gender is {one['gender']!r}.", f"Use one of {', '.join(_SEXES)}.")
            for identifier in one.get("identifier", []):
                if not identifier.get("value"):
                    raise BadContext(f"{kind}.identifier has no value.", "Give system and value.")
    for patient in resources.get("Patient", []):
        if not patient.get("identifier") and not patient.get("id"):
            raise BadContext("Patient has neither identifier nor id.", "Give the number that the hospital knows.")
        for encounter in resources.get("Encounter", []):
            if encounter.get("status") not in _STATES:
                raise BadContext(
                    f"Encounter.status is {encounter.get('status')!r}.", f"Use one of {', '.join(_STATES)}."
                )
            subject = str((encounter.get("subject") or {}).get("reference", ""))
            own = str(patient.get("id", ""))
            if own and subject and subject.rsplit("/", 1)[-1].removeprefix("urn:uuid:") != own:
                raise BadContext(
                    f"the Encounter is of {subject}, the Patient is {own}.", "Give the encounter of this patient."
                )


def _from_toml(content: dict[str, Any]) -> tuple[list[dict[str, Any]], str]:
    timezone = content.pop("timezone", "")
    if not isinstance(timezone, str):
        raise BadContext("timezone is no text.", 'Write an IANA name: "Europe/London".')
    listed: list[dict[str, Any]] = []
    for name, part in content.items():
        if name not in _FIELDS:
            raise BadContext(f"[{name}] is not known.", f"Known: timezone, {', '.join(_FIELDS)}.")
        for one in part if isinstance(part, list) else [part]:
            if not isinstance(one, dict):
                raise BadContext(f"{name} is no table.", f"Write [{name}] and its fields below it.")
            if unknown := set(one) - _FIELDS[name]:
                raise BadContext(
                    f"[{name}] has unknown fields: {', '.join(sorted(unknown))}.",
                    f"Known: {', '.join(sorted(_FIELDS[name]))}.",
                )
            listed.append(_resource(name, one))
    return listed, timezone


def _resource(name: str, one: dict[str, Any]) -> dict[str, Any]:
    needed = {"patient": ("system", "number", "family"), "encounter": ("system", "number"),
              "organization": ("name",), "practitioner": ("family",)}[name]  # fmt: skip
    for part in needed:
        if not one.get(part):
            raise BadContext(f"[{name}] lacks {part}.", f"Needed: {', '.join(needed)}.")
    if bool(one.get("system")) != bool(one.get("number")):
        raise BadContext(f"[{name}] has a number without a system, or the other way.", "Give both.")
    made: dict[str, Any] = {"resourceType": name.capitalize()}
    if one.get("number"):
        made["identifier"] = [{"system": str(one["system"]), "value": str(one["number"])}]
    if name in ("patient", "practitioner"):
        given = one.get("given", [])
        person = {"family": str(one["family"]), "given": [given] if isinstance(given, str) else given}
        person["prefix"] = [one["prefix"]] if one.get("prefix") else []
        made["name"] = [{key: value for key, value in person.items() if value}]
    if "birth_date" in one:
        made["birthDate"] = _iso(one["birth_date"])
    if "sex" in one:
        made["gender"] = one["sex"]
    if name == "organization":
        made["name"] = one["name"]
        if "phone" in one:
            made["telecom"] = [{"system": "phone", "value": str(one["phone"])}]
    if name == "encounter":
        made |= _encounter(one)
    return made


def _encounter(one: dict[str, Any]) -> dict[str, Any]:
    if one.get("class") not in _CLASSES:
        raise BadContext(f"[encounter] class is {one.get('class')!r}.", f"Use one of {', '.join(_CLASSES)}.")
    system = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
    made: dict[str, Any] = {"status": one.get("status", "unknown")}
    made["class"] = {"system": system, "code": _CLASSES[one["class"]]}
    period = {end: _iso(one[end]) for end in ("start", "end") if end in one}
    for end, value in period.items():
        if "T" in value and not value.endswith("Z") and "+" not in value[10:] and "-" not in value[10:]:
            raise BadContext(f"[encounter] {end} has no time zone.", "Write 2026-03-02T07:30:00+00:00.")
    return {**made, "period": period} if period else made


def _iso(value: Any) -> str:
    return value.isoformat() if isinstance(value, date | datetime) else str(value)
