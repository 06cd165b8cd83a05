"""The site's context: FHIR JSON or a small TOML in, clear errors for everything else."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import fhir_tools
import notes
import pytest

from pipeline import grammar, site
from pipeline.errors import BadContext
from pipeline.fhir import bundle as bundles

PATIENT = {"resourceType": "Patient", "id": "p1", "identifier": [{"system": "urn:oid:2.999.1", "value": "77"}],
           "name": [{"family": "Lind", "given": ["Tobias"]}], "gender": "male", "birthDate": "1967-05-04"}  # fmt: skip
ENCOUNTER = {"resourceType": "Encounter", "id": "e1", "status": "in-progress", "class": {"code": "IMP"},
             "subject": {"reference": "Patient/p1"}}  # fmt: skip
HOSPITAL = {
    "resourceType": "Organization",
    "name": "Example Hospital",
    "extension": [{"url": "http://hl7.org/fhir/StructureDefinition/timezone", "valueCode": "Europe/London"}],
}
DOCTOR = {"resourceType": "Practitioner", "name": [{"family": "Obi", "given": ["Amara"]}]}
TOML = """
timezone = "Europe/London"

[patient]
system = "urn:oid:2.999.1"
number = "7712345"
family = "Lind"
given = "Tobias"
birth_date = 1967-05-04
sex = "male"

[encounter]
system = "urn:oid:2.999.2"
number = "E-2041"
class = "inpatient"
start = 2026-03-02T07:30:00+00:00

[organization]
name = "Example Hospital"
phone = "+44 20 7946 0000"

[[practitioner]]
system = "urn:oid:2.999.3"
number = "1001"
family = "Obi"
given = ["Amara"]
"""


def written(folder: Path, content: Any, name: str = "context.json") -> Path:
    file = folder / name
    file.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return file


@pytest.mark.parametrize(
    "content",
    [
        [PATIENT, ENCOUNTER, HOSPITAL, DOCTOR],
        {"resourceType": "Bundle", "type": "collection",
         "entry": [{"resource": one} for one in (PATIENT, ENCOUNTER, HOSPITAL, DOCTOR)]},
    ],
    ids=["list", "bundle"],
)  # fmt: skip
def test_fhir_resources_are_read(content: Any, tmp_path: Path) -> None:
    read = site.load(written(tmp_path, content))
    assert read.resources["Patient"] == [PATIENT]
    assert read.resources["Practitioner"] == [DOCTOR]
    assert read.timezone == "Europe/London"


def test_a_single_resource_is_read(tmp_path: Path) -> None:
    assert site.load(written(tmp_path, PATIENT)).resources == {"Patient": [PATIENT]}


def test_toml_is_read(tmp_path: Path) -> None:
    read = site.load(written(tmp_path, TOML, "context.toml"))
    assert read.timezone == "Europe/London"
    patient = read.resources["Patient"][0]
    assert patient["identifier"] == [{"system": "urn:oid:2.999.1", "value": "7712345"}]
    assert patient["birthDate"] == "1967-05-04"
    # v3 ActCode, as HL7 Terminology lists it
    assert read.resources["Encounter"][0]["class"]["code"] == "IMP"
    assert read.resources["Organization"][0]["telecom"][0]["value"] == "+44 20 7946 0000"


@pytest.mark.parametrize("form", ["toml", "json"])
def test_a_context_makes_valid_bundles_without_placeholders(form: str, tmp_path: Path) -> None:
    content = TOML if form == "toml" else [PATIENT, ENCOUNTER, HOSPITAL, DOCTOR]
    read = site.load(written(tmp_path, content, f"context.{form}"))
    text = bundles.to_bytes(bundles.document(notes.hip(), grammar.load(), read, None)).decode()
    assert fhir_tools.r4b(text) == []
    assert fhir_tools.kit(text) == []
    for kind in ("Patient", "Encounter"):
        assert "placeholder" not in json.dumps(fhir_tools.resources(json.loads(text), kind))


def _with(resource: dict[str, Any], **changes: Any) -> list[dict[str, Any]]:
    return [{**resource, **changes}]


@pytest.mark.parametrize(
    ("content", "name", "words"),
    [
        ("{", "c.json", "is not JSON"),
        ("[patient", "c.toml", "is not TOML"),
        ([1], "c.json", "entry 1 is no FHIR resource"),
        ("5", "c.json", "no FHIR resource"),
        ([{"resourceType": "Location"}], "c.json", "holds a Location"),
        ([PATIENT, {**PATIENT, "id": "p2"}], "c.json", "more than one Patient"),
        (_with(PATIENT, gender="m"), "c.json", "gender is 'm'"),
        (_with(PATIENT, identifier=[{"system": "urn:x"}]), "c.json", "no value"),
        ([{"resourceType": "Patient", "name": [{"family": "Lind"}]}], "c.json", "neither identifier nor id"),
        (_with(PATIENT, birthDate="4 May"), "c.json", "birthDate"),
        (_with(PATIENT, surname="Lind"), "c.json", "surname"),
        ([PATIENT, {**ENCOUNTER, "subject": {"reference": "Patient/p9"}}], "c.json", "is of Patient/p9"),
        ([PATIENT, {**ENCOUNTER, "status": "open"}], "c.json", "status is 'open'"),
        ('timezone = "Mars/Base"', "c.toml", "'Mars/Base' is not known"),
        ("timezone = 5", "c.toml", "timezone is no text"),
        ("[ward]\nname = 'x'", "c.toml", r"\[ward\] is not known"),
        ("[patient]\nnumber = '1'\nfamily = 'Lind'", "c.toml", "lacks system"),
        ("[patient]\nsystem = 'urn:x'\nnumber = '1'\nfamily = 'Lind'\nweight = 3", "c.toml", "unknown fields: weight"),
        ("[encounter]\nsystem = 'urn:x'\nnumber = '1'\nclass = 'ward'", "c.toml", "class is 'ward'"),
        ("[encounter]\nsystem = 'urn:x'\nnumber = '1'\nclass = 'day'\nstart = 2026-03-02T07:30:00", "c.toml",
         "time zone"),
        ("[[practitioner]]\nfamily = 'Obi'\nnumber = '1'", "c.toml", "without a system"),
        ("patient = 5", "c.toml", "no table"),
        ("[" * 100000, "c.json", "nested too deeply|is not JSON"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said(content: Any, name: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(BadContext, match=words) as caught:
        site.load(written(tmp_path, content, name))
    assert caught.value.where.endswith(name)
    assert caught.value.do


def test_a_file_that_is_absent_or_no_text_is_said(tmp_path: Path) -> None:
    with pytest.raises(BadContext, match="cannot be read"):
        site.load(tmp_path / "absent.json")
    (tmp_path / "binary.json").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadContext, match="UTF-8"):
        site.load(tmp_path / "binary.json")
