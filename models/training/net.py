"""The acoustic net (a TDNN that answers every 30 ms) and its loss: lattice-free MMI with a phone trigram, plus CE.

Each phone has two outputs, for its first frame and for those that follow, as in Kaldi's chain topology. The loss
compares the phones that the alignment allows near each frame with all the phones that the trigram allows.
"""

from __future__ import annotations

import math

import numpy as np
import torch
from torch import nn

WIDTH = 384
# Layers before the step to 30 ms, with their reach in 10 ms frames, and the reach of those after it in 30 ms frames.
FAST = ((-2, -1, 0, 1, 2), (-1, 0, 1), (-1, 0, 1))
SLOW = (1, 1, 1, 1, 1, 2)
CONTEXT = 4 + 3 * sum(SLOW)
STEP = 3
KEPT = 0.66
# The frames by which a phone may be spoken earlier or later than it was aligned, in steps of 30 ms.
SLACK = 1


class Tdnn(nn.Module):
    """(batch, frames, 40) with CONTEXT frames on each side -> (batch, steps, 2 * phones)."""

    def __init__(self, phones: int, mean: np.ndarray, spread: np.ndarray, width: int = WIDTH) -> None:
        super().__init__()
        self.register_buffer("mean", torch.from_numpy(mean.astype("f4")))
        self.register_buffer("spread", torch.from_numpy(spread.astype("f4")))
        self.fast = nn.ModuleList(
            nn.Conv1d(len(mean) if at == 0 else width, width, len(reach), stride=STEP if at == len(FAST) - 1 else 1)
            for at, reach in enumerate(FAST)
        )
        self.slow = nn.ModuleList(nn.Conv1d(width, width, 3, dilation=reach) for reach in SLOW)
        self.norms = nn.ModuleList(nn.BatchNorm1d(width, affine=False) for _ in range(len(FAST) + len(SLOW)))
        self.drop = nn.Dropout(0.1)
        self.out = nn.Conv1d(width, 2 * phones, 1)
        self.other = nn.Conv1d(width, phones, 1)

    def trunk(self, features: torch.Tensor) -> torch.Tensor:
        now = ((features - self.mean) / self.spread).transpose(1, 2)
        for at, layer in enumerate(self.fast):
            now = self.drop(self.norms[at](torch.relu(layer(now))))
        for at, layer in enumerate(self.slow):
            reach = SLOW[at]
            now = KEPT * now[:, :, reach:-reach] + self.drop(self.norms[len(FAST) + at](torch.relu(layer(now))))
        return now

    def forward(self, features: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        now = self.trunk(features)
        return self.out(now).transpose(1, 2), self.other(now).transpose(1, 2)


def trigram(alignments: list[np.ndarray], phones: int) -> torch.Tensor:
    """P(next | before, now) of phones, shape (phones, phones, phones); never the same phone twice but by chance."""
    three = np.zeros((phones,) * 3)
    two = np.zeros((phones, phones))
    for one in alignments:
        if not len(one):
            continue
        said = one[np.concatenate([[True], one[1:] != one[:-1]])]
        np.add.at(two, (said[:-1], said[1:]), 1)
        np.add.at(three, (said[:-2], said[1:-1], said[2:]), 1)
    single = two.sum(0) + 1
    single /= single.sum()
    pair = (two + 20 * single) / (two.sum(1, keepdims=True) + 20)
    return torch.from_numpy((three + 10 * pair[None]) / (three.sum(2, keepdims=True) + 10)).float()


def mmi(outputs: torch.Tensor, allowed: torch.Tensor, language: torch.Tensor) -> torch.Tensor:
    """Mean loss a step. `outputs`: (batch, steps, 2P); `allowed`: (batch, steps, P) bool."""
    count, steps, size = outputs.shape
    phones = size // 2
    outputs = outputs.float()
    top = outputs.detach().amax(2, keepdim=True)
    likely = torch.exp(outputs - top)
    mask = torch.cat([allowed.float() + 1e-8, torch.ones_like(allowed, dtype=torch.float32)])
    both = torch.cat([likely, likely])
    first, stay = both[..., :phones] * mask, both[..., phones:] * mask
    begin = torch.full((2 * count, phones, phones), 1.0 / phones**2, device=outputs.device)
    # A piece may begin in the middle of a phone.
    now = begin * 0.5 * (first[:, 0] + stay[:, 0])[:, None, :]
    total = torch.zeros(2 * count, device=outputs.device)
    for step in range(steps):
        if step:
            entered = torch.einsum("bpc,pcn->bcn", now, language) * (0.5 * first[:, step])[:, None, :]
            now = now * (0.5 * stay[:, step])[:, None, :] + entered
        mass = now.sum((1, 2))
        total = total + mass.log()
        now = now / mass[:, None, None]
    return (total[count:] - total[:count]).mean() / steps


def near(aligned: torch.Tensor, phones: int) -> torch.Tensor:
    """(batch, steps) phone numbers -> (batch, steps, phones): which phones may be spoken at each step."""
    exact = nn.functional.one_hot(aligned, phones).bool()
    allowed = exact.clone()
    for shift in range(1, SLACK + 1):
        allowed[:, shift:] |= exact[:, :-shift]
        allowed[:, :-shift] |= exact[:, shift:]
    return allowed


def rate(done: float, peak: float) -> float:
    """Learning rate after `done` (0..1) of the work."""
    return peak * min(1.0, done / 0.05) * (0.02 + 0.98 * 0.5 * (1 + math.cos(math.pi * done)))
