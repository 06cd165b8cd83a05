"""A voice for tests: hibari-tts (Apache-2.0), which carries its one voice in the package; same text, same samples."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
import soxr


@lru_cache(maxsize=1)
def _voice() -> object:
    hibari = pytest.importorskip("hibari", reason="hibari-tts is not installed")
    return hibari.Hibari(threads=1)


@lru_cache(maxsize=64)
def speak(text: str) -> np.ndarray:
    """The text as 16 kHz mono float32, shape (samples,)."""
    voice = _voice()
    assert callable(voice)
    return soxr.resample(voice(text, seed=1), 24_000, 16_000).astype(np.float32)
