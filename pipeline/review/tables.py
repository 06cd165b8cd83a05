"""The tables of the store. Decisions, signed notes and the history are only ever added to, never changed.

    users, sessions, attempts    who may come in
    cases                        one operation: identity, where its sound lies, how far it is
    versions                     a note by version: as made, and as signed (written once)
    decisions                    what reviewers decided, in order; an undo is a further row
    history                      all of it again, chained by hash (`history.py`)
    access                       who opened what, when
"""

from __future__ import annotations

from sqlalchemy import DDL, Boolean, Float, Integer, String, Text, event
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Base(DeclarativeBase):
    pass


class UserRow(Base):
    __tablename__ = "users"
    name: Mapped[str] = mapped_column(String(64), primary_key=True)
    full_name: Mapped[str] = mapped_column(String(200))
    roles: Mapped[str] = mapped_column(String(200))
    password: Mapped[str] = mapped_column(String(300))
    active: Mapped[bool] = mapped_column(Boolean, default=True)
    made_at: Mapped[str] = mapped_column(String(40))


class SessionRow(Base):
    """`key`: SHA-256 of the cookie, so that who reads the table cannot come in. Times: seconds since 1970."""

    __tablename__ = "sessions"
    key: Mapped[str] = mapped_column(String(64), primary_key=True)
    user: Mapped[str] = mapped_column(String(64), index=True)
    csrf: Mapped[str] = mapped_column(String(64))
    made: Mapped[float] = mapped_column(Float)
    seen: Mapped[float] = mapped_column(Float)


class AttemptRow(Base):
    __tablename__ = "attempts"
    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    name: Mapped[str] = mapped_column(String(64), index=True)
    at: Mapped[float] = mapped_column(Float)


class CaseRow(Base):
    """`state`: "new", "listening", "ready" or "failed"; `seconds` of `length` are heard; `message`: why it failed.

    `recording`: file name inside the case's folder, "" without sound."""

    __tablename__ = "cases"
    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    label: Mapped[str] = mapped_column(String(200))
    made_by: Mapped[str] = mapped_column(String(64))
    made_at: Mapped[str] = mapped_column(String(40))
    state: Mapped[str] = mapped_column(String(20))
    seconds: Mapped[float] = mapped_column(Float, default=0.0)
    length: Mapped[float] = mapped_column(Float, default=0.0)
    message: Mapped[str] = mapped_column(Text, default="")
    recording: Mapped[str] = mapped_column(String(200), default="")
    context: Mapped[str] = mapped_column(Text, default="")


class VersionRow(Base):
    """`note`: as made or as it was when the amendment began; `signed`: as signed, "" until then, then never changed.

    `context`: what the site knew of the patient when it was signed. `reason`: why this version amends the last."""

    __tablename__ = "versions"
    case: Mapped[str] = mapped_column(String(36), primary_key=True)
    version: Mapped[int] = mapped_column(Integer, primary_key=True)
    note: Mapped[str] = mapped_column(Text)
    signed: Mapped[str] = mapped_column(Text, default="")
    context: Mapped[str] = mapped_column(Text, default="")
    reason: Mapped[str] = mapped_column(Text, default="")
    made_by: Mapped[str] = mapped_column(String(64))
    made_at: Mapped[str] = mapped_column(String(40))


class DecisionRow(Base):
    """`kind`: "revision" (a records.Revision), "added" (with its facts), "code", "code-removed" or "undo" (of the
    decision `undoes`)."""

    __tablename__ = "decisions"
    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    case: Mapped[str] = mapped_column(String(36), index=True)
    version: Mapped[int] = mapped_column(Integer)
    kind: Mapped[str] = mapped_column(String(20))
    content: Mapped[str] = mapped_column(Text)
    undoes: Mapped[int] = mapped_column(Integer, default=0)
    together: Mapped[str] = mapped_column(String(36), default="")


class HistoryRow(Base):
    __tablename__ = "history"
    seq: Mapped[int] = mapped_column(Integer, primary_key=True, autoincrement=False)
    at: Mapped[str] = mapped_column(String(40))
    by: Mapped[str] = mapped_column(String(64))
    action: Mapped[str] = mapped_column(String(40))
    case: Mapped[str] = mapped_column(String(36), index=True)
    version: Mapped[int] = mapped_column(Integer)
    detail: Mapped[str] = mapped_column(Text)
    previous: Mapped[str] = mapped_column(String(64), unique=True)
    digest: Mapped[str] = mapped_column(String(64), unique=True)


class AccessRow(Base):
    __tablename__ = "access"
    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    at: Mapped[str] = mapped_column(String(40))
    user: Mapped[str] = mapped_column(String(64), index=True)
    address: Mapped[str] = mapped_column(String(64))
    method: Mapped[str] = mapped_column(String(10))
    path: Mapped[str] = mapped_column(String(300))
    status: Mapped[int] = mapped_column(Integer)


_SQLITE = "CREATE TRIGGER {0}_no_{1} BEFORE {1} ON {0} BEGIN SELECT RAISE(ABORT, '{0} is only added to'); END"
_POSTGRESQL = (
    "CREATE FUNCTION {0}_no_{1}() RETURNS trigger LANGUAGE plpgsql AS $$ "
    "BEGIN RAISE EXCEPTION '{0} is only added to'; END $$",
    "CREATE TRIGGER {0}_no_{1} BEFORE {1} ON {0} FOR EACH ROW EXECUTE FUNCTION {0}_no_{1}()",
)


def _only_added_to(table: type[Base]) -> None:
    """The database itself refuses to change or delete rows of this table."""
    for dialect, statements in (("sqlite", (_SQLITE,)), ("postgresql", _POSTGRESQL)):
        for verb in ("UPDATE", "DELETE"):
            for statement in statements:
                made = DDL(statement.format(table.__tablename__, verb))  # type: ignore[no-untyped-call]
                event.listen(table.__table__, "after_create", made.execute_if(dialect=dialect))


_only_added_to(HistoryRow)
_only_added_to(DecisionRow)
