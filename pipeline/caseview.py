"""Cases as they are read: what is listed, and a case opened at one version of its note."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import TypeAdapter
from sqlalchemy import select
from sqlalchemy.orm import Session

from pipeline import run
from pipeline.casefiles import CaseFiles
from pipeline.contexts import read_context
from pipeline.errors import UnknownName
from pipeline.grammar import Grammar
from pipeline.note import Code, OperativeNote
from pipeline.records import Fact, Revision
from pipeline.review import decisions
from pipeline.review.decisions import Step
from pipeline.review.tables import CaseRow, DecisionRow, VersionRow
from pipeline.site import Site
from pipeline.wordlist import WordList

_FACTS = TypeAdapter(list[Fact])


def as_json(facts: Sequence[Fact]) -> object:
    """Facts as JSON values, as a stored decision holds them."""
    return _FACTS.dump_python(list(facts), mode="json")


@dataclass(frozen=True, slots=True)
class Case:
    """One case as listed. `version`: the newest, 0 while there is no note; `signed`: whether that one is signed."""

    id: str
    label: str
    made_by: str
    made_at: str
    state: str
    seconds: float
    length: float
    message: str
    recording: str
    context: str
    version: int
    signed: bool


@dataclass(frozen=True, slots=True)
class Version:
    version: int
    made_by: str
    made_at: str
    reason: str
    signed: bool


@dataclass(frozen=True)
class Opened:
    """A case with one version of its note. `made`: the note before the decisions of this version; `note`: after.

    `seen`: number of the last decision, 0 before any; a decision names it, so that none is made on an old page.
    """

    case: Case
    version: int
    versions: tuple[Version, ...]
    made: OperativeNote
    note: OperativeNote
    steps: tuple[Step, ...]
    words: WordList | None
    site: Site
    has_sound: bool

    @property
    def seen(self) -> int:
        return self.steps[-1].id if self.steps else 0

    @property
    def signed(self) -> bool:
        return self.note.signature is not None


def read(session: Session, folder: Path, rules: Grammar, ident: str, version: int | None) -> Opened:
    """A case with a version of its note, the newest when none is named. Raises UnknownName."""
    row = row_of(session, ident)
    versions = versions_of(session, ident)
    if not versions or (version is not None and not 1 <= version <= len(versions)):
        raise UnknownName("This case has no such version of a note.", f"It has {len(versions)}.")
    chosen = versions[(version or len(versions)) - 1]
    made = OperativeNote.model_validate_json(chosen.note)
    listed = select(DecisionRow).where(DecisionRow.case == ident, DecisionRow.version == chosen.version)
    steps = tuple(_step(one) for one in session.scalars(listed.order_by(DecisionRow.id)))
    if chosen.signed:
        note = OperativeNote.model_validate_json(chosen.signed)
    else:
        note = run.recheck(decisions.apply(made, steps, rules), rules)
    files = CaseFiles(folder, ident)
    context = chosen.context if chosen.signed else row.context
    return Opened(
        case=case_of(row, (len(versions), bool(versions[-1].signed))), version=chosen.version,
        versions=tuple(Version(one.version, one.made_by, one.made_at, one.reason, bool(one.signed))
                       for one in versions),
        made=made, note=note, steps=steps, words=files.words(), site=read_context(context),
        has_sound=files.has_sound(),
    )  # fmt: skip


def row_of(session: Session, ident: str) -> CaseRow:
    row = session.get(CaseRow, ident)
    if row is None:
        raise UnknownName("There is no such case.", "Open one from the list of cases.")
    return row


def versions_of(session: Session, ident: str) -> list[VersionRow]:
    return list(session.scalars(select(VersionRow).where(VersionRow.case == ident).order_by(VersionRow.version)))


def newest(session: Session) -> dict[str, tuple[int, bool]]:
    """(number, whether signed) of the newest version of each case; the notes themselves are not read."""
    rows = select(VersionRow.case, VersionRow.version, VersionRow.signed != "").order_by(VersionRow.version)
    return {case: (version, bool(signed)) for case, version, signed in session.execute(rows)}


def case_of(row: CaseRow, newest: tuple[int, bool] | None) -> Case:
    version, signed = newest or (0, False)
    return Case(
        row.id, row.label, row.made_by, row.made_at, row.state, row.seconds, row.length, row.message, row.recording,
        row.context, version, signed,
    )  # fmt: skip


def _step(row: DecisionRow) -> Step:
    content = json.loads(row.content)
    if row.kind == "added":
        facts = tuple(_FACTS.validate_python(content["facts"]))
        return Step(row.id, row.kind, Revision(**content["revision"]), None, row.undoes, row.together, facts)
    revision = Revision(**content) if row.kind == "revision" else None
    code = Code(**content) if row.kind.startswith("code") else None
    return Step(row.id, row.kind, revision, code, row.undoes, row.together)
