"""Cases under way: one room a case, with the screens that look at it and at most one that records.

A room belongs to one case from its making to its end and hands sound, words and states to nobody else. All of a
room's own state is changed in the event loop; the dictation's events come from a thread and are passed over to it.
"""

from __future__ import annotations

import asyncio
import logging
import threading
import time
from collections.abc import Callable
from typing import Any, Literal

from pipeline import run, spotting
from pipeline.contexts import read_context
from pipeline.desk import Desk
from pipeline.dictation import Behind, Commanded, Ended, Event, Failed, Noted, Partial, Utterance
from pipeline.ear import Anew
from pipeline.engines.base import Engine
from pipeline.errors import BadDecision, VoxError
from pipeline.live import LiveCase
from pipeline.note import OperativeNote, Source
from pipeline.records import Word
from pipeline.review.accounts import User
from pipeline.sound import RATE
from pipeline.soundstore import LONGEST_GAP
from pipeline.web import spoken, theatre_page
from pipeline.web.standby import Standby

_LOG = logging.getLogger(__name__)
Phase = Literal["ready", "standby", "listening", "paused", "read-back", "ending", "ended"]
Message = dict[str, Any]
# Stretches of speech that the screen keeps.
SHOWN_STRETCHES = 6
# A page may be away for LONGEST_GAP, and its microphone for as long again.
LONGEST_HOLE = 2 * LONGEST_GAP + 60


class Room:
    """One case. `queues`: where messages for each connected screen go; `nothing`: the note before a word was said."""

    def __init__(self, desk: Desk, case: str, engine: Callable[[], Engine], nothing: OperativeNote) -> None:
        self.case = case
        self.phase: Phase = "ready"
        self.queues: set[asyncio.Queue[Message]] = set()
        self.recorder = ""  # session of the page that records or did so last
        self.recording_screen: object | None = None  # its connection, while there is one
        self._desk, self._engine = desk, engine
        self._loop = asyncio.get_running_loop()
        self._live: LiveCase | None = None
        self._standby: Standby | None = None
        self._waiting: asyncio.Task[None] | None = None
        self._arrived = asyncio.Event()
        self._taking = asyncio.Lock()
        self._zero = 0  # the recorder's number of the case's first sample, when it began by voice
        self._opening = asyncio.Lock()
        self._last_sound = 0.0
        self._words: tuple[Word, ...] = ()
        self._fresh: list[tuple[Word, ...]] = []  # utterances that are in no note yet
        self._note = nothing
        self._partial = ""
        self._behind = 0.0
        self._family: str | None = None
        self._shown = -spotting.TOGETHER  # when the read-back was last called for, seconds in the sound
        self._confirmed: Message | None = None
        self._confirmed_rows: list[Message] = []
        self._problem: Message | None = None
        self._least = theatre_page.least_confidence(desk.rules, desk.profile)

    # what a page asks for

    async def begin(self, user: User, begun: int | None = None) -> None:
        """Starts the dictation, or goes on with it. `begun`: the sample at which it was begun by voice, as the recorder
        counts. Raises VoxError; nothing has changed then."""
        async with self._opening:
            if self._live is None:
                live = await asyncio.to_thread(self._open, user)
                self._live = live
                threading.Thread(target=self._follow, args=(live,), name="theatre", daemon=True).start()
        if self._standby is not None and self.phase == "standby":
            begun = self._standby.end if begun is None else begun
            self._zero = begun - self._stored
        self._standby, self._problem = None, None
        self._to("listening")

    async def stand_by(self, user: User) -> None:
        """Waits for somebody to say that the note begins. Raises VoxError."""
        if self.phase == "ready":
            engine = await asyncio.to_thread(self._engine)
            self._standby = Standby(engine, self._desk.rules, self._desk.spots)
            self._waiting = asyncio.create_task(self._wait_for_begin(self._standby, user))
            self._to("standby")

    def records(self, session: str) -> None:
        """From now on the page of this session records."""
        if session != self.recorder:
            self.recorder, self._zero = session, 0

    def pause(self) -> None:
        """Nothing is recorded for a while."""
        if self.phase in ("listening", "read-back"):
            self._to("paused")

    def read_back(self) -> None:
        """Shows the read-back; the sound goes on."""
        if self.phase in ("listening", "paused"):
            self._to("read-back")

    async def confirm(self, how: str, start: float, end: float, heard: str = "") -> None:
        """The team confirmed what the read-back shows, `start`..`end` seconds in the sound."""
        if self.phase != "read-back" or self._live is None:
            return
        rows = theatre_page.read_back(self._note, self._desk.rules)
        detail: Message = {"how": how, "start": round(start, 2), "end": round(end, 2), "heard": heard,
                           "shown": [[row["label"], *row["values"]] for row in rows]}  # fmt: skip
        await asyncio.to_thread(self._desk.read_back, self.case, self._live.user, detail)
        self._confirmed = {"how": how, "at": round(start, 1), "heard": heard}
        self._confirmed_rows = rows
        self.tell(self.state())

    async def end(self) -> None:
        """Ends the case; what is on the disk is heard to its end and stored as version 1."""
        async with self._taking:  # sound that arrived before is on the disk first, also that of a beginning by voice
            if self._live is not None and self.phase not in ("ending", "ended"):
                self._to("ending")
                self._live.finish()

    async def take(self, position: int, pcm: bytes) -> int:
        """Puts a piece of sound on the disk and gives the number of samples there, both as the recorder counts them.

        Raises VoxError."""
        async with self._taking:
            return await self._take(position, pcm)

    async def close(self) -> None:
        """The program ends; the sound is whole on the disk."""
        if self._waiting is not None:
            self._waiting.cancel()
        if self._live is not None and self.phase not in ("ending", "ended"):
            await asyncio.to_thread(self._live.abandon)

    # what a page sees

    @property
    def received(self) -> int:
        """Samples on the disk, as the recorder counts them."""
        return self._zero + self._stored

    @property
    def zero(self) -> int:
        """The recorder's number of the case's first sample: not 0 when the case was begun by voice."""
        return self._zero

    @property
    def _stored(self) -> int:
        return self._live.received if self._live is not None else round(self._desk.files(self.case).seconds() * RATE)

    @property
    def seconds(self) -> float:
        """Seconds of sound on the disk."""
        return self._stored / RATE

    @property
    def goes_on_at(self) -> int:
        """The sample at which a page that begins to record now must begin, so that the pause before it is counted."""
        if not self._stored:
            return 0
        sound = self._desk.files(self.case).sound
        since = time.time() - (self._last_sound or sound.stat().st_mtime)
        return self.received + round(min(max(since, 0.0), LONGEST_GAP) * RATE)

    @property
    def under_way(self) -> bool:
        """Whether the case was being dictated when the program was ended last, or is now."""
        return self._live is not None or self._desk.case(self.case).state == "dictating"

    def state(self) -> Message:
        """All that the screen shows."""
        case = self._desk.case(self.case)
        told = theatre_page.state(self._note, self._desk.rules, read_context(case.context))
        stale = self._confirmed is not None and told["readback"] != self._confirmed_rows
        return told | {
            "is": "state", "phase": self.phase, "label": case.label, "seconds": self._stored / RATE, "zero": self._zero,
            "heard": self._heard(), "partial": self._partial, "behind": self._behind, "family": self._family,
            "confirmed": self._confirmed and self._confirmed | {"stale": stale}, "problem": self._problem,
            "notices": self._note.source.notices,
        }  # fmt: skip

    def tell(self, message: Message) -> None:
        """To every screen of this case."""
        for queue in self.queues:
            queue.put_nowait(message)

    # inside

    def _to(self, phase: Phase) -> None:
        if self.phase in ("ending", "ended") and phase != "ended":
            return
        self.phase = phase
        self.tell(self.state())

    async def _take(self, position: int, pcm: bytes) -> int:
        if self.phase == "standby" and self._standby is not None:
            self._arrived.set()
            return self._standby.keep(position, pcm)
        if self._live is None or self.phase in ("ending", "ended"):
            return self.received
        if position - self.received > LONGEST_HOLE * RATE:
            # Silence of that length would fill the disk.
            raise BadDecision("This page counts its sound wrongly; the piece was not stored.", "Load the page anew.")
        await asyncio.to_thread(self._live.take, max(0, position - self._zero), pcm)
        self._last_sound = time.time()
        return self.received

    async def _wait_for_begin(self, standby: Standby, user: User) -> None:
        """Starts the case when it was begun by voice, with the sound from there on."""
        while self._standby is standby:
            await self._arrived.wait()
            self._arrived.clear()
            try:
                begun = await asyncio.to_thread(standby.hear)
                if begun is not None and self._standby is standby:
                    async with self._taking:
                        await self.begin(user, begun)
                        for start, pcm in standby.since(begun):
                            await self._take(start, pcm)
            except VoxError as problem:
                self._problem = {"what": problem.what, "do": problem.do}
                self.tell(self.state())

    def _open(self, user: User) -> LiveCase:
        return LiveCase(self._desk, self.case, user, self._engine())

    def _follow(self, live: LiveCase) -> None:
        """Runs in a thread of its own: hands the events over, and stores the note at the end."""
        for event in live.events():
            note: OperativeNote | VoxError | None = None
            if isinstance(event, Ended):
                try:
                    note = live.store(event)
                except VoxError as problem:
                    note = problem
                except Exception:
                    _LOG.exception("the note of case %s could not be stored", live.case)
                    note = VoxError("The note could not be stored.", "The sound is kept; the server's log says why.")
            if isinstance(event, Failed):
                live.abandon()
            try:
                self._loop.call_soon_threadsafe(self._on, event, note)
            except RuntimeError:  # the server has ended
                return

    def _on(self, event: Event, stored: OperativeNote | VoxError | None) -> None:
        match event:
            case Partial(_, words):
                self._partial = " ".join(word.text for word in words)
                self.tell({"is": "partial", "text": self._partial})
                return
            case Utterance(_, words, _):
                self._partial = ""
                self._fresh.append(words)
                self._obey(words)
            case Anew(family):
                self._family, self._words, self._fresh = family, (), []
            case Noted(note, words):
                self._note, self._words = note, words
                last = words[-1].last if words else -1
                self._fresh = [one for one in self._fresh if one[-1].last > last]
            case Commanded(spotted):
                # Only what shows something: what counts for the note is left to the words of the text.
                if spotted.action == "read_back":
                    self._call_read_back(spotted.start)
                return
            case Behind(seconds):
                self._behind = seconds
                self.tell({"is": "behind", "seconds": seconds})
                return
            case Failed(problem):
                self._stop(problem)
            case Ended(_, note):
                if isinstance(stored, VoxError):
                    self._stop(stored)
                else:
                    self._note = stored or note or self._note
                    self.phase = "ended"
        self.tell(self.state())

    def _stop(self, problem: VoxError) -> None:
        """The dictation broke off; the sound is kept and the case can be gone on with."""
        self._problem = {"what": problem.what, "do": problem.do}
        self._live, self.phase = None, "ready"

    def _obey(self, words: tuple[Word, ...]) -> None:
        """Does what was said to the program. A word without a time counts as said now."""
        for command, first, last in spoken.commands(words, self._desk.rules, read_back=self.phase == "read-back"):
            start = first.start if first.start is not None else self._stored / RATE
            end = last.end if last.end is not None else start
            if command == "confirm":
                heard = " ".join(word.text for word in words)
                self._loop.create_task(self.confirm("spoken", start, end, heard))
            elif command == "read_back":
                self._call_read_back(start)
            elif command == "end":
                self._loop.create_task(self.end())

    def _call_read_back(self, start: float) -> None:
        """Shows the read-back, once for what was heard from the sound and again read from the text."""
        if abs(start - self._shown) > spotting.TOGETHER:
            self._shown = start
            self.read_back()

    def _heard(self) -> list[Message]:
        """The last stretches of speech: repaired words where the note has them, else as they were heard."""
        by_segment: dict[int, list[Word]] = {}
        for word in self._words:
            by_segment.setdefault(word.segment, []).append(word)
        stretches = [*by_segment.values(), *(list(one) for one in self._fresh)]
        return [{"start": words[0].start, "runs": theatre_page.runs(words, self._least)}
                for words in stretches[-SHOWN_STRETCHES:]]  # fmt: skip


class Rooms:
    """The rooms of the application. `load`: makes the recogniser ready (slow; done once)."""

    def __init__(self, desk: Desk, load: Callable[[], Engine]) -> None:
        self._desk, self._load = desk, load
        self._engine: Engine | None = None
        self._empty: OperativeNote | None = None
        self._loading = threading.Lock()
        self._rooms: dict[str, Room] = {}

    def engine(self) -> Engine:
        """The recogniser, loaded at the first call. Raises SetupError."""
        with self._loading:
            if self._engine is None:
                self._engine = self._load()
            return self._engine

    def nothing(self) -> OperativeNote:
        """The note before a word was said. The first call is slow."""
        with self._loading:
            if self._empty is None:
                source = Source(kind="audio", name="dictation", sha256="0" * 64, engine="")
                heard = run.Heard((), source)
                self._empty = run.make_note(heard, self._desk.rules, profile=self._desk.profile)
            return self._empty

    def warm(self) -> None:
        """Begins to load the recogniser; a failure is told when it is needed."""
        if self._engine is None:
            threading.Thread(target=self._try_engine, name="loading", daemon=True).start()

    def _try_engine(self) -> None:
        try:
            self.nothing()
            self.engine()
        except VoxError as problem:
            _LOG.warning("%s", problem)

    def room(self, case: str) -> Room:
        """The room of a case. Raises UnknownName; BadDecision when it has a note or a recording."""
        known = self._desk.case(case)
        room = self._rooms.get(case)
        if room is None:
            if known.version or known.recording:
                raise BadDecision("This case has been dictated already.", "Open a new case.")
            room = self._rooms[case] = Room(self._desk, case, self.engine, self.nothing())
        return room

    def leave(self, room: Room) -> None:
        """Forgets a room that nobody looks at and in which nothing is under way."""
        if not room.queues and room.phase in ("ready", "ended"):
            self._rooms.pop(room.case, None)

    async def close(self) -> None:
        """The program ends."""
        rooms, self._rooms = list(self._rooms.values()), {}
        for room in rooms:
            await room.close()

