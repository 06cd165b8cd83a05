"""Finds plug-ins by folder: every module of a package except `base` and names that start with `_`."""

from __future__ import annotations

import importlib
import pkgutil
from functools import lru_cache
from types import ModuleType

from pipeline.errors import UnknownName


@lru_cache(maxsize=16)
def names(package: str) -> tuple[str, ...]:
    """Sorted module names of a plug-in package such as "pipeline.checks"."""
    folder = importlib.import_module(package)
    return tuple(
        sorted(
            item.name
            for item in pkgutil.iter_modules(folder.__path__)
            if item.name != "base" and not item.name.startswith("_")
        )
    )


def find(package: str, name: str) -> ModuleType:
    """The plug-in module of that name ("-" may stand for "_"). Raises UnknownName that lists what there is."""
    module = name.replace("-", "_")
    if module not in names(package):
        known = ", ".join(item.replace("_", "-") for item in names(package))
        raise UnknownName(f"There is no {package.rsplit('.', 1)[-1].rstrip('s')} '{name}'.", f"Known: {known}.")
    return importlib.import_module(f"{package}.{module}")


@lru_cache(maxsize=16)
def every(package: str) -> tuple[ModuleType, ...]:
    """All plug-in modules of a package, in the order of their names."""
    return tuple(importlib.import_module(f"{package}.{name}") for name in names(package))
