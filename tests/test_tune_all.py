"""The steps of the training of the adapter that need no GPU run one after the other, cut down to a few sentences."""

from __future__ import annotations

import importlib.util
import json
import math
import re
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parent.parent
TRAINING = ROOT / "models" / "training"
FEW = 3


def module(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, TRAINING / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[name] = made
    spec.loader.exec_module(made)
    return made


@pytest.fixture
def tune_all(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(TRAINING))
    monkeypatch.syspath_prepend(str(ROOT / "benchmarks"))
    return module("tune_all")


@pytest.fixture
def given(tmp_path: Path) -> dict[str, Path]:
    """Voices of the right form (tables of 510 rows of 256 numbers, as kokoro-js carries them), and recordings by a
    speaker who is heard (1272) and one who is held out (84, held_out.py)."""
    voices, speech = tmp_path / "voices", tmp_path / "speech"
    voices.mkdir()
    for name in ("af_one", "am_two", "bf_three", "ef_four"):
        np.random.default_rng(len(name)).random((510, 256), np.float32).tofile(voices / f"{name}.bin")
    for speaker in ("1272", "84"):
        chapter = speech / speaker / "7"
        chapter.mkdir(parents=True)
        names = [f"{speaker}-7-{at:04d}" for at in range(FEW + 2)]
        (chapter / f"{speaker}-7.trans.txt").write_text("".join(f"{name} A SHORT LINE\n" for name in names))
        for name in names[1:]:  # of the first there is a transcript only
            (chapter / f"{name}.wav").write_bytes(b"sound")
    return {"voices": voices, "speech": speech, "kokoro": tmp_path / "kokoro.onnx", "out": tmp_path / "out"}


def taken(tune_all: ModuleType, given: dict[str, Path], *more: str) -> None:
    tune_all.main([*(str(part) for name, path in given.items() for part in (f"--{name}", path)),
                   "--limit", str(FEW), *more])  # fmt: skip


def test_sentences_are_written_and_dealt_to_speakers(tune_all: ModuleType, given: dict[str, Path]) -> None:
    taken(tune_all, given, "--to", "plan")
    sentences = json.loads((given["out"] / "sentences.json").read_text(encoding="utf-8"))
    assert len(sentences) == FEW
    import gzip

    plan = json.loads(gzip.decompress((given["out"] / "plan" / "plan.json.gz").read_bytes()))
    assert sorted(row["t"] for row in plan["rows"]) == sorted(row["text"] for row in sentences)
    assert all(math.isclose(sum(one.values()), 1) for one in plan["speakers"])
    with np.load(given["out"] / "plan" / "voices.npz") as voices:
        assert {name for one in plan["speakers"] for name in one} == set(voices.files)


def test_recordings_are_gathered_and_the_held_out_stay_known(tune_all: ModuleType, given: dict[str, Path]) -> None:
    taken(tune_all, given, "--from", "read", "--to", "read")
    lines = (given["out"] / "read" / "transcripts.txt").read_text(encoding="utf-8").splitlines()
    assert [line.split("-")[0] for line in lines] == ["1272"] * FEW + ["84"] * FEW
    assert all((given["out"] / "read" / f"{line.split()[0]}.wav").is_file() for line in lines)


def test_the_held_out_voice_speaks_lines_of_both_halves(
    tune_all: ModuleType, given: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    soundfile = pytest.importorskip("soundfile")
    import gate_tuned

    monkeypatch.setattr(gate_tuned, "joe", lambda: lambda text: np.full(1000 + len(text), 0.1, np.float32))
    taken(tune_all, given, "--from", "check", "--to", "check")
    check = given["out"] / "check"
    rows = json.loads((check / "joe.json").read_text(encoding="utf-8"))
    assert [row["half"] for row in rows].count("test") == [row["half"] for row in rows].count("tuning") == FEW
    assert soundfile.info(check / "joe.ogg").frames == sum(row["n"] for row in rows)
    bias = json.loads((check / "bias.json").read_text(encoding="utf-8"))
    assert all(bias[row["family"]] for row in rows)


def test_what_was_heard_is_scored_by_strength_and_half(
    tune_all: ModuleType, given: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Worked by hand: one of two critical words wrong in the tuning half of the base, none in the other."""
    tuned, check = given["out"] / "tuned", given["out"] / "check"
    for folder in (tuned, check):
        folder.mkdir(parents=True)
    lines = ["Fifteen milliliters.", "The left ureter."]
    (check / "joe.json").write_text(json.dumps([{"half": "tuning"}, {"half": "test"}]), encoding="utf-8")
    (check / "bias.json").write_text("{}", encoding="utf-8")
    said = {"0.0": ["Fifty milliliters.", lines[1]], "0.5": [lines[0], "The right ureter."]}
    people = ["a man went out", "he came back"]
    heard = {"0.0": people, "0.5": ["a man went", people[1]]}
    (tuned / "heard.json").write_text(json.dumps(
        {strength: {"read": list(zip(people, heard[strength], strict=True)),
                    "joe bias": list(zip(lines, said[strength], strict=True))} for strength in said}
    ), encoding="utf-8")  # fmt: skip
    taken(tune_all, given, "--from", "score")
    told = (tuned / "heard.txt").read_text(encoding="utf-8")
    rows = [re.split(r"\s{2,}", line.strip()) for line in told.splitlines() if "joe bias" in line]
    assert rows[0] == ["joe bias, tuning", "50.0", "50.0", "1/1", "0/1", "0"]
    assert rows[2] == ["joe bias, tuning", "0.0", "0.0", "0/1", "0/1", "0"]
    assert rows[3][-1] == "1"  # the side that only the tuned weights made up
    assert "words 14.29 %, +14.29 points" in told  # one word of seven
