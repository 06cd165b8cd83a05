"""The second opinion on real sound with the shipped model, from the decision to the finding."""

from __future__ import annotations

import json
import wave
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from voice import speak

from pipeline import agreement, cli, grammar, manifest, plugins, run, sayings, wordlist
from pipeline.engines import vosk
from pipeline.errors import EngineUnavailable, UnknownName
from pipeline.note import Source
from pipeline.records import Word
from pipeline.sound import RATE, Samples

SAID = "tourniquet time was forty minutes"


@pytest.fixture(scope="module")
def ear() -> vosk.Vosk:
    return vosk.load("vosk-small")


def placed(ear: vosk.Vosk, sound: Samples, instead: dict[str, str] | None = None, said: str = SAID) -> tuple[Word, ...]:
    """The words of the sentence with the times at which Vosk places them, some replaced."""
    recogniser = ear.recogniser([said])
    recogniser.SetWords(True)
    recogniser.AcceptWaveform((np.concatenate([sound, np.zeros(RATE // 2)]) * 32767).astype("<i2").tobytes())
    told = json.loads(recogniser.FinalResult())["result"]
    assert [one["word"] for one in told] == said.split()
    return tuple(Word(at, (instead or {}).get(one["word"], one["word"]), start=one["start"], end=one["end"])
                 for at, one in enumerate(told))  # fmt: skip


@pytest.mark.parametrize(
    ("written", "ways"),
    [("15", ["fifteen"]), ("50", ["fifty"]), ("15mL", ["fifteen millilitres", "fifteen milliliters"]),
     ("42", ["forty two"]), ("mcg", ["micrograms"]), ("left,", ["left"]), ("ward", ["ward"]), ("0", ["zero"]),
     ("g", ["g"]), ("150", ["one hundred fifty", "one hundred and fifty"]), ("1000", ["one thousand"]),
     ("1800", ["one thousand eight hundred", "eighteen hundred"]), ("2,000", ["2,000"]),
     ("24.5mm", ["twenty four point five millimetres", "twenty four point five millimeters"]),
     ("0.5", ["zero point five", "point five", "oh point five"]), ("", [""])],
)  # fmt: skip
def test_what_is_written_is_read_as_it_was_said(written: str, ways: list[str]) -> None:
    assert [" ".join(way) for way in sayings.said(written)] == ways


def others(text: str, after: str = "") -> dict[str, str]:
    known = sayings.pairs(grammar.load().tables["confusions"].values())
    return {" ".join(one.words): one.kind for one in sayings.taken_for(text, after, known)}


def test_units_are_asked_in_both_spellings_and_numbers() -> None:
    assert others("milliliters") == {"millimeters": "unit"}
    assert others("millilitre") == {"millimetre": "unit"}
    assert others("fifteen") == {"fifty": "number"}
    assert others("ward") == {}


# What Whisper base wrote <- what had been said, measured on synthetic dictation.
@pytest.mark.parametrize(
    ("written", "after", "said"),
    [("35", "millimeter", "three five"), ("25mm", "", "two five millimetres"), ("110", "millimeter", "one ten"),
     ("24.5mm", "", "two four point five millimetres"), ("1000", "units", "four thousand"), ("50", "mL", "fifteen"),
     ("16", "hole", "one six")],
)  # fmt: skip
def test_the_measured_errors_of_numbers_are_asked(written: str, after: str, said: str) -> None:
    assert said in others(written, after)


def test_a_number_that_nobody_takes_for_two_is_not_asked_for_them() -> None:
    assert "joined" not in others("850", "milliliters").values()
    assert "joined" not in others("20", "millimeters").values()
    assert "joined" not in others("5", "millimeters").values()


@pytest.mark.parametrize("written", ["fourteen", "14"])
def test_a_wrong_number_is_noted_and_nothing_is_overwritten(ear: vosk.Vosk, written: str) -> None:
    sound = np.concatenate([np.zeros(RATE // 4), 0.5 * speak(SAID), np.zeros(RATE // 2)]).astype(np.float32)
    source = Source(kind="audio", name="case", sha256="0" * 64, engine="test")
    rules = grammar.load()
    second = run.Second(ear, rules)
    heard = run.Heard(placed(ear, sound, {"forty": written}), source)
    asked = second.over(heard, agreement.cut(sound))
    assert [word.text for word in asked.words] == SAID.replace("forty", written).split()
    assert asked.words[3].opinions == ("forty",)
    note = run.make_note(asked, rules)
    told = [one for one in note.findings if one.check == "second_opinion"]
    assert [one.severity for one in told] == ["warning"]
    assert f"'{written}'" in told[0].message
    assert "'forty'" in told[0].message
    value = next(fact for fact in note.facts if fact.kind == "tourniquet_time").value
    assert value == 14
    again = wordlist.parse(run.words_file(asked))
    assert again.words == asked.words
    right = second.over(replace(heard, words=placed(ear, sound)), agreement.cut(sound))
    assert [word.opinions for word in right.words] == [()] * 5


@pytest.mark.parametrize(("said", "flagged"), [("three five millimetre screws", True),
                                               ("thirty five millimetre screws", False)])  # fmt: skip
def test_two_numbers_that_were_written_as_one_are_noted(ear: vosk.Vosk, said: str, flagged: bool) -> None:
    sound = np.concatenate([np.zeros(RATE // 4), 0.5 * speak(said), np.zeros(RATE // 2)]).astype(np.float32)
    first, second, *rest = placed(ear, sound, said=said)
    words = (replace(first, text="35", end=second.end), *rest)
    asked = run.Second(ear, grammar.load()).asked(words, agreement.cut(sound))
    assert asked[0].opinions == (("three five",) if flagged else ())


def test_it_is_off_unless_a_model_is_named_or_the_site_added_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("VOXOP_DATA", str(tmp_path))
    rules = grammar.load()
    assert run.second_opinion("off", rules) is None
    assert run.second_opinion("auto", rules) is None
    assert run.second_opinion("vosk-small", rules) is not None
    with pytest.raises(UnknownName):
        run.second_opinion("vosk-none", rules)
    monkeypatch.setattr(vosk.Vosk, "__init__", lambda self, chosen: vars(self).update(takes_lists=False, model="fixed"))
    with pytest.raises(EngineUnavailable, match="no lists"):
        run.second_opinion("vosk-small", rules)
    site = manifest.model("vosk-small").model_copy(update={"origin": "site"})
    monkeypatch.setattr(manifest, "models", lambda: (site,))
    assert run.second_opinion("auto", rules) is None


def test_the_command_hears_with_a_named_model_and_asks_it(tmp_path: Path) -> None:
    path = tmp_path / "said.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        edge = np.zeros(RATE, np.float32)
        sound = np.concatenate([edge, 0.5 * speak("no known fracture in the left femoral neck"), edge])
        file.writeframes((sound * 32767).astype("<i2").tobytes())
    result = CliRunner().invoke(cli.main, ["transcribe", str(path), "--engine", "vosk", "--model", "vosk-small",
                                           "--second-opinion", "vosk-small", "--json"])  # fmt: skip
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert told["engine"] == "vosk"
    assert told["model"] == "vosk-small"
    assert "left" in [word["text"] for word in told["words"]]
    wrong = CliRunner().invoke(cli.main, ["transcribe", str(path), "--model", "vosk-small"])
    assert wrong.exit_code == 2
    assert "does not run on engine 'whisper'" in wrong.output
    assert plugins.find("pipeline.checks", "second_opinion").MEANING
