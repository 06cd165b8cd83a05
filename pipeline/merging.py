"""Lays a low-rank adapter over the weights of a CTranslate2 model file: weight + strength * b @ a.

The sum is made in float64, one rank after the other, element by element, so that every machine gets the same bytes;
the result is rounded to float16 as the base is stored. CTranslate2 makes 8 bits of it when it loads the file.
File format: CTranslate2 model.bin, version 6 (python/ctranslate2/specs/model_spec.py of its sources).
"""

from __future__ import annotations

import io
import struct
from pathlib import Path
from typing import Any

import numpy as np

Array = np.ndarray[Any, np.dtype[Any]]
KINDS: dict[int, Any] = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
VERSION = 6


def places(raw: bytes) -> dict[str, tuple[int, tuple[int, ...], Any]]:
    """Where each weight lies: name -> (offset in bytes, shape, type). Raises ValueError on another format."""
    at = 0

    def take(form: str) -> int:
        nonlocal at
        (value,) = struct.unpack_from("<" + form, raw, at)
        at += struct.calcsize("<" + form)
        return int(value)

    def text() -> str:
        nonlocal at
        size = take("H")
        at += size
        return raw[at - size : at - 1].decode()

    try:
        if take("I") != VERSION:
            raise ValueError("not a CTranslate2 file of version 6")
        text()
        take("I")
        found = {}
        for _ in range(take("I")):
            name = text()
            shape = tuple(take("I") for _ in range(take("B")))
            kind, size = KINDS[take("B")], take("I")
            found[name] = (at, shape, kind)
            at += size
    except (struct.error, KeyError, UnicodeDecodeError) as problem:
        raise ValueError(f"not a whole CTranslate2 file ({problem})") from problem
    return found


def merge(base: bytes, adapter: bytes, strength: float) -> bytes:
    """The model file with the adapter laid over it; the same size as the base.

    `adapter`: npz with `NAME.a` of shape (rank, columns) and `NAME.b` of shape (rows, rank) for weights of shape
    (rows, columns); `strength`: 0 gives the base back, 1 the whole adapter. Raises ValueError where they do not fit.
    """
    made, where = bytearray(base), places(base)
    with np.load(io.BytesIO(adapter), allow_pickle=False) as held:
        for name in sorted(key[:-2] for key in held.files if key.endswith(".a")):
            a, b = held[f"{name}.a"].astype(np.float64), held[f"{name}.b"].astype(np.float64)
            offset, shape, kind = where.get(name, (0, (), None))
            if kind is None or shape != (b.shape[0], a.shape[1]) or a.shape[0] != b.shape[1]:
                raise ValueError(f"the adapter does not fit the base at {name}")
            count = shape[0] * shape[1]
            total = np.frombuffer(base, kind, count, offset).reshape(shape).astype(np.float64)
            for rank in range(a.shape[0]):
                # Not one matrix product: its order of adding, and with it the last bit, differs between machines.
                total += (strength * b[:, rank])[:, None] * a[rank][None, :]
            new = total.astype(kind).tobytes()
            made[offset : offset + len(new)] = new
    return bytes(made)


def merge_file(base: Path, adapter: Path, strength: float, target: Path) -> None:
    """As `merge`, from file to file."""
    target.write_bytes(merge(base.read_bytes(), adapter.read_bytes(), strength))
