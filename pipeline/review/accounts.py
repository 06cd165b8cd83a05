"""Who may come in, and what they may do: named users, roles, passwords by argon2, sessions, lockout.

surgeon         dictates, reviews, signs, amends
coder           reviews, enters codes, exports
administrator   users, access log, history; no notes
"""

from __future__ import annotations

import hashlib
import re
import secrets
import time
from dataclasses import dataclass

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import delete, func, select, update

from pipeline.errors import BadAccount
from pipeline.review.store import Store, now
from pipeline.review.tables import AttemptRow, SessionRow, UserRow

ROLES = ("surgeon", "coder", "administrator")
MAY: dict[str, frozenset[str]] = {
    "dictate": frozenset({"surgeon"}),
    "read": frozenset({"surgeon", "coder"}),
    "review": frozenset({"surgeon", "coder"}),
    "code": frozenset({"coder", "surgeon"}),
    "sign": frozenset({"surgeon"}),
    "export": frozenset({"surgeon", "coder"}),
    "administer": frozenset({"administrator"}),
}
# NIST SP 800-63B-4, 3.1.1.2: at least 15 characters where a password is the only factor; long ones are allowed.
SHORTEST, LONGEST = 15, 256
# Common practice, no source: five wrong passwords close an account for a quarter of an hour.
MOST_ATTEMPTS, LOCKED_SECONDS = 5, 15 * 60
# NIST SP 800-63B-4, 2.2.3 (AAL2): signed in again after 12 hours at most, and after a time of doing nothing.
IDLE_SECONDS, LONGEST_SECONDS = 60 * 60, 12 * 60 * 60
_NAME = re.compile(r"[a-z][a-z0-9._-]{1,63}")
_HASHER = PasswordHasher()


@dataclass(frozen=True, slots=True)
class User:
    name: str
    full_name: str
    roles: tuple[str, ...]
    active: bool = True

    def may(self, what: str) -> bool:
        """Whether one of the user's roles allows it ("read", "sign" ...)."""
        return self.active and bool(MAY[what] & set(self.roles))


@dataclass(frozen=True, slots=True)
class SignedIn:
    user: User
    csrf: str


class Accounts:
    """The users of a store. `hasher`: argon2's, with its defaults unless a test gives a faster one."""

    def __init__(self, store: Store, hasher: PasswordHasher = _HASHER) -> None:
        self._store = store
        self._hasher = hasher
        self._nobody = hasher.hash(secrets.token_urlsafe(24))

    def users(self) -> list[User]:
        with self._store.reading() as session:
            return [_user(row) for row in session.scalars(select(UserRow).order_by(UserRow.name))]

    def add(self, name: str, password: str, roles: tuple[str, ...], full_name: str = "", *, by: str) -> User:
        """A new user. Raises BadAccount that says what to change."""
        if not _NAME.fullmatch(name):
            raise BadAccount(f"The user name {name!r} cannot be used.", "Small letters, digits, . _ -; 2 to 64.")
        _check_roles(roles)
        hashed = self._hashed(password, name)
        with self._store.writing(by) as change:
            if change.session.get(UserRow, name) is not None:
                raise BadAccount(f"There is a user {name!r} already.", "Take another name.")
            row = UserRow(name=name, full_name=full_name.strip() or name, roles=",".join(roles), password=hashed,
                          active=True, made_at=now())  # fmt: skip
            change.session.add(row)
            change.tell("user added", detail={"user": name, "full_name": row.full_name, "roles": list(roles)})
            return _user(row)

    def change(
        self, name: str, *, by: str, password: str | None = None, roles: tuple[str, ...] | None = None,
        active: bool | None = None,
    ) -> User:  # fmt: skip
        """Another password, other roles, or closed; ends the user's sessions. Raises BadAccount."""
        hashed = self._hashed(password, name) if password is not None else None
        if roles is not None:
            _check_roles(roles)
        with self._store.writing(by) as change:
            row = change.session.get(UserRow, name)
            if row is None:
                raise BadAccount(f"There is no user {name!r}.", "See them with: voxop users list.")
            told: dict[str, object] = {"user": name}
            if hashed is not None:
                row.password, told["password"] = hashed, "changed"
            if roles is not None:
                row.roles, told["roles"] = ",".join(roles), list(roles)
            if active is not None:
                row.active = told["active"] = active
            change.session.execute(delete(SessionRow).where(SessionRow.user == name))
            change.session.execute(delete(AttemptRow).where(AttemptRow.name == name))
            change.tell("user changed", detail=told)
            return _user(row)

    def sign_in(self, name: str, password: str) -> str | None:
        """The cookie of a new session, None when name or password is wrong or the account is closed for a while.

        An unknown name takes as long as a wrong password and is locked out alike, so that neither tells who exists.
        """
        name = name.strip().lower()[:64]
        if self.locked(name):
            return None
        with self._store.reading() as session:
            row = session.get(UserRow, name)
            hashed, active = (row.password, row.active) if row else (self._nobody, False)
        right = self._verified(hashed, password) and active
        with self._store.writing(name) as change:
            if not right:
                change.session.add(AttemptRow(name=name, at=time.time()))
                change.tell("sign-in refused")
                return None
            cookie = secrets.token_urlsafe(32)
            moment = time.time()
            change.session.execute(delete(AttemptRow).where(AttemptRow.name == name))
            change.session.execute(delete(SessionRow).where(SessionRow.made < moment - LONGEST_SECONDS))
            change.session.add(SessionRow(key=_key(cookie), user=name, csrf=secrets.token_urlsafe(32), made=moment,
                                          seen=moment))  # fmt: skip
            change.tell("signed in")
            return cookie

    def locked(self, name: str) -> bool:
        """Whether the account takes no password for now."""
        with self._store.reading() as session:
            since = time.time() - LOCKED_SECONDS
            wrong = select(func.count()).where(AttemptRow.name == name.strip().lower()[:64], AttemptRow.at > since)
            return (session.scalar(wrong) or 0) >= MOST_ATTEMPTS

    def session(self, cookie: str) -> SignedIn | None:
        """Who a cookie belongs to, None when it is unknown or has ended."""
        moment = time.time()
        with self._store.reading() as session:
            row = session.get(SessionRow, _key(cookie))
            user = session.get(UserRow, row.user) if row else None
            if row is None or user is None or not user.active:
                return None
            if moment - row.seen > IDLE_SECONDS or moment - row.made > LONGEST_SECONDS:
                return None
            seen, found = row.seen, SignedIn(_user(user), row.csrf)
        if moment - seen > 60:
            with self._store.noting() as session:
                session.execute(update(SessionRow).where(SessionRow.key == _key(cookie)).values(seen=moment))
        return found

    def sign_out(self, cookie: str) -> None:
        with self._store.noting() as session:
            session.execute(delete(SessionRow).where(SessionRow.key == _key(cookie)))

    def confirm(self, name: str, password: str) -> bool:
        """Whether this is the user's password (asked again before signing). Wrong ones count towards the lockout."""
        if self.locked(name):
            return False
        with self._store.reading() as session:
            row = session.get(UserRow, name)
            hashed = row.password if row else self._nobody
        if self._verified(hashed, password) and row is not None:
            return True
        with self._store.writing(name) as change:
            change.session.add(AttemptRow(name=name, at=time.time()))
            change.tell("password refused")
        return False

    def _hashed(self, password: str, name: str) -> str:
        if not SHORTEST <= len(password) <= LONGEST:
            raise BadAccount(f"The password has {len(password)} characters.", f"Use {SHORTEST} to {LONGEST}.")
        if name in password.lower() or len(set(password)) < 5:
            raise BadAccount("The password is too easy to guess.", "Use several words, and not the user name.")
        return self._hasher.hash(password)

    def _verified(self, hashed: str, password: str) -> bool:
        try:
            return self._hasher.verify(hashed, password[:LONGEST])
        except (VerificationError, InvalidHashError):
            return False


def _key(cookie: str) -> str:
    return hashlib.sha256(cookie.encode()).hexdigest()


def _check_roles(roles: tuple[str, ...]) -> None:
    if not roles or set(roles) - set(ROLES):
        raise BadAccount(f"The roles {', '.join(roles) or '(none)'} are not known.", f"Known: {', '.join(ROLES)}.")


def _user(row: UserRow) -> User:
    return User(row.name, row.full_name, tuple(row.roles.split(",")), row.active)
