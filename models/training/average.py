"""Several adapters into one: python models/training/average.py --out adapter.npz ONE.npz OTHER.npz [...] [--rank 48]

The mean of what they add to each weight, cut down to `--rank` directions by singular values. Trainings that differ in
seed, sentences or share of people lose human speech in different places: their mean keeps more of it.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

Held = dict[str, np.ndarray]


def mean(some: list[Held], rank: int) -> tuple[Held, float]:
    """The adapter of that rank nearest to the mean, and the share of the mean (its squared size) that it holds."""
    names = sorted({key.removesuffix(".a") for key in some[0] if key.endswith(".a")})
    if any(set(one) != set(some[0]) for one in some):
        raise SystemExit("the adapters are not of the same weights")
    made: Held = {}
    kept = whole = 0.0
    for name in names:
        b = np.concatenate([one[f"{name}.b"].astype(np.float32) for one in some], axis=1) / len(some)
        a = np.concatenate([one[f"{name}.a"].astype(np.float32) for one in some], axis=0)
        # b @ a without ever making it: both are thin.
        left, upper = np.linalg.qr(b)
        right, lower = np.linalg.qr(a.T)
        u, sizes, v = np.linalg.svd(upper @ lower.T)
        root = np.sqrt(sizes[:rank])
        made[f"{name}.b"] = ((left @ u[:, :rank]) * root).astype(np.float16)
        made[f"{name}.a"] = ((v[:rank] @ right.T) * root[:, None]).astype(np.float16)
        kept, whole = kept + float(np.sum(sizes[:rank] ** 2)), whole + float(np.sum(sizes**2))
    return made, kept / whole


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("adapters", type=Path, nargs="+")
    take.add_argument("--out", type=Path, required=True)
    take.add_argument("--rank", type=int, default=48)
    given = take.parse_args()
    made, kept = mean([dict(np.load(path)) for path in given.adapters], given.rank)
    np.savez_compressed(given.out, **made)
    print(f"{given.out.stat().st_size / 1e6:.1f} MB, {100 * kept:.1f} % of the mean kept")


if __name__ == "__main__":
    main()
