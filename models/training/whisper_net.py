"""Whisper base in PyTorch under the names of its CTranslate2 file, for training only.

Shapes: mel (batch, 80, frames), encoder output (batch, frames / 2, 512), tokens (batch, length). Sound: float32 at
16 kHz. Architecture: Radford and others, "Robust Speech Recognition via Large-Scale Weak Supervision" (2022).
"""

from __future__ import annotations

import numpy as np
import torch
import torch.nn.functional as F

HEADS, LAYERS, HOP = 8, 6, 160
Weights = dict[str, torch.Tensor]


def norm(w: Weights, name: str, x: torch.Tensor) -> torch.Tensor:
    return F.layer_norm(x, (x.shape[-1],), w[f"{name}/gamma"], w[f"{name}/beta"])


def linear(w: Weights, name: str, x: torch.Tensor) -> torch.Tensor:
    return F.linear(x, w[f"{name}/weight"], w[f"{name}/bias"])


def attend(q: torch.Tensor, k: torch.Tensor, v: torch.Tensor, causal: bool = False) -> torch.Tensor:
    def split(x: torch.Tensor) -> torch.Tensor:
        return x.view(x.shape[0], x.shape[1], HEADS, -1).transpose(1, 2)

    out = F.scaled_dot_product_attention(split(q), split(k), split(v), is_causal=causal)
    return out.transpose(1, 2).reshape(q.shape)


def feed(w: Weights, name: str, x: torch.Tensor) -> torch.Tensor:
    inner = F.gelu(linear(w, f"{name}/ffn/linear_0", norm(w, f"{name}/ffn/layer_norm", x)))
    return x + linear(w, f"{name}/ffn/linear_1", inner)


def itself(w: Weights, name: str, x: torch.Tensor, causal: bool = False) -> torch.Tensor:
    own = f"{name}/self_attention"
    q, k, v = linear(w, f"{own}/linear_0", norm(w, f"{own}/layer_norm", x)).chunk(3, -1)
    return x + linear(w, f"{own}/linear_1", attend(q, k, v, causal))


def encode(w: Weights, mel: torch.Tensor) -> torch.Tensor:
    x = F.gelu(F.conv1d(mel, w["encoder/conv1/weight"], w["encoder/conv1/bias"], padding=1))
    x = F.gelu(F.conv1d(x, w["encoder/conv2/weight"], w["encoder/conv2/bias"], stride=2, padding=1)).transpose(1, 2)
    x = x + w["encoder/position_encodings/encodings"][: x.shape[1]]
    for at in range(LAYERS):
        name = f"encoder/layer_{at}"
        x = feed(w, name, itself(w, name, x))
    return norm(w, "encoder/layer_norm", x)


def cross(w: Weights, encoded: torch.Tensor) -> list[tuple[torch.Tensor, ...]]:
    """Keys and values of the encoder's output, for each layer of the decoder."""
    return [linear(w, f"decoder/layer_{at}/attention/linear_1", encoded).chunk(2, -1) for at in range(LAYERS)]


def decode(w: Weights, tokens: torch.Tensor, heard: list[tuple[torch.Tensor, ...]]) -> torch.Tensor:
    x = w["decoder/embeddings/weight"][tokens] + w["decoder/position_encodings/encodings"][: tokens.shape[1]]
    for at in range(LAYERS):
        name = f"decoder/layer_{at}"
        x = itself(w, name, x, causal=True)
        other = f"{name}/attention"
        q = linear(w, f"{other}/linear_0", norm(w, f"{other}/layer_norm", x))
        x = feed(w, name, x + linear(w, f"{other}/linear_2", attend(q, *heard[at])))
    return norm(w, "decoder/layer_norm", x)


def logits(w: Weights, hidden: torch.Tensor) -> torch.Tensor:
    return F.linear(hidden, w["decoder/embeddings/weight"])


def filters(rate: int = 16_000, size: int = 400, bands: int = 80) -> torch.Tensor:
    """Slaney mel filters, as librosa makes them, shape (bands, size / 2 + 1)."""
    at = np.fft.rfftfreq(size, 1 / rate)
    step, break_hz = 200 / 3, 1000.0
    log_step = np.log(6.4) / 27
    top = break_hz / step + np.log(rate / 2 / break_hz) / log_step
    mels = np.linspace(0, top, bands + 2)
    points = np.where(mels >= break_hz / step, break_hz * np.exp(log_step * (mels - break_hz / step)), mels * step)
    gaps = np.diff(points)
    ramps = points[:, None] - at[None]
    weights = np.maximum(0, np.minimum(-ramps[:-2] / gaps[:-1, None], ramps[2:] / gaps[1:, None]))
    return torch.tensor(weights * (2 / (points[2:] - points[:-2]))[:, None], dtype=torch.float32)


def features(sound: torch.Tensor, lengths: torch.Tensor | None = None) -> torch.Tensor:
    """Log mel of sound of shape (batch, samples), silence appended as sound.

    With `lengths` (samples): frames after the sound are zero, as when features are filled up to 30 s.
    """
    window = torch.hann_window(400, device=sound.device)
    power = torch.stft(sound, 400, HOP, window=window, return_complex=True)[..., :-1].abs() ** 2
    mel = torch.clamp(filters().to(sound.device) @ power, min=1e-10).log10()
    if lengths is None:
        return (torch.maximum(mel, mel.amax((1, 2), keepdim=True) - 8) + 4) / 4
    heard = torch.arange(mel.shape[-1], device=sound.device)[None] < (lengths // HOP + 1)[:, None]
    peak = mel.masked_fill(~heard[:, None], -20).amax((1, 2), keepdim=True)
    return torch.where(heard[:, None], (torch.maximum(mel, peak - 8) + 4) / 4, torch.zeros_like(mel))
