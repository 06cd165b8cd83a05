"""Writes results: everything is in memory first, goes to temporary names, and is renamed at the end."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from pipeline.errors import OutputUnwritable


def write_all(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Writes all files into `folder` (made when missing), or none of them. Raises OutputUnwritable."""
    staged: list[tuple[str, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            handle, temporary = tempfile.mkstemp(prefix=f".{name}.", suffix=".part", dir=folder)
            staged.append((temporary, folder / name))
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
        mask = os.umask(0)
        os.umask(mask)
        for temporary, final in staged:
            os.chmod(temporary, 0o666 & ~mask)
            os.replace(temporary, final)
    except OSError as problem:
        for temporary, _ in staged:
            Path(temporary).unlink(missing_ok=True)
        raise OutputUnwritable(
            f"cannot be written to ({problem.strerror or problem}).",
            "Name a folder that can be written with --out.",
            where=str(folder),
        ) from problem
    return [final for _, final in staged]
