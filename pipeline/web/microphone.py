"""A microphone of the server in place of the browser's."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Iterator
from typing import Any, Protocol

from pipeline.errors import EngineUnavailable, SoundDeviceMissing, VoxError
from pipeline.sound import RATE

PIECE = RATE // 4
WIDTH = 2
# A piece that comes so much later than its sound took means that sound was lost in between; seconds.
LATE = 0.5


class Taker(Protocol):
    """Where sound goes: a room."""

    @property
    def goes_on_at(self) -> int: ...

    async def take(self, position: int, pcm: bytes) -> int: ...

    def tell(self, message: dict[str, Any]) -> None: ...


class ServerMicrophone:
    """Feeds a room from the server's microphone between `start` and `stop`."""

    def __init__(self, room: Taker) -> None:
        self._room = room
        self._stop = threading.Event()
        self._task: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Raises EngineUnavailable, SoundDeviceMissing."""
        pieces = await asyncio.to_thread(opened, self._stop)
        self._task = asyncio.create_task(self._feed(pieces))

    async def stop(self) -> None:
        self._stop.set()
        if self._task is not None:
            await self._task

    async def _feed(self, pieces: Iterator[bytes]) -> None:
        position, began = self._room.goes_on_at, time.monotonic()
        first = position
        try:
            while (pcm := await asyncio.to_thread(next, pieces, None)) is not None:
                expected = first + round((time.monotonic() - began) * RATE) - len(pcm) // WIDTH
                if expected - position > LATE * RATE:
                    position = expected
                await self._room.take(position, pcm)
                position += len(pcm) // WIDTH
        except VoxError as problem:
            self._room.tell({"is": "problem", "what": problem.what, "do": problem.do})


def opened(stop: threading.Event) -> Iterator[bytes]:
    """Pieces of the default microphone, 16 kHz mono 16 bit, until `stop`.

    Raises EngineUnavailable, SoundDeviceMissing."""
    try:
        import sounddevice
    except (ImportError, OSError) as problem:  # OSError: the PortAudio library is not there
        raise EngineUnavailable(
            f"The server's microphone cannot be reached ({problem}).",
            "Install PortAudio on the server (Debian and Ubuntu: apt-get install libportaudio2), or use the browser's.",
        ) from problem
    try:
        stream = sounddevice.RawInputStream(channels=1, dtype="int16", samplerate=RATE, latency="high")
        stream.start()
    except (sounddevice.PortAudioError, ValueError) as problem:
        raise SoundDeviceMissing(
            f"The server has no microphone that can be used ({problem}).", "Plug one in, or use the browser's."
        ) from problem
    return _read(stream, stop)


def _read(stream: Any, stop: threading.Event) -> Iterator[bytes]:
    try:
        while not stop.is_set():
            block, _ = stream.read(PIECE)
            yield bytes(block)
    finally:
        stream.close()
