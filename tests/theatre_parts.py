"""A theatre for tests: a server, Chromium whose microphone plays a recording, an engine that replays words.

The recording is the project's own demonstration, shortened: its opening, the draws, the counts.
"""

from __future__ import annotations

import asyncio
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import uvicorn

from pipeline import audio, wordlist
from pipeline.casefiles import to_pcm, wav
from pipeline.engines.base import Options
from pipeline.engines.scripted import ScriptedSession
from pipeline.records import Word
from pipeline.sound import RATE
from tests.web_parts import PASSWORD, House

DEMO = Path(__file__).resolve().parent.parent / "audio_demo"
# (first segment, last segment) of the stored words that stay.
KEPT = ((0, 0), (15, 16), (20, 20))
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
# No look-ups by the browser itself on a network that answers none; without a sandbox when run as root.
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--use-fake-device-for-media-stream",
         "--use-fake-ui-for-media-stream")  # fmt: skip


@lru_cache(maxsize=2)
def short_case(tail: float = 2.0) -> tuple[np.ndarray, tuple[Word, ...]]:
    """(sound, its words at their times) of the shortened demonstration, with `tail` seconds of silence after it."""
    whole = np.concatenate(list(audio.pieces(audio.inspect(DEMO / "dictation.flac"))))
    stored = wordlist.read(DEMO / "words.json")
    sound, words, at = [], [], 0.0
    for first, last in KEPT:
        start, end = max(0.0, stored.segments[first].start - 0.3), stored.segments[last].end + 1.0
        sound.append(whole[round(start * RATE) : round(end * RATE)])
        for word in stored.words:
            if first <= word.segment <= last and word.start is not None and word.end is not None:
                words.append(replace(word, start=word.start - start + at, end=word.end - start + at))
        at += end - start
    numbered = tuple(replace(word, id=index, last=index) for index, word in enumerate(words))
    return np.concatenate([*sound, np.zeros(round(tail * RATE), dtype=np.float32)]), numbered


class Told:
    """An engine that replays words at their times, the same for each case."""

    name, model, sha256, streams = "told", "", "", False

    def __init__(self, words: tuple[Word, ...]) -> None:
        self.words = words

    def open(self, options: Options) -> ScriptedSession:
        return ScriptedSession(self.words)


class Server:
    """The application of a house at a port of its own. `stop` and `start` again for a server that goes away."""

    def __init__(self, house: House) -> None:
        self.house = house
        with socket.socket() as one:
            one.bind(("127.0.0.1", 0))
            self.port = one.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        config = uvicorn.Config(self.house.app, host="127.0.0.1", port=self.port, log_level="error",
                                timeout_graceful_shutdown=1, ws="websockets-sansio")  # fmt: skip
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=asyncio.run, args=(self._serve(),), daemon=True)
        self.thread.start()
        until = time.monotonic() + 20
        while not self.server.started:
            assert time.monotonic() < until, "the server does not start"
            time.sleep(0.05)

    async def _serve(self) -> None:
        self.loop = asyncio.get_running_loop()
        await self.server.serve()

    def drop(self) -> int:
        """Cuts every connection from the server's side; how many there were."""
        cut = list(self.server.server_state.connections)
        for connection in cut:
            self.loop.call_soon_threadsafe(connection.transport.abort)
        return len(cut)

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(20)


def write_wav(path: Path, samples: np.ndarray) -> Path:
    path.write_bytes(wav(to_pcm(samples)))
    return path


@contextmanager
def browser(recording: Path) -> Iterator[Any]:
    """Chromium whose microphone plays the recording once, from when it is opened."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(
            executable_path=CHROMIUM, args=[*FLAGS, f"--use-file-for-fake-audio-capture={recording}%noloop"]
        )
        try:
            yield launched
        finally:
            launched.close()


def signed_in(launched: Any, server: Server, name: str = "ann", **options: Any) -> Any:
    """A page of that user."""
    context = launched.new_context(**options)
    page = context.new_page()
    page.goto(f"{server.address}/sign-in")
    page.fill("input[name=name]", name)
    page.fill("input[name=password]", PASSWORD)
    page.click("button.main")
    page.wait_for_url(lambda url: "/sign-in" not in url)
    return page
