"""What the coder's page shows of a case, put into rows: sections with their values, findings, transcript, outline."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import coding, wording
from pipeline.assemble import concept, display, line
from pipeline.caseview import Opened
from pipeline.desk import STATEMENT, Desk
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence, Fact, Finding, Revision, Word
from pipeline.review import code_forms, decisions, worklist
from pipeline.review.worklist import Item
from pipeline.rows import Kind

EXPORTS = (
    ("fhir-document", "FHIR document"), ("fhir-transaction", "FHIR transaction"), ("docx", "Word note"),
    ("aftercare", "Aftercare sheet"), ("mdm", "HL7 v2 message"), ("note-json", "Note as JSON"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Value:
    """One value of a line: what it is called, how it reads, where it was said, how it stands."""

    fact: Fact
    label: str
    text: str
    item: Item
    doubts: tuple[str, ...]
    state: str


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of a section with its values."""

    text: str
    values: tuple[Value, ...]

    @property
    def group(self) -> bool:
        return len(self.values) > 1


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on the outline of the recording. `x`, `width`: per cent of its length."""

    x: float
    width: float
    what: str
    label: str
    start: float
    target: str


@dataclass(frozen=True, slots=True)
class Asked:
    """A question to a surgeon, with whose operation it is about. `place`: where in the recording, None without."""

    case: str
    patient: str
    title: str
    question: Revision
    place: Evidence | None
    has_sound: bool

    @classmethod
    def of(cls, opened: Opened, question: Revision) -> Asked:
        place = dict((one.target, where) for one, where in _questions(opened)).get(question.target)
        said = [fact.text or fact.evidence.heard for fact in opened.note.of("procedure")]
        return cls(opened.case.id, wording.patient_line(opened.site, opened.note), "; ".join(dict.fromkeys(said)),
                   question, place, opened.has_sound)  # fmt: skip


def content(desk: Desk, case: str, version: int | None) -> dict[str, Any]:
    """Everything that case.html and work.html show."""
    opened = desk.open(case, version)
    note, rules = opened.note, desk.rules
    items = worklist.items(note)
    lines = {name: [_line(note, entry.facts, entry.text, items, rules) for entry in entries
                    if not isinstance(entry, Passage)]
             for name, entries in note.sections.items()}  # fmt: skip
    first = [value for listed in lines.values() for entry in listed for value in entry.values
             if value.item.standing in ("decide", "asked")]  # fmt: skip
    return {
        "case": opened.case,
        "opened": opened,
        "note": note,
        "patient": wording.patient_line(opened.site, note),
        "identified": bool(wording.known_patient(opened.site)),
        "title": _title(note, rules),
        "sections": {name: listed for name, listed in lines.items() if listed},
        "first": first,
        "sure": len(worklist.sure(note)),
        "counts": _counts(items),
        "labels": worklist.LABELS,
        "findings": [one for one in worklist.findings(note) if not _in_rows(one, first)],
        "open_findings": len(note.open_findings()),
        "questions": _questions(opened),
        "rejected": [one for one in note.decisions if one.action == "reject"],
        "decided": note.decisions,
        "names": {fact.id: _label(fact, rules) for fact in opened.made.facts},
        "stretches": _stretches(opened),
        "outline_marks": _marks(opened, items),
        "length": _length(opened),
        "can_undo": bool(decisions.last_to_undo(opened.steps)),
        "code_kinds": code_forms.LABELS,
        "code_label": code_forms.label,
        "exports": EXPORTS,
        "statement": STATEMENT,
        "editable": not opened.signed and opened.version == len(opened.versions),
    }


def coding_help(desk: Desk, case: str, pcs_tables: Path | None) -> dict[str, Any]:
    """What coding.html shows: candidates and axes of the newest version. The first call takes some seconds."""
    opened = desk.open(case)
    tables = coding.read_tables(pcs_tables) if pcs_tables else []
    return {
        "note": opened.note, "editable": not opened.signed, "tables": bool(tables), "code_kinds": code_forms.LABELS,
        "code_label": code_forms.label, "code_kind": code_forms.kind,
        "diagnoses": coding.diagnosis_questions(opened.note, desk.rules),
        "procedures": coding.procedure_questions(opened.note, desk.rules, tables),
    }  # fmt: skip


def _title(note: OperativeNote, rules: Grammar) -> str:
    """The procedures with their side, as the heading."""
    said = [line(fact, rules) for fact in note.of("procedure") if fact.certainty != "negated"]
    return "; ".join(dict.fromkeys(said)) or "No procedure said"


def _in_rows(finding: Finding, rows: list[Value]) -> bool:
    """Whether a doubt is shown with each value that it is about, so that it needs no place of its own."""
    shown = {row.fact.id for row in rows}
    return finding.check == "doubtful" and not finding.settled and bool(finding.facts) and set(finding.facts) <= shown


def _line(note: OperativeNote, facts: list[str], text: str, items: dict[str, Item], rules: Grammar) -> Line:
    return Line(text, tuple(_value(note.fact(ident), items[ident], rules) for ident in facts))


def _value(fact: Fact, item: Item, rules: Grammar) -> Value:
    state = wording.state([fact])
    parts = [display(fact, rules), fact.laterality or ""]
    return Value(
        fact, _label(fact, rules), ", ".join(part for part in parts if part), item,
        tuple(wording.doubts([fact])), "" if state == "done" else state,
    )  # fmt: skip


def _label(fact: Fact, rules: Grammar) -> str:
    kind = rules.table("kinds", Kind).get(fact.kind)
    name = kind.name if kind is not None else fact.kind.replace("_", " ")
    about = concept(fact, rules)
    return f"{name} ({about})" if about and about != display(fact, rules) else name


def _counts(items: dict[str, Item]) -> dict[str, int]:
    counts = dict.fromkeys(worklist.LABELS, 0)
    for item in items.values():
        counts[item.standing] += 1
    return {str(name): count for name, count in counts.items()}


def _questions(opened: Opened) -> list[tuple[Revision, Evidence | None]]:
    places = {fact.id: fact.evidence for fact in opened.made.facts}
    places |= {one.key: one.evidence[0] for one in opened.note.findings if one.evidence}
    return [(one, places.get(one.target)) for one in decisions.questions(opened.note)]


def _stretches(opened: Opened) -> list[tuple[float | None, list[Word]]]:
    """The words by stretch of speech, for the transcript; the description word by word when no list is stored."""
    listed: dict[int, list[Word]] = {}
    for word in opened.words.words if opened.words else ():
        listed.setdefault(word.segment, []).append(word)
    return [(words[0].start, words) for words in listed.values()]


def _length(opened: Opened) -> float:
    return opened.words.seconds if opened.words else 0.0


def _marks(opened: Opened, items: dict[str, Item]) -> list[Mark]:
    length = _length(opened)
    if opened.words is None or not length:
        return []
    marks = [_mark(one.start, one.end, length, "speech", "speech", "") for one in opened.words.segments]
    for item in items.values():
        piece = item.fact.evidence
        if item.standing == "decide" and piece.start is not None and piece.end is not None:
            marks.append(_mark(piece.start, piece.end, length, "doubt", f"unsure: {piece.heard}", item.fact.id))
    for finding in opened.note.open_findings():
        marks += [_mark(piece.start, piece.end, length, finding.severity, finding.message, _anchor(finding))
                  for piece in finding.evidence if piece.start is not None and piece.end is not None]  # fmt: skip
    return marks


def _mark(start: float, end: float, length: float, what: str, label: str, target: str) -> Mark:
    return Mark(round(100 * start / length, 2), round(max(0.4, 100 * (end - start) / length), 2), what, label, start,
                target)  # fmt: skip


def _anchor(finding: Finding) -> str:
    return f"finding-{finding.key}"
