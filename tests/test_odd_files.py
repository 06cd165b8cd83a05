"""Odd recordings through the real recogniser: what a user gets is the words or one clear line, never a hang.

What must be heard is what was said into them; damage is made as it happens in the field: too far from the microphone,
overdriven, a telephone (ITU-T G.711: 8 kHz, mu-law), one dead channel, a wrong name, a broken copy.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest
import soxr
from click.testing import CliRunner, Result

from pipeline.cli import main
from tests.voice import speak

RATE = 16_000
SAID = ("Left ankle arthroscopy.", "Total tourniquet time, forty-eight minutes.")
HEARD = {"left", "ankle", "arthroscopy", "tourniquet", "48", "minutes"}


def wav(path: Path, channels: np.ndarray, rate: int = RATE, codec: str = "pcm_s16le") -> Path:
    """(channels, samples) of -1..1 as a WAV file."""
    channels = np.atleast_2d(channels)
    layout = {1: "mono", 2: "stereo"}[channels.shape[0]]
    with av.open(str(path), "w", format="wav") as container:
        stream = container.add_stream(codec, rate=rate, layout=layout)
        samples = np.clip(np.rint(channels * 32767), -32768, 32767).astype(np.int16)
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(samples.T).reshape(1, -1), format="s16", layout=layout)
        frame.sample_rate = rate
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


@pytest.fixture(scope="module")
def dictation() -> np.ndarray:
    still = np.random.default_rng(3).normal(0, 0.0005, RATE).astype(np.float32)
    said = [part for line in SAID for part in (speak(line), still)]
    whole = np.concatenate([still, *said])
    return np.asarray(0.5 * whole / np.abs(whole).max(), dtype=np.float32)


def voxop(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def quiet(path: Path, sound: np.ndarray) -> Path:
    return wav(path / "x.wav", sound * 0.004)  # -54 dB at its loudest


def clipped(path: Path, sound: np.ndarray) -> Path:
    return wav(path / "x.wav", np.clip(sound * 12, -1, 1))


def telephone(path: Path, sound: np.ndarray) -> Path:
    return wav(path / "x.wav", soxr.resample(sound, RATE, 8_000), 8_000, "pcm_mulaw")


def dead_channel(path: Path, sound: np.ndarray) -> Path:
    return wav(path / "x.wav", np.stack([np.zeros_like(sound), sound]))


def wrong_name(path: Path, sound: np.ndarray) -> Path:
    return wav(path / "x.wav", sound).rename(path / "x.mp3")


def no_name(path: Path, sound: np.ndarray) -> Path:
    return wav(path / "x.wav", sound).rename(path / "recording")


def named_as_text(path: Path, sound: np.ndarray) -> Path:
    return wav(path / "x.wav", sound).rename(path / "x.txt")


def cut_off(path: Path, sound: np.ndarray) -> Path:
    made = wav(path / "x.wav", np.concatenate([sound, np.zeros(RATE, dtype=np.float32)]))
    os.truncate(made, made.stat().st_size - RATE)
    return made


@pytest.mark.slow
@pytest.mark.parametrize(
    ("make", "told"),
    [(quiet, "very quiet"), (clipped, ""), (telephone, ""), (dead_channel, "Channel 1 of 2"), (wrong_name, ""),
     (no_name, ""), (named_as_text, ""), (cut_off, "cut off")],
)  # fmt: skip
def test_an_odd_recording_is_heard(
    tmp_path: Path, dictation: np.ndarray, make: Callable[[Path, np.ndarray], Path], told: str
) -> None:
    out = tmp_path / "out"
    result = voxop("note", make(tmp_path, dictation), "--out", out, "--family", "ankle-arthroscopy")
    assert result.exit_code == 0, result.output
    words = json.loads((out / "words.json").read_text("utf-8"))
    # A repaired term of two words is one word of the recogniser's.
    plain = {part.strip(".,") for word in words["words"] for part in word["text"].casefold().split()}
    assert plain >= HEARD, plain
    note = json.loads((out / "note.json").read_text("utf-8"))
    times = [(fact["value"], fact["unit"]) for fact in note["facts"] if fact["kind"] == "tourniquet_time"]
    assert times == [("48", "min")]
    assert any(told in notice for notice in note["source"]["notices"]) if told else not note["source"]["notices"]


@pytest.mark.slow
def test_transcribe_tells_damage_beside_the_words(tmp_path: Path, dictation: np.ndarray) -> None:
    result = voxop("transcribe", cut_off(tmp_path, dictation), "--family", "ankle-arthroscopy")
    assert result.exit_code == 0, result.output
    assert "cut off" in result.stderr
    assert "arthroscopy" in result.stdout.lower()
    assert "cut off" not in result.stdout


def nothing(path: Path, sound: np.ndarray) -> Path:
    (path / "x.wav").write_bytes(b"")
    return path / "x.wav"


def head_alone(path: Path, sound: np.ndarray) -> Path:
    made = wav(path / "x.wav", sound)
    os.truncate(made, 44)
    return made


def half_a_head(path: Path, sound: np.ndarray) -> Path:
    made = wav(path / "x.wav", sound)
    os.truncate(made, 20)
    return made


def not_sound(path: Path, sound: np.ndarray) -> Path:
    (path / "x.wav").write_bytes(bytes(range(256)) * 40)
    return path / "x.wav"


def not_text(path: Path, sound: np.ndarray) -> Path:
    (path / "x.txt").write_bytes(bytes(range(256)) * 40)
    return path / "x.txt"


def silence(path: Path, sound: np.ndarray) -> Path:
    return wav(path / "x.wav", np.zeros(3 * RATE, dtype=np.float32))


@pytest.mark.parametrize("make", [nothing, head_alone, half_a_head, not_sound, not_text, silence])
def test_what_holds_no_speech_ends_with_one_clear_line(
    tmp_path: Path, dictation: np.ndarray, make: Callable[[Path, np.ndarray], Path]
) -> None:
    source = make(tmp_path, dictation)
    result = voxop("note", source, "--out", tmp_path / "out")
    assert result.exit_code == 2, result.output
    lines = [line for line in result.stderr.splitlines() if line.strip()]
    assert len(lines) == 1, result.stderr
    assert lines[0].startswith("voxop: ")
    assert source.name in lines[0]
    assert not (tmp_path / "out").exists()
