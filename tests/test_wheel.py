"""The built wheel, installed outside the checkout, does the main job: a checkout hides a missing file."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

FILES = {"note.json", "bundle.json", "note.docx", "words.json"}
ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(folder), str(ROOT)],
        check=True, capture_output=True,
    )  # fmt: skip
    (built,) = folder.glob("vox_operandi-*.whl")
    return built


def test_wheel_carries_grammars_and_models(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    for folder in ("grammars", "models"):
        for file in (ROOT / folder).rglob("*.toml"):
            assert f"pipeline/_data/{file.relative_to(ROOT)}" in names
    assert not [name for name in names if name.startswith(("tests/", "audio_demo/", "benchmarks/"))]


def test_installed_command_runs_outside_the_checkout(wheel: Path, tmp_path: Path) -> None:
    place = tmp_path / "site"
    subprocess.run(
        [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--target", str(place), str(wheel)],
        check=True, capture_output=True,
    )  # fmt: skip
    program = "import sys, pipeline; sys.stderr.write(pipeline.__file__); from pipeline.cli import main; main()"
    narration = tmp_path / "case.txt"
    narration.write_text("Right hip arthroscopy. Estimated blood loss fifty millilitres.", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", program, "note", str(narration), "--out", str(tmp_path / "out")],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(place)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert str(place) in done.stderr
    made = json.loads((tmp_path / "out" / "note.json").read_text(encoding="utf-8"))
    assert {"blood_loss", "procedure"} <= {fact["kind"] for fact in made["facts"]}
    assert {path.name for path in (tmp_path / "out").iterdir()} == FILES
