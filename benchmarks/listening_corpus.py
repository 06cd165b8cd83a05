"""Speaks benchmarks/dictations/*.toml into benchmarks/work/: clean, and with the sounds of a theatre at 15 and 5 dB.

Run: python benchmarks/listening_corpus.py   (the benchmark does it too; what is there is not made again)

Voices: "heart" of hibari-tts (neural, Apache-2.0), "slt", "rms" and "awb" of flite (Debian package flite) and two of
espeak-ng (Debian package espeak-ng). Everything is synthetic: the figures compare choices, they do not foretell how a
surgeon is understood. Speech to noise is measured over the speech, pauses left out. Same text, same samples.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
import tomllib
import wave
import zlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import soxr

HERE = Path(__file__).resolve().parent
WORK = HERE / "work"
RATE = 16_000
VOICES = ("heart", "slt", "rms", "awb", "en-us", "en-gb")
FLITE, ESPEAK = ("slt", "rms", "awb"), ("en-us", "en-gb")
CONDITIONS: dict[str, float | None] = {"clean": None, "15dB": 15.0, "5dB": 5.0}
PAUSE = 0.7
NON_SPEECH_SECONDS = 600
Sound = np.ndarray


@dataclass(frozen=True)
class Dictation:
    """`half`: "tuning" or "test"; `lines`: stretches of speech."""

    name: str
    half: str
    family: str
    lines: tuple[str, ...]

    @property
    def text(self) -> str:
        return "\n".join(self.lines)


def dictations() -> list[Dictation]:
    found = []
    for half in ("tuning", "test"):
        rows = tomllib.loads((HERE / "dictations" / f"{half}.toml").read_text(encoding="utf-8"))
        for name, row in rows.items():
            lines = tuple(line.strip() for line in row["text"].splitlines() if line.strip())
            found.append(Dictation(name, half, row["family"], lines))
    return found


def voices() -> list[str]:
    """The voices that this machine has."""
    have = ["heart"]
    have += [name for name in FLITE if shutil.which("flite")]
    have += [name for name in ESPEAK if shutil.which("espeak-ng")]
    return have


def recording(dictation: Dictation, voice: str, condition: str) -> Path:
    """The WAV of a dictation, made if it is not there."""
    mark = zlib.crc32(dictation.text.encode())
    path = WORK / "sound" / f"{dictation.name}-{mark:08x}.{voice}.{condition}.wav"
    if not path.exists():
        sound = spoken(dictation, voice)
        level = CONDITIONS[condition]
        if level is not None:
            other = VOICES[(VOICES.index(voice) + 3) % len(VOICES)]
            other = other if other in voices() else "heart"
            sound = mixed(sound, theatre(len(sound), other, mark), level)
        write(path, sound)
    return path


def spoken(dictation: Dictation, voice: str) -> Sound:
    pieces = [np.zeros(int(RATE * 0.4), np.float32)]
    for line in dictation.lines:
        pieces += [say(line, voice), np.zeros(int(RATE * PAUSE), np.float32)]
    sound = np.concatenate(pieces)
    room = np.random.default_rng(7).normal(0, 0.0006, len(sound)).astype(np.float32)
    return np.asarray(0.5 * sound / max(1e-6, float(np.abs(sound).max())) + room, np.float32)


@lru_cache(maxsize=256)
def say(text: str, voice: str) -> Sound:
    """A line at 16 kHz mono."""
    if voice == "heart":
        return soxr.resample(_hibari()(text, seed=1), 24_000, RATE).astype(np.float32)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "line.wav"
        if voice in FLITE:
            command = ["flite", "-voice", voice, "-t", text, "-o", str(path)]
        else:
            command = ["espeak-ng", "-v", voice, "-s", "150", "-w", str(path), text]
        subprocess.run(command, check=True, capture_output=True)
        with wave.open(str(path)) as file:
            rate = file.getframerate()
            samples = np.frombuffer(file.readframes(file.getnframes()), np.int16).astype(np.float32) / 32768
    return soxr.resample(samples, rate, RATE).astype(np.float32)


@lru_cache(maxsize=1)
def _hibari() -> object:
    from hibari import Hibari

    return Hibari(threads=1)


def theatre(length: int, voice: str, seed: int) -> Sound:
    """Monitor beeps, suction and a second voice, each about as loud as the others."""
    noise = np.random.default_rng(seed)
    time = np.arange(length) / RATE
    chatter = say("Can you pass me the other one, please. Yes, it is on the table. The next patient is here.", voice)
    chatter = np.tile(np.concatenate([chatter, np.zeros(2 * RATE, np.float32)]), 1 + length // len(chatter))[:length]
    parts = [beeps(time), suction(length, noise), chatter]
    return np.sum([part / max(1e-6, rms(part)) for part in parts], axis=0).astype(np.float32)


def beeps(time: Sound) -> Sound:
    return np.where(time % 0.85 < 0.09, np.sin(2 * np.pi * 960 * time), 0.0).astype(np.float32)


def suction(length: int, noise: np.random.Generator) -> Sound:
    """Hiss from 300 to 4000 Hz that comes and goes."""
    spectrum = np.fft.rfft(noise.normal(0, 1, length))
    at = np.fft.rfftfreq(length, 1 / RATE)
    spectrum *= ((at > 300) & (at < 4000)) / np.sqrt(np.maximum(at, 1))
    hiss = np.fft.irfft(spectrum, length)
    return (hiss * (0.6 + 0.4 * np.sin(2 * np.pi * 0.21 * np.arange(length) / RATE))).astype(np.float32)


def rms(sound: Sound) -> float:
    """Root mean square of what is not a pause."""
    loud = sound[np.abs(sound) > 0.02 * float(np.abs(sound).max(initial=0.0))]
    return float(np.sqrt(np.mean(loud**2))) if len(loud) else 0.0


def mixed(speech: Sound, noise: Sound, level: float) -> Sound:
    """Speech with noise `level` dB below it."""
    noise = noise * (rms(speech) / max(1e-9, float(np.sqrt(np.mean(noise**2)))) / 10 ** (level / 20))
    both = speech + noise
    return (both * min(1.0, 0.95 / float(np.abs(both).max()))).astype(np.float32)


def non_speech() -> Path:
    """Ten minutes in which nobody speaks: silence, hum, beeps, music, a saw, doors, suction."""
    path = WORK / "sound" / "non-speech.wav"
    if path.exists():
        return path
    noise = np.random.default_rng(11)
    length = RATE * NON_SPEECH_SECONDS // 7
    time = np.arange(length) / RATE
    hum = sum(np.sin(2 * np.pi * 50 * n * time) / n for n in (1, 2, 3, 5))
    chord = np.array([220.0, 277.2, 329.6, 246.9, 311.1, 370.0]).reshape(2, 3)[(time // 2 % 2).astype(int)]
    music = np.sum([np.sin(2 * np.pi * chord[:, n] * time) for n in range(3)], axis=0)
    saw = (2 * (time * 87 % 1) - 1) * (np.sin(2 * np.pi * 0.4 * time) > 0) + noise.normal(0, 0.3, length)
    doors = noise.normal(0, 1, length) * np.exp(-(time % 4.0) * 12)
    parts = [
        noise.normal(0, 0.001, length), 0.1 * hum, 0.3 * beeps(time), 0.1 * music, 0.15 * saw, 0.5 * doors,
        suction(length, noise),
    ]  # fmt: skip
    parts[-1] = 0.2 * parts[-1] / np.abs(parts[-1]).max()
    write(path, np.concatenate(parts).astype(np.float32))
    return path


def write(path: Path, sound: Sound) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype(np.int16).tobytes())


def main() -> None:
    for dictation in dictations():
        for voice in voices():
            for condition in CONDITIONS:
                print(recording(dictation, voice, condition).name, flush=True)
    print(non_speech().name)


if __name__ == "__main__":
    main()
