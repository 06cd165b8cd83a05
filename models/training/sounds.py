"""Recordings and synthetic voices -> 16 kHz sound; sound -> MFCC as Kaldi makes them, many at a time on a GPU."""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
import torch
import torchaudio

RATE = 16_000
CEPSTRA, MELS, LOW, HIGH = 40, 40, 20.0, 7600.0
SCALE = 32768.0
# Voice -> command; the voices of flite (Debian package flite) and variants of espeak-ng.
FLITE = ("slt", "rms", "awb", "kal")
ESPEAK = ("en-us", "en-us+f2", "en-us+m3", "en-us+f4", "en-gb", "en-gb+f3", "en-gb-x-rp+m2", "en-gb-scotland+m7")
VOICES = (*FLITE, *FLITE, "slt", "rms", "awb", *ESPEAK)


def read(path: Path) -> np.ndarray:
    """A recording as float32 at 16 kHz, shape (samples,), in the range of 16-bit samples."""
    sound, rate = soundfile.read(str(path), dtype="float32")
    return _at_rate(sound, rate)


def say(text: str, voice: str, number: int) -> np.ndarray:
    """The text by one voice; `number` varies its speed. Shape (samples,), in the range of 16-bit samples."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        if voice in FLITE:
            stretch = 0.85 + 0.1 * (number % 4)
            command = ["flite", "-voice", voice, "--setf", f"duration_stretch={stretch}", "-t", text, "-o", str(path)]
        else:
            command = ["espeak-ng", "-v", voice, "-s", str(130 + 15 * (number % 4)), "-w", str(path), text]
        subprocess.run(command, capture_output=True, check=False)
        if not path.is_file():
            raise SystemExit(f"the voice {voice} did not speak: {' '.join(command)}")
        sound = read(path)
    edge = np.zeros(RATE // 5, np.float32)
    return np.concatenate([edge, sound, edge])


def _at_rate(sound: np.ndarray, rate: int) -> np.ndarray:
    if rate != RATE:
        sound = torchaudio.functional.resample(torch.from_numpy(sound), rate, RATE).numpy()
    return (sound * SCALE).astype(np.float32)


class Mfcc(torch.nn.Module):
    """Kaldi's MFCC (25 ms Povey window every 10 ms, no dither, no energy, edges snipped), for a batch.

    Sound of shape (batch, samples) -> (batch, frames, 40). The same as `--use-energy=false --num-mel-bins=40
    --num-ceps=40 --low-freq=20 --high-freq=7600 --dither=0`; `check` compares with torchaudio's port of Kaldi.
    """

    def __init__(self, cepstra: int = CEPSTRA, mels: int = MELS) -> None:
        super().__init__()
        window = torch.hann_window(400, periodic=False).pow(0.85)
        banks, _ = torchaudio.compliance.kaldi.get_mel_banks(mels, 512, float(RATE), LOW, HIGH, 100.0, -500.0, 1.0)
        banks = torch.nn.functional.pad(banks, (0, 1))
        cosine = torchaudio.compliance.kaldi._get_dct_matrix(cepstra, mels)
        lifter = torchaudio.compliance.kaldi._get_lifter_coeffs(cepstra, 22.0)
        for name, value in {"window": window, "banks": banks.T, "cosine": cosine * lifter}.items():
            self.register_buffer(name, value.contiguous())

    def forward(self, sound: torch.Tensor) -> torch.Tensor:
        frames = sound.unfold(1, 400, 160)
        frames = frames - frames.mean(2, keepdim=True)
        before = torch.cat([frames[..., :1], frames[..., :-1]], 2)
        frames = (frames - 0.97 * before) * self.window
        power = torch.fft.rfft(frames, 512).abs().pow(2)
        mel = (power @ self.banks).clamp_min(torch.finfo(torch.float32).eps).log()
        return mel @ self.cosine

    def check(self) -> float:
        """Largest difference from torchaudio's port of Kaldi on a second of noise."""
        sound = torch.randn(1, RATE, generator=torch.Generator().manual_seed(1)) * 2000
        other = torchaudio.compliance.kaldi.mfcc(
            sound, num_ceps=self.cosine.shape[1], num_mel_bins=self.cosine.shape[0], low_freq=LOW, high_freq=HIGH,
            use_energy=False, dither=0.0,
        )  # fmt: skip
        return float((self(sound.to(self.window.device))[0].cpu() - other).abs().max())


class Noises:
    """Random speed-independent changes of a batch of sound: room, band limit, noise, other voices, level."""

    def __init__(self, seed: int, device: str) -> None:
        self.chance = torch.Generator(device=device).manual_seed(seed)
        self.device = device

    def _random(self, *shape: int) -> torch.Tensor:
        return torch.rand(*shape, generator=self.chance, device=self.device)

    def __call__(self, sound: torch.Tensor) -> torch.Tensor:
        """(batch, samples) -> the same shape."""
        count, length = sound.shape
        size = length + RATE // 2
        spectrum = torch.fft.rfft(sound, size)
        # A room: noise that dies away in 0.1 to 0.5 s, for two in five.
        time = torch.arange(RATE // 2, device=self.device) / RATE
        decay = 0.1 + 0.4 * self._random(count, 1)
        tail = (self._random(count, len(time)) - 0.5) * torch.exp(-6.9 * time / decay) * 0.12
        tail[:, :40] = 0
        tail = tail * (self._random(count, 1) < 0.4) * self._random(count, 1)
        tail[:, 0] = 1.0
        spectrum = spectrum * torch.fft.rfft(tail, size)
        # A band limit between 3 and 7.6 kHz for one in three, and a lower edge up to 300 Hz for one in five.
        hertz = torch.fft.rfftfreq(size, 1 / RATE, device=self.device)
        high = torch.where(self._random(count, 1) < 0.33, 3000 + 4600 * self._random(count, 1), 9000.0)
        low = 300 * self._random(count, 1) * (self._random(count, 1) < 0.2)
        spectrum = spectrum * torch.sigmoid((high - hertz) / 60) * torch.sigmoid((hertz - low) / 20 + 4 * (low < 1))
        out = torch.fft.irfft(spectrum, size)[:, :length]
        # Coloured noise for all (0 to 40 dB below), another voice of the batch for one in five (5 to 25 dB below).
        noise = torch.fft.rfft(torch.randn(count, length, generator=self.chance, device=self.device))
        tilt = -1.2 * self._random(count, 1)
        noise = torch.fft.irfft(noise * (torch.arange(noise.shape[1], device=self.device) + 8.0).pow(tilt), length)
        loud = out.pow(2).mean(1, keepdim=True).sqrt().clamp_min(1.0)
        below = 4 + 40 * self._random(count, 1)
        out = out + noise / noise.pow(2).mean(1, keepdim=True).sqrt() * loud * 10 ** (-below / 20)
        other = sound.roll(1, 0)
        below = 5 + 20 * self._random(count, 1)
        scaled = other / other.pow(2).mean(1, keepdim=True).sqrt().clamp_min(1.0) * loud * 10 ** (-below / 20)
        out = out + scaled * (self._random(count, 1) < 0.2)
        level = 10 ** (-1.3 + 1.5 * self._random(count, 1))
        return (out / out.abs().amax(1, keepdim=True).clamp_min(1.0) * SCALE * 0.6 * level).clamp(-SCALE, SCALE)
