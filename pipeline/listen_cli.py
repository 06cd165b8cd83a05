"""`voxop listen`: live dictation from a microphone, or from a file as if it were spoken now."""

from __future__ import annotations

import json
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click
import numpy as np
from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.text import Text

from pipeline import audio, grammar, listen, output, plugins, run, site, summary
from pipeline.dictation import Behind, Commanded, Dictation, Ended, Event, Failed, Noted, Partial, Utterance
from pipeline.ear import Anew
from pipeline.errors import EngineUnavailable, NoSpeech, OutputUnwritable, SoundDeviceMissing
from pipeline.note import OperativeNote
from pipeline.records import Word
from pipeline.sound import RATE, Samples
from pipeline.soundstore import SoundFile

RECORDING = "recording.wav"
PIECE_SECONDS = 0.1
# So much sound of a file may wait for the recogniser when it is read faster than it was spoken.
WAITING_SECONDS = 30.0
_SHOWN_LINES = 8
_SHOWN_FINDINGS = 10


@click.command(name="listen")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the sound and the results.")
@click.option("--from", "source", type=click.Path(path_type=Path), help="A recording in place of the microphone.")
@click.option("--pace", type=click.Choice(("real", "fast")), default="real", show_default=True,
              help="With --from: as fast as it was spoken, or as fast as it can be heard.")
@click.option("--device", metavar="NAME", help="Microphone, by number or part of its name.")
@click.option("--devices", is_flag=True, is_eager=True, expose_value=False, help="List the microphones and end.",
              callback=lambda ctx, _, wanted: _list_devices(ctx) if wanted and not ctx.resilient_parsing else None)
@click.option("--resume", is_flag=True, help="Go on with the dictation whose sound lies in --out.")
@click.option("--engine", default=run.DEFAULT_ENGINE, show_default=True, help="Recogniser for sound.")
@click.option("--model", metavar="NAME", help="Model of that recogniser (`voxop models list`).")
@click.option("--second-opinion", "second", metavar="MODEL|auto|off", default="off", show_default=True,
              help="Ask a model for Vosk about numbers, units, sides and negations that are easily misheard.")
@click.option("--second-reading", "reader", metavar="MODEL|auto|off", default="auto", show_default=True,
              help="Model that reads each stretch again; where numbers, units or sides differ, both are shown.")
@click.option("--no-repair", is_flag=True, help="Leave every word as it was heard.")
@click.option("--family", metavar="NAME", help="Procedure family; found from the words when not given.")
@click.option("--profile", default=run.DEFAULT_PROFILE, show_default=True, help="Rules of a country or site.")
@click.option("--context", type=click.Path(path_type=Path),
              help="Patient, encounter, people: FHIR JSON or a small TOML.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line, for each event, on standard output.")
def listen_command(
    out: Path, source: Path | None, pace: str, device: str | None, resume: bool, engine: str, model: str | None,
    second: str, reader: str, no_repair: bool, family: str | None, profile: str, context: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Listen to a dictation and show the note as it grows; Ctrl-C ends it and writes everything.

    The sound lies in OUT/recording.wav before it is recognised. After a crash: `voxop listen --resume --out OUT` goes
    on, or `voxop note OUT/recording.wav --out OUT` makes the note of what is there.
    """
    rules = grammar.load()
    rules.profile(profile)
    known = site.load(context) if context else site.Site()
    recording = out / RECORDING
    if recording.exists() and not resume:
        raise OutputUnwritable(
            "holds the sound of a dictation already.", "Name another folder, or go on with that one with --resume.",
            where=str(recording),
        )  # fmt: skip
    feed = _from_file(source, pace) if source else _from_microphone(device)
    loaded = plugins.find(listen.ENGINES, engine).load(model)
    asked = run.second_opinion(second, rules)
    dictation = Dictation(
        SoundFile(recording), rules, loaded, family=family, profile=profile, mend=not no_repair,
        name=source.name if source else RECORDING, second=asked, early=run.early_ear(loaded),
        spots=run.spotting_ear(loaded), reader=run.second_reader(loaded, reader),
    )  # fmt: skip
    with _ended_by_interrupt() as stop:
        feeder = threading.Thread(target=_feed, args=(feed, dictation, stop), name="sound", daemon=True)
        feeder.start()
        ended = _show(dictation, as_json)
        feeder.join()
    if ended.note is None:
        raise NoSpeech("Nobody was heard speaking.", "Check the microphone; the sound is kept.", where=str(recording))
    files = {"words.json": run.words_file(ended.heard)} | run.export(ended.note, run.OUTPUTS, rules, known)
    written = output.write_all(out, files)
    if as_json:
        _line("written", files=[str(path) for path in written])
    else:
        summary.show(Console(), ended.note, written)


class _Stop:
    """Set when the dictation shall end; `problem` when the sound could not be taken in any more."""

    def __init__(self) -> None:
        self.now = threading.Event()
        self.problem: BaseException | None = None


@contextmanager
def _ended_by_interrupt() -> Iterator[_Stop]:
    """Ctrl-C ends the dictation instead of the program; a second one ends the program."""
    stop = _Stop()

    def end(*_: object) -> None:
        if stop.now.is_set():
            raise KeyboardInterrupt
        stop.now.set()

    before = [signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)]
    try:
        yield stop
    finally:
        for number, handler in zip((signal.SIGINT, signal.SIGTERM), before, strict=True):
            signal.signal(number, handler)
    if stop.problem is not None:
        raise stop.problem


Feed = Callable[[Dictation, threading.Event], None]


def _feed(feed: Feed, dictation: Dictation, stop: _Stop) -> None:
    try:
        feed(dictation, stop.now)
    except BaseException as problem:  # told to the main thread, which ends the dictation with what is there
        stop.problem = problem
    finally:
        dictation.finish()


def _from_file(path: Path, pace: str) -> Feed:
    """Raises the InputErrors of `audio.inspect` at once."""
    sound = audio.inspect(path)

    def feed(dictation: Dictation, stop: threading.Event) -> None:
        began, given = time.monotonic(), 0.0
        for piece in audio.pieces(sound, PIECE_SECONDS if pace == "real" else 1.0):
            given += len(piece) / RATE
            if pace == "real":
                stop.wait(max(0.0, began + given - time.monotonic()))
            else:
                while dictation.lag > WAITING_SECONDS and not stop.is_set():
                    stop.wait(0.1)
            if stop.is_set():
                return
            dictation.take(piece)

    return feed


def _from_microphone(device: str | None) -> Feed:
    """Raises SoundDeviceMissing at once."""
    sounddevice = _sounddevice()
    chosen: int | str | None = int(device) if device and device.isdigit() else device
    try:
        sounddevice.check_input_settings(device=chosen, channels=1, dtype="float32", samplerate=RATE)
    except (sounddevice.PortAudioError, ValueError) as problem:
        raise _no_microphone(str(problem)) from problem

    def feed(dictation: Dictation, stop: threading.Event) -> None:
        size = round(PIECE_SECONDS * RATE)
        with sounddevice.InputStream(device=chosen, channels=1, dtype="float32", samplerate=RATE,
                                     latency="high") as stream:  # fmt: skip
            while not stop.is_set():
                block, lost = stream.read(size)
                if lost:
                    click.echo("voxop: the computer was too slow for the microphone; a piece of sound was lost.",
                               err=True)
                piece: Samples = np.ascontiguousarray(block[:, 0])
                dictation.take(piece)

    return feed


def _sounddevice() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError) as problem:  # OSError: the PortAudio library is not there
        raise EngineUnavailable(
            f"Microphones cannot be reached ({problem}).",
            "Install PortAudio (Debian and Ubuntu: apt-get install libportaudio2), or use --from FILE.",
        ) from problem
    return sounddevice


def _no_microphone(why: str) -> SoundDeviceMissing:
    return SoundDeviceMissing(
        f"There is no microphone that can be used ({why.rstrip('.')}).",
        "Plug one in, choose another with --device (see --devices), or use --from FILE.",
    )


def _list_devices(ctx: click.Context) -> None:
    found = [
        f"{number:3}  {one['name']}"
        for number, one in enumerate(_sounddevice().query_devices())
        if one["max_input_channels"] > 0
    ]
    if not found:
        raise _no_microphone("none was found")
    click.echo("\n".join(found))
    ctx.exit()


def _show(dictation: Dictation, as_json: bool) -> Ended:
    """Shows the events until the end, and gives the last one. Raises what `Failed` carries."""
    screen = Console()
    if as_json:
        return _followed(dictation, _json_event)
    if not screen.is_terminal:
        return _followed(dictation, _plain_event)
    board = _Board()
    with Live(board, console=screen, refresh_per_second=8, screen=False, transient=True):
        return _followed(dictation, board.take)


def _followed(dictation: Dictation, show: Callable[[Event], None]) -> Ended:
    while True:
        for event in dictation.events(timeout=0.5):
            show(event)
            if isinstance(event, Failed):
                raise event.problem
            if isinstance(event, Ended):
                return event


def _line(event: str, **fields: object) -> None:
    click.echo(json.dumps({"event": event, **fields}, ensure_ascii=False))
    sys.stdout.flush()


def _text(words: tuple[Word, ...]) -> str:
    return " ".join(word.text for word in words)


def _json_event(event: Event) -> None:
    match event:
        case Partial(seconds, words):
            _line("partial", seconds=round(seconds, 2), text=_text(words))
        case Utterance(seconds, words, wait):
            _line("utterance", seconds=round(seconds, 2), wait=round(wait, 2), text=_text(words),
                  words=[asdict(word) for word in words])
        case Anew(family):
            _line("anew", family=family)
        case Noted(note, _):
            _line("note", facts=len(note.facts), family=note.family,
                  findings=[asdict(one) for one in note.open_findings()])
        case Commanded(spotted):
            _line("command", action=spotted.action, phrase=spotted.phrase, start=round(spotted.start, 2),
                  end=round(spotted.end, 2))
        case Behind(seconds):
            _line("behind", seconds=seconds)
        case Ended(_, note):
            _line("ended", facts=len(note.facts) if note else 0)
        case Failed(problem):
            _line("failed", message=str(problem))


def _plain_event(event: Event) -> None:
    match event:
        case Utterance(seconds, words, _):
            click.echo(f"{_clock(words[0].start or seconds)}  {_text(words)}")
        case Anew(family):
            click.echo(f"       (this is {family}: listening again from the start with its words)")
        case Noted(note, _):
            click.echo(f"       {_state(note)}")
        case Commanded(spotted):
            click.echo(f"       (heard: {spotted.phrase})")
        case Behind(seconds):
            click.echo(f"       ({_lag(seconds)})")
        case _:
            pass
    sys.stdout.flush()


def _clock(seconds: float) -> str:
    return f"{int(seconds // 60):02d}:{seconds % 60:04.1f}"


def _lag(seconds: float) -> str:
    return f"recognition is {seconds:.0f} s behind; no sound is lost" if seconds >= 1 else "recognition has caught up"


def _state(note: OperativeNote) -> str:
    found = note.open_findings()
    must, check = (sum(one.severity == degree for one in found) for degree in ("blocking", "warning"))
    facts = "1 fact" if len(note.facts) == 1 else f"{len(note.facts)} facts"
    return f"{facts}; {must} must be settled, {check} to check"


class _Board:
    """What the terminal shows: the last words, what must be settled, how far recognition is behind."""

    def __init__(self) -> None:
        self._lines: list[tuple[float, str]] = []
        self._partial = ""
        self._command = ""
        self._note: OperativeNote | None = None
        self._behind = 0.0

    def take(self, event: Event) -> None:
        match event:
            case Partial(_, words):
                self._partial = _text(words)
            case Utterance(seconds, words, _):
                self._partial = self._command = ""
                self._lines = [*self._lines, (words[0].start or seconds, _text(words))][-_SHOWN_LINES:]
            case Anew(_):
                self._lines = []
            case Noted(note, _):
                self._note = note
            case Commanded(spotted):
                self._command = spotted.phrase
            case Behind(seconds):
                self._behind = seconds
            case _:
                pass

    def __rich__(self) -> Group:
        heard = Text("\n").join(Text(f"{_clock(start)}  {said}") for start, said in self._lines)
        if self._partial:
            heard += Text(f"\n       {self._partial} ...", style="dim")
        if self._command:
            heard += Text(f"\n       ({self._command})", style="bold")
        parts: list[Any] = [Panel(heard or Text("Listening ...", style="dim"), title="Heard", title_align="left")]
        if self._note is not None:
            parts.append(Panel(summary.understood(self._note), title=_state(self._note), title_align="left"))
            found = [one for one in self._note.open_findings() if one.severity != "note"]
            parts += [summary.line(one) for one in found[:_SHOWN_FINDINGS]]
            if len(found) > _SHOWN_FINDINGS:
                parts.append(Text(f"  and {len(found) - _SHOWN_FINDINGS} more"))
        if self._behind >= 1:
            parts.append(Text(_lag(self._behind), style="bold yellow"))
        parts.append(Text("Ctrl-C ends the dictation and writes everything.", style="dim"))
        return Group(*parts)
