"""Writes the lists of DEVELOPERS.md that come from the code (`make docs`); tests/test_documents.py compares them."""

from __future__ import annotations

import re
from pathlib import Path

from pipeline import errors, plugins

ROOT = Path(__file__).resolve().parent.parent
DOCUMENT = ROOT / "DEVELOPERS.md"


def first_line(text: str | None) -> str:
    """The first sentence of a docstring, on one line."""
    words = " ".join((text or "").split())
    return re.split(r"(?<=\.)\s", words)[0]


def all_errors(cls: type[errors.VoxError] = errors.VoxError) -> list[type[errors.VoxError]]:
    """The error and everything below it, in the order of definition."""
    return [cls, *(sub for child in cls.__subclasses__() for sub in all_errors(child))]


def lists() -> dict[str, str]:
    """The generated text by the name of its mark."""
    modules = ["| Module | What it is |", "|---|---|"]
    for path in sorted((ROOT / "pipeline").rglob("*.py")):
        name = path.relative_to(ROOT / "pipeline")
        folder = name.parts[0] if len(name.parts) > 1 else ""
        if name.name == "__init__.py" or folder in ("extractors", "checks", "exports") and name.stem != "base":
            continue
        head = re.match(r'\s*"""(.*?)"""', path.read_text(encoding="utf-8"), re.S)
        modules.append(f"| `{name}` | {first_line(head.group(1) if head else '')} |")
    slugs = ["| Slug | Exit | Class |", "|---|---|---|"]
    slugs += [f"| `{cls.slug}` | {cls.exit_code} | `{cls.__name__}` |" for cls in all_errors() if cls.slug]
    result = {"modules": "\n".join(modules), "errors": "\n".join(slugs)}
    for folder, title in (("checks", "Check"), ("exports", "Output")):
        rows = [f"| {title} | What it says |", "|---|---|"]
        for module in plugins.every(f"pipeline.{folder}"):
            rows.append(f"| `{module.__name__.rsplit('.', 1)[-1].replace('_', '-')}` | {module.MEANING} |")
        result[folder] = "\n".join(rows)
    return result


def filled(document: str) -> str:
    """The document with every list made anew."""
    for name, text in lists().items():
        start, end = f"<!-- {name} -->\n", f"<!-- /{name} -->"
        before, rest = document.split(start, 1)
        document = f"{before}{start}{text}\n{end}{rest.split(end, 1)[1]}"
    return document


if __name__ == "__main__":
    DOCUMENT.write_text(filled(DOCUMENT.read_text(encoding="utf-8")), encoding="utf-8")
