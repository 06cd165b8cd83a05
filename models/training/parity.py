"""Does the folder that Vosk loads compute what the trained net computes? Needs torch, but no GPU.

Run: python models/training/parity.py --net FOLDER --model FOLDER

The weights that train.py wrote, in PyTorch, and final.mdl, read back by `shipped.py` (which tests hold equal to Vosk
itself), hear the same frames. Fails where any log-likelihood differs by more than LIMIT.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import net
import numpy as np
import torch
from shipped import STEP, Shipped

# Of values between about -30 and 10, in 32-bit numbers.
LIMIT = 0.001


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("net", "model"):
        take.add_argument(f"--{name}", type=Path, required=True)
    given = take.parse_args()
    weights = dict(np.load(given.net / "net.npz"))
    phones = json.loads((given.net / "meta.json").read_text())["phones"]
    trained = net.Tdnn(len(phones), weights["mean"], weights["spread"])
    missing = trained.load_state_dict({name: torch.from_numpy(value) for name, value in weights.items()}, strict=False)
    if missing.unexpected_keys or any(not name.startswith("other.") for name in missing.missing_keys):
        raise SystemExit(f"the weights do not fit the net: {missing}")
    trained.eval()
    model = Shipped(given.model)
    # Frames as they come of speech: the mean and spread that the net learnt, correlated in time.
    chance = np.random.default_rng(7)
    frames = np.cumsum(chance.normal(size=(3 * STEP * 50 + 1, weights["mean"].size)), 0)
    frames = ((frames - frames.mean(0)) / frames.std(0) * weights["spread"] + weights["mean"]).astype("f4")
    edge = net.CONTEXT
    padded = np.concatenate([np.repeat(frames[:1], edge, 0), frames, np.repeat(frames[-1:], edge, 0)])
    with torch.no_grad():
        wanted = trained(torch.from_numpy(padded)[None])[0][0].numpy()
    found = model.posteriors(frames)
    # The order of the outputs: first frames of all phones, then those that follow, in the net; by pdf in the model.
    order = {name.rsplit("_", 1)[0]: model.outputs_of[at] for name, at in model.phones.items() if name != "<eps>"}
    columns = np.array([order[phone][part] for part in (0, 1) for phone in phones])
    worst = float(np.abs(found[:, columns] - wanted).max())
    print(f"{len(wanted)} steps, {wanted.shape[1]} outputs from {wanted.min():.1f} to {wanted.max():.1f}: the shipped "
          f"net differs from the trained one by at most {worst:.6f}")
    if found.shape != wanted.shape or worst > LIMIT:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
