"""Where cases, notes, decisions, users and the history lie: SQLite by default, PostgreSQL by URL.

Every change goes through `writing(by)`, one transaction that also appends to the history: either both are there or
neither. Writers come one after the other (SQLite: BEGIN IMMEDIATE, PostgreSQL: an advisory lock), so the chain
cannot fork.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, select, text
from sqlalchemy.exc import ArgumentError, OperationalError, SQLAlchemyError
from sqlalchemy.orm import Session

from pipeline import paths
from pipeline.errors import SetupError
from pipeline.review import history
from pipeline.review.tables import Base, CaseRow, DecisionRow, HistoryRow, VersionRow

_LOCK = 0x766F786F70  # a number of our own for PostgreSQL's advisory lock


def now() -> str:
    """The time of writing: ISO 8601 with offset."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def default_url() -> str:
    """The SQLite file of this user."""
    return f"sqlite:///{paths.user_data() / 'cases.sqlite'}"


class Writing:
    """One change under way. `session`: for the rows; `tell`: the entry in the history."""

    def __init__(self, session: Session, by: str) -> None:
        self.session = session
        self.by = by

    def tell(self, action: str, case: str = "", version: int = 0, detail: Mapping[str, Any] | None = None) -> str:
        """Appends to the history and gives the digest of the entry."""
        row = self.session.scalar(select(HistoryRow).order_by(HistoryRow.seq.desc()).limit(1))
        made = history.entry(_entry(row) if row else None, at=now(), by=self.by, action=action, case=case,
                             version=version, detail=detail)  # fmt: skip
        self.session.add(HistoryRow(**{name: getattr(made, name) for name in made.__slots__}))
        self.session.flush()
        return made.digest


class Store:
    """The database. `url`: an SQLAlchemy URL. Raises SetupError when it cannot be opened."""

    def __init__(self, url: str = "") -> None:
        self.url = url or default_url()
        try:
            self.engine = _engine(self.url)
            self._writer = self.engine.execution_options(voxop_writes=True)
            with self._writer.begin() as connection:
                if connection.dialect.name == "postgresql":
                    connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
                Base.metadata.create_all(connection)
        except (SQLAlchemyError, ImportError, OSError) as problem:
            kind = "The URL" if isinstance(problem, ArgumentError) else "The database"
            raise SetupError(
                f"{kind} cannot be used ({_reason(problem)}).",
                "Give --store as sqlite:////path/to/file or postgresql+psycopg://user@host/name.",
            ) from problem
        if self.url.startswith("sqlite:///") and (file := Path(self.url.removeprefix("sqlite:///"))).is_file():
            file.chmod(0o600)

    def close(self) -> None:
        """Gives the connections back."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Session]:
        with Session(self.engine) as session:
            yield session

    @contextmanager
    def writing(self, by: str) -> Iterator[Writing]:
        """A transaction of one writer at a time; nothing of it stays when it fails."""
        with self.noting() as session:
            if self.engine.dialect.name == "postgresql":
                session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
            yield Writing(session, by)

    @contextmanager
    def noting(self) -> Iterator[Session]:
        """A transaction that leaves no entry in the history: sessions, progress, the access log."""
        with Session(self._writer, expire_on_commit=False) as session, session.begin():
            yield session

    def entries(self, case: str = "") -> list[history.Entry]:
        """The history in order, of one case or of all."""
        with self.reading() as session:
            rows = select(HistoryRow).order_by(HistoryRow.seq)
            return [_entry(row) for row in session.scalars(rows.where(HistoryRow.case == case) if case else rows)]

    def verify(self) -> list[str]:
        """What is wrong with the history, or differs between it and the other tables; empty when all is whole."""
        entries = self.entries()
        found = history.faults(entries)
        told: dict[tuple[str, int, str], str] = {}
        decided: dict[int, str] = {}
        for one in entries:
            detail = json.loads(one.detail)
            for name in ("note", "signed"):
                if name in detail:
                    told[one.case, one.version, name] = detail[name]
            if "decision" in detail:
                decided[detail["decision"]] = history.sha256(one.case + detail["kind"] + detail["content"])
        with self.reading() as session:
            known = {row.id for row in session.scalars(select(CaseRow))}
            for row in session.scalars(select(VersionRow)):
                for name, content in (("note", row.note), ("signed", row.signed)):
                    expected = told.pop((row.case, row.version, name), "")
                    if expected != (history.sha256(content) if content else ""):
                        found.append(f"case {row.case}, version {row.version}: the {name} is not what was written")
            for decision in session.scalars(select(DecisionRow)):
                if decided.pop(decision.id, "") != history.sha256(decision.case + decision.kind + decision.content):
                    found.append(f"decision {decision.id} is not what was written")
        found += [f"case {case}, version {version}: the {name} is gone" for case, version, name in told]
        found += [f"decision {ident} is gone" for ident in decided]
        found += [f"case {case} is gone" for case in {one.case for one in entries if one.case} - known]
        return found


def _engine(url: str) -> Engine:
    engine = create_engine(url, connect_args={"timeout": 30} if url.startswith("sqlite") else {})
    if engine.dialect.name == "sqlite":
        # pysqlite opens transactions late and shared; a writer must hold the file from its first read.
        @event.listens_for(engine, "connect")
        def _connected(connection: Any, _: object) -> None:
            connection.isolation_level = None
            connection.execute("PRAGMA journal_mode=WAL")
            connection.execute("PRAGMA synchronous=FULL")
            connection.execute("PRAGMA foreign_keys=ON")

        @event.listens_for(engine, "begin")
        def _begun(connection: Connection) -> None:
            writes = connection.get_execution_options().get("voxop_writes", False)
            connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _entry(row: HistoryRow) -> history.Entry:
    return history.Entry(row.seq, row.at, row.by, row.action, row.case, row.version, row.detail, row.previous,
                         row.digest)  # fmt: skip


def _reason(problem: BaseException) -> str:
    if isinstance(problem, OperationalError) and problem.orig is not None:
        return str(problem.orig).splitlines()[0]
    return str(problem).splitlines()[0]
