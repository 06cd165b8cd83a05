"""The theatre page and its socket.

The socket of a case, /theatre/{case}/socket. Text both ways is JSON with `do` (page) or `is` (server); a binary
message is a piece of sound: 8 bytes with the number of its first sample, little-endian, then 16 kHz mono 16 bit.
Samples are numbered from the start of the case, so a piece that is sent twice is taken once, and one that was never
sent leaves a hole that is told.

    page    {"do": "hello", "session": ..., "record": true, "take": false}   first; `session` names this loaded page
    server  {"is": "ready", "received": samples on the disk, "at": where a page new to the case begins, "zero": the
            page's number of the case's first sample, "record": ...}
            {"is": "taken"}                another page records; ask again with "take": true
    page    a piece of sound               kept by the page until the server says that it is on the disk
    server  {"is": "kept", "received": ...}
    page    {"do": "begin" | "stand-by" | "pause" | "read-back" | "dictate" | "confirm" | "end" | "server-microphone"}
    server  {"is": "state", ...}           all that the screen shows (`Room.state`)
            {"is": "partial"}, {"is": "behind"}, {"is": "problem"}, {"is": "signed-out"}
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import time
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response, WebSocket, WebSocketDisconnect
from starlette.concurrency import run_in_threadpool

from pipeline import wording
from pipeline.contexts import read_context
from pipeline.desk import Desk
from pipeline.errors import VoxError
from pipeline.review.accounts import Accounts, SignedIn, User
from pipeline.review.store import Store, now
from pipeline.review.tables import AccessRow
from pipeline.web import views
from pipeline.web.microphone import ServerMicrophone
from pipeline.web.rooms import Message, Room, Rooms
from pipeline.web.security import COOKIE, allowed, signed_in, signed_in_socket

_LOG = logging.getLogger(__name__)
router = APIRouter()
Found = Annotated[SignedIn, Depends(signed_in)]
HEAD = 8
# 4 s of sound; a page sends a quarter of a second at a time.
LARGEST_PIECE = HEAD + 4 * 16000 * 2
# A dictation is no idle time: the session is looked at so often, which keeps it alive.
LOOKED_AT_EVERY = 60.0
_NOT_ALLOWED = 1008  # RFC 6455, 7.4.1: policy violation


@router.get("/theatre", include_in_schema=False, dependencies=[Depends(allowed("read"))])
def theatre_list(request: Request, found: Found) -> Response:
    """The cases that can be dictated or looked at, and the opening of another."""
    desk: Desk = request.app.state.desk
    listed = [(case, wording.known_patient(read_context(case.context))) for case in desk.cases()
              if not case.recording]  # fmt: skip
    open_ones = [pair for pair in listed if not pair[0].version]
    done = [pair for pair in listed if pair[0].version][:12]
    return views.page(request, "theatre_list.html", found, cases=open_ones, done=done,
                      may_dictate=found.user.may("dictate"))  # fmt: skip


@router.get("/theatre/{case}", include_in_schema=False, dependencies=[Depends(allowed("read"))])
async def theatre(request: Request, found: Found, case: str) -> Response:
    """The screen of one case."""
    desk: Desk = request.app.state.desk
    known = await run_in_threadpool(desk.case, case)
    if known.version or known.recording:
        return Response(status_code=303, headers={"Location": f"/cases/{case}"})
    rooms: Rooms = request.app.state.rooms
    rooms.warm()
    patient = wording.known_patient(read_context(known.context)) or "Patient: not identified"
    return await run_in_threadpool(
        views.page, request, "theatre.html", found, case=known, patient=patient, may_dictate=found.user.may("dictate"),
        others=[one for one in desk.cases() if one.id != case and not one.version and not one.recording][:8],
    )  # fmt: skip


@router.get("/api/cases/{case}/read-back")
def read_backs(request: Request, case: str, _: Annotated[User, Depends(allowed("read"))]) -> list[dict[str, Any]]:
    """The confirmed read-backs: when, by whom, how, where in the sound, and what was on the screen."""
    store: Store = request.app.state.store
    return [{"at": one.at, "by": one.by} | json.loads(one.detail)
            for one in store.entries(case) if one.action == "read-back confirmed"]  # fmt: skip


@router.websocket("/theatre/{case}/socket")
async def socket(socket: WebSocket, case: str) -> None:
    user = await run_in_threadpool(signed_in_socket, socket, "read")
    await run_in_threadpool(_log, socket, user)
    if user is None:
        await socket.close(_NOT_ALLOWED)
        return
    await socket.accept()
    rooms: Rooms = socket.app.state.rooms
    await asyncio.to_thread(rooms.nothing)
    try:
        room = rooms.room(case)
    except VoxError as problem:
        await socket.send_json({"is": "problem", "what": problem.what, "do": problem.do, "final": True})
        await socket.close()
        return
    screen = _Screen(socket, room, user)
    await screen.run()
    rooms.leave(room)


class _Screen:
    """One page that is connected to a room."""

    def __init__(self, socket: WebSocket, room: Room, user: User) -> None:
        self._socket, self._room, self._user = socket, room, user
        self._queue: asyncio.Queue[Message] = asyncio.Queue()
        self._session = ""
        self._looked = time.monotonic()
        self._microphone: ServerMicrophone | None = None

    async def run(self) -> None:
        self._room.queues.add(self._queue)
        sender = asyncio.create_task(self._send())
        try:
            while True:
                message = await self._socket.receive()
                if message["type"] == "websocket.disconnect" or not await self._still_signed_in():
                    break
                await self._handle(message)
        except (WebSocketDisconnect, RuntimeError):
            pass
        finally:
            if self._microphone is not None:
                await self._microphone.stop()
            self._room.queues.discard(self._queue)
            if self._room.recording_screen is self:
                self._room.recording_screen = None
            sender.cancel()
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await sender

    async def _send(self) -> None:
        with contextlib.suppress(WebSocketDisconnect, RuntimeError):
            while True:
                message = await self._queue.get()
                await self._socket.send_text(json.dumps(message, ensure_ascii=False))

    async def _still_signed_in(self) -> bool:
        if time.monotonic() - self._looked < LOOKED_AT_EVERY:
            return True
        self._looked = time.monotonic()
        accounts: Accounts = self._socket.app.state.accounts
        found = await asyncio.to_thread(accounts.session, self._socket.cookies.get(COOKIE, ""))
        if found is not None and found.user.may("read"):
            self._user = found.user
            return True
        await self._socket.send_json({"is": "signed-out"})
        await self._socket.close(_NOT_ALLOWED)
        return False

    async def _handle(self, message: Any) -> None:
        try:
            if message.get("bytes") is not None:
                await self._sound(message["bytes"])
            else:
                await self._said(json.loads(message.get("text") or "{}"))
        except VoxError as problem:
            self._queue.put_nowait({"is": "problem", "what": problem.what, "do": problem.do})
        except (ValueError, TypeError, AttributeError):
            self._queue.put_nowait({"is": "problem", "what": "The page sent what is not understood.",
                                    "do": "Load the page anew."})  # fmt: skip
        except Exception:
            _LOG.exception("the theatre page of case %s", self._room.case)
            self._queue.put_nowait({"is": "problem", "what": "The server could not do this.",
                                    "do": "The log of the server says why. The sound so far is kept."})  # fmt: skip

    async def _sound(self, data: bytes) -> None:
        if not self._records or not HEAD <= len(data) <= LARGEST_PIECE:
            return
        received = await self._room.take(int.from_bytes(data[:HEAD], "little"), data[HEAD:])
        self._queue.put_nowait({"is": "kept", "received": received})

    @property
    def _records(self) -> bool:
        return bool(self._session) and self._session == self._room.recorder

    async def _said(self, said: dict[str, Any]) -> None:
        do, room = said.get("do"), self._room
        if do == "hello":
            await self._hello(said)
        elif not self._user.may("dictate"):
            self._queue.put_nowait({"is": "problem", "what": "Your role looks on only.", "do": "A surgeon dictates."})
        elif do == "begin" or (do == "dictate" and room.phase in ("paused", "read-back")):
            await room.begin(self._user)
        elif do == "stand-by":
            await room.stand_by(self._user)
        elif do == "pause":
            room.pause()
        elif do == "read-back":
            room.read_back()
        elif do == "confirm":
            at = room.seconds
            await room.confirm("pressed", at, at)
        elif do == "end":
            await room.end()
        elif do == "server-microphone":
            await self._server_microphone(said.get("on") is True)

    async def _hello(self, said: dict[str, Any]) -> None:
        room, session = self._room, str(said.get("session", ""))[:64]
        wants = said.get("record") is True and bool(session) and self._user.may("dictate")
        other = room.recording_screen is not None and room.recorder != session
        if wants and other and said.get("take") is not True:
            self._queue.put_nowait({"is": "taken"})
            wants = False
        if wants:
            if other:
                room.tell({"is": "taken"})
            room.records(session)
            room.recording_screen, self._session = self, session
            if room.phase == "ready" and room.under_way:
                await room.begin(self._user)
        self._queue.put_nowait({"is": "ready", "received": room.received, "at": room.goes_on_at, "zero": room.zero,
                                "record": wants, "phase": room.phase})  # fmt: skip
        self._queue.put_nowait(await asyncio.to_thread(room.state))

    async def _server_microphone(self, on: bool) -> None:
        if self._microphone is not None:
            await self._microphone.stop()
            self._microphone = None
        if on:
            self._microphone = ServerMicrophone(self._room)
            await self._microphone.start()
        self._queue.put_nowait({"is": "server-microphone", "on": on})


def _log(socket: WebSocket, user: User | None) -> None:
    store: Store = socket.app.state.store
    with store.noting() as session:
        session.add(AccessRow(
            at=now(), user=user.name if user else "", address=socket.client.host if socket.client else "",
            method="SOCKET", path=socket.url.path[:300], status=101 if user else 403,
        ))  # fmt: skip
