"""What a note of this procedure family usually says, and this one does not."""

from __future__ import annotations

import re

from pipeline.checks._words import ELSEWHERE, SENT_AWAY
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


# "Medial 7 cm", "cut 1325, dorsal 4 cm", "seven centimetres over the pes", "zigzag", "6R view, 1-2 working", "AM/AL",
# "viewing posterior": ways in by where they lie, their length, their numbers or letters.
_DIRECTION = (
    r"(?:antero|postero|dorso|volo)?-?(?:lateral|medial|anterior|posterior|dorsal|volar|palmar|plantar|ulnar|radial|"
    r"midline|transverse|longitudinal|oblique|straight|curved|collar|midaxial|midlateral)"
)
_NUMBERED = r"(?:3-4|4-5|6-?R|6-?U|1-2)"
_BY_PLACE = re.compile(
    rf"(?:^|[.;,:(] ?|\d\d ?|\b(?:skin|cut|inc\w*|knife|side)[:,]? ){_DIRECTION}(?: \w+){{0,2}},? "
    r"(?:\d+(?:\.\d+)?|[a-z]+) ?(?:cm\b|mm\b|centimet\w+|millimet\w+)|"
    r"(?:\d|\b(?:one|two|three|four|five|six|seven|eight|nine|ten|twelve|half)) ?(?:cm|centimet\w+)(?: \w+){0,2} "
    rf"(?:over|along|in line|in the (?:palm|crease|midline|axilla|groin)|{_DIRECTION})\b|"
    rf"\bzig-?zags?\b|\bpercutaneous|\bbruner|^\W*\d+(?:\.\d+)? ?cm\W*$|"
    rf"\b{_NUMBERED}\b[^.;]{{0,20}}\b(?:view\w*|work\w*|portals?|scope|shaver|used)\b|"
    r"\b(?:view\w*|work\w*|camera|scope|look\w*|in)(?: (?:was|from|in|through|via|by|at|the|and))* "
    rf"(?:{_NUMBERED}|(?:antero|postero)?(?:lateral|medial|anterior|posterior|superior)|back|front|soft spot)\b|"
    r"\b(?:post|ant|lat|med|antsup|antinf|posterior|anterior|lateral)(?:erior)? (?:view\w*|working)\b",
    re.IGNORECASE,
)  # fmt: skip
_LETTERS = r"(?:A[LM]|P[LM]|S[LM]|AAL|MAP|DALA|MC[RU]|[RU]MC)"
_LETTERED = re.compile(rf"\b{_LETTERS}(?: ?[/+&,] ?| and ){_LETTERS}\b")
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
_UNCLOSED = re.compile(r"\b(?:percutaneous|stab|no (?:incision|wound)|nothing) to (?:close|suture)\b|\bleft open\b|"
                       r"\b(?:vacuum|vac|npwt)\b|\bno (?:skin )?(?:closure|sutures?|stitch(?:es)?) needed\b", re.I)
_ANCHORED = re.compile(r"repair|bankart|slap|labr|tenodesis|stabili|reconstruct|fixation|remplissage|latarjet|transfer",
                       re.IGNORECASE)  # fmt: skip
_HELD = frozenset({"splint", "cast", "slab", "plaster-cast", "sling", "collar", "brace"})


_LAY = re.compile(
    r"\bBC\b|\b(?i:(?:lay|lying|laid|placed|put|turned|positioned|sat|sitting|seated|propped)(?: \w+){0,3} "
    r"(?:back|side|front|belly|up|chair|edge|stool|lateral)|lateral,? (?:on|with) (?:the |her |his )?"
    r"(?:left|right|good|other|side)|(?:left|right) side (?:up|down))\b"
)
_CARE = re.compile(
    r"\bdrops\b|\b(?:splint|brace|sling|boot|slab|cast|collar|bandage|dressing|tape|buddy)\b[^.]{0,30}\b(?:for |x )?"
    r"(?:\d+|[a-z]+) ?(?:days?|wks?|weeks?|months?|/52|/12|/7|d\b|h\b|hours?)|"
    r"\b(?:physio|physiotherapy|mobili[sz]\w+|moves?|moving|exercis\w+|elevat\w+)\b[^.]{0,25}\b(?:today|tonight|"
    r"tomorrow|at once|straight away|from|day|D\d|freely|as able)\b|\b(?:PT|OT) (?:today|tomorrow|D\d|wk)\b",
    re.IGNORECASE,
)


def _in_other_words(note: OperativeNote, asked: str) -> bool:
    """Whether the note tells of an element in words that make no entry for it."""
    told = [passage.text for passage in note.sections.description]
    if asked == "approach":
        ways = (_WAY_IN, _SKIN, _BY_PLACE, _LETTERED)
        return any(way.search(passage.text) for passage in note.sections.description for way in ways
                   if passage.section not in ELSEWHERE)  # fmt: skip
    if asked == "position":  # "BC", "he lay on his left side"
        return any(_LAY.search(text) for text in told)
    if asked == "aftercare":  # "drops four times a day for two weeks"
        return any(_CARE.search(text) for text in told)
    if asked == "injected":  # "80 mg methylprednisolone with 3 mL ropivacaine, 5 mL together"
        return bool(note.of("medication_volume", given=True)) and bool(note.of("medication_dose", given=True))
    if asked == "specimen":
        return any(SENT_AWAY.search(text) for text in told)
    if asked == "anchors":  # a decompression needs none
        done = note.of("procedure", given=True)
        return bool(done) and not any(_ANCHORED.search(f"{one.name} {one.text} {one.evidence.heard}") for one in done)
    if asked == "closure":
        return any(_GRAFTED.search(text) or _UNCLOSED.search(text) for text in told)
    if asked == "fixation":  # "closed reduction and a plaster": nothing was put in
        done = [fact for fact in note.of("procedure") if fact.status == "performed" and fact.certainty == "affirmed"]
        fixed = any(_FIXES.search(f"{fact.name or ''} {fact.text or ''}") for fact in done)
        return not fixed and any(fact.name in _HELD for fact in note.of("dressing") if fact.status == "performed")
    # "Splint three weeks": what is held still bears no load
    return asked == "weight" and any(fact.name in _HELD for fact in note.of("dressing") if fact.status == "performed")
