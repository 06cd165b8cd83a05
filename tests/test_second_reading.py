"""Other weights read each stretch again: where numbers, units, sides or negations differ, the note shows both."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from pipeline import grammar, listen, manifest, plugins, readings, run, tokens
from pipeline.cli import main
from pipeline.dictation import Dictation, Ended, Noted, Utterance
from pipeline.ear import Ear
from pipeline.engines.base import Options, Result
from pipeline.engines.whisper import nearly_read
from pipeline.errors import EngineUnavailable, UnknownName
from pipeline.note import OperativeNote
from pipeline.records import Segment, Word
from pipeline.sound import RATE, Samples
from pipeline.soundstore import SoundFile
from tests.test_segments import quiet
from tests.voice import speak

RULES = grammar.load()


@dataclass
class First:
    """Hears the same sentence in every stretch. `slow`: what it would say with more work."""

    said: str
    slow: tuple[str, ...] = ()
    name: str = "first"
    model: str = ""
    sha256: str = ""
    streams: bool = False

    def open(self, options: Options) -> First:
        return self

    def feed(self, samples: Samples) -> Result | None:
        return None

    def end(self, segment: Segment) -> Result:
        parts = self.said.split()
        step = (segment.end - segment.start) / max(1, len(parts))
        return Result(
            tuple(Word(n, text, start=segment.start + n * step, end=segment.start + (n + 1) * step, heard_by="first")
                  for n, text in enumerate(parts)),
            later=lambda: self.slow,
        )  # fmt: skip

    def finish(self) -> Result:
        return Result(())


@dataclass
class Second:
    said: str
    given: list[int] = field(default_factory=list)

    def texts(self, samples: Samples) -> tuple[str, ...]:
        self.given.append(len(samples))
        return (self.said,) if self.said else ()


@pytest.fixture(scope="module")
def sound() -> np.ndarray:
    return np.concatenate([quiet(0.5), speak("Total tourniquet time, forty-eight minutes."), quiet(2.0)])


def heard(first: First, second: Second | None, sound: np.ndarray) -> tuple[listen.Listener, list[Result]]:
    listener = listen.Listener(first, Options(alternatives=1), reader=second)
    return listener, [*listener.feed(sound), *listener.finish()]


def note_of(words: list[Word]) -> OperativeNote:
    source = run.from_text("x").source
    return run.make_note(run.Heard(tuple(words), source.model_copy(update={"kind": "audio"})), RULES)


@pytest.mark.parametrize(
    ("one", "other", "marked"),
    [
        ("Tourniquet time 40 minutes.", "Tourniquet time fourteen minutes.", {"40", "minutes."}),
        ("Heparin 5 millimeters were drawn.", "Heparin five milliliters were drawn.", {"5", "millimeters"}),
        ("The right knee was opened.", "The left knee was opened.", {"right"}),
        ("There was bleeding.", "There was no bleeding.", {"was", "bleeding."}),
        ("Blood loss 150 mL.", "Blood loss one hundred and fifty milliliters.", set()),
        ("Cefazolin 2 g at 8:25.", "Cefazolin, two grams, at eight twenty-five.", set()),
        ("The cap was closed.", "The gap was closed.", set()),
    ],
)
def test_what_two_weights_read_otherwise_is_noted_after_the_words(
    sound: np.ndarray, one: str, other: str, marked: set[str]
) -> None:
    listener, results = heard(First(one, slow=("nothing like it, nine kilograms",)), Second(other), sound)
    assert [word.text for word in results[0].words] == one.split()
    assert not any(word.others for word in results[0].words)
    assert len(results) == (2 if marked else 1)
    assert {word.text for word in listener.words if word.others} <= marked
    assert bool([word for word in listener.words if word.others]) == bool(marked)
    assert listener.alternatives == {0: (other,)}


def test_without_a_second_reading_the_engine_reads_again_itself(sound: np.ndarray) -> None:
    first = First("Blood loss 50 mL.", slow=("Blood loss fifteen milliliters.",))
    for second in (None, Second("")):
        listener, _ = heard(first, second, sound)
        assert [word.others for word in listener.words if word.text == "50"] == [("fifteen milliliters",)]


def test_no_stretch_is_read_twice_when_it_is_heard_anew(sound: np.ndarray) -> None:
    second = Second("Left ankle arthroscopy.")
    ear = Ear(First("Left ankle arthroscopy."), lambda words: "ankle-arthroscopy", lambda family: ("talus",),
              options=Options(alternatives=1), reader=second)  # fmt: skip
    results = [*ear.feed(sound), *ear.finish()]
    assert len(results) == 3  # heard, anew, heard
    assert len(second.given) == 1


def test_the_note_asks_where_a_value_was_read_otherwise(sound: np.ndarray) -> None:
    listener, _ = heard(First("Total tourniquet time 14 minutes."),
                        Second("Total tourniquet time forty minutes."), sound)  # fmt: skip
    told = [one for one in note_of(listener.words).findings if one.check == "doubtful"]
    assert any("forty minutes" in one.message and one.severity == "warning" for one in told)


@pytest.mark.parametrize(
    ("one", "other", "severity"),
    [
        ("Surface olin was given.", "Cefazolin, two grams, was given.", "warning"),
        ("Then the pan was moved.", "Then three pins were moved.", "note"),
    ],
)
def test_a_dose_that_only_the_second_reading_has_is_told(
    sound: np.ndarray, one: str, other: str, severity: str
) -> None:
    listener, _ = heard(First(one), Second(other), sound)
    found = [item for item in note_of(listener.words).findings if item.check == "second_opinion"]
    assert [item.severity for item in found] == [severity]
    assert any(part in found[0].message for part in ("two grams", "three"))


def test_what_entries_rest_on_is_not_told_twice() -> None:
    words = readings.compared(tokens.words_from_text("Blood loss 50 mL. The pan was moved."),
                              {0: ("Blood loss 15 mL. The pan was moved.",)})  # fmt: skip
    number = next(word for word in words if word.text == "50")
    assert number.others
    assert readings.left_open(words, [(number.id, number.id + 1)]) == []
    assert [others for _, _, others in readings.left_open(words, [])] == [["15 mL"]]


def test_a_live_dictation_shows_it_in_its_note(tmp_path: Path, sound: np.ndarray) -> None:
    dictation = Dictation(SoundFile(tmp_path / "x.wav"), RULES, First("Total tourniquet time 14 minutes."),
                          reader=Second("Total tourniquet time forty minutes."))  # fmt: skip
    dictation.take(sound)
    dictation.finish()
    events = list(dictation.events())
    told = next(event for event in events if isinstance(event, Utterance))
    assert not any(word.others for word in told.words)
    assert any(isinstance(event, Noted) for event in events)
    last = events[-1]
    assert isinstance(last, Ended)
    assert last.note is not None
    assert any("forty minutes" in one.message for one in last.note.findings)


def test_each_set_of_whisper_weights_is_read_again_by_the_other() -> None:
    assert [manifest.second(name).name for name in ("whisper-base", "whisper-base-operative")] == [  # type: ignore[union-attr]
        "whisper-base-operative", "whisper-base"]  # fmt: skip
    assert manifest.second("vosk-small") is None
    assert manifest.second("") is None


def test_what_gives_no_second_reading_is_told(tmp_path: Path) -> None:
    engine = First("x", model="vosk-small", name="vosk")
    assert run.second_reader(engine) is None
    assert run.second_reader(engine, "off") is None
    with pytest.raises(EngineUnavailable, match="vosk-small"):
        run.second_reader(engine, "vosk-small")
    with pytest.raises(UnknownName):
        run.second_reader(engine, "no-such-model")


@pytest.mark.parametrize(
    ("pieces", "likely", "made"),
    [
        ([" cut", " fifteen", " millimeters", "."], {1: [" fifty", " fifteen", " the"]}, ["cut fifty millimeters."]),
        ([" loss", " four", "teen", " mL"], {1: [" forty"], 2: ["ty"]}, ["loss forty mL"]),
        ([" thirty", "-", "six", " plus"], {0: [" 30", " third"]}, ["30 plus", "third plus"]),
        ([" five", " mill", "ilit", "ers", ",", " then"], {1: [" millimeters"]}, ["five millimeters, then"]),
        ([" due", " to", " no"], {0: [" two", " too"]}, ["two to no"]),
        ([" the", " right", " hip"], {1: [" left", " white"]}, ["the left hip"]),
        ([" a", " hip"], {0: [" the"], 1: [" lip"]}, []),
        ([], {}, []),
    ],
)
def test_what_was_nearly_read_is_a_reading_where_it_matters(
    pieces: list[str], likely: dict[int, list[str]], made: list[str]
) -> None:
    assert nearly_read(pieces, [likely.get(at, []) for at in range(len(pieces))]) == made


@pytest.mark.slow
def test_the_shipped_weights_read_what_was_said(sound: np.ndarray, tmp_path: Path) -> None:
    engine = plugins.find(listen.ENGINES, "whisper").load()
    reader = run.second_reader(engine)
    assert reader is not None
    read = readings.compared(tokens.words_from_text("Total tourniquet time 40 minutes."),
                             {0: reader.texts(sound[: round(len(sound) - 1.5 * RATE)])})  # fmt: skip
    assert any("forty eight" in other.replace("-", " ") for word in read for other in word.others), read


@pytest.mark.slow
def test_the_command_can_leave_it_out(sound: np.ndarray, tmp_path: Path) -> None:
    file = SoundFile(tmp_path / "x.wav")
    file.append(sound)
    file.close()
    result = CliRunner().invoke(main, ["transcribe", str(file.path), "--second-reading", "off"])
    assert result.exit_code == 0, result.output
    assert "48 minutes" in result.output
    wrong = CliRunner().invoke(main, ["transcribe", str(file.path), "--second-reading", "silero-vad"])
    assert wrong.exit_code == 2
    assert "silero-vad" in wrong.stderr
