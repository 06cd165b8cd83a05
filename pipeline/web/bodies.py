"""How much a request may bring: told before it is read, and counted while it is read."""

from __future__ import annotations

import json
import re

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pipeline.jobs import LARGEST

# A narration has at most half a million characters, a context file a megabyte.
USUAL = 4_000_000
_RECORDING = re.compile(r"/api/cases/[^/]+/recording")
_ROUND_IT = 100_000  # the form around a file


class _TooLarge(Exception):
    pass


class BodyLimit:
    """ASGI: refuses a body that is too large with 413, before more of it lies on the disk."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        most = LARGEST + _ROUND_IT if _RECORDING.fullmatch(scope["path"]) else USUAL
        told = dict(scope["headers"]).get(b"content-length", b"0")
        taken, answered = 0, False

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > most:
                raise _TooLarge
            return message

        async def sent(message: Message) -> None:
            nonlocal answered
            if taken <= most:
                await send(message)
            elif not answered:  # whatever the application makes of a body that broke off
                answered = True
                await _refuse(send)

        if told.isdigit() and int(told) > most:
            await _refuse(send)
            return
        try:
            await self._app(scope, counted, sent)
        except _TooLarge:
            if not answered:
                await _refuse(send)


async def _refuse(send: Send) -> None:
    body = json.dumps({"what": "This is too large.", "do": "A recording may have 1 GB; hand it in as flac, m4a or "
                       "ogg."}).encode()  # fmt: skip
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode()),
               (b"connection", b"close")]  # fmt: skip
    await send({"type": "http.response.start", "status": 413, "headers": headers})
    await send({"type": "http.response.body", "body": body})
