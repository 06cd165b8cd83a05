"""The manifest: every model there with licence and checksum; joined whole or not at all; damage is seen."""

from __future__ import annotations

import hashlib
import importlib
import os
from pathlib import Path

import pytest

from pipeline import manifest
from pipeline.errors import ModelDamaged, ModelMissing, SetupError, UnknownName

FIRST, SECOND = b"first half " * 1_000, b"second half " * 1_000


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An installation with one made-up model in two packages; returns the folder of the packages."""
    for variable, name in (("VOXOP_MODELS", "models"), ("VOXOP_CACHE", "cache"), ("VOXOP_DATA", "data")):
        (tmp_path / name).mkdir()
        monkeypatch.setenv(variable, str(tmp_path / name))
    packages = tmp_path / "packages"
    for package, data in (("half_one", FIRST), ("half_two", SECOND)):
        (packages / package).mkdir(parents=True)
        (packages / package / "__init__.py").write_text("raise RuntimeError('must not be imported')")
        (packages / package / "part.bin").write_bytes(data)
    monkeypatch.syspath_prepend(str(packages))
    importlib.invalidate_caches()
    whole = FIRST + SECOND
    (tmp_path / "models" / "manifest.toml").write_text(f"""
[toy]
about = "a toy"
engine = "toys"
how = "join"
licence = "MIT"
package = ["half-one==1", "half-two==1"]
[[toy.files]]
path = "sub/model.bin"
size = {len(whole)}
sha256 = "{hashlib.sha256(whole).hexdigest()}"
parts = ["half_one/part.bin", "half_two/part.bin"]
""")
    return packages


def left_over(cache: Path) -> list[str]:
    return [path.name for path in cache.rglob(".*")]


def test_joined_once_then_used(site: Path, tmp_path: Path) -> None:
    assert manifest.verify("toy").state == "not joined"
    told: list[tuple[int, int]] = []
    folder = manifest.join("toy", lambda done, total: told.append((done, total)))
    assert (folder / "sub/model.bin").read_bytes() == FIRST + SECOND
    assert told[-1] == (len(FIRST + SECOND), len(FIRST + SECOND))
    assert manifest.verify("toy").state == "ok"
    (site / "half_one" / "part.bin").unlink()
    assert manifest.folder("toy") == folder
    assert left_over(tmp_path / "cache") == []


def test_a_damaged_part_leaves_nothing_behind(site: Path, tmp_path: Path) -> None:
    (site / "half_two" / "part.bin").write_bytes(SECOND[:-1] + b"X")
    with pytest.raises(ModelDamaged, match="half-one==1 half-two==1"):
        manifest.folder("toy")
    assert not any(path.is_file() for path in (tmp_path / "cache").rglob("*"))


def test_an_absent_package_is_named(site: Path) -> None:
    (site / "half_two" / "part.bin").unlink()
    assert manifest.verify("toy").state == "missing"
    with pytest.raises(ModelMissing, match=r"half_two/part\.bin"):
        manifest.folder("toy")


@pytest.mark.parametrize("how", ["flip", "cut", "delete"])
def test_damage_in_the_cache_is_seen_and_mended(site: Path, how: str) -> None:
    path = manifest.folder("toy") / "sub/model.bin"
    if how == "flip":
        data = bytearray(path.read_bytes())
        data[7] ^= 1
        path.write_bytes(bytes(data))
        os.utime(path, ns=(1, 1))
        assert manifest.verify("toy").state == "damaged"
        with pytest.raises(ModelDamaged, match="sha256"):
            manifest.folder("toy")
        manifest.join("toy")
    elif how == "cut":
        path.write_bytes(path.read_bytes()[:100])
        assert manifest.verify("toy").state == "damaged"
    else:
        path.unlink()
        assert manifest.verify("toy").state == "not joined"
    assert (manifest.folder("toy") / "sub/model.bin").read_bytes() == FIRST + SECOND
    assert manifest.verify("toy").state == "ok"


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('licence = "MIT"', 'licence = ""', "licence"),
        ('how = "join"', 'how = "download"', "how"),
        ('path = "sub/model.bin"', 'path = "../model.bin"', "path"),
        ('"half_one/part.bin"', '"/etc/passwd"', "parts"),
        ("size = ", "sise = ", "sise"),
        ("[toy]", "[toy", "TOML"),
    ],
)
def test_bad_manifests_are_told(site: Path, tmp_path: Path, old: str, new: str, told: str) -> None:
    path = tmp_path / "models" / "manifest.toml"
    path.write_text(path.read_text().replace(old, new, 1))
    with pytest.raises(SetupError, match=told):
        manifest.models()


def test_a_site_adds_a_model(site: Path, tmp_path: Path) -> None:
    folder = tmp_path / "data" / "models"
    (folder / "ours").mkdir(parents=True)
    (folder / "ours" / "a.bin").write_bytes(b"abc")
    # FIPS 180-2, example B.1: SHA-256("abc").
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    row = f'[ours]\nabout = "x"\nengine = "toys"\nhow = "folder"\nlicence = "Apache-2.0"\n' \
          f'[[ours.files]]\npath = "a.bin"\nsize = 3\nsha256 = "{known}"\n'
    (folder / "manifest.toml").write_text(row)
    assert [(item.name, item.origin) for item in manifest.models()] == [("toy", "shipped"), ("ours", "site")]
    assert manifest.folder("ours") == folder / "ours"
    assert manifest.choose("toys", "ours").name == "ours"
    (folder / "ours" / "a.bin").write_bytes(b"abd")
    with pytest.raises(ModelDamaged):
        manifest.folder("ours")
    (folder / "manifest.toml").write_text(row.replace("[ours]", "[toy]").replace("[[ours", "[[toy"))
    with pytest.raises(SetupError, match="shipped already"):
        manifest.models()


def test_unknown_names(site: Path) -> None:
    with pytest.raises(UnknownName, match="toy"):
        manifest.model("nothing")
    with pytest.raises(ModelMissing):
        manifest.choose("other")
    with pytest.raises(UnknownName, match="does not run"):
        manifest.choose("other", "toy")


def test_what_is_shipped_is_installed_as_the_manifest_says(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("VOXOP_DATA", str(tmp_path))
    names = [item.name for item in manifest.models()]
    assert {"whisper-base", "silero-vad"} <= set(names)
    assert all(item.licence and item.source.startswith("https://") for item in manifest.models())
    assert manifest.verify("silero-vad").state == "ok"
    assert manifest.choose("whisper").name == "whisper-base"


def test_the_packages_of_the_manifest_are_the_pinned_ones() -> None:
    pins = Path(__file__).parents[1] / "requirements" / "run.in"
    lines = pins.read_text(encoding="utf-8").split()
    assert {line for item in manifest.models() for line in item.package} <= set(lines)
