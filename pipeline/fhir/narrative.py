"""XHTML narratives: escaped text in paragraphs and lists, nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterable
from html import escape

from pipeline.fhir.names import XHTML

# Not allowed in XML 1.0 (section 2.2), even escaped.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def clean(text: str) -> str:
    """Text without characters that XML 1.0 or a FHIR string forbids; each becomes a space."""
    return " ".join(_FORBIDDEN.sub(" ", text).split())


def plain(text: str) -> str:
    """Clean and escaped text for use inside XHTML."""
    return escape(clean(text) or "(no words)", quote=False)


def paragraph(text: str) -> str:
    return f"<p>{plain(text)}</p>"


def bullets(lines: Iterable[str]) -> str:
    """A list of lines; empty text when there are none."""
    items = "".join(f"<li>{plain(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def narrative(*parts: str, status: str = "generated") -> dict[str, str]:
    """A Narrative from parts that are XHTML already; without any it says so."""
    content = "".join(parts) or paragraph("Nothing was said.")
    return {"status": status, "div": f'<div xmlns="{XHTML}">{content}</div>'}
