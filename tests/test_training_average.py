"""The mean of adapters is the mean of what they add; checked against the plain sums of their products."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parent.parent
Held = dict[str, np.ndarray]


@pytest.fixture(scope="module")
def average() -> ModuleType:
    spec = importlib.util.spec_from_file_location("average", ROOT / "models/training/average.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def adapter(seed: int, rank: int = 4) -> Held:
    chance = np.random.default_rng(seed)
    shapes = {"one/weight": (20, 30), "two/weight": (12, 8)}
    return {f"{name}.{side}": chance.normal(size=(rows, rank) if side == "b" else (rank, columns)).astype(np.float16)
            for name, (rows, columns) in shapes.items() for side in "ab"}  # fmt: skip


def added(held: Held, name: str) -> np.ndarray:
    return held[f"{name}.b"].astype(np.float64) @ held[f"{name}.a"].astype(np.float64)


def test_with_room_for_all_directions_the_mean_is_exact(average: ModuleType) -> None:
    some = [adapter(seed) for seed in (1, 2)]
    made, kept = average.mean(some, rank=8)
    assert kept == pytest.approx(1.0)
    for name in ("one/weight", "two/weight"):
        assert np.allclose(added(made, name), sum(added(one, name) for one in some) / 2, atol=0.01)


def test_cut_down_it_holds_the_strongest_directions(average: ModuleType) -> None:
    some = [adapter(seed) for seed in (1, 2, 3)]
    made, kept = average.mean(some, rank=4)
    lost = total = 0.0
    for name in ("one/weight", "two/weight"):
        mean = sum(added(one, name) for one in some) / 3
        sizes = np.linalg.svd(mean, compute_uv=False)  # Eckart and Young: no matrix of that rank comes nearer
        assert made[f"{name}.b"].shape[1] == made[f"{name}.a"].shape[0] == 4
        assert np.sum((added(made, name) - mean) ** 2) == pytest.approx(np.sum(sizes[4:] ** 2), rel=0.01)
        lost, total = lost + np.sum(sizes[4:] ** 2), total + np.sum(sizes**2)
    assert kept == pytest.approx(1 - lost / total, rel=1e-3)


def test_adapters_of_other_weights_are_refused(average: ModuleType) -> None:
    other = {f"another/{key}": value for key, value in adapter(2).items()}
    with pytest.raises(SystemExit, match="not of the same weights"):
        average.mean([adapter(1), other], rank=4)
