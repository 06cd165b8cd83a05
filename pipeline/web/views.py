"""Templates: one environment, the few words and marks that all pages share."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fastapi import Request, Response
from fastapi.templating import Jinja2Templates

from pipeline import __version__
from pipeline.review.accounts import SignedIn

_TEMPLATES = Jinja2Templates(directory=Path(__file__).resolve().parent / "templates")
MARKS = {"blocking": ("■", "Must settle"), "warning": ("▲", "Check"), "note": ("●", "Note")}


def clock(seconds: float | None) -> str:
    """Seconds -> "3:07", "" for None."""
    if seconds is None:
        return ""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def plain(name: str) -> str:
    """A name of the schema as a heading: "blood_loss" -> "Blood loss"."""
    return name.replace("_", " ").capitalize()


def when(moment: str) -> str:
    """ISO 8601 -> "2026-03-02 07:30"."""
    return moment[:16].replace("T", " ")


_TEMPLATES.env.filters |= {"clock": clock, "plain": plain, "when": when}
_TEMPLATES.env.globals |= {"marks": MARKS, "version": __version__}
_TEMPLATES.env.trim_blocks = _TEMPLATES.env.lstrip_blocks = True


def page(request: Request, name: str, found: SignedIn | None = None, status: int = 200, **content: Any) -> Response:
    """A page. Every template has `user` and `csrf` (None and "" before sign-in)."""
    content |= {"user": found.user if found else None, "csrf": found.csrf if found else "",
                "demo": request.app.state.demo}  # fmt: skip
    return _TEMPLATES.TemplateResponse(request, name, content, status_code=status)
