"""The only module that knows where grammars/ and models/ lie, and where caches may be written.

Looked for in this order: the environment (VOXOP_GRAMMARS, VOXOP_MODELS, VOXOP_CACHE), the data that the
wheel installed (`pipeline/_data`), the checkout beside the package.
"""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

from pipeline.errors import SetupError

_PACKAGE = Path(__file__).resolve().parent


def _data(name: str, variable: str) -> Path:
    named = os.environ.get(variable)
    if named:
        if Path(named).is_dir():
            return Path(named)
        raise SetupError(f"{variable} names no folder: {named}.", f"Unset it or point it at a {name} folder.")
    for place in (_PACKAGE / "_data" / name, _PACKAGE.parent / name):
        if place.is_dir():
            return place
    raise SetupError(f"The folder {name} is missing from the installation.", "Install vox-operandi again.")


def grammars() -> Path:
    """Folder of the grammar files. Raises SetupError if it is not there."""
    return _data("grammars", "VOXOP_GRAMMARS")


def models() -> Path:
    """Folder of the shipped models and their manifest. Raises SetupError if it is not there."""
    return _data("models", "VOXOP_MODELS")


def cache() -> Path:
    """Folder for joined weights and other things that can be made again; created when missing."""
    folder = Path(os.environ.get("VOXOP_CACHE") or platformdirs.user_cache_dir("vox-operandi"))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise SetupError(
            f"The cache folder {folder} cannot be made ({problem.strerror}).",
            "Set VOXOP_CACHE to a folder that can be written.",
        ) from problem
    return folder


def user_data() -> Path:
    """Folder for what a site adds (models, outbox, cases); created when missing."""
    folder = Path(os.environ.get("VOXOP_DATA") or platformdirs.user_data_dir("vox-operandi"))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise SetupError(
            f"The data folder {folder} cannot be made ({problem.strerror}).",
            "Set VOXOP_DATA to a folder that can be written.",
        ) from problem
    return folder
