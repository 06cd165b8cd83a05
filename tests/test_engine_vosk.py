"""The engine vosk with the shipped model, on real sound; and taking in a site's own model."""

from __future__ import annotations

import re
import shutil
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner
from voice import speak

from pipeline import cli, manifest, model_store, paths
from pipeline.engines import vosk
from pipeline.engines.base import Options
from pipeline.errors import EngineUnavailable, InputError, ModelDamaged, ModelMissing, SourceNotFound
from pipeline.listen import Listener

MODEL = Path(__file__).resolve().parent.parent / "models" / "vosk-small"


@pytest.fixture(scope="module")
def engine() -> vosk.Vosk:
    return vosk.load("vosk-small")


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("VOXOP_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("VOXOP_CACHE", str(tmp_path / "cache"))
    return paths.user_data() / "models"


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A whole model folder of another name."""
    return Path(shutil.copytree(MODEL, tmp_path / "vosk-model-small-en-us-0.0"))


def heard(engine: vosk.Vosk, text: str, options: Options | None = None) -> tuple[list[str], Listener]:
    listener = Listener(engine, options or Options())
    sound = speak(text)
    partials = []
    for start in range(0, len(sound), 1600):
        partials += [
            " ".join(word.text for word in result.words)
            for result in listener.feed(sound[start : start + 1600]) if not result.final
        ]  # fmt: skip
    list(listener.finish())
    return partials, listener


def test_hears_words_with_times_and_confidence_and_says_some_before_the_end(engine: vosk.Vosk) -> None:
    partials, listener = heard(engine, "no known fracture in the left femoral neck")
    assert "left femoral neck" in " ".join(word.text for word in listener.words)
    assert any("left" in partial for partial in partials)
    left = next(word for word in listener.words if word.text == "left")
    assert left.start is not None
    assert left.end is not None
    assert 0 < left.start < left.end <= listener.seconds
    assert left.confidence is not None
    assert 0 <= left.confidence <= 1
    assert left.heard_by == "vosk"
    starts = [word.start for word in listener.words if word.start is not None]
    assert starts == sorted(starts)


def test_with_other_readings_there_is_no_confidence(engine: vosk.Vosk) -> None:
    _, listener = heard(engine, "fifteen millilitres of bupivacaine", Options(alternatives=3))
    assert listener.words
    assert {word.confidence for word in listener.words} == {None}


def test_a_list_of_phrases_is_told_apart(engine: vosk.Vosk) -> None:
    for said, other in (("left femoral neck", "right femoral neck"), ("right femoral neck", "left femoral neck")):
        assert engine.choose(speak(said), [said, other])[0].text == said


def test_words_that_the_model_lacks_are_named(engine: vosk.Vosk) -> None:
    assert engine.unknown(["left quibblewort", "left"]) == ("quibblewort",)
    with pytest.raises(EngineUnavailable, match="quibblewort"):
        engine.recogniser(["quibblewort"])


def test_the_command_names_the_words_that_a_model_does_not_know() -> None:
    result = CliRunner().invoke(cli.main, ["models", "words", "vosk-small"])
    assert result.exit_code == 0, result.output
    known = dict(re.findall(r"^(\w+): (\d+) of", result.output, re.M))
    assert set(known) == {"control", "sides", "units", "drugs", "sites"}
    assert int(known["drugs"]) > 100
    # Written with digits, which no pronunciation was made for (prepare.py).
    assert re.search(r"^drugs: .*; not .*\bc3f8\b", result.output, re.M)


def test_a_fixed_graph_takes_no_list(engine: vosk.Vosk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "takes_lists", False)
    with pytest.raises(EngineUnavailable, match="no list of words"):
        engine.choose(speak("left"), ["left", "right"])


def test_another_language_is_refused(engine: vosk.Vosk) -> None:
    with pytest.raises(EngineUnavailable, match="'de'"):
        engine.open(Options(language="de"))


def test_without_a_model_it_says_how_to_add_one(monkeypatch: pytest.MonkeyPatch) -> None:
    rest = tuple(one for one in manifest.models() if one.engine != "vosk")
    monkeypatch.setattr(manifest, "models", lambda: rest)
    with pytest.raises(ModelMissing, match="voxop models add"):
        vosk.load()


def test_a_folder_is_taken_in_and_used(site: Path, copy: Path) -> None:
    row = model_store.add(copy, licence="Apache-2.0")
    assert row.name == "vosk-model-small-en-us-0.0"
    assert row.licence == "Apache-2.0"
    assert row.origin == "site"
    assert manifest.verify(row.name).state == "ok"
    assert manifest.choose("vosk", row.name) == row
    assert manifest.folder(row.name) == site / row.name
    model_store.remove(row.name)
    assert not (site / row.name).exists()


def test_a_zip_is_taken_in(site: Path, copy: Path, tmp_path: Path) -> None:
    packed = tmp_path / "model.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for path in copy.rglob("*"):
            archive.write(path, path.relative_to(copy.parent))
    assert model_store.add(packed, licence="Apache-2.0").name == copy.name


def test_what_changed_after_it_was_taken_in_is_not_loaded(site: Path, copy: Path) -> None:
    row = model_store.add(copy, licence="Apache-2.0")
    target = site / row.name / "graph" / "words.txt"
    data = bytearray(target.read_bytes())
    data[-2] ^= 1
    target.write_bytes(bytes(data))
    with pytest.raises(ModelDamaged):
        vosk.load(row.name)


@pytest.mark.parametrize("part", ["am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst"])
def test_a_model_without_a_part_is_refused_and_leaves_nothing(site: Path, copy: Path, part: str) -> None:
    (copy / part).unlink()
    with pytest.raises(ModelDamaged, match=Path(part).name):
        model_store.add(copy, licence="Apache-2.0")
    assert [path.name for path in site.iterdir()] == []


def test_damaged_foreign_and_unnamed_models_are_refused(site: Path, copy: Path, tmp_path: Path) -> None:
    cut = tmp_path / "cut.zip"
    cut.write_bytes(b"PK\x03\x04 cut off")
    with pytest.raises(ModelDamaged, match="zip"):
        model_store.add(cut, licence="MIT")
    with pytest.raises(ModelDamaged, match="'de'"):
        model_store.add(Path(shutil.copytree(copy, tmp_path / "vosk-model-small-de-0.15")), licence="MIT")
    with pytest.raises(InputError, match="licence"):
        model_store.add(copy, licence=" ")
    with pytest.raises(InputError, match="already"):
        model_store.add(copy, licence="MIT", name="vosk-small")
    with pytest.raises(SourceNotFound):
        model_store.add(tmp_path / "nowhere", licence="MIT")
    (copy / "am" / "final.mdl").write_bytes(b"not a model")
    with pytest.raises(ModelDamaged, match="Kaldi"):
        model_store.add(copy, licence="MIT")


@pytest.mark.parametrize("part", ["am/final.mdl", "graph/HCLr.fst", "graph/Gr.fst"])
def test_a_part_that_was_copied_by_half_is_found_when_it_is_added(site: Path, copy: Path, part: str) -> None:
    data = (copy / part).read_bytes()
    (copy / part).write_bytes(data[: len(data) // 2])
    told = CliRunner().invoke(cli.main, ["models", "add", str(copy), "--licence", "MIT"])
    assert isinstance(told.exception, ModelDamaged) or told.exit_code not in (0, 1), told.output
    assert not (site / copy.name).exists()


def test_a_zip_cannot_write_outside_its_folder(site: Path, tmp_path: Path) -> None:
    packed = tmp_path / "bad.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("model/am/final.mdl", "x")
        archive.writestr("model/../../../out.txt", "x")
    with pytest.raises(ModelDamaged, match="leads out"):
        model_store.add(packed, licence="MIT")
    assert not list(tmp_path.rglob("out.txt"))
