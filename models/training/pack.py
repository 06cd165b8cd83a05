"""The base weights as tune.py takes them: python models/training/pack.py --model FOLDER --out DIR

FOLDER: the joined whisper-base (`voxop models`). Matrices go as rows of 8 bits with a scale, which is how they are run.
"""

from __future__ import annotations

import argparse
import json
import shutil
from pathlib import Path

import numpy as np

from pipeline import merging


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("--model", type=Path, required=True)
    take.add_argument("--out", type=Path, required=True)
    given = take.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    raw = (given.model / "model.bin").read_bytes()
    rows, blob = [], []
    for name, (at, shape, kind) in merging.places(raw).items():
        value = np.frombuffer(raw, kind, int(np.prod(shape)), at).reshape(shape)
        if value.dtype == np.float16 and value.ndim == 2 and name.endswith("weight"):
            whole = value.astype(np.float32)
            scale = (np.maximum(np.abs(whole).max(1), 1e-9) / 127).astype(np.float32)
            blob += [scale.tobytes(), np.rint(whole / scale[:, None]).astype(np.int8).tobytes()]
            rows.append((name, list(shape), "q", 0))
        else:
            blob.append(value.tobytes())
            rows.append((name, list(shape), str(value.dtype), 0))
    (given.out / "weights.bin").write_bytes(b"".join(blob))
    (given.out / "meta.json").write_text(json.dumps(rows), encoding="utf-8")
    shutil.copy(given.model / "tokenizer.json", given.out)


if __name__ == "__main__":
    main()
