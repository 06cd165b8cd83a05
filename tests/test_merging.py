"""The adapter is laid over the base as an independent computation says, and as the manifest says."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest

from pipeline import merging


def _file(weights: dict[str, np.ndarray]) -> bytes:
    """A model file as CTranslate2 writes it (version 6; layout of model_spec.py in its sources)."""
    def text(value: str) -> bytes:
        return struct.pack("<H", len(value) + 1) + value.encode() + b"\0"

    kinds = {np.dtype(kind): number for number, kind in merging.KINDS.items()}
    raw = struct.pack("<I", 6) + text("WhisperSpec") + struct.pack("<II", 3, len(weights))
    for name, value in weights.items():
        raw += text(name) + struct.pack("<B", value.ndim) + struct.pack(f"<{value.ndim}I", *value.shape)
        raw += struct.pack("<BI", kinds[value.dtype], value.nbytes) + value.tobytes()
    return raw + struct.pack("<I", 1) + text("alias") + text("w")


def _adapter(**arrays: np.ndarray) -> bytes:
    out = io.BytesIO()
    np.savez(out, **{name.replace("__", "."): value for name, value in arrays.items()})
    return out.getvalue()


@pytest.fixture
def weights() -> dict[str, np.ndarray]:
    chance = np.random.default_rng(3)
    return {"first": np.asarray(2, np.int8), "w": chance.normal(size=(6, 4)).astype(np.float16),
            "last": chance.normal(size=5).astype(np.float16)}


def test_merge_is_the_matrix_product_rounded_once(weights: dict[str, np.ndarray]) -> None:
    chance = np.random.default_rng(4)
    a, b = chance.normal(size=(2, 4)).astype(np.float16), chance.normal(size=(6, 2)).astype(np.float16)
    made = merging.merge(_file(weights), _adapter(w__a=a, w__b=b), 0.5)
    # Independent: one matrix product of exact fractions of the stored numbers.
    from fractions import Fraction

    expected = [[Fraction(float(weights["w"][row, column]))
                 + sum(Fraction(1, 2) * Fraction(float(b[row, r])) * Fraction(float(a[r, column])) for r in range(2))
                 for column in range(4)] for row in range(6)]
    offset, shape, kind = merging.places(made)["w"]
    found = np.frombuffer(made, kind, 24, offset).reshape(shape)
    assert found.tolist() == [[float(np.float16(float(value))) for value in row] for row in expected]
    other = {**weights, "w": found}
    assert made == _file(other)  # nothing else of the file has changed


def test_strength_zero_gives_the_base_back(weights: dict[str, np.ndarray]) -> None:
    adapter = _adapter(w__a=np.ones((1, 4), np.float16), w__b=np.ones((6, 1), np.float16))
    assert merging.merge(_file(weights), adapter, 0.0) == _file(weights)


@pytest.mark.parametrize(("name", "rows"), [("w", 5), ("absent", 6)])
def test_an_adapter_of_another_model_is_refused(weights: dict[str, np.ndarray], name: str, rows: int) -> None:
    held = {f"{name}__a": np.ones((1, 4), np.float16), f"{name}__b": np.ones((rows, 1), np.float16)}
    with pytest.raises(ValueError, match=f"does not fit the base at {name}"):
        merging.merge(_file(weights), _adapter(**held), 1.0)


def test_another_format_is_refused() -> None:
    with pytest.raises(ValueError, match="CTranslate2"):
        merging.places(b"\x07\0\0\0nothing")
