"""Sound files made here, in every format a user may bring, come back as the same 16 kHz mono sound."""

from __future__ import annotations

import os
import wave
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest

from pipeline import audio
from pipeline.errors import EmptyAudio, NotAudio, SourceNotFound, SourceUnreadable

TONE = 440.0


def tone(seconds: float, rate: int, level: float = 0.5, hertz: float = TONE) -> np.ndarray:
    return (level * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)).astype(np.float32)


def write(path: Path, channels: np.ndarray, rate: int, form: str, codec: str, sample: str) -> Path:
    """Writes (channels, samples) of -1..1 with PyAV in the named container and codec."""
    layout = {1: "mono", 2: "stereo"}[channels.shape[0]]
    with av.open(str(path), "w", format=form) as container:
        stream = container.add_stream(codec, rate=rate, layout=layout)
        stream.format = sample
        size = 1024
        for start in range(0, channels.shape[1], size):
            block = np.ascontiguousarray(channels[:, start : start + size])
            frame = av.AudioFrame.from_ndarray(block, format="fltp", layout=layout)
            frame.sample_rate, frame.pts = rate, start
            resampled = av.AudioResampler(format=sample, layout=layout, rate=rate).resample(frame)
            for piece in resampled:
                piece.pts = start
                container.mux(stream.encode(piece))
        container.mux(stream.encode(None))
    return path


def wav(path: Path, channels: np.ndarray, rate: int = 16_000) -> Path:
    return write(path, np.atleast_2d(channels), rate, "wav", "pcm_s16le", "s16")


def strongest(sound: np.ndarray) -> float:
    """Frequency of the strongest line, in hertz."""
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    return float(np.argmax(spectrum) * 16_000 / len(sound))


FORMATS = [
    ("wav", "wav", "pcm_s16le", "s16"),
    ("wav", "wav", "pcm_s24le", "s32"),
    ("wav", "wav", "pcm_f32le", "flt"),
    ("wav", "wav", "pcm_u8", "u8"),
    ("flac", "flac", "flac", "s16"),
    ("mp3", "mp3", "libmp3lame", "fltp"),
    ("m4a", "ipod", "aac", "fltp"),
    ("ogg", "ogg", "flac", "s16"),
    ("opus", "ogg", "libopus", "flt"),
]


@pytest.mark.parametrize(("ending", "form", "codec", "sample"), FORMATS, ids=[f"{f[1]}-{f[2]}" for f in FORMATS])
@pytest.mark.parametrize("channels", [1, 2])
def test_every_format_gives_the_same_sound(
    tmp_path: Path, ending: str, form: str, codec: str, sample: str, channels: int
) -> None:
    rate = 48_000 if codec == "libopus" else 44_100
    path = write(tmp_path / f"x.{ending}", np.stack([tone(2.0, rate)] * channels), rate, form, codec, sample)
    sound = audio.inspect(path)
    samples = audio.load(path)
    assert samples.dtype == np.float32
    assert samples.ndim == 1
    assert (sound.channels, sound.rate) == (channels, rate)
    # A lossy codec pads its ends: 0.1 s.
    assert sound.seconds == pytest.approx(2.0, abs=0.1)
    assert len(samples) == round(sound.seconds * 16_000)
    middle = samples[8_000:24_000]
    assert strongest(middle) == pytest.approx(TONE, abs=2)
    # A sine of amplitude 0.5 has an effective value of 0.5 / sqrt(2).
    assert float(np.sqrt(np.mean(middle**2))) == pytest.approx(0.5 / np.sqrt(2), rel=0.05)
    assert sound.notices == ()


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 22_050, 48_000, 96_000])
def test_every_rate_keeps_pitch_and_length(tmp_path: Path, rate: int) -> None:
    samples = audio.load(wav(tmp_path / "x.wav", tone(1.5, rate), rate))
    assert len(samples) == pytest.approx(24_000, abs=40)
    assert strongest(samples[4_000:20_000]) == pytest.approx(TONE, abs=2)


@pytest.mark.parametrize("name", ["x.mp3", "x.txt", "x", "http:x.wav", "x.m3u8"])
def test_the_name_does_not_matter(tmp_path: Path, name: str) -> None:
    made = wav(tmp_path / "made.wav", tone(1.0, 16_000))
    odd = tmp_path / name
    odd.write_bytes(made.read_bytes())
    assert np.array_equal(audio.load(odd), audio.load(made))


@pytest.mark.parametrize("silent", [0, 1])
def test_a_silent_channel_does_not_halve_the_sound(tmp_path: Path, silent: int) -> None:
    channels = np.stack([tone(1.0, 16_000), tone(1.0, 16_000)])
    channels[silent] = 0.0
    path = wav(tmp_path / "x.wav", channels)
    assert np.abs(audio.load(path)).max() == pytest.approx(0.5, abs=0.001)
    assert f"Channel {silent + 1} of 2" in audio.inspect(path).notices[0]


def test_a_channel_that_falls_silent_later_still_counts(tmp_path: Path) -> None:
    channels = np.stack([tone(1.0, 16_000), tone(1.0, 16_000)])
    channels[0, 8_000:] = 0.0
    samples = audio.load(wav(tmp_path / "x.wav", channels))
    assert np.abs(samples[10_000:]).max() == pytest.approx(0.25, abs=0.001)


def test_opposed_channels_do_not_cancel(tmp_path: Path) -> None:
    path = wav(tmp_path / "x.wav", np.stack([tone(1.0, 16_000), -0.9 * tone(1.0, 16_000)]))
    assert np.abs(audio.load(path)).max() == pytest.approx(0.5, abs=0.001)
    assert "cancel" in audio.inspect(path).notices[0]


def test_a_very_quiet_recording_is_made_louder_and_says_so(tmp_path: Path) -> None:
    path = wav(tmp_path / "x.wav", tone(1.0, 16_000, level=0.01))
    assert np.abs(audio.load(path)).max() == pytest.approx(0.5, rel=0.02)
    assert "very quiet" in audio.inspect(path).notices[0]
    silent = wav(tmp_path / "silent.wav", np.zeros((1, 16_000), dtype=np.float32))
    assert np.abs(audio.load(silent)).max() == 0.0


def test_pieces_are_the_file_in_order(tmp_path: Path) -> None:
    path = wav(tmp_path / "x.wav", np.random.default_rng(1).uniform(-0.5, 0.5, 40_123).astype(np.float32))
    given = list(audio.pieces(audio.inspect(path), seconds=0.25))
    assert [len(piece) for piece in given[:-1]] == [4_000] * 10
    assert np.array_equal(np.concatenate(given), audio.load(path))
    assert sum(map(len, given)) == 40_123


def test_samples_that_are_not_numbers_do_no_harm(tmp_path: Path) -> None:
    wild = tone(1.0, 16_000)
    wild[100], wild[200], wild[300] = np.nan, np.inf, -7.0
    samples = audio.load(write(tmp_path / "x.wav", wild[None], 16_000, "wav", "pcm_f32le", "flt"))
    assert np.isfinite(samples).all()
    assert np.abs(samples).max() <= 1.0


@pytest.mark.parametrize(
    "data",
    [
        b"This is the operative note.\n" * 400,
        b"\x00" * 50_000,
        np.random.default_rng(3).bytes(200_000),
        b"PK\x03\x04" + np.random.default_rng(4).bytes(50_000),
        b"%PDF-1.7\n" + b"1 0 obj << >> endobj\n" * 500,
        b"#EXTM3U\n#EXTINF:1,\n/etc/hostname\n",
        b"ffconcat version 1.0\nfile '/etc/hostname'\n",
        b"RIFF",
        b"\x89PNG\r\n\x1a\n" + b"\x00" * 100,
        b"ID3" + b"\x00" * 3,
    ],
    ids=["text", "zeros", "random", "zip", "pdf", "playlist", "concat", "riff", "png", "id3"],
)
def test_what_is_not_audio_is_refused(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "x.wav"
    path.write_bytes(data)
    with pytest.raises(NotAudio) as caught:
        audio.inspect(path)
    assert str(path) in str(caught.value)
    assert caught.value.do


def test_empty_missing_folder_and_forbidden(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    nothing = tmp_path / "nothing.wav"
    nothing.write_bytes(b"")
    header = tmp_path / "header.wav"
    with wave.open(str(header), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16_000)
    with pytest.raises(EmptyAudio):
        audio.inspect(nothing)
    with pytest.raises(EmptyAudio):
        audio.inspect(header)
    with pytest.raises(SourceNotFound):
        audio.inspect(tmp_path / "absent.wav")
    with pytest.raises(SourceUnreadable, match="folder"):
        audio.inspect(tmp_path)
    closed = wav(tmp_path / "closed.wav", tone(0.5, 16_000))
    if os.geteuid() == 0:  # root may read anything, so the refusal itself is played

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", refuse)
    else:
        closed.chmod(0)
    with pytest.raises(SourceUnreadable, match="Permission denied"):
        audio.inspect(closed)


@pytest.mark.parametrize(("form", "codec", "sample"), [("wav", "pcm_s16le", "s16"), ("flac", "flac", "s16")])
def test_a_file_cut_off_is_read_as_far_as_it_goes_and_says_so(
    tmp_path: Path, form: str, codec: str, sample: str
) -> None:
    noise = np.random.default_rng(2).uniform(-0.5, 0.5, (1, 160_000)).astype(np.float32)
    path = write(tmp_path / "x", noise, 16_000, form, codec, sample)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    sound = audio.inspect(path)
    assert sound.seconds == pytest.approx(5.0, abs=0.5)
    assert any("cut off" in notice and "10.0 s" in notice for notice in sound.notices)
    assert len(audio.load(path)) == round(sound.seconds * 16_000)


def test_an_m4a_without_its_end_is_an_error(tmp_path: Path) -> None:
    path = write(tmp_path / "x.m4a", tone(5.0, 44_100)[None], 44_100, "ipod", "aac", "fltp")
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    with pytest.raises(NotAudio, match="cut off"):
        audio.inspect(path)


def test_damage_in_the_middle_is_passed_over_and_told(tmp_path: Path) -> None:
    path = write(tmp_path / "x.flac", np.random.default_rng(2).uniform(-0.5, 0.5, (1, 160_000)).astype(np.float32),
                 16_000, "flac", "flac", "s16")
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 6_000] = np.random.default_rng(5).bytes(6_000)
    path.write_bytes(bytes(data))
    sound = audio.inspect(path)
    assert sound.seconds > 8.0
    assert sound.notices


def test_video_without_sound(tmp_path: Path) -> None:
    path = tmp_path / "x.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=10)
        stream.width = stream.height = 64
        for _ in range(5):
            frame = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), dtype=np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with pytest.raises(NotAudio, match="no sound"):
        audio.inspect(path)


def test_a_long_file_is_not_held_in_memory(tmp_path: Path, peak: Callable[[], int]) -> None:
    """Ten minutes are 38 MB as float32; reading them piece by piece must take far less on top."""
    path = wav(tmp_path / "long.wav", tone(600.0, 16_000, hertz=200.0))
    before = peak()
    total = sum(len(piece) for piece in audio.pieces(audio.inspect(path)))
    assert total == 600 * 16_000
    assert peak() - before < 16 * 2**20


@pytest.fixture
def peak() -> Callable[[], int]:
    """Resident bytes of this process, now (Linux); skipped where /proc is not there."""
    status = Path("/proc/self/statm")
    if not status.exists():
        pytest.skip("needs /proc to read the memory in use")
    return lambda: int(status.read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
