"""Whose case it is: the site's context as it is kept with a case, from a file or typed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from pipeline import site
from pipeline.errors import BadContext
from pipeline.site import Site


def patient_context(*, family: str, given: str, number: str, system: str, birth_date: str = "", sex: str = "") -> str:
    """The context of a patient whose identity was typed, as it is kept. Raises BadContext that says what is missing."""
    if not family.strip() or not number.strip():
        raise BadContext("Family name and number are needed.", "Type both, so that nobody is mixed up.")
    patient: dict[str, Any] = {
        "resourceType": "Patient",
        "identifier": [{"system": system.strip(), "value": number.strip()}],
        "name": [{"family": family.strip()} | ({"given": given.split()} if given.strip() else {})],
    }
    if not system.strip():
        raise BadContext("Who gave the number is needed.", "Type the system of the number, as urn:oid:2.999.1.")
    if birth_date.strip():
        patient["birthDate"] = birth_date.strip()
    if sex.strip():
        patient["gender"] = sex.strip()
    return context_of("typed.json", json.dumps([patient], ensure_ascii=False).encode())


def read_context(context: str) -> Site:
    """The site's knowledge of a case; nothing for "". Raises BadContext."""
    if not context:
        return Site()
    kept = json.loads(context)
    return site.parse(kept["text"].encode(), kept["name"])


def context_of(name: str, content: bytes) -> str:
    """A context file that was handed in (FHIR JSON or TOML), as it is kept. Raises BadContext."""
    site.parse(content, name)
    return json.dumps({"name": Path(name).name, "text": content.decode("utf-8-sig")}, ensure_ascii=False)
