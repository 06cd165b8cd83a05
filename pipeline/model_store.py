"""Takes a model that a site brings into its own folder, whole or not at all, and writes it into the site's manifest.

A model for Vosk comes as its publisher packs it: a folder, or a zip that holds one. It is told by its files.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import re
import shutil
import stat
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import mkdtemp

from pipeline import manifest
from pipeline.errors import InputError, ModelDamaged, OutputUnwritable, SourceNotFound, SourceUnreadable
from pipeline.manifest import Model, ModelFile

ENGINE = "vosk"
# One of each row has to be there (layout of the models on the site of Vosk's authors; the second form is the old one).
NEEDED = (
    ("am/final.mdl", "final.mdl"),
    ("conf/mfcc.conf", "mfcc.conf"),
    ("graph/words.txt", "words.txt", "graph/Gr.fst", "Gr.fst"),
    ("graph/HCLG.fst", "graph/HCLr.fst", "HCLG.fst", "HCLr.fst"),
)
# A site's disk is not to be filled by a zip that unpacks to more than any known model (the largest takes 5 GB).
LARGEST = 12 * 1024**3
_CHUNK = 1 << 20
_LANGUAGE = re.compile(r"^vosk-model-(?:small-)?([a-z]{2})(?:-|$)")
# Words that an English model knows, and that no other model knows all of.
_ENGLISH = ("the", "and", "left", "right", "fifteen")


def add(path: Path, *, licence: str, name: str | None = None, language: str | None = None, holder: str = "",
        source: str = "", default: bool = False) -> Model:  # fmt: skip
    """Copies the model into the site's folder and enters it in the site's manifest; gives its row.

    `name`: for `--model`; the folder's own name without it. `language`: ISO 639-1; told by the publisher's name of the
    model, and by its words, without it. Raises SourceNotFound, SourceUnreadable, ModelDamaged (not whole, or another
    language), InputError (a bad name, a name that is taken, no licence), OutputUnwritable.
    """
    if not path.exists():
        raise SourceNotFound("There is no such file or folder.", "Name a model folder or its zip.", where=str(path))
    if not licence.strip():
        raise InputError("The licence of the model is not named.", "Say it with --licence.", where=str(path))
    site = manifest.site_folder()
    try:
        site.mkdir(parents=True, exist_ok=True)
        making = Path(mkdtemp(prefix=".adding-", dir=site))
    except OSError as problem:
        raise OutputUnwritable(
            f"cannot be written ({problem.strerror}).", "Set VOXOP_DATA to a folder that can be written.",
            where=str(site),
        ) from problem  # fmt: skip
    try:
        copied = making / "model"
        published = _unpacked(path, copied) if path.is_file() else _copied(path, copied)
        chosen = (name or published).casefold()
        check(copied, str(path))
        spoken = language or _language(published, copied)
        if spoken != "en":
            raise ModelDamaged(
                f"This model understands '{spoken}'; the product hears English only.", "Bring an English model.",
                where=str(path),
            )  # fmt: skip
        row = _row(copied, chosen, licence.strip(), spoken, holder, source, default, str(path))
        with _alone(site):
            _enter(site, row, copied)
        return row
    finally:
        shutil.rmtree(making, ignore_errors=True)


def remove(name: str) -> None:
    """Takes a site's own model out of its manifest and deletes its files. Raises UnknownName, InputError."""
    row = manifest.model(name)
    if row.origin != "site":
        raise InputError(f"The model {name} is shipped with the product.", "Only added models can be removed.")
    site = manifest.site_folder()
    with _alone(site):
        _write(site, [one for one in manifest.models() if one.origin == "site" and one.name != name])
        shutil.rmtree(site / name, ignore_errors=True)


def check(folder: Path, where: str = "") -> None:
    """Raises ModelDamaged that names every part that is missing or empty."""
    lacking = [" or ".join(ways) for ways in NEEDED if not any(_filled(folder / way) for way in ways)]
    for place in (folder / "graph", folder):
        if (place / "HCLr.fst").is_file() and not _filled(place / "Gr.fst"):
            lacking.append("Gr.fst beside HCLr.fst")
    if lacking:
        raise ModelDamaged(
            f"This is no whole model for Vosk: {'; '.join(lacking)} is missing or empty.",
            "Bring the whole folder or zip as its publisher packs it; copy it again if it was cut off.", where=where,
        )  # fmt: skip
    model = next(folder / way for way in NEEDED[0] if _filled(folder / way))
    with model.open("rb") as file:
        head = file.read(64)
    if not (head.startswith(b"\0B<TransitionModel>") or head.lstrip().startswith(b"<TransitionModel>")):
        raise ModelDamaged(
            f"{model.name} is not a Kaldi model: its beginning is damaged.", "Copy it again.", where=where
        )


def _filled(path: Path) -> bool:
    return path.is_file() and path.stat().st_size > 0


def _copied(path: Path, to: Path) -> str:
    """Copies the model folder, or the only folder in it; gives its name."""
    root = path
    inside = [one for one in path.iterdir() if not one.name.startswith(".")]
    if len(inside) == 1 and inside[0].is_dir() and not (path / "am").is_dir():
        root = inside[0]
    try:
        shutil.copytree(root, to, symlinks=False)
    except (OSError, shutil.Error) as problem:
        raise SourceUnreadable(f"cannot be copied ({problem}).", "Check the folder and the free space.",
                               where=str(path)) from problem
    return root.resolve().name


def _unpacked(path: Path, to: Path) -> str:
    """Unpacks the zip; gives the name of the folder in it, or of the file."""
    try:
        with zipfile.ZipFile(path) as archive:
            members = [one for one in archive.infolist() if not one.is_dir()]
            if sum(one.file_size for one in members) > LARGEST:
                raise ModelDamaged("This zip unpacks to more than any model.", "Check the file.", where=str(path))
            roots = {PurePosixPath(one.filename).parts[0] for one in members if one.filename}
            packed = len(roots) == 1 and all(len(PurePosixPath(one.filename).parts) > 1 for one in members)
            shared = packed and next(iter(roots)) not in {"am", "graph", "conf"}
            for one in members:
                parts = PurePosixPath(one.filename).parts[1 if shared else 0 :]
                linked = stat.S_ISLNK(one.external_attr >> 16)
                if not parts or ".." in parts or PurePosixPath(one.filename).is_absolute() or linked:
                    raise ModelDamaged(f"This zip holds a path that leads out of it: {one.filename}.", where=str(path))
                target = to.joinpath(*parts)
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(one) as packed_file, target.open("wb") as file:
                    shutil.copyfileobj(packed_file, file, _CHUNK)
            return next(iter(roots)) if shared else path.stem
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError) as problem:
        raise ModelDamaged(
            f"This is no zip, or a damaged one ({problem}).", "Copy it again.", where=str(path)
        ) from problem
    except OSError as problem:
        raise SourceUnreadable(f"cannot be unpacked ({problem}).", "Check the file and the free space.",
                               where=str(path)) from problem


def _language(published: str, folder: Path) -> str:
    """By the publisher's name; else by the words, "unknown" where they are not English."""
    if found := _LANGUAGE.match(published.casefold()):
        return found.group(1)
    lists = [folder / "graph" / "words.txt", folder / "words.txt"]
    path = next((one for one in lists if one.is_file()), None)
    if path is None:
        return "unknown"
    words = {line.split(" ", 1)[0] for line in path.read_text(encoding="utf-8", errors="replace").splitlines()}
    return "en" if words.issuperset(_ENGLISH) else "unknown"


def _row(folder: Path, name: str, licence: str, language: str, holder: str, source: str, default: bool,
         where: str) -> Model:  # fmt: skip
    if not re.fullmatch(r"[a-z0-9][a-z0-9._-]*", name):
        raise InputError(f"'{name}' is no name for a model.", "Give one of letters, digits, . _ - with --name.",
                         where=where)
    if any(one.name == name for one in manifest.models()):
        raise InputError(f"A model '{name}' is there already.", "Give another name with --name, or remove that one.",
                         where=where)
    files = []
    for path in sorted(one for one in folder.rglob("*") if one.is_file()):
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        files.append(ModelFile(path=path.relative_to(folder).as_posix(), size=path.stat().st_size, sha256=digest))
    lists = (folder / "graph" / "HCLr.fst").is_file()
    about = "Model for Vosk" + (", takes word lists" if lists else ", fixed graph: takes no word lists")
    return Model(name=name, about=about, engine=ENGINE, how="folder", licence=licence, holder=holder, source=source,
                 language=language, default=default, files=tuple(files), origin="site")


@contextmanager
def _alone(site: Path) -> Iterator[None]:
    """Only one process at a time writes the site's manifest."""
    with (site / ".lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _enter(site: Path, row: Model, copied: Path) -> None:
    place = site / row.name
    others = [one for one in manifest.models() if one.origin == "site"]
    if place.exists():
        # A copy that was cut off before it was entered: no row names it.
        shutil.rmtree(place)
    if row.default:
        others = [one.model_copy(update={"default": False}) if one.engine == ENGINE else one for one in others]
    copied.rename(place)
    try:
        _write(site, [*others, row])
    except OSError:
        shutil.rmtree(place, ignore_errors=True)
        raise


def _write(site: Path, rows: list[Model]) -> None:
    """Writes the manifest beside the old one and changes their names, so that it is never half there."""
    lines = ["# Models that this site added (voxop models add).", ""]
    for row in rows:
        lines.append(f"[{row.name}]" if "." not in row.name else f'["{row.name}"]')
        for field in ("about", "engine", "how", "licence", "holder", "source", "language"):
            lines.append(f"{field} = {json.dumps(getattr(row, field), ensure_ascii=False)}")
        lines += [f"default = {'true' if row.default else 'false'}", ""]
        for file in row.files:
            key = row.name if "." not in row.name else f'"{row.name}"'
            lines += [f"[[{key}.files]]", f"path = {json.dumps(file.path, ensure_ascii=False)}", f"size = {file.size}",
                      f'sha256 = "{file.sha256}"', ""]  # fmt: skip
    making = site / f".manifest-{os.getpid()}.toml"
    with making.open("w", encoding="utf-8") as out:
        out.write("\n".join(lines))
        out.flush()
        os.fsync(out.fileno())
    making.replace(site / "manifest.toml")
