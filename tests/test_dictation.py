"""Dictation: sound on the disk first, the same words and note as of a file, nothing dropped, nothing invented."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
import wave
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline import audio, grammar, listen, run
from pipeline.dictation import Behind, Dictation, Ended, Event, Failed, Noted, Utterance
from pipeline.ear import Anew, Ear
from pipeline.engines.base import Options, Result
from pipeline.errors import OutputUnwritable, SourceUnreadable
from pipeline.records import Segment, Word
from pipeline.segments import LIVE
from pipeline.soundstore import SoundFile
from tests import test_segments
from tests.test_segments import quiet
from tests.voice import speak

RULES = grammar.load()
RATE = 16_000
SAID = ("Left ankle arthroscopy.", "Cefazolin, two grams, was given.", "Total tourniquet time, forty-eight minutes.",
        "No complications.")  # fmt: skip


class Reader:
    """Stands in for a recogniser: "hears" the sentences of `said` one a stretch, and notes what it was given."""

    name, model, sha256, streams = "reader", "", "", False
    repeatable = True

    def __init__(self, said: tuple[str, ...] = SAID, slow: float = 0.0) -> None:
        self.said, self.slow = said, slow
        self.opened: list[Options] = []
        self.on_disk: list[float] = []
        self.sound: Path | None = None

    def open(self, options: Options) -> _Reading:
        self.opened.append(options)
        return _Reading(self)


class _Reading:
    def __init__(self, engine: Reader) -> None:
        self._engine = engine

    def feed(self, samples: np.ndarray) -> Result | None:
        return None

    def end(self, segment: Segment) -> Result:
        engine = self._engine
        time.sleep(engine.slow)
        if engine.sound is not None:
            engine.on_disk.append((engine.sound.stat().st_size - 44) / 2 / RATE - segment.end)
        said = engine.said[segment.index % len(engine.said)].split()
        step = (segment.end - segment.start) / len(said)
        return Result(tuple(
            Word(n, text, start=segment.start + n * step, end=segment.start + (n + 1) * step, confidence=0.9,
                 heard_by="reader") for n, text in enumerate(said)
        ))  # fmt: skip

    def finish(self) -> Result:
        return Result(())


@pytest.fixture(scope="module")
def sound() -> np.ndarray:
    return np.concatenate([part for said in SAID for part in (quiet(1.0), speak(said))] + [quiet(1.0)])


def pieces(sound: np.ndarray, seconds: float = 0.25) -> Iterator[np.ndarray]:
    size = round(seconds * RATE)
    for start in range(0, len(sound), size):
        yield sound[start : start + size]


def dictate(path: Path, engine: Reader, sound: np.ndarray, **options: object) -> list[Event]:
    dictation = Dictation(SoundFile(path), RULES, engine, made_at="2024-01-01T00:00:00+00:00", **options)  # type: ignore[arg-type]
    for piece in pieces(sound):
        dictation.take(piece)
    dictation.finish()
    return list(dictation.events())


def ended(events: list[Event]) -> Ended:
    last = events[-1]
    assert isinstance(last, Ended), last
    return last


def test_the_note_grows_and_ends_as_that_of_the_file(tmp_path: Path, sound: np.ndarray) -> None:
    path = tmp_path / "recording.wav"
    events = dictate(path, Reader(), sound)
    last = ended(events)
    assert last.note is not None
    said = [" ".join(word.text for word in event.words) for event in events if isinstance(event, Utterance)]
    assert said[-4:] == list(SAID)
    notes = [event.note for event in events if isinstance(event, Noted)]
    assert len(notes) >= 1
    assert {"cefazolin"} <= {fact.name for fact in last.note.facts}
    engine = Reader()
    heard = listen.hear(path, engine=engine, hearing=run.ear(engine, RULES, limits=LIVE))
    assert [word.text for word in heard.words] == [word.text for word in last.heard.words]
    again = run.make_note(run.mended(replace(last.heard, words=heard.words), RULES), RULES, made_at=last.note.made_at)
    assert again.model_dump() == last.note.model_dump()


def test_sound_is_on_the_disk_before_it_is_recognised_and_stays_whole(tmp_path: Path, sound: np.ndarray) -> None:
    path = tmp_path / "recording.wav"
    engine = Reader()
    engine.sound = path
    dictate(path, engine, sound)
    assert engine.on_disk
    assert all(ahead >= 0 for ahead in engine.on_disk)
    with wave.open(str(path)) as file:
        data = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
    assert np.abs(data - sound * 32767).max() <= 0.5 + 1e-2


def test_what_the_first_note_needs_is_made_before_anyone_speaks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = threading.Event()
    monkeypatch.setattr(run, "prepare", lambda rules: made.set() if rules is RULES else None)
    dictation = Dictation(SoundFile(tmp_path / "recording.wav"), RULES, Reader())
    try:
        assert made.wait(10)
        assert dictation.received == 0
    finally:
        dictation.abandon()


def test_the_family_is_found_and_its_words_used_from_the_start(tmp_path: Path, sound: np.ndarray) -> None:
    engine = Reader()
    events = dictate(tmp_path / "recording.wav", engine, sound)
    anew = next(n for n, event in enumerate(events) if isinstance(event, Anew))
    assert [type(event) for event in events[:anew] if not isinstance(event, Noted | Behind)] == [Utterance]
    assert events[anew] == Anew("ankle-arthroscopy")
    assert [bool(options.bias) for options in engine.opened] == [False, True]
    words = ended(events).heard.words
    assert [word.id for word in words] == list(range(sum(len(said.split()) for said in SAID)))


def test_a_stretch_is_heard_before_it_has_surely_ended_and_not_twice(sound: np.ndarray) -> None:
    ends: list[float] = []

    class Counting(Reader):
        def open(self, options: Options) -> _Reading:
            class Session(_Reading):
                def end(self, segment: Segment) -> Result:
                    ends.append(segment.end)
                    return super().end(segment)

            return Session(self)

    plain, eager = (listen.Listener(Counting(), Options(), replace(LIVE, early=early)) for early in (None, 0.4))
    for listener in (plain, eager):
        fed = 0.0
        before = len(ends)
        for piece in pieces(sound, 0.1):
            fed += len(piece) / RATE
            for _ in listener.feed(piece):
                pass
            if listener is eager and len(ends) > before:
                assert fed - ends[-1] < 0.25  # a pause of 0.4 s, less the 0.3 s of it that belong to the stretch
                before = len(ends)
        for _ in listener.finish():
            pass
    assert eager.words == plain.words
    assert eager.segments == plain.segments
    assert len(ends) < 2.5 * len(plain.segments)


class _Doubting(Reader):
    """Hears fourteen minutes where its second reading, which it must work for, hears forty."""

    def open(self, options: Options) -> _Reading:
        class Session(_Reading):
            def end(self, segment: Segment) -> Result:
                result = super().end(segment)
                said = " ".join(word.text for word in result.words)

                def later() -> tuple[str, ...]:
                    doubting.asked.append(segment.index)
                    return (said.replace("fourteen", "forty"),)

                doubting = self._engine
                assert isinstance(doubting, _Doubting)
                return replace(result, later=later)

        self.asked: list[int] = []
        return Session(self)


def test_words_do_not_wait_for_the_second_reading_and_the_note_still_shows_it(
    tmp_path: Path, sound: np.ndarray
) -> None:
    engine = _Doubting((SAID[0], SAID[1], "Tourniquet time, fourteen minutes.", SAID[3]))
    events = dictate(tmp_path / "recording.wav", engine, sound, family="ankle-arthroscopy")
    told = [event for event in events if isinstance(event, Utterance)]
    assert [" ".join(word.text for word in event.words) for event in told] == list(engine.said)
    assert not any(word.others for event in told for word in event.words)
    last = ended(events)
    assert engine.asked == [0, 1, 2, 3]
    doubted = {word.text: word.others for word in last.heard.words if word.others}
    assert doubted == {"fourteen": ("forty minutes",), "minutes.": ("forty minutes",)}
    assert last.note is not None
    assert any("also heard as forty minutes" in finding.message for finding in last.note.findings)


def test_a_family_that_is_known_late_helps_from_there_on() -> None:
    said = ("The patient was prepped.", "Draped in the usual way.", "Left ankle arthroscopy.", "No complications.")
    engine = Reader(said)
    ear = run.ear(engine, RULES, limits=LIVE)
    one = speak("The left ankle was prepped and draped.")
    results = []
    for start in (0, 30, 60, 90):
        results += [*ear.feed(np.concatenate([quiet(1), one, quiet(29 - len(one) / RATE)])), start]
    results += ear.finish()
    assert not any(isinstance(result, Anew) for result in results)
    assert ear.family == "ankle-arthroscopy"
    assert [bool(options.bias) for options in engine.opened] == [False, True]
    assert [word.id for word in ear.listener.words] == list(range(14))


def test_when_recognition_is_slow_nothing_is_dropped_and_the_lag_is_told(tmp_path: Path, sound: np.ndarray) -> None:
    events = dictate(tmp_path / "recording.wav", Reader(slow=0.4), sound)
    lags = [event.seconds for event in events if isinstance(event, Behind)]
    assert max(lags) > 2
    assert lags[-1] < 1
    words = ended(events).heard.words
    assert [word.text for word in words] == " ".join(SAID).split()
    seconds = ended(events).heard.source.seconds
    assert seconds == pytest.approx(len(sound) / RATE)


def test_a_killed_dictation_goes_on_and_its_file_can_be_read(tmp_path: Path, sound: np.ndarray) -> None:
    path = tmp_path / "recording.wav"
    half = len(sound) // 2
    first = Dictation(SoundFile(path), RULES, Reader())
    for piece in pieces(sound[:half]):
        first.take(piece)
    assert audio.inspect(path).notices == ()  # the header is unfinished here
    assert audio.inspect(path).seconds == pytest.approx(half / RATE)
    first.abandon()
    second = Dictation(SoundFile(path), RULES, Reader())
    assert second.received == half
    for piece in pieces(sound[half:]):
        second.take(piece)
    second.finish()
    assert [word.text for word in ended(list(second.events())).heard.words] == " ".join(SAID).split()


def test_a_file_with_half_a_sample_and_no_length_is_gone_on_with(tmp_path: Path) -> None:
    path = tmp_path / "recording.wav"
    file = SoundFile(path)
    file.append(np.full(160, 0.5, dtype=np.float32))
    file.close()
    with path.open("r+b") as raw:
        raw.seek(40)
        raw.write(b"\xff\xff\xff\xff")  # as while it grows
    with path.open("ab") as raw:
        raw.write(b"\x01")
    again = SoundFile(path)
    assert again.samples == 160
    again.append(np.full(160, -0.5, dtype=np.float32))
    again.close()
    assert audio.load(path).shape == (320,)
    with wave.open(str(path)) as read:
        assert read.getnframes() == 320


def test_what_was_sent_twice_is_left_out_and_a_hole_is_silence_and_told(tmp_path: Path) -> None:
    file = SoundFile(tmp_path / "sound.pcm")
    one = np.full(RATE, 0.5, dtype=np.float32)
    file.append(one, 0)
    file.append(one, RATE // 2)
    assert file.samples == RATE * 3 // 2
    file.append(one, 2 * RATE)
    assert file.samples == 3 * RATE
    assert file.gaps == [(1.5, 2.0)]
    assert not file.read(RATE * 3 // 2, RATE // 2).any()
    file.close()
    again = SoundFile(tmp_path / "sound.pcm")
    assert again.gaps == [(1.5, 2.0)]
    again.close()


def test_files_of_others_and_folders_that_cannot_be_written(tmp_path: Path) -> None:
    other = tmp_path / "recording.wav"
    other.write_bytes(b"RIFF" + bytes(60))
    before = other.read_bytes()
    with pytest.raises(SourceUnreadable):
        SoundFile(other)
    assert other.read_bytes() == before
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputUnwritable):
        SoundFile(tmp_path / "file" / "recording.wav")


class Broken(Reader):
    def open(self, options: Options) -> _Reading:
        class Session(_Reading):
            def end(self, segment: Segment) -> Result:
                raise MemoryError("no room")

        return Session(self)


def test_a_recogniser_that_breaks_down_is_told_and_the_sound_is_kept(tmp_path: Path, sound: np.ndarray) -> None:
    dictation = Dictation(SoundFile(tmp_path / "recording.wav"), RULES, Broken())
    dictation.take(sound)
    last = list(dictation.events())[-1]
    dictation.abandon()
    assert isinstance(last, Failed)
    assert "no room" in str(last.problem)
    assert "recording.wav" in str(last.problem)
    assert audio.inspect(tmp_path / "recording.wav").seconds == pytest.approx(len(sound) / RATE, abs=0.01)


@pytest.mark.parametrize("noise", [test_segments.silence, test_segments.noise, test_segments.beeps, test_segments.hum,
                                   test_segments.suction, test_segments.saw, test_segments.bangs,
                                   test_segments.music])  # fmt: skip
def test_where_nobody_speaks_nothing_is_heard_live(tmp_path: Path, noise: object) -> None:
    assert callable(noise)
    events = dictate(tmp_path / "recording.wav", Reader(), noise())
    assert not any(isinstance(event, Utterance) for event in events)
    assert ended(events).note is None


def test_an_unfinished_last_stretch_is_kept(tmp_path: Path) -> None:
    cut = np.concatenate([quiet(0.5), speak(SAID[1])[: round(1.2 * RATE)]])
    assert ended(dictate(tmp_path / "recording.wav", Reader((SAID[1],)), cut)).heard.words


def voxop(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "pipeline.cli", *arguments]


def wav(path: Path, sound: np.ndarray) -> Path:
    file = SoundFile(path)
    file.append(sound)
    file.close()
    return path


def test_listen_from_a_file_writes_what_note_writes(tmp_path: Path, sound: np.ndarray) -> None:
    source = wav(tmp_path / "said.wav", sound)
    done = subprocess.run(voxop("listen", "--from", str(source), "--pace", "fast", "--out", str(tmp_path / "out"),
                                "--json"),
                          capture_output=True, text=True, timeout=300, check=True)  # fmt: skip
    events = [json.loads(line) for line in done.stdout.splitlines()]
    assert [event["event"] for event in events][-2:] == ["ended", "written"]
    assert "tourniquet" in " ".join(event["text"].lower() for event in events if event["event"] == "utterance")
    facts = json.loads((tmp_path / "out" / "note.json").read_text(encoding="utf-8"))["facts"]
    assert {("tourniquet_time", "48")} <= {(fact["kind"], fact["value"]) for fact in facts}
    assert {path.name for path in (tmp_path / "out").iterdir()} == {
        "recording.wav", "words.json", "note.json", "bundle.json", "note.docx"}  # fmt: skip
    with pytest.raises(subprocess.CalledProcessError) as caught:
        subprocess.run(voxop("listen", "--from", str(source), "--out", str(tmp_path / "out")), capture_output=True,
                       text=True, timeout=120, check=True)
    assert "--resume" in caught.value.stderr


def test_interrupt_ends_cleanly_and_writes_everything(tmp_path: Path, sound: np.ndarray) -> None:
    source = wav(tmp_path / "said.wav", np.concatenate([sound, np.zeros(60 * RATE, dtype=np.float32)]))
    out = tmp_path / "out"
    command = voxop("listen", "--from", str(source), "--pace", "real", "--out", str(out))
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        lines: list[str] = []
        reader = threading.Thread(target=lambda: lines.extend(process.stdout or ()))
        reader.start()
        until = time.monotonic() + 120
        while not any("ankle" in line.lower() for line in lines) and time.monotonic() < until:
            time.sleep(0.2)
        os.kill(process.pid, signal.SIGINT)
        assert process.wait(timeout=120) == 0, process.stderr.read() if process.stderr else ""
        reader.join()
    assert (out / "note.json").exists()
    assert (out / "bundle.json").exists()
    with wave.open(str(out / "recording.wav")) as file:
        assert 0 < file.getnframes() < 60 * RATE


def test_without_a_microphone_the_error_says_what_to_do(tmp_path: Path) -> None:
    try:
        import sounddevice
    except OSError:  # without PortAudio the error says how to get it
        pass
    else:
        if any(one["max_input_channels"] for one in sounddevice.query_devices()):
            pytest.skip("there is a microphone here")
    done = subprocess.run(voxop("listen", "--out", str(tmp_path)), capture_output=True, text=True, timeout=120)
    assert done.returncode == 2
    assert "--from FILE" in done.stderr
    assert "Traceback" not in done.stderr


def test_ear_needs_no_grammar() -> None:
    ear = Ear(Reader(), lambda words: None, lambda family: ())
    assert list(ear.feed(quiet(1.0))) == []
    assert list(ear.finish()) == []
