"""README and DEVELOPERS.md say what the code does."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from pipeline import errors
from pipeline.cli import main
from tests.write_docs import DOCUMENT, all_errors, filled

ROOT = Path(__file__).resolve().parent.parent


def test_lists_are_those_of_the_code() -> None:
    text = DOCUMENT.read_text(encoding="utf-8")
    assert filled(text) == text, "run `make docs`"


def test_every_error_is_drawn_in_the_tree_and_has_its_own_slug() -> None:
    leaves = [cls for cls in all_errors() if cls.slug]
    assert len({cls.slug for cls in leaves}) == len(leaves)
    for cls in leaves:
        assert re.search(rf"\b{cls.__name__}\s+{cls.slug}\b", errors.__doc__ or ""), cls.__name__


def test_errors_survive_pickling() -> None:
    import pickle

    for cls in all_errors():
        problem = cls("is wrong.", "Do this.", where="a.wav")
        again = pickle.loads(pickle.dumps(problem))
        assert (type(again), again.what, again.do, again.where) == (cls, "is wrong.", "Do this.", "a.wav")
        assert str(again) == "a.wav: is wrong. Do this."


def test_commands_and_targets_named_in_the_documents_exist() -> None:
    targets = set(re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text("utf-8"), re.M))
    benches = re.findall(r"^BENCHES := (.+)$", (ROOT / "Makefile").read_text("utf-8"), re.M)[0].split()
    for bench in benches:
        assert (ROOT / "benchmarks" / f"{bench.removeprefix('bench-').replace('-', '_')}.py").exists(), bench
    targets |= set(benches)
    for name in ("README.md", "DEVELOPERS.md", "NOTICE.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        for target in re.findall(r"(?:^|`)make ([a-z-]+)", text, re.M):
            assert target in targets, f"{name}: make {target}"
        for command in re.findall(r"voxop ([a-z]+)", text):
            assert command in main.commands, f"{name}: voxop {command}"
        for path in re.findall(r"\]\((?!http)([^)#]+)\)", text):
            assert (ROOT / path).exists(), f"{name}: {path}"


def test_no_machine_path_or_registry_in_tracked_files() -> None:
    tracked = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    for name in filter(None, tracked.split("\0")):
        path = ROOT / name
        if not path.is_file() or path.suffix in {".flac", ".png", ".bin"}:
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        machine = r"(?<![\w.])/(?:work|root|home)/\w+"
        for pattern in (machine, r"extra-index-url\s", r"files\.pythonhosted", r"registry\.npmjs"):
            found = re.search(pattern, text) if name != "tests/test_documents.py" else None
            assert found is None, f"{name}: {found}"


def test_python_needed_is_named_once() -> None:
    assert sys.version_info >= (3, 11)
    assert "3.11" in (ROOT / "README.md").read_text("utf-8")
