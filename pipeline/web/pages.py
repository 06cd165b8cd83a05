"""Pages for people: sign-in, the list of cases, a case, its versions, its questions."""

from __future__ import annotations

import secrets
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request, Response
from fastapi.responses import RedirectResponse

from pipeline import wording
from pipeline.contexts import read_context
from pipeline.desk import Desk
from pipeline.handover import Sending
from pipeline.review import worklist
from pipeline.review.accounts import Accounts, SignedIn
from pipeline.web import review_page, security, views
from pipeline.web.security import allowed, signed_in

router = APIRouter(include_in_schema=False)
Found = Annotated[SignedIn, Depends(signed_in)]
READ = Depends(allowed("read"))


@router.get("/")
def start(request: Request, found: Found) -> Response:
    return RedirectResponse("/cases" if found.user.may("read") else "/administration", 303)


@router.get("/sign-in")
def sign_in_page(request: Request) -> Response:
    return _sign_in(request)


@router.post("/sign-in")
def sign_in(
    request: Request, name: Annotated[str, Form()], password: Annotated[str, Form()], form: Annotated[str, Form()] = ""
) -> Response:
    expected = request.cookies.get(security.FORM_COOKIE, "")
    if not expected or not secrets.compare_digest(form, expected) or not security.same_site(request):
        return _sign_in(request, "The sign-in form was too old. Try again.", 403)
    accounts: Accounts = request.app.state.accounts
    cookie = accounts.sign_in(name, password)
    if cookie is None:
        if accounts.locked(name):
            return _sign_in(request, "Too many wrong passwords. Wait a quarter of an hour, or ask the "
                                     "administrator.", 429)  # fmt: skip
        return _sign_in(request, "Name or password is wrong.", 401)
    answer = RedirectResponse("/", 303)
    security.set_cookie(request, answer, security.COOKIE, cookie)
    return answer


@router.post("/sign-out")
def sign_out(request: Request, csrf: Annotated[str, Form()] = "") -> Response:
    accounts: Accounts = request.app.state.accounts
    cookie = request.cookies.get(security.COOKIE, "")
    found = accounts.session(cookie)
    if found is not None and security.same_site(request) and secrets.compare_digest(csrf, found.csrf):
        accounts.sign_out(cookie)
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(security.COOKIE, path="/")
    return answer


@router.get("/cases", dependencies=[READ])
def cases(request: Request, found: Found) -> Response:
    desk: Desk = request.app.state.desk
    listed = [(case, _patient(case.context)) for case in desk.cases()]
    return views.page(request, "cases.html", found, cases=listed)


@router.get("/cases/{case}", dependencies=[READ])
def case(request: Request, found: Found, case: str, version: int | None = None) -> Response:
    desk: Desk = request.app.state.desk
    known = desk.case(case)
    if not known.version:
        return views.page(request, "waiting.html", found, case=known, patient=_patient(known.context))
    return views.page(request, "case.html", found, **_shown(request, case, version))


@router.get("/cases/{case}/work", dependencies=[READ])
def work(request: Request, found: Found, case: str, version: int | None = None) -> Response:
    """The part of the case's page that changes with a decision."""
    return views.page(request, "work.html", found, **_shown(request, case, version))


@router.get("/cases/{case}/coding", dependencies=[READ])
def coding(request: Request, found: Found, case: str) -> Response:
    """Codes, candidates and axes; asked for when the reader opens them."""
    state = request.app.state
    return views.page(request, "coding.html", found, **review_page.coding_help(state.desk, case, state.pcs_tables))


@router.get("/cases/{case}/questions", dependencies=[READ])
def questions(request: Request, found: Found, case: str) -> Response:
    return views.page(request, "questions.html", found, **review_page.content(request.app.state.desk, case, None))


@router.get("/cases/{case}/compare", dependencies=[READ])
def compare(request: Request, found: Found, case: str, before: int, after: int) -> Response:
    desk: Desk = request.app.state.desk
    opened = desk.open(case, after)
    return views.page(
        request, "compare.html", found, opened=opened, case=opened.case, before=before, after=after,
        patient=wording.patient_line(opened.site, opened.note), rows=desk.compare(case, before, after),
        standings=worklist.LABELS,
    )  # fmt: skip


def _shown(request: Request, case: str, version: int | None) -> dict[str, Any]:
    """What case.html and work.html show."""
    state = request.app.state
    sending: Sending = state.sending
    accounts: Accounts = state.accounts
    surgeons = [(one.name, one.full_name) for one in accounts.users() if one.may("sign")]
    return review_page.content(state.desk, case, version) | {
        "outbox": sending.state(), "deliveries": sending.sent(case), "surgeons": surgeons,
    }  # fmt: skip


@router.get("/questions", dependencies=[Depends(allowed("sign"))])
def my_questions(request: Request, found: Found) -> Response:
    """What the signed-in surgeon was asked, of all cases, to be answered here."""
    desk: Desk = request.app.state.desk
    listed = [review_page.Asked.of(opened, one) for opened, one in desk.questions(found.user)]
    return views.page(request, "my_questions.html", found, listed=listed)


def _sign_in(request: Request, problem: str = "", status: int = 200) -> Response:
    form = secrets.token_urlsafe(24)
    answer = views.page(request, "sign_in.html", None, status, problem=problem, form=form)
    security.set_cookie(request, answer, security.FORM_COOKIE, form)
    return answer


def _patient(context: str) -> str:
    known = read_context(context)
    return wording.known_patient(known)
