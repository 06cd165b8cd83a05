"""The application: `create(desk, accounts, jobs)` puts pages, API and static files together. No logic here."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from pipeline import __version__
from pipeline.desk import Desk
from pipeline.errors import BadDecision, DeliveryError, InputError, SourceNotFound, UnknownName, VoxError
from pipeline.handover import Sending
from pipeline.jobs import Jobs
from pipeline.review.accounts import Accounts
from pipeline.web import admin, api, live, pages, security, views
from pipeline.web.bodies import BodyLimit
from pipeline.web.rooms import Rooms

_HERE = Path(__file__).resolve().parent


def create(desk: Desk, accounts: Accounts, jobs: Jobs, **state: Any) -> FastAPI:
    """The ASGI application. `state`: further things that pages show ("demo": True, "pcs_tables": a path),
    or that replace a part ("load_engine": makes the recogniser of live dictation)."""

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        await app.state.rooms.close()
        jobs.close()
        desk.store.close()

    app = FastAPI(
        title="Vox Operandi", version=__version__, docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan,
        description="Cases, notes, decisions, signing and exports. The pages use the same functions.",
    )  # fmt: skip
    app.state.desk, app.state.accounts, app.state.jobs, app.state.store = desk, accounts, jobs, desk.store
    app.state.demo, app.state.pcs_tables = bool(state.get("demo")), state.get("pcs_tables")
    app.state.sending = state.get("sending") or Sending(desk)
    app.state.rooms = Rooms(desk, state.get("load_engine") or jobs.load_engine)
    app.middleware("http")(security.guard)
    app.add_middleware(BodyLimit)
    app.mount("/static", StaticFiles(directory=_HERE / "static"), name="static")
    for module in (pages, api, admin, live):
        app.include_router(module.router)
    app.add_exception_handler(security.SignInFirst, _to_sign_in)
    app.add_exception_handler(VoxError, _vox_error)
    app.add_exception_handler(HTTPException, _refused)
    app.add_exception_handler(RequestValidationError, _not_valid)
    return app


def status_of(problem: VoxError) -> int:
    """The HTTP status of an error of ours."""
    if isinstance(problem, UnknownName | SourceNotFound):
        return 404
    if isinstance(problem, BadDecision):
        return 409
    if isinstance(problem, DeliveryError):
        return 502
    return 400 if isinstance(problem, InputError) else 500


async def _to_sign_in(request: Request, _: Exception) -> Response:
    return RedirectResponse("/sign-in", 303)


async def _vox_error(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, VoxError)
    return _answer(request, status_of(problem), problem.what, problem.do)


async def _refused(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, HTTPException)
    what = "There is no such page." if problem.status_code == 404 else str(problem.detail)
    return _answer(request, problem.status_code, what, "")


async def _not_valid(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, RequestValidationError)
    told = "; ".join(f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}" for one in problem.errors()[:3])
    return _answer(request, 422, f"The request is not well formed: {told}.", "")


def _answer(request: Request, status: int, what: str, do: str) -> Response:
    """The error as JSON for the API, as a page for people."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"what": what, "do": do}, status)
    return views.page(request, "error.html", status=status, what=what, do=do)
