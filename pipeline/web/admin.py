"""Administration: users, access log, history. No notes."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from pydantic import BaseModel, ConfigDict
from sqlalchemy import select

from pipeline.review.accounts import ROLES, Accounts, SignedIn, User
from pipeline.review.store import Store
from pipeline.review.tables import AccessRow
from pipeline.web import views
from pipeline.web.security import allowed, signed_in

router = APIRouter()
Administrator = Annotated[User, Depends(allowed("administer"))]
Found = Annotated[SignedIn, Depends(signed_in)]
_SHOWN = 200


class NewUser(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: str
    full_name: str = ""
    password: str
    roles: list[str]


class UserChange(BaseModel):
    model_config = ConfigDict(extra="forbid")
    password: str | None = None
    roles: list[str] | None = None
    active: bool | None = None


@router.get("/administration", include_in_schema=False)
def administration(request: Request, found: Found, _: Administrator) -> Response:
    accounts: Accounts = request.app.state.accounts
    store: Store = request.app.state.store
    with store.reading() as session:
        newest = select(AccessRow).order_by(AccessRow.id.desc()).limit(_SHOWN)
        access = [(row.at, row.user, row.address, row.method, row.path, row.status) for row in session.scalars(newest)]
    entries = store.entries()
    return views.page(request, "administration.html", found, users=accounts.users(), roles=ROLES, access=access,
                      entries=entries[-_SHOWN:][::-1], count=len(entries), faults=store.verify(),
                      last=entries[-1].digest if entries else "")  # fmt: skip


@router.get("/api/users")
def users(request: Request, _: Administrator) -> list[dict[str, object]]:
    """All users with their roles."""
    accounts: Accounts = request.app.state.accounts
    return [{"name": one.name, "full_name": one.full_name, "roles": list(one.roles), "active": one.active}
            for one in accounts.users()]  # fmt: skip


@router.post("/api/users", status_code=201)
def add(request: Request, by: Administrator, body: NewUser) -> None:
    """Adds a user."""
    accounts: Accounts = request.app.state.accounts
    accounts.add(body.name, body.password, tuple(body.roles), body.full_name, by=by.name)


@router.patch("/api/users/{name}", status_code=204)
def change(request: Request, by: Administrator, name: str, body: UserChange) -> None:
    """Another password, other roles, or closed; ends the user's sessions."""
    accounts: Accounts = request.app.state.accounts
    roles = tuple(body.roles) if body.roles is not None else None
    accounts.change(name, by=by.name, password=body.password, roles=roles, active=body.active)
