"""The only reader of models/: which models there are, whose they are, and where their files lie.

Two manifests of the same form are read: `models/manifest.toml` (shipped) and `models/manifest.toml` in the user's
data folder (what a site added). Nothing is ever downloaded here: weights come out of installed packages or lie on
disk already, and each file is compared with its sha256 before it is used.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from tempfile import mkdtemp
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from pipeline import merging, paths
from pipeline.errors import ModelDamaged, ModelMissing, SetupError, UnknownName

VERIFIED = "verified.sha256"
_CHUNK = 1 << 20

Relative = Annotated[str, Field(min_length=1)]


def _inside(path: str) -> str:
    pure = PurePosixPath(path)
    if pure.is_absolute() or ".." in pure.parts or "\\" in path:
        raise ValueError(f"{path!r} must be a relative path without '..'")
    return path


class ModelFile(BaseModel):
    """One file of a model. `size`: bytes. `parts`: "package/path" of what is joined to make it, in order.

    `adapter`: file below models/ that is laid over what was joined, `strength` 0..1 of it (merging.py).
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    path: Relative
    size: int = Field(ge=0)
    sha256: str = Field(pattern=r"^[0-9a-f]{64}$")
    parts: tuple[Relative, ...] = ()
    adapter: str = ""
    strength: float = Field(default=0.0, ge=0.0, le=1.0)

    @field_validator("path", "adapter")
    @classmethod
    def _path_inside(cls, value: str) -> str:
        return _inside(value)

    @field_validator("parts")
    @classmethod
    def _parts_inside(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(_inside(part) for part in value)


class Model(BaseModel):
    """One model of a manifest. `origin`: "shipped" or "site"; the other fields are those of manifest.toml.

    `second_for`: names of the models whose stretches it reads a second time."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(pattern=r"^[a-z0-9][a-z0-9._-]*$")
    about: str
    engine: str
    how: Literal["join", "installed", "folder"]
    licence: str = Field(min_length=1)
    holder: str = ""
    source: str = ""
    language: str = "en"
    default: bool = False
    second_for: tuple[str, ...] = ()
    package: tuple[str, ...] = ()
    files: tuple[ModelFile, ...] = Field(min_length=1)
    origin: Literal["shipped", "site"] = "shipped"

    @property
    def size(self) -> int:
        """Bytes of all its files."""
        return sum(file.size for file in self.files)

    @property
    def sha256(self) -> str:
        """One checksum of the whole model: of its only file, or of the list of its files' checksums."""
        if len(self.files) == 1:
            return self.files[0].sha256
        lines = "".join(f"{file.sha256}  {file.path}\n" for file in sorted(self.files, key=lambda file: file.path))
        return hashlib.sha256(lines.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class State:
    """What `verify` found. `state`: "ok", "not joined", "missing" or "damaged"; `detail` says what and what to do."""

    name: str
    state: Literal["ok", "not joined", "missing", "damaged"]
    detail: str
    folder: str


def site_folder() -> Path:
    """Folder where a site's own models lie, with their manifest."""
    return paths.user_data() / "models"


def models() -> tuple[Model, ...]:
    """Every model, shipped ones first. Raises SetupError that lists each bad row of a manifest."""
    shipped = _read(paths.models() / "manifest.toml", "shipped")
    local = site_folder() / "manifest.toml"
    added = _read(local, "site") if local.is_file() else ()
    known = {model.name for model in shipped}
    twice = sorted(model.name for model in added if model.name in known)
    if twice:
        raise SetupError(f"{local} names models that are shipped already: {', '.join(twice)}.", "Rename them there.")
    return shipped + added


def model(name: str) -> Model:
    """The model of that name. Raises UnknownName that lists the names there are."""
    for item in models():
        if item.name == name:
            return item
    raise UnknownName(f"There is no model '{name}'.", f"Known: {', '.join(item.name for item in models())}.")


def choose(engine: str, name: str | None = None) -> Model:
    """The named model, or the engine's default one; the default of a site beats the shipped one.

    Raises UnknownName when the name is not known or belongs to another engine, ModelMissing when there is none.
    """
    fitting = [item for item in models() if item.engine == engine]
    if name is not None:
        found = model(name)
        if found.engine != engine:
            known = ", ".join(item.name for item in fitting) or "none"
            raise UnknownName(f"Model '{name}' does not run on engine '{engine}'.", f"Models of {engine}: {known}.")
        return found
    if not fitting:
        raise ModelMissing(f"No model for engine '{engine}' is installed.", "See `voxop models`.")
    defaults = [item for item in fitting if item.default]
    return next((item for item in defaults if item.origin == "site"), (defaults or fitting)[0])


def second(first: str) -> Model | None:
    """The model that reads a second time what the model `first` heard; a site's goes before a shipped one."""
    fitting = [item for item in models() if first in item.second_for]
    return next((item for item in fitting if item.origin == "site"), fitting[0] if fitting else None)


def folder(name: str) -> Path:
    """Folder that holds the model's files, whole and checked; joins them first if need be.

    Raises ModelMissing (a package or file is not there), ModelDamaged (a checksum differs), SetupError (the cache
    cannot be written).
    """
    chosen = model(name)
    place = _place(chosen)
    if _stamp(chosen, place) == _read_stamp(chosen):
        return place
    if chosen.how == "join" and not _whole(chosen, place):
        return join(name)
    for file in chosen.files:
        _check(chosen, file, place / file.path)
    _write_stamp(chosen, place)
    return place


def join(name: str, progress: Callable[[int, int], None] | None = None) -> Path:
    """Makes the model's folder in the cache from the parts in installed packages; does nothing if it is whole.

    `progress(bytes done, bytes total)` is called after each megabyte. The folder appears under its name only when
    every file has the right checksum. Raises as `folder` does.
    """
    chosen = model(name)
    place = _place(chosen)
    if chosen.how != "join":
        return folder(name)
    if _whole(chosen, place) and _stamp(chosen, place) == _read_stamp(chosen):
        return place
    place.parent.mkdir(parents=True, exist_ok=True)
    making = Path(mkdtemp(prefix=f".{chosen.name}-", dir=place.parent))
    try:
        done = 0
        for file in chosen.files:
            done = _put_together(chosen, file, making / file.path, done, progress)
        _swap_in(making, place)
    except OSError as problem:
        raise SetupError(
            f"The weights of {name} cannot be written to {place.parent} ({problem.strerror}).",
            "Free some space, or set VOXOP_CACHE to a folder that can be written.",
        ) from problem
    finally:
        shutil.rmtree(making, ignore_errors=True)
    _write_stamp(chosen, place)
    return place


def verify(name: str) -> State:
    """Reads every file of the model and compares its sha256; never raises for a bad or absent file."""
    chosen = model(name)
    place = _place_if_there(chosen)
    if chosen.how == "join" and not any((place / file.path).exists() for file in chosen.files):
        absent = [part for file in chosen.files for part in file.parts if not _part(part).is_file()]
        if absent:
            return State(name, "missing", f"{absent[0]} is not installed. {_reinstall(chosen)}", str(place))
        return State(name, "not joined", "The packages are there; `voxop models join` makes the weights.", str(place))
    for file in chosen.files:
        try:
            _check(chosen, file, place / file.path)
        except ModelMissing as problem:
            return State(name, "missing", str(problem), str(place))
        except ModelDamaged as problem:
            return State(name, "damaged", str(problem), str(place))
    return State(name, "ok", f"{len(chosen.files)} files, sha256 as in the manifest.", str(place))


def _read(path: Path, origin: Literal["shipped", "site"]) -> tuple[Model, ...]:
    try:
        rows: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise SetupError(f"{path} cannot be read ({problem.strerror}).", "Install vox-operandi again.") from problem
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise SetupError(f"{path} is not valid TOML: {problem}.", "Correct that line.") from problem
    found, bad = [], []
    for name, row in rows.items():
        try:
            if not isinstance(row, dict):
                raise TypeError("must be a table [name]")
            found.append(Model.model_validate({**row, "name": name, "origin": origin}))
        except ValidationError as problem:
            bad += [f"[{name}] {'.'.join(map(str, e['loc']))}: {e['msg']}" for e in problem.errors()]
        except TypeError as problem:
            bad.append(f"[{name}] {problem}")
    bad += [f"[{item.name}] how: a site's model must be 'folder'" for item in found
            if origin == "site" and item.how != "folder"]
    if bad:
        raise SetupError(f"{path} has {len(bad)} bad entries: " + "; ".join(bad) + ".", "Correct them.")
    return tuple(found)


def _place(chosen: Model) -> Path:
    if chosen.how == "join":
        return paths.cache() / "models" / f"{chosen.name}-{chosen.sha256[:12]}"
    place = _place_if_there(chosen)
    if not place.is_dir():
        raise ModelMissing(f"The files of {chosen.name} are not there: {place}.", _reinstall(chosen))
    return place


def _place_if_there(chosen: Model) -> Path:
    if chosen.how == "join":
        return _place(chosen)
    if chosen.how == "installed":
        return _part(chosen.files[0].parts[0]).parent if chosen.files[0].parts else Path()
    root = site_folder() if chosen.origin == "site" else paths.models()
    return root / chosen.name


def _part(part: str) -> Path:
    """Where "package/path in it" lies, without importing the package; a path that does not exist if it is absent."""
    package, _, rest = part.partition("/")
    found = importlib.util.find_spec(package)
    for root in (found.submodule_search_locations or ()) if found else ():
        return Path(root) / rest
    return Path(package) / rest


def _reinstall(chosen: Model) -> str:
    if chosen.package:
        return f"Install again: {' '.join(chosen.package)}."
    return "Add the model again."


def _whole(chosen: Model, place: Path) -> bool:
    return all((place / file.path).is_file() and (place / file.path).stat().st_size == file.size
               for file in chosen.files)


def _check(chosen: Model, file: ModelFile, path: Path) -> None:
    do = _reinstall(chosen) if chosen.how != "join" else "Run `voxop models join`."
    if not path.is_file():
        raise ModelMissing(f"The model {chosen.name} lacks {file.path} ({path}).", do)
    if path.stat().st_size != file.size:
        raise ModelDamaged(f"{path} has {path.stat().st_size:,} bytes, not {file.size:,}.", do)
    with path.open("rb") as stream:
        if hashlib.file_digest(stream, "sha256").hexdigest() != file.sha256:
            raise ModelDamaged(f"{path} differs from its sha256 in the manifest.", do)


def _put_together(
    chosen: Model, file: ModelFile, target: Path, done: int, progress: Callable[[int, int], None] | None
) -> int:
    target.parent.mkdir(parents=True, exist_ok=True)
    digest = hashlib.sha256()
    with target.open("wb") as out:
        for part in file.parts:
            source = _part(part)
            if not source.is_file():
                raise ModelMissing(f"The weights of {chosen.name} are not installed ({part}).", _reinstall(chosen))
            with source.open("rb") as stream:
                while piece := stream.read(_CHUNK):
                    digest.update(piece)
                    out.write(piece)
                    done += len(piece)
                    if progress:
                        progress(done, chosen.size)
        out.flush()
        os.fsync(out.fileno())
    if file.adapter:
        try:
            merging.merge_file(target, paths.models() / file.adapter, file.strength, target)
        except (OSError, ValueError) as problem:
            raise ModelDamaged(f"The adapter of {chosen.name} cannot be used ({problem}).",
                               "Install vox-operandi again.") from problem
        digest = hashlib.sha256(target.read_bytes())
    if digest.hexdigest() != file.sha256:
        raise ModelDamaged(f"The installed weights of {chosen.name} are damaged ({file.path}).", _reinstall(chosen))
    return done


def _swap_in(making: Path, place: Path) -> None:
    """Gives the finished folder its name; a damaged or half folder of that name goes away first."""
    making.chmod(0o755)
    old = place.with_name(f".{place.name}-old-{os.getpid()}")
    if place.exists():
        place.rename(old)
    try:
        making.rename(place)
    except OSError:
        # Another process may have put the same folder there in between; then it is as good as ours.
        if not place.is_dir():
            raise
    shutil.rmtree(old, ignore_errors=True)


def _stamp(chosen: Model, place: Path) -> str:
    """Text that changes when a file does: path, size, time of change and expected checksum; "" if one is absent."""
    lines = []
    for file in chosen.files:
        path = place / file.path
        if not path.is_file():
            return ""
        facts = path.stat()
        lines.append(f"{file.sha256} {facts.st_size} {facts.st_mtime_ns} {path}")
    return "\n".join(lines) + "\n"


def _stamp_path(chosen: Model) -> Path:
    return paths.cache() / "models" / f"{chosen.name}.{VERIFIED}"


def _read_stamp(chosen: Model) -> str | None:
    try:
        return _stamp_path(chosen).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None


def _write_stamp(chosen: Model, place: Path) -> None:
    path = _stamp_path(chosen)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        making = path.with_name(f".{path.name}-{os.getpid()}")
        making.write_text(_stamp(chosen, place), encoding="utf-8")
        making.replace(path)
    except OSError:
        return  # Only costs a second reading of the file at the next start.
