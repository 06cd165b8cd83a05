"""Recordings are heard in the background, one after the other, so that a page answers while one is under way."""

from __future__ import annotations

import hashlib
import logging
import time
import uuid
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

from pipeline import listen, plugins, run
from pipeline.contexts import patient_context
from pipeline.desk import Desk
from pipeline.engines.base import Engine
from pipeline.errors import BadDecision, OutputUnwritable, VoxError
from pipeline.review.accounts import User

_LOG = logging.getLogger(__name__)
_TOLD_EVERY = 0.5


class Jobs:
    """Hears recordings of cases. `engine`, `model`: names of the recogniser and its model."""

    def __init__(self, desk: Desk, *, engine: str = run.DEFAULT_ENGINE, model: str | None = None) -> None:
        self._desk = desk
        self._engine, self._model = engine, model
        self._pool = ThreadPoolExecutor(1, thread_name_prefix="hearing")

    def load_engine(self) -> Engine:
        """A recogniser of its own for live dictation. Raises SetupError, UnknownName."""
        loaded: Engine = plugins.find(listen.ENGINES, self._engine).load(self._model)
        self._desk.early = run.early_ear(loaded)
        self._desk.reader = run.second_reader(loaded)
        self._desk.spots = run.spotting_ear(loaded)
        return loaded

    def add(self, case: str, by: User, name: str) -> Future[None]:
        """Hears the recording `name` in the case's folder and makes its note."""
        return self._pool.submit(self._work, case, by, name)

    def go_on(self, by: Callable[[str], User]) -> None:
        """Hears again what was under way when the program ended. `by`: the user of a name."""
        for case in self._desk.cases():
            if case.state == "listening" and case.recording:
                self.add(case.id, by(case.made_by), case.recording)

    def close(self) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _work(self, case: str, by: User, name: str) -> None:
        files = self._desk.files(case)
        told = 0.0

        def progress(done: float, total: float) -> None:
            nonlocal told
            if time.monotonic() - told >= _TOLD_EVERY:
                told = time.monotonic()
                self._desk.progress(case, "listening", seconds=done, length=total)

        try:
            path = files.folder / name
            files.convert(path)
            heard = run.listen_to(str(path), self._desk.rules, engine=self._engine, model=self._model,
                                  progress=progress, second=self._desk.second)
            self._desk.make_note(case, by, heard)
        except VoxError as problem:
            self._desk.progress(case, "failed", message=f"{problem.what} {problem.do}".strip())
        except Exception:
            _LOG.exception("the recording of case %s could not be heard", case)
            self._desk.progress(case, "failed", message="The recording could not be heard. The log of the server "
                                                        "says why; the recording is kept.")  # fmt: skip


# A recording of an hour as 48 kHz stereo WAV has 0.7 GB; nobody dictates longer.
LARGEST = 1_000_000_000
_AT_ONCE = 1 << 20


def store_recording(desk: Desk, case: str, by: User, content: BinaryIO, name: str) -> str:
    """Copies a recording piece by piece into the case's folder and gives the name it has there. Raises BadDecision,
    OutputUnwritable; nothing is kept then."""
    known = desk.case(case)
    if known.recording or known.version:
        raise BadDecision("This case has a recording or note already.", "Open a new case for another one.")
    files = desk.files(case)
    files.make()
    kept = "recording" + (Path(name).suffix.lower()[:8] if Path(name).suffix[1:].isalnum() else "")
    path = files.folder / kept
    part = files.folder / f".{uuid.uuid4()}.part"
    digest, size = hashlib.sha256(), 0
    try:
        with part.open("wb") as stream:
            while piece := content.read(_AT_ONCE):
                size += len(piece)
                if size > LARGEST:
                    raise BadDecision("The recording is larger than 1 GB.", "Hand it in as flac, m4a or ogg.")
                digest.update(piece)
                stream.write(piece)
        if not size:
            raise BadDecision("The recording is empty.", "Choose the file again.")
        desk.recorded(case, by, kept, digest.hexdigest())
        part.replace(path)
    except OSError as problem:
        raise OutputUnwritable(f"cannot be written ({problem.strerror}).", "Free some space, then send it again.",
                               where=str(files.folder)) from problem  # fmt: skip
    finally:
        part.unlink(missing_ok=True)
    return kept


def demo(desk: Desk, by: User, recording: Path, words: Path) -> str:
    """Opens the bundled case, with its stored words, so that nothing has to be heard. Gives its id."""
    patient = patient_context(family="Sundqvist", given="Maja", number="DEMO-1047", system="urn:oid:2.999.1",
                              birth_date="1992-02-11", sex="female")  # fmt: skip
    case = desk.new_case(by, "Demonstration", patient)
    files = desk.files(case)
    if recording.exists():
        with recording.open("rb") as content:
            kept = store_recording(desk, case, by, content, recording.name)
        files.convert(files.folder / kept)
    heard = run.listen_to(str(words), desk.rules)
    desk.make_note(case, by, replace(heard, source=heard.source.model_copy(update={"kind": "audio"})))
    return case


def bundled() -> tuple[Path, Path | None]:
    """(recording, its stored words) of the demonstration case of a checkout; None for words that are not there."""
    folder = Path(__file__).resolve().parent.parent / "audio_demo"
    words = folder / "words.json"
    return folder / "dictation.flac", words if words.exists() else None
