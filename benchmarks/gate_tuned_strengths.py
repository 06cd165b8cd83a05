"""How strongly is the adapter laid over the base? Part of `make gate-tuned ARGS="--strengths 0.3 0.4 0.5"`.

Each strength is joined as a site's own model in benchmarks/work/strengths (nothing of the package is changed) and hears
the tuning half of the dictations and the human speech. The strongest that halves the critical words, makes nothing up
and loses nothing on human speech goes on to the gate; if none does, the weakest of those that pass most rows. Human
speech is asked here and in the gate alike, since there is only so much of it.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
from pathlib import Path

import gate_tuned as gate
import listening_corpus as corpus

from pipeline import manifest, merging, paths

FOLDER = corpus.WORK / "strengths"


def joined(tuned: str, strength: float, adapter: Path | None = None) -> str:
    """Name of the model of that strength: the shipped one where it has it, else one made in FOLDER.

    `adapter`: laid over in place of the shipped model's own.
    """
    model = manifest.model(tuned)
    (file,) = (file for file in model.files if file.adapter)
    if adapter is None and file.strength == strength:
        return tuned
    source = (adapter or paths.models() / file.adapter).read_bytes()
    mark = hashlib.sha256(source).hexdigest()[:6]
    name = f"{tuned}-{mark}-{round(100 * strength):03d}"
    place = manifest.site_folder() / name
    if not place.is_dir():
        base = manifest.folder("whisper-base")
        making = place.with_name(f"{name}.part")
        shutil.rmtree(making, ignore_errors=True)
        shutil.copytree(base, making)
        whole = merging.merge((base / file.path).read_bytes(), source, strength)
        (making / file.path).write_bytes(whole)
        making.rename(place)
    return name


def listed() -> None:
    """Writes the manifest of all that was made."""
    rows = []
    for place in sorted(path for path in manifest.site_folder().iterdir() if path.is_dir() and path.suffix != ".part"):
        rows.append(f'["{place.name}"]\nabout = "an adapter at a strength, to be measured"\nengine = "whisper"\n'
                    'how = "folder"\nlicence = "MIT"\n')  # fmt: skip
        for path in sorted(place.iterdir()):
            sum_ = hashlib.sha256(path.read_bytes()).hexdigest()
            rows.append(f'[["{place.name}".files]]\npath = "{path.name}"\nsize = {path.stat().st_size}\n'
                        f'sha256 = "{sum_}"\n')  # fmt: skip
    (manifest.site_folder() / "manifest.toml").write_text("\n".join(rows), encoding="utf-8")


def row(given: argparse.Namespace, tuned: str) -> list[gate.Verdict]:
    """What one strength does on the tuning half and on human speech."""
    one = gate.Gate(argparse.Namespace(**{**vars(given), "tuned": tuned}))
    try:
        told = one.dictated("tuning")
        return [one.halved(*told), gate.invented(*told, one.rules), *one.people()]
    except (gate.Late, LookupError) as why:
        return [gate.Verdict("strength", False, str(why) or "the time was over")]


def best(rows: dict[float, list[gate.Verdict]]) -> float:
    """The strongest that passes; if none does, the one with most rows passed, the weakest of those."""
    passing = [strength for strength, some in rows.items() if all(one.passed for one in some)]
    if passing:
        return max(passing)
    return min(rows, key=lambda strength: (-sum(one.passed for one in rows[strength]), strength))


def chosen(given: argparse.Namespace) -> tuple[str, list[str]]:
    """Name of the model to be judged, and what was told of each strength."""
    os.environ["VOXOP_DATA"] = str(FOLDER)
    manifest.site_folder().mkdir(parents=True, exist_ok=True)
    (manifest.site_folder() / "manifest.toml").unlink(missing_ok=True)
    names = {strength: joined(given.tuned, strength, given.adapter) for strength in given.strengths}
    listed()
    rows = {strength: row(given, name) for strength, name in names.items()}
    told = []
    for strength, some in rows.items():
        told.append(f"strength {strength}, tuning half")
        told += [f"  {line}" for line in gate.told(some)]
    strength = best(rows)
    return names[strength], [*told, f"chosen: {strength}", ""]
