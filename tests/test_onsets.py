"""Word starts are put where the sound begins. The truth is the sound itself: tones laid at known times."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from pipeline import onsets
from pipeline.records import Word
from pipeline.sound import RATE, Samples

LEAD = 0.08


def tones(*spans: tuple[float, float], seconds: float = 3.0, noise: float = 0.0) -> Samples:
    """A tone in each span of seconds, over noise of that loudness."""
    time = np.arange(round(seconds * RATE)) / RATE
    sound = np.random.default_rng(1).normal(0, noise, len(time)) if noise else np.zeros(len(time))
    for start, end in spans:
        inside = (time >= start) & (time < end)
        sound[inside] += 0.3 * np.sin(2 * np.pi * 220 * time[inside])
    return sound.astype(np.float32)


def words(*times: tuple[float, float]) -> list[Word]:
    return [Word(id=at, text=f"w{at}", start=start, end=end) for at, (start, end) in enumerate(times)]


@pytest.mark.parametrize("noise", [0.0, 0.01])
@pytest.mark.parametrize("early", [0.02, 0.1, 0.2, 0.3])
def test_a_word_behind_a_pause_begins_where_it_is_heard(noise: float, early: float) -> None:
    sound = tones((0.5, 0.9), (1.2, 1.6), noise=noise)
    first, second = onsets.placed(words((0.5 - early, 1.2 - early), (1.2 - early, 1.6)), sound, 0.0, LEAD)
    assert first.start == pytest.approx(0.5, abs=0.02)
    assert second.start == pytest.approx(1.2, abs=0.02)


def test_times_count_from_the_start_of_the_recording() -> None:
    (word,) = onsets.placed(words((60.3, 60.9)), tones((0.5, 0.9)), 60.0, LEAD)
    assert word.start == pytest.approx(60.5, abs=0.02)


def test_where_nothing_rises_the_lead_alone_is_added() -> None:
    first, second = onsets.placed(words((0.42, 1.0), (1.0, 1.6)), tones((0.5, 1.6)), 0.0, LEAD)
    assert first.start == pytest.approx(0.5, abs=0.02)
    assert second.start == pytest.approx(1.0 + LEAD, abs=0.001)


def test_a_short_stop_inside_a_word_is_no_beginning() -> None:
    # 60 ms of closure, 0.3 s behind the engine's time: "ap-pendix".
    sound = tones((0.2, 0.9), (0.96, 1.6))
    first, second = onsets.placed(words((0.12, 0.64), (0.64, 1.6)), sound, 0.0, LEAD)
    assert first.start == pytest.approx(0.2, abs=0.02)
    assert second.start == pytest.approx(0.64 + LEAD, abs=0.001)


def test_pauses_between_words_stay_as_long_as_they_were() -> None:
    before = words((0.3, 0.95), (1.0, 1.3), (1.3, 1.8))
    after = onsets.placed(before, tones((0.5, 0.9), (1.2, 1.4), (1.45, 1.8)), 0.0, LEAD)
    for old, new in zip(pairwise(before), pairwise(after), strict=True):
        gaps = [second.start - first.end for first, second in (old, new) if second.start and first.end]
        assert gaps[1] == pytest.approx(gaps[0], abs=0.011)


def test_starts_never_run_backwards_and_no_word_ends_before_it_begins() -> None:
    chance = np.random.default_rng(3)
    for _ in range(200):
        cuts = np.round(np.sort(chance.uniform(0, 2.9, 9)), 2)
        sound = tones(*zip(cuts[::2], cuts[1::2], strict=False), noise=float(chance.uniform(0, 0.05)))
        times = list(zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True))
        found = onsets.placed(words(*times), sound, 0.0, LEAD)
        starts = [word.start or 0.0 for word in found]
        assert starts == sorted(starts)
        assert all(word.end is not None and word.end >= (word.start or 0.0) for word in found)
        assert [word.text for word in found] == [word.text for word in words(*times)]


def test_without_times_or_sound_nothing_is_moved() -> None:
    typed = [Word(id=0, text="typed")]
    assert onsets.placed(typed, tones((0.5, 0.9)), 0.0, LEAD) == typed
    timed = words((0.1, 0.4))
    assert onsets.placed(timed, np.zeros(0, np.float32), 0.0, LEAD) == timed
    assert onsets.placed([], tones((0.5, 0.9)), 0.0, LEAD) == []
