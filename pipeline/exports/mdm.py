"""An HL7 v2.5.1 MDM^T02 message (`note.hl7`) for hospitals without FHIR: the note as text, section by section.

Each line of the note is one OBX of type TX, the sections named by LOINC in OBX-3 and numbered in OBX-4. Without a
context the patient is a marked placeholder. TXA-17 says PA (pre-authenticated) until a person has signed, then LA;
TXA-19 keeps an unsigned note unavailable for care. UTF-8, segments end in carriage return.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pipeline.errors import ExportError
from pipeline.fhir.lines import entry_line
from pipeline.fhir.narrative import clean
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.rows import Loinc
from pipeline.site import Site
from pipeline.wording import STATES, asides

FILE = "note.hl7"
MEANING = "The note as an HL7 v2 MDM^T02 message, for hospitals without FHIR."
NEEDS: tuple[str, ...] = ()

_VERSION = "2.5.1"
_RESULT = {"draft": "P", "signed": "F", "amended": "C"}
_ESCAPES = {"\\": "\\E\\", "|": "\\F\\", "^": "\\S\\", "&": "\\T\\", "~": "\\R\\"}
_CLASSES = {"IMP": "I", "AMB": "O", "EMER": "E", "SS": "O"}
_LONGEST = 4000


def write(note: OperativeNote, grammar: Grammar, site: Site, parts: Mapping[str, bytes]) -> bytes:
    """The message, checked by hl7apy. The same note and site give the same bytes. Raises ExportError."""
    from hl7apy.consts import VALIDATION_LEVEL
    from hl7apy.core import Message
    from hl7apy.exceptions import HL7apyException

    try:
        message = Message("MDM_T02", version=_VERSION, validation_level=VALIDATION_LEVEL.TOLERANT)
        _head(message, note, site)
        for number, (code, place, text) in enumerate(_lines(note, grammar), 1):
            _observation(message, number, code, place, text, _RESULT[note.state])
        message.validate()
        made: str = message.to_er7()
    except HL7apyException as problem:
        raise ExportError(f"The HL7 v2 message is not valid: {problem}.", "Nothing was written.") from problem
    return (made.rstrip("\r") + "\r").encode()


def escaped(text: str) -> str:
    """Text for a field: the five separators as escape sequences (HL7 v2.5.1, 2.7), no control characters."""
    return "".join(_ESCAPES.get(char, char) for char in clean(text))


def _time(iso: str) -> str:
    """ISO 8601 -> HL7 DTM ("20260302114000+0000")."""
    found = re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d):(\d\d)(?:\.\d+)?(Z|[+-]\d\d:\d\d)?", iso)
    if found is None:
        return re.sub(r"\D", "", iso)[:8]
    zone = (found[7] or "").replace("Z", "+0000").replace(":", "")
    return "".join(found[index] for index in range(1, 7)) + zone


def _head(message: Any, note: OperativeNote, site: Site) -> None:
    made = _time(note.made_at)
    control = f"{note.id.replace('-', '')[:16]}{note.version:02d}{_RESULT[note.state]}"
    message.msh.msh_3 = "vox-operandi"
    message.msh.msh_7 = made
    message.msh.msh_9 = "MDM^T02^MDM_T02"
    message.msh.msh_10 = control
    message.msh.msh_11 = "P"
    message.msh.msh_18 = "UNICODE UTF-8"
    message.evn.evn_1 = "T02"
    message.evn.evn_2 = made
    _patient(message, note, site)
    _visit(message, site)
    message.txa.txa_1 = "1"
    message.txa.txa_2 = "OP"
    message.txa.txa_3 = "TX"
    message.txa.txa_6 = made
    message.txa.txa_12 = f"{note.id}.{note.version}.{_RESULT[note.state]}^vox-operandi"
    if note.version > 1:
        message.txa.txa_13 = f"{note.id}^vox-operandi"
    message.txa.txa_17 = "PA" if note.state == "draft" else "LA"
    message.txa.txa_19 = "UN" if note.state == "draft" else "AV"
    if note.signature is not None and note.state != "draft":
        message.txa.txa_22 = f"^{escaped(note.signature.by)}^^^^^^^^^^^^^{_time(note.signature.at)}"


def _patient(message: Any, note: OperativeNote, site: Site) -> None:
    listed = site.resources.get("Patient", [])
    if not listed:
        message.pid.pid_3 = f"PLACEHOLDER-{note.id}^^^vox-operandi"
        message.pid.pid_5 = "PLACEHOLDER^NOT IDENTIFIED"
        return
    patient = listed[0]
    number = (patient.get("identifier") or [{}])[0]
    message.pid.pid_3 = (
        f"{escaped(number.get('value') or patient.get('id', ''))}^^^&{escaped(number.get('system', ''))}&URI"
    )
    name = (patient.get("name") or [{}])[0]
    family, given = name.get("family") or name.get("text", ""), " ".join(name.get("given", []))
    message.pid.pid_5 = f"{escaped(family)}^{escaped(given)}"
    if patient.get("birthDate"):
        message.pid.pid_7 = patient["birthDate"].replace("-", "")
    sexes = {"male": "M", "female": "F", "other": "O", "unknown": "U"}
    if patient.get("gender") in sexes:
        message.pid.pid_8 = sexes[patient["gender"]]


def _visit(message: Any, site: Site) -> None:
    encounter = (site.resources.get("Encounter") or [{}])[0]
    message.pv1.pv1_2 = _CLASSES.get(encounter.get("class", {}).get("code", ""), "U")
    number = (encounter.get("identifier") or [{}])[0]
    if number.get("value"):
        message.pv1.pv1_19 = f"{escaped(number['value'])}^^^&{escaped(number.get('system', ''))}&URI"


def _lines(note: OperativeNote, grammar: Grammar) -> Iterator[tuple[str, str, str]]:
    """(OBX-3, OBX-4, text) of each line, short enough for a TX."""
    rows = grammar.table("loinc", Loinc)
    whole = _code(rows["document"])
    state = f"{STATES[note.state]}, version {note.version}"
    yield whole, "0", state
    for finding in note.open_findings():
        yield whole, "0", f"To settle ({finding.severity}): {finding.message} {finding.arithmetic}"
    facts = {fact.id: fact for fact in note.facts}
    for number, (name, entries) in enumerate(note.sections.items(), 1):
        for entry in entries:
            kinds = [] if isinstance(entry, Passage) else [facts[ident].kind for ident in entry.facts if ident in facts]
            code = next((_code(row) for row in rows.values() if _holds(row, name, kinds)), whole)
            if isinstance(entry, Passage):
                text = entry.text + "".join(f" [{aside}]" for aside in asides(entry))
            else:
                text = entry_line(entry, [facts[ident] for ident in entry.facts if ident in facts], note)
            text = f"{name.replace('_', ' ').capitalize()}: {text}"
            for part in _short(clean(text)):
                yield code, str(number), part


def _holds(row: Loinc, section: str, kinds: Sequence[str]) -> bool:
    fits = not row.kinds or any(kind in row.kinds for kind in kinds)
    return row.use == "section" and section in row.holds and fits


def _code(row: Loinc) -> str:
    return f"{row.code}^{escaped(row.display or row.label)}^LN"


def _short(text: str) -> Iterator[str]:
    while len(text) > _LONGEST:
        cut = text.rfind(" ", 1, _LONGEST)
        cut = cut if cut > 0 else _LONGEST
        yield text[:cut]
        text = text[cut:].lstrip()
    yield text


def _observation(message: Any, number: int, code: str, place: str, text: str, state: str) -> None:
    from hl7apy.parser import parse_segment

    # hl7apy gives OBX-5 the type that OBX-2 names only when it parses the segment
    group = message.add_group("MDM_T02_OBXNTE_SUPPGRP")
    fields = ("OBX", str(number), "TX", code, place, escaped(text), "", "", "", "", "", state)
    group.add(parse_segment("|".join(fields), version=_VERSION))
