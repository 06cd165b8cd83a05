"""The door: cookies, who is signed in, cross-site checks, headers, the access log."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import Depends, HTTPException, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection

from pipeline.review.accounts import Accounts, SignedIn, User
from pipeline.review.store import Store, now
from pipeline.review.tables import AccessRow

COOKIE = "voxop"
FORM_COOKIE = "voxop_form"
# Nothing from elsewhere, no inline script or style, no frame.
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self' blob:; "
    "connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; "
    "base-uri 'none'"
)
_HEADERS = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(self)",
}
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


class SignInFirst(Exception):
    """A page was asked for without sign-in; the application sends to the sign-in page."""


def same_site(request: HTTPConnection) -> bool:
    """Whether a request comes from our own pages, by its Origin (RFC 6454) or, without one, Sec-Fetch-Site."""
    origin = request.headers.get("origin")
    if origin is not None:
        return urlsplit(origin).netloc == request.headers.get("host", "")
    return request.headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")


def signed_in(request: Request) -> SignedIn:
    """Who is signed in. Raises HTTPException 401 for the API, SignInFirst for pages; 403 across sites or without
    the form's token."""
    accounts: Accounts = request.app.state.accounts
    cookie = request.cookies.get(COOKIE, "")
    found = accounts.session(cookie) if cookie else None
    if found is None:
        if request.url.path.startswith("/api/"):
            raise HTTPException(401, "Sign in first.")
        raise SignInFirst
    request.state.user = found.user.name
    if request.method not in _SAFE and not (
        same_site(request) and secrets.compare_digest(request.headers.get("x-csrf-token", ""), found.csrf)
    ):
        raise HTTPException(403, "This request did not come from a page of this application. Load the page anew.")
    return found


def signed_in_socket(socket: HTTPConnection, what: str) -> User | None:
    """The user of a WebSocket who may do `what`; None (close it with 1008) without sign-in or from another site."""
    accounts: Accounts = socket.app.state.accounts
    found = accounts.session(socket.cookies.get(COOKIE, ""))
    return found.user if found is not None and found.user.may(what) and same_site(socket) else None


def allowed(what: str) -> Callable[[SignedIn], User]:
    """A dependency that lets in only users who may do `what` ("read", "review", "sign" ...)."""

    def check(found: Annotated[SignedIn, Depends(signed_in)]) -> User:
        if not found.user.may(what):
            raise HTTPException(403, f"Your role ({', '.join(found.user.roles)}) does not allow this.")
        return found.user

    return check


async def guard(request: Request, call_next: Callable[[Request], Awaitable[Response]]) -> Response:
    """Sets the headers on every answer and writes the access log for everything but static files."""
    response = await call_next(request)
    response.headers.update(_HEADERS)
    if request.url.scheme == "https":
        response.headers["Strict-Transport-Security"] = "max-age=31536000"
    if not request.url.path.startswith("/static/"):
        response.headers.setdefault("Cache-Control", "no-store")
        await run_in_threadpool(_log, request, response.status_code)
    return response


def _log(request: Request, status: int) -> None:
    store: Store = request.app.state.store
    with store.noting() as session:
        session.add(AccessRow(
            at=now(), user=getattr(request.state, "user", ""), address=request.client.host if request.client else "",
            method=request.method, path=request.url.path[:300], status=status,
        ))  # fmt: skip


def set_cookie(request: Request, response: Response, name: str, value: str) -> None:
    """A cookie that scripts cannot read and other sites cannot send."""
    response.set_cookie(name, value, httponly=True, samesite="strict", secure=request.url.scheme == "https", path="/")
