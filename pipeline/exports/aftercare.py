"""The aftercare sheet for the patient as a Word document (`aftercare.docx`): large type, only what was said.

What is unsure is not told as sure: it stands with the words "ask before you leave". Whom to call comes from the
site's context; without it a line is left to fill in by hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline import word
from pipeline.assemble import display, line, number_text
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact
from pipeline.rows import Concept
from pipeline.site import Site
from pipeline.wording import STATES, doubts, patient_line, phone_line, procedure_line

FILE = "aftercare.docx"
MEANING = "A sheet for the patient with the aftercare that was said, in large type."
NEEDS: tuple[str, ...] = ()
_MEDICINE = ("medication", "medication_dose", "medication_volume", "medication_concentration", "medication_route",
             "medication_rate", "duration")  # fmt: skip


def write(note: OperativeNote, grammar: Grammar, site: Site, parts: Mapping[str, bytes]) -> bytes:
    """The DOCX bytes; the same note and site give the same bytes."""
    document = word.new("Aftercare", size=16)
    values = word.Values(document, f"{note.id}:aftercare")
    word.write_text(document.add_paragraph(style="Title"), "After your operation")
    word.write_text(document.add_paragraph(), patient_line(site, note), bold=True)
    done = procedure_line(note, grammar)
    if done:
        word.write_text(document.add_paragraph(), f"Operation: {done}")
    state = document.add_paragraph()
    word.write_text(state, STATES[note.state], bold=True)
    if note.signature is None:
        word.write_text(state, ". A clinician must check this sheet before it is given to you.")
    for heading, groups in _parts(note):
        document.add_heading(heading, level=1)
        if not groups:
            word.write_text(document.add_paragraph(), "Nothing was said about this. Ask before you leave.")
        for group in groups:
            paragraph = document.add_paragraph(style="List Bullet")
            values.write(paragraph, "+".join(fact.id for fact in group), heading, _sentence(group, grammar))
            if doubts(group) or any(fact.certainty == "suspected" for fact in group):
                word.write_text(paragraph, " [unsure: ask before you leave]", bold=True)
    document.add_heading("Whom to call", level=1)
    word.write_text(document.add_paragraph(), phone_line(site) or "Telephone: ______________________________")
    values.attach()
    return word.to_bytes(document, note.made_at)


def _parts(note: OperativeNote) -> list[tuple[str, list[list[Fact]]]]:
    """(heading, events under it); an event is the facts that share a group."""
    care = [fact for fact in note.of("aftercare") if fact.status != "historical"]
    avoid = [fact for fact in care if fact.role == "avoid" or fact.certainty == "negated"]
    medicines = [fact for fact in note.of("medication") if fact.role in ("aftercare", "avoid")]
    taken = [fact for fact in medicines if fact.role == "aftercare" and fact.certainty != "negated"]
    told = {fact.name for fact in avoid}
    left = [fact for fact in medicines if fact not in taken and fact.name not in told]
    return [
        ("What to do", [note.group(fact) for fact in care if fact not in avoid]),
        ("What to avoid", [note.group(fact) for fact in (*avoid, *left)]),
        ("Medicines to take", [_medicine(note, fact) for fact in taken]),
        ("When you will be seen", [[fact] for fact in note.of("follow_up")]),
        ("Come back at once for", [[fact] for fact in note.of("warning_sign")]),
        ("What comes next", [[fact] for fact in note.of("next_step")]),
    ]


def _medicine(note: OperativeNote, fact: Fact) -> list[Fact]:
    return [other for other in note.group(fact) if other.kind in _MEDICINE]


# What is done once, at a time, and not for a time.
_ONCE = frozenset(
    {"suture-removal", "drain-removal", "catheter-removal", "packing-removal", "control-x-ray", "control-mri",
     "repeat-injection", "blood-tests", "await-pathology"}
)  # fmt: skip
_LASTING = frozenset({"wk", "d", "mo", "a", "h"})


def _sentence(group: Sequence[Fact], grammar: Grammar) -> str:
    """The words of an event, each value once; an instruction that has a plain sentence is told in it."""
    if len(group) == 1 and group[0].kind == "aftercare":
        return _plain(group[0], grammar)
    words = dict.fromkeys(display(fact, grammar) for fact in group)
    text = ", ".join(words)
    return text[:1].upper() + text[1:]


def _plain(fact: Fact, grammar: Grammar) -> str:
    """ "Do not put weight on the operated limb for 4 weeks."; the words as said where no sentence fits them."""
    row = grammar.table("aftercare", Concept).get(fact.name or "")
    number = number_text(fact, grammar)
    if fact.text and not fact.taken_back:
        return fact.evidence.heard[:1].upper() + fact.evidence.heard[1:]  # "May shower after two days"
    if row is None or not row.meaning or fact.role == "avoid" or fact.certainty != "affirmed":
        return line(fact, grammar)
    if not number:
        return row.meaning
    told = row.meaning.removesuffix(".")
    if fact.role == "starts":
        return f"{told}, from {number} after the operation on."
    if fact.unit in _LASTING and fact.name not in _ONCE:
        return f"{told} for {number}."
    return f"{told} ({number})."
