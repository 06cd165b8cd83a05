"""Sends a bundle to a FHIR server and loses nothing on the way.

    receipt = send(bundle, "https://ehr.example/fhir", token=token_from(Path("token.txt")))

Before the first byte leaves, the bundle lies in the outbox (a file, written through to the disk); it leaves the
outbox only when every entry was accepted and the receipt is written. Whatever happens in between (killed, no
network, server down, half accepted), `resume` sends it again; the conditions in the bundle see to it that nothing is
made twice. The token is never stored. TLS is always verified; plain HTTP is for the own machine only.

    OUTBOX/waiting/DIGEST.json    what is still to be sent
    OUTBOX/sent/DIGEST.json       receipts
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import ssl
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx
import stamina

from pipeline import paths
from pipeline.errors import DeliveryError

TOKEN_VARIABLE = "VOXOP_FHIR_TOKEN"
_FHIR_JSON = "application/fhir+json"
_TRY_AGAIN = frozenset({408, 425, 429, 500, 502, 503, 504})
_LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
_PLACEHOLDER = "placeholder"


@dataclass(frozen=True)
class Taken:
    """What the server said of one entry. `status`: HTTP status; `made`: new, False when it was there already."""

    kind: str
    full_url: str
    status: int
    made: bool
    location: str = ""


@dataclass(frozen=True)
class Receipt:
    """Proof of a delivery. `sha256`: of the bundle as sent; `attempts`: requests until it was accepted."""

    url: str
    sha256: str
    sent_at: str
    attempts: int
    entries: list[Taken] = field(default_factory=list)
    again: bool = False


@dataclass(frozen=True)
class Policy:
    """How patiently to send. Seconds; `attempts` requests at most, waiting `first_wait` and then ever longer."""

    attempts: int = 6
    first_wait: float = 1.0
    longest_wait: float = 60.0
    timeout: float = 60.0
    ca_file: Path | None = None


class _Again(Exception):
    """The server may take it later. `after`: seconds it asked to wait, None when it did not."""

    def __init__(self, reason: str, after: float | None = None) -> None:
        super().__init__(reason)
        self.after = after


def token_from(path: Path | None = None) -> str:
    """The bearer token from a file, else from VOXOP_FHIR_TOKEN, else "". Raises DeliveryError."""
    if path is None:
        text = os.environ.get(TOKEN_VARIABLE, "")
    else:
        try:
            text = path.read_text(encoding="ascii")
        except (OSError, UnicodeDecodeError) as problem:
            raise DeliveryError("the token cannot be read.", "Name a file that holds it.", where=str(path)) from problem
    token = text.strip()
    if not re.fullmatch(r"[A-Za-z0-9\-._~+/]*=*", token) or (path is not None and not token):
        raise DeliveryError("what the token file or variable holds is no bearer token.", "It is one line of letters.")
    return token


def outbox_folder() -> Path:
    """The outbox of this user."""
    return paths.user_data() / "outbox"


def send(
    bundle: bytes,
    url: str,
    *,
    token: str = "",
    outbox: Path | None = None,
    policy: Policy | None = None,
    allow_placeholders: bool = False,
) -> Receipt:
    """Sends a transaction to the base URL of a server (a document to its Bundle endpoint) and gives the receipt.

    The same bundle for the same server is sent once; a second call gives the first receipt (`again`). Raises
    DeliveryError; the bundle then waits in the outbox, unless it must not be sent at all."""
    place = outbox or outbox_folder()
    _refuse(bundle, url, allow_placeholders)
    item = _put(place, bundle, url)
    return _deliver(place, item, token, policy or Policy())


def waiting(outbox: Path | None = None) -> list[Path]:
    """The items that are still to be sent, oldest first."""
    folder = (outbox or outbox_folder()) / "waiting"
    return sorted(folder.glob("*.json"), key=lambda path: (path.stat().st_mtime, path.name))


def resume(
    *, token: str = "", outbox: Path | None = None, policy: Policy | None = None
) -> tuple[list[Receipt], list[DeliveryError]]:
    """Sends everything that waits. What fails stays in the outbox and does not stop the rest."""
    place = outbox or outbox_folder()
    receipts: list[Receipt] = []
    failed: list[DeliveryError] = []
    for item in waiting(place):
        try:
            receipts.append(_deliver(place, item, token, policy or Policy()))
        except DeliveryError as problem:
            failed.append(problem)
    return receipts, failed


def _refuse(bundle: bytes, url: str, allow_placeholders: bool) -> None:
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise DeliveryError("is no web address.", "Give the base URL of the FHIR server.", where=url)
    if parts.scheme == "http" and parts.hostname not in _LOOPBACK:
        raise DeliveryError("would send patient data unencrypted.", "Use https.", where=url)
    if parts.username or parts.password:
        raise DeliveryError("holds a password.", "Give a bearer token by file or environment instead.", where=url)
    content = _parsed(bundle)
    if allow_placeholders:
        return
    for entry in content["entry"]:
        resource = entry.get("resource", {})
        tags = {tag.get("code") for tag in resource.get("meta", {}).get("tag", [])}
        if resource.get("resourceType") in ("Patient", "Encounter") and _PLACEHOLDER in tags:
            raise DeliveryError(
                f"The {resource['resourceType']} of this note is a placeholder: a server would make a new one.",
                "Give patient and encounter with --context.",
            )


def _parsed(bundle: bytes) -> dict[str, Any]:
    try:
        content = json.loads(bundle)
    except ValueError as problem:
        raise DeliveryError(f"The bundle is no JSON ({problem}).", "Export it again.") from problem
    kinds = ("transaction", "document")
    if not isinstance(content, dict) or content.get("type") not in kinds or not isinstance(content.get("entry"), list):
        raise DeliveryError("The bundle is neither a FHIR transaction nor a document.", "Export it again.")
    return content


def _digest(bundle: bytes, url: str) -> str:
    return hashlib.sha256(url.rstrip("/").encode() + b"\0" + bundle).hexdigest()


def _put(outbox: Path, bundle: bytes, url: str) -> Path:
    """Writes the item through to the disk under its final name, or not at all."""
    item = outbox / "waiting" / f"{_digest(bundle, url)}.json"
    if not item.exists():
        content = {"url": url.rstrip("/"), "queued_at": _now(), "bundle": bundle.decode()}
        _write(item, json.dumps(content, ensure_ascii=False).encode())
    return item


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, temporary = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            os.replace(temporary, path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    except OSError as problem:
        raise DeliveryError(
            f"The outbox cannot be written ({problem.strerror}).", "Nothing was sent. Free space or set VOXOP_DATA.",
            where=str(path.parent),
        ) from problem  # fmt: skip


def _now() -> str:
    return datetime.now(UTC).replace(microsecond=0).isoformat()


@contextmanager
def _alone(outbox: Path) -> Iterator[None]:
    """One sender at a time: two at once could both find nothing on the server, and both make it."""
    outbox.mkdir(parents=True, exist_ok=True, mode=0o700)
    with (outbox / ".lock").open("a") as lock:
        try:
            import fcntl
        except ImportError:  # no such lock on this system
            yield
            return
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _deliver(outbox: Path, item: Path, token: str, policy: Policy) -> Receipt:
    with _alone(outbox):
        known = _receipt(outbox / "sent" / item.name)
        if known is not None:
            item.unlink(missing_ok=True)
            return known
        content = json.loads(item.read_bytes())
        bundle, url = content["bundle"].encode(), content["url"]
        receipt = _send_patiently(bundle, url, token, policy)
        _write(outbox / "sent" / item.name, json.dumps(asdict(receipt), indent=1).encode())
        item.unlink(missing_ok=True)
        return receipt


def _receipt(path: Path) -> Receipt | None:
    if not path.exists():
        return None
    content = json.loads(path.read_bytes())
    entries = [Taken(**entry) for entry in content.pop("entries")]
    return Receipt(**{**content, "entries": entries, "again": True})


def _send_patiently(bundle: bytes, url: str, token: str, policy: Policy) -> Receipt:
    sent, count = _parsed(bundle), 0
    try:
        with _client(token, policy) as client:
            for attempt in stamina.retry_context(
                on=_wait_for, attempts=policy.attempts, timeout=None,
                wait_initial=policy.first_wait, wait_max=policy.longest_wait, wait_jitter=policy.first_wait,
            ):  # fmt: skip
                with attempt:
                    count += 1
                    entries = _post(client, bundle, sent, url)
    except _Again as problem:
        raise DeliveryError(
            f"could not be reached after {count} attempts ({problem}).",
            "The bundle waits in the outbox; it is sent with the next one, or by resuming.",
            where=url,
        ) from problem
    return Receipt(url, hashlib.sha256(bundle).hexdigest(), _now(), count, entries)


def _wait_for(problem: Exception) -> bool | timedelta:
    if not isinstance(problem, _Again):
        return False
    return True if problem.after is None else timedelta(seconds=problem.after)


def _client(token: str, policy: Policy) -> httpx.Client:
    try:
        context = ssl.create_default_context(cafile=str(policy.ca_file) if policy.ca_file else None)
    except (OSError, ssl.SSLError) as problem:
        raise DeliveryError("the certificate file cannot be used.", "Give PEM.", where=str(policy.ca_file)) from problem
    headers = {"Accept": _FHIR_JSON, "Content-Type": f"{_FHIR_JSON}; charset=utf-8"}
    if token:
        headers["Authorization"] = f"Bearer {token}"
    # a redirect could carry the token elsewhere, so none is followed
    return httpx.Client(verify=context, timeout=policy.timeout, headers=headers, follow_redirects=False)


def _post(client: httpx.Client, bundle: bytes, sent: Mapping[str, Any], url: str) -> list[Taken]:
    document = sent["type"] == "document"
    headers = {}
    if document:
        own = sent["identifier"]
        headers["If-None-Exist"] = f"identifier={own['system']}|{own['value']}"
    try:
        answer = client.post(f"{url}/Bundle" if document else url, content=bundle, headers=headers)
    except httpx.TransportError as problem:
        if isinstance(_root(problem), ssl.SSLError):
            raise DeliveryError(
                f"the certificate is not trusted or TLS failed ({_root(problem)}).",
                "Nothing was sent. Ask for the right address, or give the hospital's CA file.",
                where=url,
            ) from problem
        raise _Again(f"{type(problem).__name__}: {problem}") from problem
    if answer.status_code in _TRY_AGAIN:
        raise _Again(f"the server answered {answer.status_code}", _retry_after(answer))
    if not answer.is_success:
        raise DeliveryError(
            f"refused the bundle: {answer.status_code} {_outcome(answer)}.",
            "The bundle waits in the outbox. Mend what the server names, then resume.",
            where=url,
        )
    if document:
        location = answer.headers.get("Location", "")
        return [Taken("Bundle", "", answer.status_code, answer.status_code == 201, location)]
    return _entries(answer, sent, url)


def _root(problem: BaseException) -> BaseException:
    while (below := problem.__cause__ or problem.__context__) is not None:
        problem = below
    return problem


def _retry_after(answer: httpx.Response) -> float | None:
    said = answer.headers.get("Retry-After", "")
    return min(float(said), 300.0) if re.fullmatch(r"\d+", said) else None


def _outcome(answer: httpx.Response) -> str:
    """The words of an OperationOutcome, else the beginning of what came."""
    try:
        return _issues(answer.json()) or answer.text[:200]
    except ValueError:
        return answer.text[:200]


def _issues(outcome: Any) -> str:
    issues = outcome.get("issue", []) if isinstance(outcome, dict) else []
    said = [issue.get("diagnostics") or issue.get("details", {}).get("text") or issue.get("code") for issue in issues]
    return "; ".join(str(one) for one in said if one)


def _entries(answer: httpx.Response, sent: Mapping[str, Any], url: str) -> list[Taken]:
    """Checks the answer to every entry: all must be taken, else the whole is not delivered."""
    try:
        content = answer.json()
        answers = content["entry"] if content["resourceType"] == "Bundle" else None
    except (ValueError, KeyError, TypeError):
        answers = None
    if answers is None or len(answers) != len(sent["entry"]):
        raise DeliveryError(
            f"gave no answer to each of the {len(sent['entry'])} entries ({_outcome(answer)}).",
            "The bundle waits in the outbox. Check that the address is the base of a FHIR server.",
            where=url,
        )
    taken: list[Taken] = []
    refused: list[str] = []
    later = False
    for entry, given in zip(sent["entry"], answers, strict=True):
        response = given.get("response", {}) if isinstance(given, dict) else {}
        kind = entry["resource"]["resourceType"]
        found = re.match(r"\d{3}", str(response.get("status", "")))
        status = int(found[0]) if found else 0
        if 200 <= status < 300:
            taken.append(Taken(kind, entry["fullUrl"], status, status == 201, str(response.get("location", ""))))
        else:
            later |= status in _TRY_AGAIN
            refused.append(f"{kind}: {status or 'no status'} {_issues(response.get('outcome'))}".strip())
    if not refused:
        return taken
    words = f"took {len(taken)} of {len(sent['entry'])} entries; refused {'; '.join(refused[:3])}"
    if later:
        raise _Again(words)
    raise DeliveryError(
        f"{words}.", "The bundle waits in the outbox. Mend what the server names, then resume.", where=url
    )
