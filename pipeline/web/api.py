"""The functions of the application as an API, described by OpenAPI (`/api/openapi.json`). The pages use it."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, File, HTTPException, Request, Response, UploadFile
from fastapi.openapi.utils import get_openapi
from pydantic import BaseModel, ConfigDict, Field

from pipeline import checking, run
from pipeline.caseview import Opened
from pipeline.contexts import context_of, patient_context
from pipeline.desk import STATEMENT, Desk
from pipeline.errors import BadDecision
from pipeline.handover import Sending
from pipeline.jobs import Jobs, store_recording
from pipeline.note import OperativeNote
from pipeline.review import code_forms, decisions, worklist
from pipeline.review.accounts import Accounts, User
from pipeline.web.security import allowed, signed_in

router = APIRouter(prefix="/api")
Reader = Annotated[User, Depends(allowed("read"))]
Reviewer = Annotated[User, Depends(allowed("review"))]
Coder = Annotated[User, Depends(allowed("code"))]
Surgeon = Annotated[User, Depends(allowed("sign"))]
Exporter = Annotated[User, Depends(allowed("export"))]


class _Body(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Identity(_Body):
    """Who the patient is, typed. `system`: who gave the number (a URI)."""

    family: str
    given: str = ""
    number: str
    system: str
    birth_date: str = ""
    sex: Literal["", "male", "female", "other", "unknown"] = ""


class NewCase(_Body):
    label: str = Field(default="", max_length=200)
    patient: Identity | None = None


class Narration(_Body):
    text: str = Field(max_length=500_000)
    family: str | None = None


class Decision(_Body):
    """`seen`: number of the last decision on the page, so that none is made on an old one.

    accept: `facts`. accept-sure: nothing more. correct: `fact`, `attribute`, `value`. reject: `fact`, `reason`, with
    `whole` for all of its event. ask: `target` (fact or finding), `reason` is the question, `to` the surgeon
    (user name; every surgeon without). answer: `target`, `reason` is the answer; only who may sign. settle: `target`
    (finding), `reason`. add: `value` (what was never said, as it would be said), `reason`. undo: nothing more.
    """

    action: Literal["accept", "accept-sure", "correct", "reject", "ask", "answer", "settle", "add", "undo"]
    seen: int | None = None
    facts: list[str] = []
    fact: str = ""
    target: str = ""
    attribute: str = "value"
    value: str = Field(default="", max_length=2000)
    reason: str = Field(default="", max_length=2000)
    whole: bool = False
    to: str = ""


class NewCode(_Body):
    kind: Literal["icd-10-cm", "icd-10-pcs", "cpt"]
    code: str = Field(max_length=20)
    display: str = Field(default="", max_length=300)
    facts: list[str] = []
    remove: bool = False
    seen: int | None = None


class Signing(_Body):
    """`password`: the surgeon's, typed again."""

    password: str
    statement: str = Field(default=STATEMENT, max_length=2000)
    seen: int | None = None


class Amending(_Body):
    reason: str = Field(max_length=2000)


def _desk(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


OfDesk = Annotated[Desk, Depends(_desk)]


def _sending(request: Request) -> Sending:
    sending: Sending = request.app.state.sending
    return sending


OfSending = Annotated[Sending, Depends(_sending)]


@router.get("/openapi.json", dependencies=[Depends(signed_in)], include_in_schema=False)
def openapi(request: Request) -> dict[str, Any]:
    app = request.app
    return get_openapi(title=app.title, version=app.version, description=app.description, routes=app.routes)


@router.get("/cases")
def cases(_: Reader, desk: OfDesk) -> list[dict[str, Any]]:
    """All cases, newest first."""
    return [asdict(case) for case in desk.cases()]


@router.post("/cases", status_code=201)
def new_case(user: Reviewer, desk: OfDesk, body: NewCase) -> dict[str, str]:
    """Opens a case."""
    context = patient_context(**body.patient.model_dump()) if body.patient else ""
    return {"id": desk.new_case(user, body.label, context)}


@router.get("/cases/{case}")
def case(_: Reader, desk: OfDesk, case: str) -> dict[str, Any]:
    """How far a case is: "new", "listening" with seconds of length, "dictating", "ready" or "failed" with a message."""
    return asdict(desk.case(case))


@router.put("/cases/{case}/patient", status_code=204)
def identify(user: Reviewer, desk: OfDesk, case: str, body: Identity) -> None:
    """Says whose case it is, typed."""
    desk.identify(case, user, patient_context(**body.model_dump()))


@router.put("/cases/{case}/context", status_code=204)
def context(user: Reviewer, desk: OfDesk, case: str, file: Annotated[UploadFile, File()]) -> None:
    """Says whose case it is, by a context file (FHIR JSON or TOML)."""
    desk.identify(case, user, context_of(file.filename or "context.json", file.file.read(1_000_000)))


@router.post("/cases/{case}/recording", status_code=202)
def recording(user: Reviewer, request: Request, desk: OfDesk, case: str, file: Annotated[UploadFile, File()]) -> None:
    """Takes a recording and hears it in the background; `GET /cases/{case}` tells how far it is."""
    jobs: Jobs = request.app.state.jobs
    jobs.add(case, user, store_recording(desk, case, user, file.file, file.filename or "recording"))


@router.post("/cases/{case}/narration", status_code=201)
def narration(user: Reviewer, desk: OfDesk, case: str, body: Narration) -> None:
    """Makes the note of a case from a typed narration."""
    desk.make_note(case, user, run.from_text(body.text, "narration"), family=body.family)


@router.get("/cases/{case}/note")
def note(_: Reader, desk: OfDesk, case: str, version: int | None = None) -> OperativeNote:
    """The note as it stands, with its findings."""
    return desk.open(case, version).note


@router.get("/cases/{case}/facts/{fact}/fields")
def fields(_: Reader, desk: OfDesk, case: str, fact: str) -> list[dict[str, Any]]:
    """What of a fact can be corrected, how it stands, and what may be chosen."""
    return [asdict(one) for one in desk.fields(case, fact)]


@router.get("/cases/{case}/signout")
def signout(_: Reader, desk: OfDesk, case: str) -> list[dict[str, Any]]:
    """The sign-out list: said, not said, said that there is none."""
    return [asdict(item) | {"element": item.element.model_dump()}
            for item in checking.signout(desk.open(case).note, desk.rules)]  # fmt: skip


@router.get("/cases/{case}/sound", response_class=Response)
def sound(_: Reader, desk: OfDesk, case: str, start: float = 0.0, end: float = 30.0) -> Response:
    """A piece of the recording as WAV, at most a minute. Seconds from its beginning."""
    return Response(desk.files(case).piece(start, end), media_type="audio/wav")


@router.get("/cases/{case}/questions")
def questions(_: Reader, desk: OfDesk, case: str) -> list[dict[str, Any]]:
    """The open questions to the surgeon."""
    return [asdict(one) for one in decisions.questions(desk.open(case).note)]


@router.post("/cases/{case}/decisions")
def decide(user: Reviewer, request: Request, desk: OfDesk, case: str, body: Decision) -> dict[str, Any]:
    """One decision on the newest version; gives how the note stands after it."""
    seen = body.seen
    if body.action == "accept":
        desk.accept(case, user, body.facts or [body.fact], seen)
    elif body.action == "accept-sure":
        desk.accept_sure(case, user, seen)
    elif body.action == "correct":
        desk.correct(case, user, body.fact, body.attribute, body.value, body.reason, seen)
    elif body.action == "reject":
        desk.reject(case, user, body.fact, body.reason, whole=body.whole, seen=seen)
    elif body.action == "ask":
        if body.to:
            accounts: Accounts = request.app.state.accounts
            if not any(one.name == body.to and one.may("sign") for one in accounts.users()):
                raise BadDecision(f"There is no surgeon {body.to}.", "Choose one of the list.")
        desk.ask(case, user, body.target or body.fact, body.reason, seen, to=body.to)
    elif body.action == "answer":
        if not user.may("sign"):
            raise HTTPException(403, "A surgeon answers questions.")
        desk.answer(case, user, body.target, body.reason)
    elif body.action == "add":
        desk.add(case, user, body.value, body.reason, seen)
    elif body.action == "settle":
        desk.settle(case, user, body.target, body.reason, seen)
    else:
        desk.undo(case, user, seen)
    return _standing(desk.open(case))


@router.post("/cases/{case}/codes")
def code(user: Coder, desk: OfDesk, case: str, body: NewCode) -> dict[str, Any]:
    """Enters or removes a code; its form is checked."""
    made = code_forms.checked(body.kind, body.code, body.display, body.facts)
    desk.enter_code(case, user, made, remove=body.remove, seen=body.seen)
    return _standing(desk.open(case))


@router.post("/cases/{case}/signature")
def sign(user: Surgeon, request: Request, desk: OfDesk, case: str, body: Signing) -> dict[str, Any]:
    """Signs the newest version."""
    accounts: Accounts = request.app.state.accounts
    if not accounts.confirm(user.name, body.password):
        raise BadDecision("The password is wrong; nothing was signed.", "Type your own password.")
    desk.sign(case, user, body.statement, body.seen)
    return _standing(desk.open(case))


@router.post("/cases/{case}/amendment", status_code=201)
def amend(user: Surgeon, desk: OfDesk, case: str, body: Amending) -> dict[str, int]:
    """Begins a new version of a signed note."""
    return {"version": desk.amend(case, user, body.reason)}


@router.get("/cases/{case}/comparison")
def comparison(_: Reader, desk: OfDesk, case: str, before: int, after: int) -> list[dict[str, str]]:
    """Two versions line by line."""
    return [asdict(row) for row in desk.compare(case, before, after)]


@router.get("/cases/{case}/exports/{form}", response_class=Response)
def export(user: Exporter, desk: OfDesk, case: str, form: str, version: int | None = None) -> Response:
    """A version in another form: fhir-document, fhir-transaction, docx, aftercare, mdm, note-json."""
    name, content = desk.export(case, form, user, version)
    stem, _, kind = name.partition(".")
    file = f"{stem}-{case[:8]}.{kind}"
    return Response(content, media_type=_MEDIA.get(Path(name).suffix, "application/octet-stream"),
                    headers={"Content-Disposition": f'attachment; filename="{file}"'})  # fmt: skip


@router.get("/questions")
def my_questions(user: Surgeon, desk: OfDesk) -> list[dict[str, Any]]:
    """The open questions to the surgeon who is signed in, of all cases."""
    return [asdict(one) | {"case": opened.case.id} for opened, one in desk.questions(user)]


@router.get("/outbox")
def outbox(_: Reader, sending: OfSending) -> dict[str, Any]:
    """The server that notes are sent to ("" when none is configured), and what waits to be sent."""
    return asdict(sending.state())


@router.post("/outbox")
def resume(user: Exporter, sending: OfSending) -> dict[str, Any]:
    """Sends all that waits; tells what failed and still waits."""
    sent, failed = sending.resume(user)
    return {"sent": sent, "failed": [{"what": one.what, "do": one.do} for one in failed]}


@router.post("/cases/{case}/delivery")
def send(user: Exporter, sending: OfSending, case: str) -> dict[str, Any]:
    """Sends the newest version, signed, to the hospital's server; what cannot go now waits in the outbox."""
    return asdict(sending.send(case, user))


_MEDIA = {
    ".json": "application/json",
    ".docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
    ".hl7": "application/octet-stream",
}


def _standing(opened: Opened) -> dict[str, Any]:
    counts = {name: 0 for name in worklist.LABELS}
    for item in worklist.items(opened.note).values():
        counts[item.standing] += 1
    return {
        "version": opened.version, "state": opened.note.state, "seen": opened.seen, "facts": counts,
        "findings": len(opened.note.open_findings()), "questions": len(decisions.questions(opened.note)),
    }  # fmt: skip
