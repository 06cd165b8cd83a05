"""What a note of this procedure family usually says, and this one does not."""

from __future__ import annotations

import re

from pipeline.checks._words import SENT_AWAY
from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.limits import elements
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.signout import answered

MEANING = "An element that the procedure family expects was never said."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    if note.family is None:
        return []
    family = grammar.family(note.family)
    asked = {element.id for element in elements(grammar, note.profile)}
    return [
        finding(
            "family_elements",
            "note" if _in_other_words(note, element.id) else element.severity,
            f"Never said: {element.label} (usual for {family.name}).",
            about=element.id,
            ask=element.ask or f"Say the {element.label}, or that there is none.",
        )
        for element in family.elements
        if element.id not in asked and not element.if_any and answered(note, element)[0] == "not said"
        and (element.id not in _OF_BONE or _bone(note))
    ]


# An amputation or the suture of a tendon is told in the family of fractures, and fixes or reduces nothing.
_OF_BONE = frozenset({"fixation", "reduction"})
_BONE = re.compile(
    r"fractur|fixation|nail|osteotomy|fusion|arthrodesis|dislocat|reduction|plate|screw|pinning|nonunion|\bfx\b",
    re.IGNORECASE,
)


def _bone(note: OperativeNote) -> bool:
    told = note.of("procedure", "diagnosis", "preop_diagnosis", "postop_diagnosis", "device")
    return not told or any(_BONE.search(f"{fact.name or ''} {fact.text or ''} {fact.evidence.heard}") for fact in told)


# "Incision seven centimetres", "three ports", "transverse skin crease": the way in, told without a name.
_PLACED = (
    r"\d|one|two|three|four|five|six|seven|eight|nine|ten|twelve|fifteen|medial|lateral|anterior|posterior|transverse|"
    r"longitudinal|midline|oblique|curved|straight|crease|dorsal|volar|palmar|vertical|horizontal|above|below|over"
)
_WAY_IN = re.compile(
    rf"\b(?:ports?|portals?|trocars?|sternotomy|thoracotomy|laparotomy|skin crease)\b|"
    rf"\bincision\b[^.]{{0,60}}\b(?:{_PLACED})[^.]{{0,30}}(?:centi|milli|mm\b|cm\b|inch|skin|side|medial|lateral|"
    r"anterior|posterior|midline|crease)", re.IGNORECASE,
)  # fmt: skip


# "Skin at 15:22, anterolateral, twelve centimetres", the flaps of an amputation.
_SKIN = re.compile(
    r"\b(?:skin|knife)\b[^.]{0,40}\b(?:antero|postero)?(?:lateral|medial|anterior|posterior|midline)\b|"
    r"\b(?:long|short|equal|skew|sagittal|anterior|posterior)\b[^.]{0,20}\bflaps?\b", re.IGNORECASE
)
# A graft is fixed, the wound under it is not closed.
_GRAFTED = re.compile(
    r"\bgraft(?:s|ed|ing)?\b(?:[^.:]|(?<=\d)[.:](?=\d)){0,80}?\b(?:stapled|glued|sutured|sewn|tacked)\b", re.IGNORECASE
)
_FIXES = re.compile(r"fixation|nail|pinning|wire|plat|screw|osteosynth|fusion|desis|osteotomy", re.IGNORECASE)
_HELD = frozenset({"splint", "cast", "slab", "plaster-cast", "sling", "collar", "brace"})


def _in_other_words(note: OperativeNote, asked: str) -> bool:
    """Whether the note tells of an element in words that make no entry for it."""
    told = [passage.text for passage in note.sections.description]
    if asked == "approach":
        return any(_WAY_IN.search(text) or _SKIN.search(text) for text in told)
    if asked == "injected":  # "80 mg methylprednisolone with 3 mL ropivacaine, 5 mL together"
        return bool(note.of("medication_volume", given=True)) and bool(note.of("medication_dose", given=True))
    if asked == "specimen":
        return any(SENT_AWAY.search(text) for text in told)
    if asked == "closure":
        return any(_GRAFTED.search(text) for text in told)
    if asked == "fixation":  # "closed reduction and a plaster": nothing was put in
        done = [fact for fact in note.of("procedure") if fact.status == "performed" and fact.certainty == "affirmed"]
        fixed = any(_FIXES.search(f"{fact.name or ''} {fact.text or ''}") for fact in done)
        return not fixed and any(fact.name in _HELD for fact in note.of("dressing") if fact.status == "performed")
    # "Splint three weeks": what is held still bears no load
    return asked == "weight" and any(fact.name in _HELD for fact in note.of("dressing") if fact.status == "performed")
