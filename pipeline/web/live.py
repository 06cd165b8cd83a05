"""Live dictation: the theatre page and its WebSocket. `pipeline.live.LiveCase` does the work."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter()
