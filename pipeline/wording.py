"""Lines that several documents share, made from facts only."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.assemble import display
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact
from pipeline.site import Site

CAUTION = (
    "Made from dictation. A draft until signed; not a medical device. Local rules and licensed judgement decide."
)
MARKS = {"blocking": "MUST SETTLE", "warning": "CHECK", "note": "NOTE"}
STATES = {"draft": "DRAFT, not signed", "signed": "Signed", "amended": "Amended"}
_ROLES_SHOWN = ("prepared", "discarded", "held", "avoid", "explanted", "trial")


def state(group: Sequence[Fact]) -> str:
    """How the facts of one event stand, in words: "done", "planned", "not done", "suspected", "prepared"."""
    words: list[str] = []
    for fact in group:
        if fact.certainty == "negated":
            words.append("not done")
        elif fact.certainty == "suspected":
            words.append("suspected")
        if fact.status != "performed":
            words.append(fact.status.replace("_", " "))
        if fact.role in _ROLES_SHOWN:
            words.append(str(fact.role))
    return ", ".join(dict.fromkeys(words)) or "done"


def procedure_line(note: OperativeNote, grammar: Grammar) -> str:
    """The procedures in one line, for titles; empty when none was said."""
    said = [display(fact, grammar) for fact in note.of("procedure") if fact.certainty != "negated"]
    return "; ".join(dict.fromkeys(said))


def doubts(facts: Sequence[Fact]) -> list[str]:
    """Why these facts are unsure, each reason once, other readings of the sound included."""
    reasons = [doubt for fact in facts for doubt in fact.doubts]
    reasons += [f"also heard as {other}" for fact in facts for other in fact.alternatives]
    return list(dict.fromkeys(reasons))


def asides(passage: Passage) -> list[str]:
    """What the reader of a sentence must know beside its text: what was taken back, which numbers stand in no
    entry, and how a term was heard."""
    told = [f"taken back: “{piece.heard}”" for piece in passage.taken_back]
    told += [f"number not placed: “{_bare(piece.heard)}”" for piece in passage.unplaced]
    return told + [f"“{_bare(one.text)}” was heard as “{_bare(one.heard)}”" for one in passage.repaired]


def _bare(text: str) -> str:
    return text.strip(" ,.;:!?")


def known_patient(site: Site) -> str:
    """Who the patient is by the site's context: name, numbers, date of birth; "" without one."""
    for patient in site.resources.get("Patient", []):
        names = patient.get("name") or [{}]
        name = names[0].get("text") or " ".join([*names[0].get("given", []), names[0].get("family", "")]).strip()
        numbers = ", ".join(str(item["value"]) for item in patient.get("identifier", []) if item.get("value"))
        born = f"born {patient['birthDate']}" if patient.get("birthDate") else ""
        return " · ".join(part for part in (name, numbers, born) if part)
    return ""


def patient_line(site: Site, note: OperativeNote) -> str:
    """Who the patient is: from the site's context, else as said, else clearly not known."""
    if known := known_patient(site):
        return known
    said = [fact.text for fact in note.of("patient_name", "patient_identifier") if fact.text]
    if not said:
        return "Patient: not identified"
    return f"Patient as said: {', '.join(said)} (not confirmed by the hospital system)"


def phone_line(site: Site) -> str:
    """Telephone of the organisation in the site's context, empty when there is none."""
    for organisation in site.resources.get("Organization", []):
        for contact in organisation.get("telecom", []):
            if contact.get("system") == "phone" and contact.get("value"):
                return f"{organisation.get('name', 'Hospital')}: {contact['value']}"
    return ""
