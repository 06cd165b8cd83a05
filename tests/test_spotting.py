"""Control words heard from the sound by a closed list: real sound, the shipped model, live and on standby."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from voice import speak

from pipeline import grammar, manifest, run, spotting
from pipeline.dictation import Commanded, Dictation, Ended
from pipeline.engines import vosk
from pipeline.engines.base import Options, Result
from pipeline.errors import EngineUnavailable
from pipeline.records import Segment, Word
from pipeline.sound import RATE, Samples
from pipeline.soundstore import SoundFile
from pipeline.spotting import Spotted
from pipeline.web.standby import Standby

RULES = grammar.load()
PAUSE = np.zeros(RATE, np.float32)
SAID = ("The left hip was draped.", "note keeper mark this", "Second draw, six milliliters.",
        "note keeper end the note")


@pytest.fixture(scope="module")
def ear() -> vosk.Vosk:
    return vosk.load("vosk-small")


def sound_of(*texts: str) -> Samples:
    return np.concatenate([PAUSE, *(part for text in texts for part in (0.5 * speak(text), PAUSE))]).astype(np.float32)


def spotted(ear: vosk.Vosk, sound: Samples) -> list[Spotted]:
    spotter = spotting.Spotter(ear, RULES)
    found: list[Spotted] = []
    for at in range(0, len(sound), RATE // 4):
        found += spotter.feed(sound[at : at + RATE // 4])
    return [*found, *spotter.finish()]


def test_they_are_heard_where_they_were_said_and_nothing_else_is(ear: vosk.Vosk) -> None:
    found = spotted(ear, sound_of(*SAID))
    assert [one.action for one in found] == ["mark", "end"]
    assert [one.phrase for one in found] == ["note keeper mark this", "note keeper end"]
    first = 1.0 + len(speak(SAID[0])) / RATE + 1.0
    assert first - 0.3 <= found[0].start < found[0].end <= first + len(speak(SAID[1])) / RATE + 0.3
    assert spotted(ear, sound_of("The end of the note was read by the keeper.", "A skin mark was made.")) == []


def test_what_the_model_does_not_know_is_left_to_the_text(ear: vosk.Vosk) -> None:
    listened = spotting.phrases(RULES, ear)
    assert "note keeper begin" in listened
    assert all(ear.knows(part) for phrase in listened for part in phrase.split())
    # Ordinary words of the team confirm a read-back; a closed list would hear them everywhere.
    assert not {"confirmed", "agreed", "all correct"} & set(listened)


class Texts:
    """An engine that takes no lists and writes nothing."""

    name, model, sha256, streams = "texts", "", "", False

    def open(self, options: Options) -> Texts:
        return self

    def feed(self, samples: Samples) -> Result | None:
        return None

    def end(self, segment: Segment) -> Result:
        return Result((Word(0, "Incision.", start=segment.start, end=segment.end),))

    def finish(self) -> Result:
        return Result(())


def dictated(path: Path, sound: Samples, spots: spotting.Lists | None) -> list[object]:
    dictation = Dictation(SoundFile(path), RULES, Texts(), spots=spots)
    for at in range(0, len(sound), RATE // 4):
        dictation.take(sound[at : at + RATE // 4])
    dictation.finish()
    return list(dictation.events())


def test_a_dictation_tells_them_and_the_note_says_what_the_text_does_not_have(ear: vosk.Vosk, tmp_path: Path) -> None:
    events = dictated(tmp_path / "sound.wav", sound_of(*SAID), ear)
    assert [event.spotted.action for event in events if isinstance(event, Commanded)] == ["mark", "end"]
    ended = events[-1]
    assert isinstance(ended, Ended)
    assert ended.note is not None
    told = [notice for notice in ended.note.source.notices if "ear for control words" in notice]
    assert len(told) == 2
    assert "'note keeper mark this' was heard at 00:04" in told[0]
    # Nothing was done: what was said after it is still read.
    assert [word.text for word in ended.heard.words].count("Incision.") == len(ended.heard.segments) > 1


def test_a_dictation_goes_on_when_the_spotter_breaks_down(tmp_path: Path) -> None:
    class Broken:
        def knows(self, word: str) -> bool:
            return True

        def listening(self, phrases: Sequence[str]) -> spotting.Listening:
            raise EngineUnavailable("This model takes no lists.")

    events = dictated(tmp_path / "sound.wav", sound_of("Incision."), Broken())
    assert isinstance(events[-1], Ended)
    assert not any(isinstance(event, Commanded) for event in events)


def test_what_the_text_has_is_not_told_again() -> None:
    heard = Spotted("mark", "note keeper mark this", 10.0, 11.2)
    words = tuple(Word(at, text, start=9.5 + at / 4, end=9.7 + at / 4)
                  for at, text in enumerate("Note keeper, mark this.".split()))  # fmt: skip
    assert spotting.missed([heard], words, RULES) == ()
    assert spotting.missed([heard.later(60)], words, RULES) == (heard.later(60),)
    assert "01:10.0" in heard.later(60).told()
    assert spotting.missed([Spotted("end", "note keeper end", 10.0, 11.2)], words, RULES) != ()


def test_a_case_is_begun_by_the_spotter_and_without_one_by_the_text(ear: vosk.Vosk) -> None:
    sound = sound_of("Good morning.", "note keeper begin the note", "Left hip.")
    pcm = (sound * 32767).astype("<i2")
    begins = len(PAUSE) * 2 + len(speak("Good morning."))

    def begun(standby: Standby) -> int | None:
        for at in range(0, len(pcm), RATE // 4):
            standby.keep(at, pcm[at : at + RATE // 4].tobytes())
            if (found := standby.hear()) is not None:
                return found
        return None

    found = begun(Standby(Texts(), RULES, ear))
    assert found is not None
    assert abs(found - begins) < RATE
    assert begun(Standby(Texts(), RULES)) is None


def test_the_ear_for_control_words_is_a_model_that_takes_lists(
    ear: vosk.Vosk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("VOXOP_DATA", str(tmp_path))
    assert run.spotting_ear(ear) is ear
    found = run.spotting_ear(Texts())
    assert isinstance(found, vosk.Vosk)
    assert found.model == "vosk-small"
    monkeypatch.setattr(manifest, "models", lambda: ())
    assert run.spotting_ear(Texts()) is None
