"""The store: the chained history, what breaks it, and that signed notes and decisions never change."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from pipeline.cli import main
from pipeline.errors import BadAccount, BadDecision, SetupError, UnknownName
from pipeline.note import OperativeNote
from pipeline.review import accounts, history
from pipeline.review.store import Store
from tests.web_parts import PASSWORD, House


@pytest.fixture
def house(tmp_path: Path) -> House:
    return House(tmp_path)


def total(house: House, case: str) -> str:
    (fact,) = house.desk.open(case).note.of("harvest_total")
    return fact.id


def test_the_chain_is_what_its_description_says() -> None:
    """Recomputed from the docstring with hashlib and json alone."""
    first = history.entry(None, at="2026-03-02T09:00:00+00:00", by="ann", action="opened", case="c", detail={"a": 1})
    second = history.entry(first, at="2026-03-02T09:01:00+00:00", by="ann", action="signed", case="c", version=1)
    for one, previous in ((first, "0" * 64), (second, first.digest)):
        fields = {name: getattr(one, name) for name in
                  ("seq", "at", "by", "action", "case", "version", "detail", "previous")}  # fmt: skip
        told = json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
        assert one.previous == previous
        assert one.digest == hashlib.sha256(told).hexdigest()
    assert history.faults([first, second]) == []
    assert history.faults([second]) != []
    assert history.faults([second, first]) != []


def work(house: House) -> str:
    """A case that is decided on, signed and amended."""
    case, ann = house.case(), house.user("ann")
    house.desk.correct(case, ann, total(house, case), "value", "9 mL")
    house.desk.sign(case, ann)
    house.desk.amend(case, ann, "the blood loss was measured again")
    return case


def test_an_untouched_store_is_whole(house: House) -> None:
    work(house)
    assert house.store.verify() == []
    actions = [one.action for one in house.store.entries()]
    assert actions[-5:] == ["case opened", "note made", "decided", "signed", "amendment begun"]


# Each is what somebody with the database file in hand could do.
TAMPERED = {
    "a history entry is changed": "UPDATE history SET \"by\" = 'eve' WHERE seq = 5",
    "a history entry is taken out": "DELETE FROM history WHERE seq = 5",
    "the end is rewritten": "UPDATE history SET detail = '{}' WHERE seq = (SELECT max(seq) FROM history)",
    "a decision is changed": "UPDATE decisions SET content = replace(content, '9 mL', '8 mL')",
    "a decision is deleted": "DELETE FROM decisions",
    "a decision is put in": "INSERT INTO decisions (\"case\", version, kind, content, undoes, together) "
    "SELECT \"case\", version, kind, content, undoes, together FROM decisions",
    "a signed note is changed": "UPDATE versions SET signed = replace(signed, '9 mL', '8 mL') WHERE version = 1",
    "a note as made is changed": "UPDATE versions SET note = replace(note, 'left', 'right') WHERE version = 1",
    "a version is deleted": "DELETE FROM versions WHERE version = 2",
    "a case is deleted": "DELETE FROM cases",
}


@pytest.mark.parametrize("statement", TAMPERED.values(), ids=list(TAMPERED))
def test_tampering_is_seen(house: House, tmp_path: Path, statement: str) -> None:
    work(house)
    file = tmp_path / "cases.sqlite"
    with sqlite3.connect(file) as connection:
        for (trigger,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {trigger}")
        assert connection.execute(statement).rowcount > 0
    connection.close()
    assert house.store.verify() != []
    shown = CliRunner().invoke(main, ["history", "verify", "--store", f"sqlite:///{file}"])
    assert shown.exit_code == 2
    assert "NOT WHOLE" in shown.output


def test_a_cut_off_end_is_seen_by_a_digest_kept_elsewhere(house: House, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'cases.sqlite'}"
    house.accounts.change("cem", by="ada", active=False)
    last = house.store.entries()[-1].digest
    verify = ["history", "verify", "--store", url]
    assert CliRunner().invoke(main, [*verify, "--expect", last]).exit_code == 0
    with sqlite3.connect(tmp_path / "cases.sqlite") as connection:
        connection.execute("DROP TRIGGER history_no_DELETE")
        connection.execute("DELETE FROM history WHERE seq = (SELECT max(seq) FROM history)")
    connection.close()
    assert CliRunner().invoke(main, verify).exit_code == 0, "the chain alone cannot see it"
    assert CliRunner().invoke(main, [*verify, "--expect", last]).exit_code == 2


@pytest.mark.parametrize(
    "statement", ["UPDATE history SET action = 'x'", "DELETE FROM history", "DELETE FROM decisions"]
)
def test_the_database_refuses_to_change_what_was_written(house: House, statement: str) -> None:
    work(house)
    with house.store.noting() as session, pytest.raises(DatabaseError, match="only added to"):
        session.execute(text(statement))


def test_a_failed_change_leaves_nothing(house: House) -> None:
    case = house.case()
    before = house.store.entries()
    with pytest.raises(BadDecision):
        house.desk.correct(case, house.user("ann"), total(house, case), "value", "9 mg")
    assert house.store.entries() == before
    assert house.desk.open(case).seen == 0


def test_a_signed_note_never_changes_and_an_amendment_says_why(house: House) -> None:
    case, ann = house.case(), house.user("ann")
    signed = house.desk.sign(case, ann, "I did it so.")
    assert signed.signature is not None
    assert signed.state == "signed"
    assert (signed.signature.by, signed.signature.statement) == ("Dr Ann Adeyemi", "I did it so.")
    for change in (
        lambda: house.desk.correct(case, ann, total(house, case), "value", "9 mL"),
        lambda: house.desk.accept_sure(case, ann),
        lambda: house.desk.undo(case, ann),
        lambda: house.desk.sign(case, ann),
        lambda: house.desk.identify(case, ann, ""),
    ):
        with pytest.raises(BadDecision):
            change()
    with pytest.raises(BadDecision):
        house.desk.amend(case, ann, " ")
    assert house.desk.amend(case, ann, "the total was nine") == 2
    house.desk.correct(case, ann, total(house, case), "value", "9 mL")
    amended = house.desk.sign(case, ann)
    assert amended.state == "amended"
    assert amended.amendment is not None
    assert (amended.amendment.version, amended.amendment.by) == (1, "ann")
    assert amended.amendment.reason == "the total was nine"
    assert any("10 mL" in line and "9 mL" in line for line in amended.amendment.changes)
    assert house.desk.open(case, 1).note == signed
    assert house.desk.open(case).note == amended
    changed = [row for row in house.desk.compare(case, 1, 2) if row.what != "same"]
    assert [(row.section, row.what) for row in changed] == [("harvest", "changed")]


def test_blocking_findings_and_open_questions_hold_the_signature(house: House) -> None:
    ann = house.user("ann")
    case = house.case(text="Procedure: left hip arthroscopy. Time out confirmed, right hip. "
                           "Arthroscopy of the right hip was done.")  # fmt: skip
    blocking = [one for one in house.desk.open(case).note.open_findings() if one.severity == "blocking"]
    assert blocking
    with pytest.raises(BadDecision, match="settled before signing"):
        house.desk.sign(case, ann)
    with pytest.raises(BadDecision, match="only with a reason"):
        house.desk.settle(case, ann, blocking[0].key, "")
    for one in blocking:
        house.desk.settle(case, ann, one.key, "right is right, the first word was a slip")
    house.desk.ask(case, ann, house.desk.open(case).note.facts[0].id, "Which side?")
    with pytest.raises(BadDecision, match="question"):
        house.desk.sign(case, ann)
    house.desk.undo(case, ann)
    signed = house.desk.sign(case, ann)
    assert all(one.settled for one in signed.findings if one.severity == "blocking")


def test_a_decision_on_an_old_page_is_refused(house: House) -> None:
    case, ann = house.case(), house.user("ann")
    seen = house.desk.open(case).seen
    house.desk.accept_sure(case, ann, seen)
    with pytest.raises(BadDecision, match="meantime"):
        house.desk.correct(case, ann, total(house, case), "value", "9 mL", seen=seen)


def test_two_cases_with_the_same_words_are_two_notes(house: House) -> None:
    first, second = house.case(), house.case()
    house.desk.correct(first, house.user("ann"), total(house, first), "value", "9 mL")
    notes = [house.desk.open(case).note for case in (first, second)]
    assert notes[0].id != notes[1].id
    assert notes[1].decisions == []
    assert house.desk.open(second).steps == ()
    with pytest.raises(UnknownName):
        house.desk.open("00000000-0000-4000-8000-000000000000")


def test_accounts_want_names_roles_and_long_passwords(house: House) -> None:
    for name, password, roles in (
        ("Eve", PASSWORD, ("coder",)), ("eve", "short", ("coder",)), ("eve", PASSWORD, ("boss",)),
        ("eve", PASSWORD, ()), ("ann", PASSWORD, ("coder",)), ("eve", "aaaaaaaaaaaaaaaa", ("coder",)),
        ("eveline", "eveline and nine more", ("coder",)),
    ):  # fmt: skip
        with pytest.raises(BadAccount):
            house.accounts.add(name, password, roles, by="ada")
    with house.store.reading() as session:
        stored = session.execute(text("SELECT password FROM users WHERE name = 'ann'")).scalar_one()
    assert stored.startswith("$argon2id$")
    assert PASSWORD not in stored


def test_sessions_end(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    cookie = house.accounts.sign_in("ann", PASSWORD)
    assert cookie is not None
    found = house.accounts.session(cookie)
    assert found is not None
    assert found.user.name == "ann"
    assert house.accounts.session(cookie + "x") is None
    late = accounts.time.time() + accounts.IDLE_SECONDS + 1
    monkeypatch.setattr(accounts.time, "time", lambda: late)
    assert house.accounts.session(cookie) is None
    monkeypatch.undo()
    house.accounts.change("ann", by="ada", password="another long password")
    assert house.accounts.session(cookie) is None, "a changed password ends the sessions"


def test_a_bad_store_says_what_to_do() -> None:
    for url in ("nonsense", "sqlite:////nowhere/at/all/x.sqlite"):
        with pytest.raises(SetupError) as problem:
            Store(url)
        assert "--store" in problem.value.do


@pytest.mark.skipif(not os.environ.get("VOXOP_TEST_POSTGRESQL"),
                    reason="needs a PostgreSQL server: VOXOP_TEST_POSTGRESQL=postgresql+psycopg://...")  # fmt: skip
def test_the_same_on_postgresql(tmp_path: Path) -> None:
    """Against an empty database of a real server; the tables are dropped afterwards."""
    from pipeline.review.tables import Base

    url = os.environ["VOXOP_TEST_POSTGRESQL"]
    house = House(tmp_path, url)
    try:
        case = work(house)
        assert house.store.verify() == []
        assert isinstance(house.desk.open(case, 1).note, OperativeNote)
        with house.store.noting() as session, pytest.raises(DatabaseError, match="only added to"):
            session.execute(text("DELETE FROM history"))
    finally:
        Base.metadata.drop_all(house.store.engine)
        with house.store.noting() as session:
            for table in ("history", "decisions"):
                for verb in ("update", "delete"):
                    session.execute(text(f"DROP FUNCTION IF EXISTS {table}_no_{verb}()"))
        house.store.close()


def test_users_from_the_terminal(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'x.sqlite'}"
    add = ["users", "add", "bo", "--role", "surgeon", "--full-name", "Dr Bo Lind", "--password-stdin", "--store", url]
    assert CliRunner().invoke(main, add, input="short\n").exit_code == 2
    assert CliRunner().invoke(main, add, input=PASSWORD + "\n").exit_code == 0
    assert "surgeon" in CliRunner().invoke(main, ["users", "list", "--store", url]).output
    assert CliRunner().invoke(main, ["users", "change", "bo", "--close", "--store", url]).exit_code == 0
    assert "closed" in CliRunner().invoke(main, ["users", "list", "--store", url]).output
    assert shutil.which("sqlite3") is None or (tmp_path / "x.sqlite").stat().st_mode & 0o077 == 0


def test_it_does_not_listen_beyond_loopback_without_tls(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("VOXOP_DATA", str(tmp_path))
    for host in ("0.0.0.0", "::", "192.0.2.7", "theatre.example"):
        refused = CliRunner().invoke(main, ["serve", "--host", host])
        assert refused.exit_code == 2
        assert "--certfile" in refused.stderr
    nobody = CliRunner().invoke(main, ["serve"], input="")
    assert nobody.exit_code == 2
    assert "voxop users add" in nobody.stderr
