"""What the application can do with a case, from opening it to amending it. The web and its API only call this.

One case is one operation of one patient. Each function names the case, and who does it; what changes goes through
`Store.writing`, so the history holds it. A signed version is written once and only read from then on.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from pipeline import checking, plugins, run
from pipeline.assemble import line
from pipeline.casefiles import CaseFiles
from pipeline.caseview import Case, Opened, as_json, case_of, newest, read, row_of, versions_of
from pipeline.contexts import read_context
from pipeline.engines.base import Engine, Reader
from pipeline.errors import BadDecision
from pipeline.grammar import Grammar
from pipeline.note import Amendment, Code, OperativeNote, Signature
from pipeline.records import Fact, Revision
from pipeline.review import compare, decisions, history, values, worklist
from pipeline.review.accounts import User
from pipeline.review.store import Store, Writing, now
from pipeline.review.tables import CaseRow, DecisionRow, VersionRow
from pipeline.run import Heard
from pipeline.spotting import Lists

STATEMENT = "I have read this note and it describes the operation as I did it."


class Desk:
    """The functions of the application over a store and a folder of case files."""

    def __init__(self, store: Store, folder: Path, rules: Grammar, *, profile: str = run.DEFAULT_PROFILE) -> None:
        rules.profile(profile)
        self.store = store
        self.folder = folder
        self.rules = rules
        self.profile = profile
        # What asks about confusable words of every dictation, and what gives its partial words; none unless set.
        self.second: run.Second | None = None
        self.early: Engine | None = None
        # What reads each stretch of live dictation a second time.
        self.reader: Reader | None = None
        # What hears control words from the sound; none unless set.
        self.spots: Lists | None = None

    # cases

    def cases(self) -> list[Case]:
        """All cases, newest first."""
        with self.store.reading() as session:
            versions = newest(session)
            rows = session.scalars(select(CaseRow).order_by(CaseRow.made_at.desc(), CaseRow.id))
            return [case_of(row, versions.get(row.id)) for row in rows]

    def case(self, ident: str) -> Case:
        """Raises UnknownName."""
        with self.store.reading() as session:
            return case_of(row_of(session, ident), newest(session).get(ident))

    def files(self, ident: str) -> CaseFiles:
        return CaseFiles(self.folder, ident)

    def new_case(self, by: User, label: str = "", context: str = "") -> str:
        """Opens a case and gives its id. `context`: "" or what `context_of` gave. Raises BadContext."""
        read_context(context)
        ident = str(uuid.uuid4())
        CaseFiles(self.folder, ident).make()
        with self.store.writing(by.name) as change:
            change.session.add(CaseRow(id=ident, label=label.strip()[:200], made_by=by.name, made_at=now(),
                                       state="new", context=context))  # fmt: skip
            change.tell("case opened", ident, detail={"label": label, "context": context})
        return ident

    def identify(self, ident: str, by: User, context: str) -> None:
        """Says whose case it is. Raises BadContext; BadDecision once a version is signed."""
        read_context(context)
        with self.store.writing(by.name) as change:
            row = row_of(change.session, ident)
            if any(version.signed for version in versions_of(change.session, ident)):
                raise BadDecision("The note is signed; whose it is cannot change.", "Open a new case.")
            before, row.context = row.context, context
            change.tell("patient identified", ident, detail={"before": before, "after": context})

    def progress(self, ident: str, state: str, *, seconds: float = 0.0, length: float = 0.0, message: str = "") -> None:
        """Tells how far the hearing of a recording is."""
        with self.store.noting() as session:
            row = row_of(session, ident)
            row.state, row.seconds, row.length, row.message = state, seconds, length, message

    def recorded(self, ident: str, by: User, name: str, sha256: str) -> None:
        """A recording was stored in the case's folder under `name`. Raises BadDecision if there is a note."""
        with self.store.writing(by.name) as change:
            row = row_of(change.session, ident)
            if row.recording or versions_of(change.session, ident):
                raise BadDecision("This case has a recording or note already.", "Open a new case for another one.")
            row.recording, row.state = name, "listening"
            change.tell("recording stored", ident, detail={"name": name, "sha256": sha256})

    def read_back(self, ident: str, by: User, detail: Mapping[str, object]) -> None:
        """The team confirmed the read-back. `detail`: how, where in the sound, and what was on the screen."""
        with self.store.writing(by.name) as change:
            row_of(change.session, ident)
            change.tell("read-back confirmed", ident, detail=detail)

    def make_note(self, ident: str, by: User, heard: Heard, *, family: str | None = None) -> OperativeNote:
        """The first version of the case's note, from words; stores the words. Raises BadDecision if there is one."""
        files = CaseFiles(self.folder, ident)
        files.make()
        words = run.words_file(heard)
        note = run.make_note(heard, self.rules, family=family, profile=self.profile, made_at=now())
        # The id of the note is the case's: the same words said for two patients are two notes.
        note = note.model_copy(update={"id": ident})
        content = note.to_json()
        with self.store.writing(by.name) as change:
            row = row_of(change.session, ident)
            if versions_of(change.session, ident):
                raise BadDecision("This case has a note already.", "Amend it, or open a new case.")
            part = files.words_path.with_suffix(".part")
            part.write_bytes(words)
            part.replace(files.words_path)
            change.session.add(VersionRow(case=ident, version=1, note=content, made_by=by.name, made_at=now()))
            row.state, row.message = "ready", ""
            change.tell("note made", ident, 1, {
                "note": history.sha256(content), "words": history.sha256(words.decode()), "source": heard.source.sha256,
            })  # fmt: skip
        return note

    def open(self, ident: str, version: int | None = None) -> Opened:
        """A case with a version of its note, the newest when none is named. Raises UnknownName."""
        with self.store.reading() as session:
            return self._opened(session, ident, version)

    # review

    def fields(self, ident: str, fact: str) -> list[values.Field]:
        """What of a fact can be corrected. Raises BadDecision when it is not there."""
        return values.fields(_fact(self.open(ident), fact), self.rules)

    def accept(self, ident: str, by: User, facts: Sequence[str], seen: int | None = None) -> None:
        """These facts stand as they are. Raises BadDecision."""
        def made(opened: Opened) -> list[Revision]:
            return [decisions.accept(_fact(opened, one), self.rules, by=by.name, at=now()) for one in facts]

        self._decide(ident, by, made, seen)

    def accept_sure(self, ident: str, by: User, seen: int | None = None) -> None:
        """Accepts all facts against which nothing stands, together. Raises BadDecision when there are none."""
        def made(opened: Opened) -> list[Revision]:
            return [decisions.accept(fact, self.rules, by=by.name, at=now(), reason="accepted together: nothing unsure")
                    for fact in worklist.sure(opened.note)]  # fmt: skip

        self._decide(ident, by, made, seen)

    def correct(
        self, ident: str, by: User, fact: str, attribute: str, typed: str, reason: str = "", seen: int | None = None
    ) -> None:
        """Another value for a fact. Raises BadDecision that says what would be right."""
        def made(opened: Opened) -> list[Revision]:
            return [decisions.correct(_fact(opened, fact), attribute, typed, self.rules, by=by.name, at=now(),
                                      reason=reason)]  # fmt: skip

        self._decide(ident, by, made, seen)

    def reject(
        self, ident: str, by: User, fact: str, reason: str, *, whole: bool = False, seen: int | None = None
    ) -> None:
        """A fact does not stand; with `whole`, all facts of its event. Raises BadDecision without a reason."""
        def made(opened: Opened) -> list[Revision]:
            one = _fact(opened, fact)
            these = opened.note.group(one) if whole else [one]
            return [decisions.reject(each, self.rules, by=by.name, at=now(), reason=reason) for each in these]

        self._decide(ident, by, made, seen)

    def add(self, ident: str, by: User, typed: str, reason: str, seen: int | None = None) -> None:
        """Adds what was never said, typed as it would be said; marked so wherever it stands. Raises BadDecision."""
        heard = run.from_text(typed, "added") if typed.strip() else None
        with self.store.writing(by.name) as change:
            opened = self._draft(change.session, ident, seen)
            family = opened.note.family
            read = run.make_note(heard, self.rules, family=family, profile=self.profile).facts if heard else []
            number = 1 + sum(one.action == "add" for one in opened.note.decisions)
            revision, facts = decisions.added(read, " ".join(typed.split()), number, name=by.full_name, by=by.name,
                                              at=now(), reason=reason)  # fmt: skip
            content = {"revision": asdict(revision), "facts": as_json(facts)}
            self._add(change, opened, "added", json.dumps(content, ensure_ascii=False))

    def ask(
        self, ident: str, by: User, target: str, question: str, seen: int | None = None, *, to: str = ""
    ) -> None:  # fmt: skip
        """Puts a question on a fact or finding on a surgeon's list (`to`: user name, "" for every surgeon's). Raises
        BadDecision."""
        def made(opened: Opened) -> list[Revision]:
            return [decisions.ask(target, self._about(opened, target), question, by=by.name, at=now(), to=to)]

        self._decide(ident, by, made, seen)

    def answer(self, ident: str, by: User, target: str, text: str) -> None:
        """Answers the open question on a fact or finding. Raises BadDecision."""
        def made(opened: Opened) -> list[Revision]:
            for question in decisions.questions(opened.note):
                if question.target == target:
                    return [decisions.answer(question, text, by=by.name, at=now())]
            raise BadDecision("This question is answered already.", "Load the page anew.")

        self._decide(ident, by, made, None)

    def questions(self, user: User) -> list[tuple[Opened, Revision]]:
        """The open questions to this user in all drafts, oldest first. Cases without a question are not opened."""
        with self.store.reading() as session:
            asked = select(DecisionRow.case).where(DecisionRow.content.contains('"action": "ask"')).distinct()
            cases = list(session.scalars(asked))
        listed = [(opened, one) for case in cases if not (opened := self.open(case)).signed
                  for one in decisions.questions(opened.note) if one.attribute in ("", user.name)]  # fmt: skip
        return sorted(listed, key=lambda pair: pair[1].at)

    def settle(self, ident: str, by: User, key: str, reason: str, seen: int | None = None) -> None:
        """Settles a finding with a reason. Raises BadDecision without one."""
        def made(opened: Opened) -> list[Revision]:
            return [checking.settle(opened.note, key, by=by.name, at=now(), reason=reason)]

        self._decide(ident, by, made, seen)

    def enter_code(self, ident: str, by: User, code: Code, *, remove: bool = False, seen: int | None = None) -> None:
        """Enters or removes a code; its form is to be checked before (`code_forms.checked`)."""
        with self.store.writing(by.name) as change:
            opened = self._draft(change.session, ident, seen)
            for fact in code.facts:
                _fact(opened, fact)
            self._add(change, opened, "code-removed" if remove else "code",
                      json.dumps(code.model_copy(update={"by": by.name, "at": now()}).model_dump()))  # fmt: skip

    def undo(self, ident: str, by: User, seen: int | None = None) -> None:
        """Takes back the last decision (or those made together). Raises BadDecision when there is none."""
        with self.store.writing(by.name) as change:
            opened = self._draft(change.session, ident, seen)
            back = decisions.last_to_undo(opened.steps)
            if not back:
                raise BadDecision("There is nothing to undo.", "")
            for step in reversed(back):
                self._add(change, opened, "undo", "{}", undoes=step.id)

    # signing

    def sign(self, ident: str, by: User, statement: str = STATEMENT, seen: int | None = None) -> OperativeNote:
        """Signs the newest version; from then on it never changes. Raises BadDecision while a blocking finding or a
        question stands open."""
        with self.store.writing(by.name) as change:
            opened = self._draft(change.session, ident, seen)
            blocking = [one.message for one in opened.note.open_findings() if one.severity == "blocking"]
            if blocking:
                raise BadDecision(f"Must be settled before signing: {' '.join(blocking)}",
                                  "Correct it or give a reason.")  # fmt: skip
            if asked := decisions.questions(opened.note):
                raise BadDecision(f"{len(asked)} question(s) to the surgeon are open.", "Answer them first.")
            moment = now()
            signed = opened.note.model_copy(update={
                "state": "amended" if opened.version > 1 else "signed",
                "signature": Signature(by=by.full_name, at=moment, statement=statement.strip() or STATEMENT),
                "amendment": self._amendment(change.session, opened),
            })  # fmt: skip
            content = signed.to_json()
            row = change.session.get_one(VersionRow, (ident, opened.version))
            row.signed, row.context = content, opened.case.context
            change.tell("signed", ident, opened.version, {
                "signed": history.sha256(content), "statement": statement, "full_name": by.full_name,
            })  # fmt: skip
        return signed

    def amend(self, ident: str, by: User, reason: str) -> int:
        """Begins a new version after the signed one and gives its number. Raises BadDecision."""
        if not reason.strip():
            raise BadDecision("An amendment needs a reason.", "Say what was wrong or missing.")
        with self.store.writing(by.name) as change:
            opened = self._opened(change.session, ident, None)
            if not opened.signed:
                raise BadDecision("This note is not signed yet.", "Change the draft itself.")
            number = opened.version + 1
            begun = opened.note.model_copy(update={"state": "draft", "version": number, "signature": None,
                                                   "amendment": None})  # fmt: skip
            content = begun.to_json()
            change.session.add(VersionRow(case=ident, version=number, note=content, reason=reason.strip(),
                                          made_by=by.name, made_at=now()))  # fmt: skip
            change.tell("amendment begun", ident, number, {"reason": reason, "note": history.sha256(content)})
        return number

    def compare(self, ident: str, before: int, after: int) -> list[compare.Row]:
        """Two versions line by line. Raises UnknownName."""
        return compare.compare(self.open(ident, before).note, self.open(ident, after).note)

    def export(self, ident: str, name: str, by: User, version: int | None = None) -> tuple[str, bytes]:
        """(file name, content) of one output form. Raises UnknownName, ExportError."""
        opened = self.open(ident, version)
        form = plugins.find("pipeline.exports", run.ALIASES.get(name, name))
        made = run.export(opened.note, [name], self.rules, opened.site)
        content = made[form.FILE]
        with self.store.writing(by.name) as change:
            change.tell("exported", ident, opened.version, {"form": name, "bytes": len(content)})
        return form.FILE, content

    # inside

    def _amendment(self, session: Session, opened: Opened) -> Amendment | None:
        if opened.version == 1:
            return None
        before = self._opened(session, opened.case.id, opened.version - 1)
        begun = opened.versions[opened.version - 1]
        return Amendment(version=before.version, by=begun.made_by, at=begun.made_at, reason=begun.reason,
                         changes=compare.changes(before.note, opened.note))  # fmt: skip

    def _about(self, opened: Opened, target: str) -> str:
        for fact in opened.note.facts:
            if fact.id == target:
                return line(fact, self.rules)
        return checking.as_worked(checking.find(opened.note, target))

    def _decide(
        self, ident: str, by: User, made: Callable[[Opened], list[Revision]], seen: int | None
    ) -> None:  # fmt: skip
        with self.store.writing(by.name) as change:
            opened = self._draft(change.session, ident, seen)
            revisions = made(opened)
            if not revisions:
                raise BadDecision("There is nothing to decide on.", "")
            together = str(uuid.uuid4()) if len(revisions) > 1 else ""
            for revision in revisions:
                self._add(change, opened, "revision", json.dumps(asdict(revision)), together=together)

    def _add(
        self, change: Writing, opened: Opened, kind: str, content: str, *, undoes: int = 0, together: str = ""
    ) -> None:
        row = DecisionRow(case=opened.case.id, version=opened.version, kind=kind, content=content, undoes=undoes,
                          together=together)  # fmt: skip
        change.session.add(row)
        change.session.flush()
        change.tell("undone" if kind == "undo" else "decided", opened.case.id, opened.version,
                    {"decision": row.id, "kind": kind, "content": content, "undoes": undoes})  # fmt: skip

    def _draft(self, session: Session, ident: str, seen: int | None) -> Opened:
        """The newest version, to be changed. Raises BadDecision when it is signed or was changed in between."""
        opened = self._opened(session, ident, None)
        if opened.signed:
            raise BadDecision("A signed note never changes.", "Begin an amendment.")
        if seen is not None and seen != opened.seen:
            raise BadDecision("Somebody decided on this note in the meantime.", "Look at it as it stands now.")
        return opened

    def _opened(self, session: Session, ident: str, version: int | None) -> Opened:
        return read(session, self.folder, self.rules, ident, version)


def _fact(opened: Opened, ident: str) -> Fact:
    try:
        return opened.note.fact(ident)
    except KeyError:
        raise BadDecision(f"There is no fact {ident} any more.", "Load the page anew.") from None
