"""The operative note: the one schema that everyone reads (`voxop schema` prints it as JSON Schema).

`facts` are what was said; `sections` are a view of them for people (every entry names the facts behind it);
`findings` are what the checks say. Decimals are written as JSON strings so that 2.50 stays 2.50.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from functools import cached_property
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pipeline.errors import BadNote
from pipeline.records import Evidence, Fact, Finding, Revision


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Entry(_Strict):
    """One line of a section. `facts`: ids of the facts behind it (at least one)."""

    text: str
    facts: list[str] = Field(min_length=1)
    doubtful: bool = False
    doubts: list[str] = []


class Repair(_Strict):
    """A misheard term that was put right by its sound: what stands in the text, and what was heard."""

    text: str
    heard: str


class SaidSide(_Strict):
    """A side that was said and that no fact of its sentence has. `site`: row of sites.toml beside it, or ""."""

    side: Literal["left", "right"]
    site: str = ""
    evidence: Evidence


class Passage(_Strict):
    """One sentence of the narration, word for word. `taken_back`: parts struck by a spoken correction; `repaired`:
    misheard terms that stand put right in `text` (`evidence.heard` has them as heard); `unplaced`: numbers in it that
    no fact holds; `sides`: sides in it that no fact has."""

    text: str
    evidence: Evidence
    section: str = ""
    taken_back: list[Evidence] = []
    repaired: list[Repair] = []
    unplaced: list[Evidence] = []
    sides: list[SaidSide] = []

    def holds(self, fact: Fact) -> bool:
        """Whether the fact was said in this sentence: its first word is one of the sentence's."""
        return self.evidence.first <= fact.evidence.first <= self.evidence.last


class Sections(_Strict):
    """The sections of a note, in the order in which they are printed."""

    identity: list[Entry] = []
    team: list[Entry] = []
    times: list[Entry] = []
    indication: list[Entry] = []
    consent: list[Entry] = []
    diagnoses: list[Entry] = []
    procedures: list[Entry] = []
    anaesthesia: list[Entry] = []
    position: list[Entry] = []
    preparation: list[Entry] = []
    approach: list[Entry] = []
    findings: list[Entry] = []
    description: list[Passage] = []
    medicines: list[Entry] = []
    fluids: list[Entry] = []
    harvest: list[Entry] = []
    injection: list[Entry] = []
    measurements: list[Entry] = []
    tourniquet: list[Entry] = []
    sutures: list[Entry] = []
    devices: list[Entry] = []
    specimens: list[Entry] = []
    drains: list[Entry] = []
    blood_loss: list[Entry] = []
    counts: list[Entry] = []
    complications: list[Entry] = []
    disposition: list[Entry] = []
    aftercare: list[Entry] = []

    def items(self) -> Iterator[tuple[str, list[Entry] | list[Passage]]]:
        """(section name, entries) in printing order."""
        for name in type(self).model_fields:
            yield name, getattr(self, name)


class SecondOpinion(_Strict):
    """A word that a second recogniser reads otherwise. `word`: its id; `at`: seconds, None where it has no time."""

    word: int
    heard: str
    others: list[str]
    at: float | None = None


class Source(_Strict):
    """What the note was made from. `seconds`: length of the sound, None for text."""

    kind: Literal["audio", "words", "text"]
    name: str
    sha256: str
    seconds: float | None = None
    engine: str
    model: str = ""
    segments: int | None = None
    dropped_words: int = 0
    collapsed_loops: int = 0
    notices: list[str] = []
    opinions: list[SecondOpinion] = []


class Signature(_Strict):
    by: str
    at: str
    statement: str


class Code(_Strict):
    """A code that a coder entered. `system`: its URI as FHIR writes it; `facts`: what it codes.

    ICD-10-CM: http://hl7.org/fhir/sid/icd-10-cm, ICD-10-PCS: http://www.cms.gov/Medicare/Coding/ICD10,
    CPT: http://www.ama-assn.org/go/cpt, SNOMED CT: http://snomed.info/sct (HL7 Terminology).
    """

    system: str
    code: str
    display: str = ""
    facts: list[str] = []
    by: str = ""
    at: str = ""


class Amendment(_Strict):
    """Why a version was made after the one before it had been signed. `version`: the one that it amends."""

    version: int
    by: str
    at: str
    reason: str
    changes: list[str] = []


class OperativeNote(_Strict):
    """One operation. `made_at`: ISO 8601 with offset. `state`: draft until a person signs."""

    schema_version: Literal["1"] = "1"
    id: str
    state: Literal["draft", "signed", "amended"] = "draft"
    version: int = 1
    language: Literal["en"] = "en"
    made_at: str
    family: str | None = None
    profile: str
    source: Source
    facts: list[Fact]
    sections: Sections
    findings: list[Finding] = []
    decisions: list[Revision] = []
    codes: list[Code] = []
    amendment: Amendment | None = None
    signature: Signature | None = None

    def fact(self, ident: str) -> Fact:
        """The fact of that id. Raises KeyError."""
        for fact in self.facts:
            if fact.id == ident:
                return fact
        raise KeyError(ident)

    def of(self, *kinds: str, given: bool = False) -> list[Fact]:
        """Facts of these kinds in the order said; with `given`, only performed and not negated ones."""
        found = [fact for fact in self.facts if fact.kind in kinds]
        if not given:
            return found
        return [fact for fact in found if fact.status == "performed" and fact.certainty != "negated"]

    def says(self, *parts: str) -> bool:
        """Whether one of these, in small letters, is anywhere in the words: a look before sentences are searched one by
        one."""
        told = self.in_small()
        return any(part in told for part in parts)

    def in_small(self) -> str:
        """All the words, in small letters."""
        return " ".join([passage.text for passage in self.sections.description]).lower()

    def group(self, fact: Fact) -> list[Fact]:
        """All facts of the same event, the fact itself included."""
        if fact.group is None:
            return [fact]
        return [other for other in self.facts if other.group == fact.group]

    def open_findings(self) -> list[Finding]:
        """Findings that no recorded decision has settled."""
        return [finding for finding in self.findings if not finding.settled]

    def to_json(self) -> str:
        return json.dumps(self.model_dump(mode="json"), ensure_ascii=False, indent=1) + "\n"


class NoteInHand(OperativeNote):
    """A note as the checks read it, two hundred times over: its facts are sorted by kind once. It lives no longer than
    they run, and its facts stay as they are."""

    @classmethod
    def over(cls, note: OperativeNote) -> NoteInHand:
        return cls.model_construct(note.model_fields_set, **dict(note))

    @cached_property
    def by_kind(self) -> dict[str, list[Fact]]:
        found: dict[str, list[Fact]] = {}
        for fact in self.facts:
            found.setdefault(fact.kind, []).append(fact)
        return found

    @cached_property
    def _small(self) -> str:
        return super().in_small()

    def in_small(self) -> str:
        return self._small

    def of(self, *kinds: str, given: bool = False) -> list[Fact]:
        known = self.by_kind
        if known.keys().isdisjoint(kinds):
            return []
        found = known[kinds[0]] if len(kinds) == 1 else [fact for fact in self.facts if fact.kind in kinds]
        if given:
            return [fact for fact in found if fact.status == "performed" and fact.certainty != "negated"]
        return list(found)


def load(path: Path) -> OperativeNote:
    """Reads note.json. Raises BadNote with the first faults in plain words."""
    try:
        return OperativeNote.model_validate_json(path.read_bytes())
    except OSError as problem:
        raise BadNote(f"cannot be read ({problem.strerror}).", "Name a note.json.", where=str(path)) from problem
    except ValidationError as problem:
        raise BadNote(
            f"is not a note of this schema: {_faults(problem)}.",
            "Make it again with `voxop note`, or see `voxop schema`.",
            where=str(path),
        ) from problem


def _faults(problem: ValidationError) -> str:
    return "; ".join(
        f"{'.'.join(str(part) for part in fault['loc']) or 'file'}: {fault['msg']}" for fault in problem.errors()[:3]
    )


def heard(evidence: Iterable[Evidence]) -> str:
    """The words of several pieces of evidence, for messages."""
    return " … ".join(piece.heard for piece in evidence)
