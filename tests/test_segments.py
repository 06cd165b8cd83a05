"""Stretches of speech: found, padded, cut at 15 s, the same whatever the pieces; none on sounds that nobody speaks."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pipeline.segments import FRAME_SECONDS, LIVE, Limits, Segmenter, Speech
from tests.voice import speak

RATE = 16_000


def run(sound: np.ndarray, limits: Limits | None = None, piece: int = RATE) -> list[Speech]:
    segmenter = Segmenter(limits)
    found: list[Speech] = []
    for start in range(0, len(sound), piece):
        found += segmenter.feed(sound[start : start + piece])
    found += segmenter.finish()
    assert segmenter.seconds == pytest.approx(len(sound) / RATE)
    return found


def quiet(seconds: float) -> np.ndarray:
    return np.random.default_rng(5).normal(0, 0.0008, round(seconds * RATE)).astype(np.float32)


@pytest.fixture(scope="module")
def spoken() -> np.ndarray:
    """Two sentences with two seconds between them; the second begins at `second_starts`."""
    return np.concatenate([quiet(1.0), speak("The left ankle was prepped and draped."), quiet(2.0),
                           speak("No complications."), quiet(1.0)])


def test_two_sentences_are_two_stretches_with_their_sound(spoken: np.ndarray) -> None:
    found = run(spoken)
    first = len(speak("The left ankle was prepped and draped.")) / RATE
    assert [speech.segment.index for speech in found] == [0, 1]
    assert found[0].segment.start == pytest.approx(1.0, abs=0.4)
    assert found[0].segment.end == pytest.approx(1.0 + first, abs=0.5)
    assert found[1].segment.start == pytest.approx(3.0 + first, abs=0.4)
    for speech in found:
        start, end = round(speech.segment.start * RATE), round(speech.segment.end * RATE)
        assert np.array_equal(speech.samples, spoken[start:end])
        # Padding lies outside the spans of speech proper.
        assert speech.segment.start < speech.spans[0][0] < speech.spans[-1][1] < speech.segment.end


@pytest.mark.parametrize("piece", [1, 160, 511, 512, 513, 8_000, 10**9])
def test_the_size_of_the_pieces_does_not_matter(spoken: np.ndarray, piece: int) -> None:
    sound = spoken if piece > 100 else spoken[: RATE * 5]
    by_piece, whole = run(sound, piece=piece), run(sound)
    assert [speech.segment for speech in by_piece] == [speech.segment for speech in whole]
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(by_piece, whole, strict=True))


def test_speech_without_a_pause_is_cut_at_fifteen_seconds_and_loses_nothing() -> None:
    sentence = speak("The synovium was debrided with a shaver and unstable cartilage was removed with a curette")
    loud = np.flatnonzero(np.abs(sentence) > 0.02)
    sentence = sentence[loud[0] : loud[-1]]
    sound = np.concatenate([quiet(0.5), *[sentence] * 10, quiet(0.5)])
    found = run(sound)
    assert len(sound) / RATE > 35
    assert len(found) >= 3
    assert all(speech.segment.end - speech.segment.start <= 15.0 for speech in found)
    for before, after in itertools.pairwise(found):
        assert after.segment.start == pytest.approx(before.segment.end, abs=1e-6)
    assert sum(len(speech.samples) for speech in found) >= len(sentence) * 10
    for speech in found[:-1]:
        # The cut lies where it is quieter than the speech around it.
        tail = float(np.sqrt(np.mean(speech.samples[-1_600:] ** 2)))
        assert tail < 0.7 * float(np.sqrt(np.mean(speech.samples**2)))


def test_speech_at_the_very_end_is_kept(spoken: np.ndarray) -> None:
    cut = spoken[: round(2.2 * RATE)]
    found = run(cut)
    assert len(found) == 1
    assert found[0].segment.end == pytest.approx(len(cut) / RATE)


def test_live_limits_answer_sooner(spoken: np.ndarray) -> None:
    def seconds_until_first(limits: Limits) -> float:
        segmenter = Segmenter(limits)
        for start in range(0, len(spoken), 1_600):
            if list(segmenter.feed(spoken[start : start + 1_600])):
                break
        return segmenter.seconds

    assert seconds_until_first(LIVE) == pytest.approx(
        seconds_until_first(Limits()) - (Limits().close_after - LIVE.close_after), abs=0.15
    )


def test_sound_of_a_stretch_under_way_can_be_had_before_it_ends(spoken: np.ndarray) -> None:
    segmenter = Segmenter()
    list(segmenter.feed(spoken[: 2 * RATE]))
    under_way = segmenter.under_way()
    assert len(under_way) > RATE // 2
    whole = run(spoken)[0].samples
    assert np.array_equal(under_way, whole[: len(under_way)])


def test_memory_does_not_grow_in_a_long_silence() -> None:
    segmenter = Segmenter()
    for _ in range(60):
        assert list(segmenter.feed(quiet(1.0))) == []
    assert len(segmenter._before) <= round(0.3 / FRAME_SECONDS)
    assert segmenter._open == []


def beeps() -> np.ndarray:
    """A monitor: 0.1 s at 880 Hz each second."""
    sound = quiet(10.0)
    time = np.arange(1_600) / RATE
    for second in range(10):
        sound[second * RATE : second * RATE + 1_600] += 0.4 * np.sin(2 * np.pi * 880 * time).astype(np.float32)
    return sound


def hum() -> np.ndarray:
    time = np.arange(10 * RATE) / RATE
    return sum(0.2 / n * np.sin(2 * np.pi * 50 * n * time) for n in (1, 2, 3, 5)).astype(np.float32)


def suction() -> np.ndarray:
    noise = np.random.default_rng(6).normal(0, 0.2, 10 * RATE)
    return np.convolve(noise, np.ones(8) / 8, mode="same").astype(np.float32)


def saw() -> np.ndarray:
    time = np.arange(10 * RATE) / RATE
    return (0.3 * np.sign(np.sin(2 * np.pi * 180 * time)) * (1 + 0.3 * np.sin(2 * np.pi * 7 * time))).astype(np.float32)


def bangs() -> np.ndarray:
    sound = quiet(10.0)
    fall = np.exp(-np.arange(4_000) / 400)
    for start in (20_000, 70_000, 120_000):
        sound[start : start + 4_000] += (np.random.default_rng(start).normal(0, 0.5, 4_000) * fall).astype(np.float32)
    return sound


def music() -> np.ndarray:
    """Chords that change each half second, with harmonics."""
    sound = np.zeros(10 * RATE)
    time = np.arange(RATE // 2) / RATE
    for beat in range(20):
        for note in (0, 4, 7):
            pitch = 220 * 2 ** ((note + beat % 5) / 12)
            tone = sum(np.sin(2 * np.pi * pitch * n * time) / n for n in (1, 2, 3))
            sound[beat * RATE // 2 : (beat + 1) * RATE // 2] += 0.1 * tone * np.exp(-2 * time)
    return sound.astype(np.float32)


def silence() -> np.ndarray:
    return np.zeros(10 * RATE, dtype=np.float32)


def noise() -> np.ndarray:
    return np.random.default_rng(7).normal(0, 0.1, 10 * RATE).astype(np.float32)


@pytest.mark.parametrize("sound", [silence, noise, beeps, hum, suction, saw, bangs, music])
def test_nobody_speaks(sound: object) -> None:
    assert callable(sound)
    assert run(sound()) == []
