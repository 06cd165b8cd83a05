"""The append-only history: every entry carries the SHA-256 of the one before it, so that nothing can be changed,
left out or put in between without being seen.

The digest of an entry is the SHA-256 of its fields as canonical JSON (sorted keys, no spaces, UTF-8), `previous`
included. The first entry's `previous` is 64 zeros. A chain proves itself whole but for its end: who keeps the last
digest elsewhere (printed by `voxop history verify`) can prove that nothing was cut off either.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

START = "0" * 64


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that happened. `seq`: 1, 2, 3 ...; `at`: ISO 8601 with offset; `detail`: canonical JSON."""

    seq: int
    at: str
    by: str
    action: str
    case: str
    version: int
    detail: str
    previous: str
    digest: str


def canonical(content: Mapping[str, Any]) -> str:
    """JSON in one form only: sorted keys, no spaces."""
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def entry(
    last: Entry | None, *, at: str, by: str, action: str, case: str = "", version: int = 0,
    detail: Mapping[str, Any] | None = None,
) -> Entry:  # fmt: skip
    """The entry that follows `last` (None: the first of all)."""
    seq, previous = (last.seq + 1, last.digest) if last else (1, START)
    told = canonical(detail or {})
    return Entry(seq, at, by, action, case, version, told, previous,
                 digest_of(seq, at, by, action, case, version, told, previous))  # fmt: skip


def digest_of(seq: int, at: str, by: str, action: str, case: str, version: int, detail: str, previous: str) -> str:
    """The SHA-256 of an entry's fields."""
    return sha256(canonical({"seq": seq, "at": at, "by": by, "action": action, "case": case, "version": version,
                             "detail": detail, "previous": previous}))  # fmt: skip


def faults(entries: Iterable[Entry]) -> list[str]:
    """What is wrong with a chain, in plain words; empty when it is whole. `entries`: in the order of `seq`."""
    found: list[str] = []
    seq, previous = 1, START
    for one in entries:
        if one.seq != seq:
            found.append(f"entry {seq} is missing (the next one there is {one.seq})")
        if one.previous != previous:
            found.append(f"entry {one.seq} does not follow the one before it")
        if one.digest != digest_of(one.seq, one.at, one.by, one.action, one.case, one.version, one.detail,
                                   one.previous):  # fmt: skip
            found.append(f"entry {one.seq} was changed after it was written")
        seq, previous = one.seq + 1, one.digest
    return found
