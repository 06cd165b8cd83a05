"""An application for tests: a store in a folder, quick password hashing, one user of each role, a signed-in client."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher
from fastapi.testclient import TestClient

from pipeline import grammar
from pipeline.desk import Desk
from pipeline.jobs import Jobs
from pipeline.review.accounts import Accounts
from pipeline.review.store import Store
from pipeline.web.app import create

PASSWORD = "correct horse battery"
NARRATION = (
    "Left hip arthroscopy. Surgeon is Doctor Adeyemi. Cefazolin two grams intravenously was given. First draw five "
    "millilitres, second draw four millilitres, total ten millilitres. Estimated blood loss fifty millilitres."
)
PEOPLE = (("ann", "surgeon", "Dr Ann Adeyemi"), ("cem", "coder", "Cem Ozturk"), ("ada", "administrator", "Ada Kask"))


class House:
    """The parts of an application over `folder`."""

    def __init__(self, folder: Path, url: str = "", **state: Any) -> None:
        self.store = Store(url or f"sqlite:///{folder / 'cases.sqlite'}")
        # The least that argon2 allows: the tests are about the door, not about the strength of the lock.
        self.accounts = Accounts(self.store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
        for name, role, full in PEOPLE:
            self.accounts.add(name, PASSWORD, (role,), full, by="terminal")
        self.desk = Desk(self.store, folder / "cases", grammar.load())
        self.jobs = Jobs(self.desk, engine="scripted")
        self.app = create(self.desk, self.accounts, self.jobs, **state)

    def user(self, name: str):
        return next(user for user in self.accounts.users() if user.name == name)

    def case(self, by: str = "ann", text: str = NARRATION) -> str:
        """A case with a typed narration."""
        from pipeline import run

        ident = self.desk.new_case(self.user(by), "first")
        self.desk.make_note(ident, self.user(by), run.from_text(text, "narration"))
        return ident


class Browser(TestClient):
    """A client that keeps cookies and sends the form token."""

    def __init__(self, house: House, name: str = "") -> None:
        super().__init__(house.app)
        if name:
            answer = self.sign_in(name)
            assert answer.status_code == 200, answer.text
            self.headers["X-CSRF-Token"] = token(answer.text)

    def sign_in(self, name: str, password: str = PASSWORD) -> Any:
        form = re.search(r'name="form" value="([^"]+)"', self.get("/sign-in").text)
        assert form is not None
        return self.post("/sign-in", data={"name": name, "password": password, "form": form[1]})


def token(page: str) -> str:
    """The form token of a page."""
    found = re.search(r'name="csrf" content="([^"]+)"', page)
    assert found is not None
    return found[1]
