"""Sends signed notes from the desk to the hospital's FHIR server, and tells how the outbox stands.

    sending = Sending(desk, "https://ehr.example/fhir", token_file=Path("token.txt"))
    sending.send(case, user)      # the newest signed version, as a transaction; waits in the outbox when it cannot go
    sending.resume(user)          # sends all that waits
    sending.state()               # configured or not, what waits and since when

Without a server nothing is sent and nothing is queued; `state` says so.
"""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass
from pathlib import Path

from pipeline import delivery, run
from pipeline.delivery import Policy, Receipt
from pipeline.desk import Desk
from pipeline.errors import BadDecision, DeliveryError
from pipeline.review.accounts import User

# A person waits at the page: two requests, then it waits in the outbox.
AT_THE_PAGE = Policy(attempts=2, first_wait=0.5, longest_wait=2.0, timeout=20.0)


@dataclass(frozen=True, slots=True)
class Waiting:
    """A bundle in the outbox. `queued_at`: ISO 8601."""

    url: str
    queued_at: str


@dataclass(frozen=True, slots=True)
class Outbox:
    """`url`: base of the hospital's FHIR server, "" when none is configured."""

    url: str
    waiting: tuple[Waiting, ...]


class Sending:
    """`url`: "" when no server is configured. `outbox`: folder, the user's own by default."""

    def __init__(
        self, desk: Desk, url: str = "", *, token_file: Path | None = None, ca_file: Path | None = None,
        outbox: Path | None = None,
    ) -> None:  # fmt: skip
        self._desk, self._url, self._token_file, self._outbox = desk, url, token_file, outbox
        self._policy = Policy(AT_THE_PAGE.attempts, AT_THE_PAGE.first_wait, AT_THE_PAGE.longest_wait,
                              AT_THE_PAGE.timeout, ca_file)  # fmt: skip
        self._one_at_a_time = threading.Lock()

    def state(self) -> Outbox:
        """What is configured, and what waits, oldest first."""
        listed = []
        for path in delivery.waiting(self._outbox):
            try:
                content = json.loads(path.read_bytes())
                listed.append(Waiting(str(content["url"]), str(content["queued_at"])))
            except (OSError, ValueError, KeyError):  # sent in this moment, or half written by a killed program
                continue
        return Outbox(self._url, tuple(listed))

    def sent(self, case: str) -> list[dict[str, object]]:
        """When this case was handed over or put into the outbox: at, by, version, how, url."""
        return [{"at": one.at, "by": one.by, "version": one.version, "how": one.action} | json.loads(one.detail)
                for one in self._desk.store.entries(case) if one.action in ("sent", "queued to send")]  # fmt: skip

    def send(self, case: str, by: User) -> Receipt:
        """Sends the newest version. Raises BadDecision (not signed, no server), DeliveryError (waits in the outbox,
        or must not be sent)."""
        if not self._url:
            raise BadDecision("No server of the hospital is configured.", "Start with: voxop serve --send-to URL. "
                              "Until then, hand over the exported files.")  # fmt: skip
        opened = self._desk.open(case)
        if not opened.signed:
            raise BadDecision("Only a signed note is sent.", "Sign it first.")
        (bundle,) = run.export(opened.note, ["fhir-transaction"], self._desk.rules, opened.site).values()
        before = len(delivery.waiting(self._outbox))
        try:
            with self._one_at_a_time:
                receipt = delivery.send(bundle, self._url, token=delivery.token_from(self._token_file),
                                        outbox=self._outbox, policy=self._policy)  # fmt: skip
        except DeliveryError as problem:
            if "placeholder" in problem.what:
                raise DeliveryError(problem.what, "Give the site's context file with patient and encounter to the "
                                    "case before it is signed.") from problem  # fmt: skip
            if len(delivery.waiting(self._outbox)) > before:
                self._tell("queued to send", case, by, opened.version, {"url": self._url, "why": problem.what})
            raise
        self._tell("sent", case, by, opened.version, {
            "url": receipt.url, "sha256": receipt.sha256, "resources": len(receipt.entries), "again": receipt.again,
        })  # fmt: skip
        return receipt

    def resume(self, by: User) -> tuple[int, list[DeliveryError]]:
        """(how many were sent, what failed and still waits)."""
        with self._one_at_a_time:
            receipts, failed = delivery.resume(token=delivery.token_from(self._token_file), outbox=self._outbox,
                                               policy=self._policy)  # fmt: skip
        for receipt in receipts:
            self._tell("sent", "", by, 0, {"url": receipt.url, "sha256": receipt.sha256,
                                           "resources": len(receipt.entries), "again": receipt.again})  # fmt: skip
        return len(receipts), failed

    def _tell(self, action: str, case: str, by: User, version: int, detail: dict[str, object]) -> None:
        with self._desk.store.writing(by.name) as change:
            change.tell(action, case, version, detail)
