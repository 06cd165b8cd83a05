"""What the site knows and nobody says aloud: patient, encounter, practitioners, organisation, time zone, template.

Read from the file given as `--context`: FHIR resources as JSON, or a small TOML (documented in DEVELOPERS.md).
Without it every identity stays empty, and exporters write clearly marked placeholders.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Site:
    """`resources`: FHIR R4 resources by type ("Patient", "Encounter", "Organization", "Practitioner").
    `template`: a hospital's own DOCX template. `timezone`: IANA name, "" when not known."""

    resources: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    template: Path | None = None
    timezone: str = ""
