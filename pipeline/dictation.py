"""A dictation under way, for a microphone, a page or a file read at any pace. Knows no screen.

    dictation = Dictation(SoundFile(folder / "recording.wav"), rules, engine)     # engine: loaded
    dictation.take(samples)            # from one thread; returns when the sound is on the disk, never waits for words
    dictation.finish()                 # no more sound; returns at once
    for event in dictation.events():   # from one thread; waits for the next event; ends after Ended or Failed
        ...

Threads of its own work: one recognises what lies on the disk, one makes the note anew from all words after each
utterance (when utterances come faster than notes are made, from the newest words only), and one listens for control
words where an engine can. If recognition falls behind,
sound waits on the disk, none is dropped, and `Behind` tells by how much. The events, in the order they come:

    Partial(seconds, words)      words of the utterance under way, replaced by the next (engines that stream)
    Utterance(seconds, words, wait)
                                 final words of one utterance, as heard; ids count through the dictation; `wait`:
                                 seconds that passed since its last sound arrived
    Anew(family)                 the family became known: every Utterance so far is void and comes again, better heard
    Noted(note, words)           the whole note, with its findings, from the words so far (misheard terms repaired);
                                 comes again when a second reading of the last utterance differs from the first
    Commanded(spotted)           a control word was heard in the sound itself (spotting.py), before its utterance is
                                 recognised; what counts for the note are the words of the text
    Behind(seconds)              sound on the disk that is not recognised yet; told when it passes 2 s, at each further
                                 second of change, and once when it is below 1 s again
    Ended(heard, note)           all is recognised; `heard` goes into `run.words_file`; note None: nobody spoke
    Failed(problem)              recognition broke down; the sound is whole on the disk

`seconds` are seconds of sound from the start of the dictation. A sound file that exists already is gone on with: what
lies in it is heard first. So a dictation whose process was killed goes on by opening the same file.
"""

from __future__ import annotations

import hashlib
import logging
import queue
import threading
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace

from pipeline import repair, run, spotting
from pipeline.ear import Anew
from pipeline.engines.base import Engine, Reader
from pipeline.errors import VoxError
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Source
from pipeline.records import Word
from pipeline.segments import LIVE, Limits
from pipeline.sound import RATE, Samples
from pipeline.soundstore import SoundFile, missing

_LOG = logging.getLogger(__name__)
PIECE = RATE  # samples recognised at a time
FALLS_BEHIND, CAUGHT_UP = 2.0, 1.0


@dataclass(frozen=True, slots=True)
class Partial:
    seconds: float
    words: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class Utterance:
    seconds: float
    words: tuple[Word, ...]
    wait: float


@dataclass(frozen=True, slots=True)
class Noted:
    note: OperativeNote
    words: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class Commanded:
    spotted: spotting.Spotted


@dataclass(frozen=True, slots=True)
class Behind:
    seconds: float


@dataclass(frozen=True, slots=True)
class Ended:
    heard: run.Heard
    note: OperativeNote | None


@dataclass(frozen=True, slots=True)
class Failed:
    problem: VoxError


Event = Partial | Utterance | Anew | Noted | Commanded | Behind | Ended | Failed


class Dictation:
    """One dictation. `family`: when known beforehand; `name`: how the note calls its source; `made_at`: ISO 8601.

    `second`: asks about confusable words (`run.second_opinion`); `early`: an engine that streams, for partial words
    while the other still listens; `spots`: one that takes closed lists, which hears the control words at once;
    `reader`: reads each stretch a second time (`run.second_reader`)."""

    def __init__(
        self, sound: SoundFile, rules: Grammar, engine: Engine, *, family: str | None = None,
        profile: str = run.DEFAULT_PROFILE, name: str = "", mend: bool = True, limits: Limits = LIVE,
        made_at: str = "", second: run.Second | None = None, early: Engine | None = None,
        spots: spotting.Lists | None = None, reader: Reader | None = None,
    ) -> None:  # fmt: skip
        rules.profile(profile)
        self.sound = sound
        self._rules, self._engine, self._family, self._profile = rules, engine, family, profile
        self._name, self._mend, self._made_at = name or sound.path.name, mend, made_at
        self._pad = limits.pad
        self._second = second
        self._asked: dict[int, tuple[tuple[Word, ...], tuple[Word, ...]]] = {}
        self._ear = run.ear(engine, rules, family=family, limits=limits, early=early, reader=reader)
        self._events: queue.SimpleQueue[Event] = queue.SimpleQueue()
        self._changed = threading.Condition()
        self._stored = sound.samples
        self._arrivals: deque[tuple[int, float]] = deque([(self._stored, time.monotonic())])
        self._ending = False
        self._dropped = False
        self._recognised = 0
        self._told_lag = 0.0
        self._mended: dict[int, tuple[tuple[object, ...], tuple[Word, ...]]] = {}
        self._spots = spots
        self._spotted: list[spotting.Spotted] = []
        self._latest: tuple[Word, ...] | None = None
        self._no_more_words = False
        self._threads = [
            threading.Thread(target=self._guarded, args=(self._recognise,), name="recognising", daemon=True),
            threading.Thread(target=self._guarded, args=(self._keep_note,), name="note", daemon=True),
        ]
        self._spotting = threading.Thread(target=self._spot, args=(self._stored,), name="control words", daemon=True)
        self._threads.append(self._spotting)
        for thread in self._threads:
            thread.start()

    @property
    def received(self) -> int:
        """Samples on the disk: where a sender that lost its connection must go on."""
        return self.sound.samples

    @property
    def lag(self) -> float:
        """Seconds of sound on the disk that are not recognised yet."""
        return (self.sound.samples - self._recognised) / RATE

    def take(self, samples: Samples, position: int | None = None) -> None:
        """Takes in sound, shape (samples,), float32, 16 kHz mono. Raises OutputUnwritable, and ValueError after
        `finish`. `position` is as in `SoundFile.append`."""
        if self._ending:
            raise ValueError("the dictation has ended")
        self.sound.append(samples, position)
        with self._changed:
            self._stored = self.sound.samples
            self._arrivals.append((self._stored, time.monotonic()))
            self._changed.notify_all()

    def finish(self) -> None:
        """No more sound comes; what is on the disk is recognised to its end."""
        with self._changed:
            self._ending = True
            self._changed.notify_all()

    def abandon(self) -> None:
        """Stops at once without an `Ended`: for a program that closes. The sound is whole on the disk."""
        with self._changed:
            self._ending = self._dropped = True
            self._changed.notify_all()
        for thread in self._threads:
            thread.join()
        self.sound.close()

    def events(self, timeout: float | None = None) -> Iterator[Event]:
        """Events as they come. With `timeout`, ends when none came for so many seconds; call it again for more."""
        while True:
            try:
                event = self._events.get(timeout=timeout)
            except queue.Empty:
                return
            yield event
            if isinstance(event, Ended | Failed):
                return

    def _guarded(self, work: object) -> None:
        assert callable(work)
        try:
            work()
        except VoxError as problem:
            self._broken(problem)
        except Exception as problem:  # a thread that dies silently would leave the caller waiting for ever
            self._broken(VoxError(f"Recognition broke down ({type(problem).__name__}: {problem}).",
                                  f"The sound is whole in {self.sound.path}: run voxop note on it."))

    def _broken(self, problem: VoxError) -> None:
        with self._changed:
            self._ending = self._dropped = self._no_more_words = True
            self._changed.notify_all()
        self._events.put(Failed(problem))

    def _recognise(self) -> None:
        while True:
            with self._changed:
                while self._recognised >= self._stored and not self._ending:
                    self._changed.wait()
                ready, over = self._stored, self._ending
            if self._dropped:
                return
            if self._recognised >= ready and over:
                break
            piece = self.sound.read(self._recognised, min(PIECE, ready - self._recognised))
            self._pass_on(self._ear.feed(piece), self._recognised + len(piece))
            self._recognised += len(piece)
            self._tell_lag()
        self._pass_on(self._ear.finish(), self._recognised)
        with self._changed:
            self._latest = tuple(self._ear.listener.words)
            self._no_more_words = True
            self._changed.notify_all()

    def _spot(self, begin: int) -> None:
        """Hears control words from sample `begin` on. A dictation does not end because this breaks down: the words of
        the text are left."""
        if self._spots is None:
            return
        try:
            spotter, at, over = spotting.Spotter(self._spots, self._rules), begin, False
            while not over:
                with self._changed:
                    while at >= self._stored and not self._ending:
                        self._changed.wait()
                    ready, over = self._stored, self._ending and at >= self._stored
                if self._dropped:
                    return
                piece = self.sound.read(at, 0 if over else min(PIECE, ready - at))
                at += len(piece)
                for one in spotter.finish() if over else spotter.feed(piece):
                    self._spotted.append(one.later(begin / RATE))
                    self._events.put(Commanded(self._spotted[-1]))
        except Exception:
            _LOG.exception("control words are not heard from the sound any more")

    def _pass_on(self, results: object, upto: int) -> None:
        assert isinstance(results, Iterator)
        for result in results:
            listener = self._ear.listener
            if isinstance(result, Anew):
                self._events.put(result)
            elif not result.final:
                self._events.put(Partial(listener.seconds, result.words))
            elif result.revised:
                self._note_wanted(listener.words)
            elif result.words:
                ended = listener.segments[-1].end - self._pad if listener.segments else listener.seconds
                spoken = min(upto, round(ended * RATE))
                self._events.put(Utterance(listener.seconds, result.words, time.monotonic() - self._arrived(spoken)))
                self._note_wanted(listener.words)

    def _note_wanted(self, words: list[Word]) -> None:
        with self._changed:
            self._latest = tuple(words)
            self._changed.notify_all()

    def _arrived(self, sample: int) -> float:
        """When that sample came."""
        while len(self._arrivals) > 1 and self._arrivals[0][0] < sample:
            self._arrivals.popleft()
        return self._arrivals[0][1]

    def _tell_lag(self) -> None:
        lag = self.lag
        if (lag >= FALLS_BEHIND and abs(lag - self._told_lag) >= 1) or (lag < CAUGHT_UP and self._told_lag):
            self._told_lag = lag if lag >= CAUGHT_UP else 0.0
            self._events.put(Behind(round(lag, 1)))

    def _keep_note(self) -> None:
        run.prepare(self._rules)  # while the first utterance is still being spoken
        while True:
            with self._changed:
                while self._latest is None and not (self._no_more_words or self._dropped):
                    self._changed.wait()
                words, over = self._latest, self._no_more_words
                self._latest = None
            if self._dropped:
                return
            if over:
                self._end()
                return
            if words:
                heard, note = self._note(words, "")
                self._events.put(Noted(note, heard.words))

    def _note(self, words: tuple[Word, ...], digest: str) -> tuple[run.Heard, OperativeNote]:
        """`digest`: of the ended sound file, "" while it grows. The last note is made as that of a file, wholly anew;
        until then each utterance is repaired once, beside the one before it, which is what takes longest."""
        heard = run.Heard(words, self._source(digest), tuple(self._ear.listener.segments))
        if self._mend and digest:
            heard = run.mended(heard, self._rules, self._ear.family)
        elif self._mend:
            heard = replace(heard, words=self._repaired(words))
        if self._second:
            heard = replace(heard, words=self._doubted(heard.words, self._second))
        note = run.make_note(heard, self._rules, family=self._family, profile=self._profile, made_at=self._made_at)
        return heard, note

    def _repaired(self, words: tuple[Word, ...]) -> tuple[Word, ...]:
        """Each utterance repaired when it is new, with the one before it as its context."""
        family = self._ear.family
        by_segment: dict[int, list[Word]] = {}
        for word in words:
            by_segment.setdefault(word.segment, []).append(word)
        before: list[Word] = []
        result: list[Word] = []
        for segment, said in by_segment.items():
            known, mended = self._mended.get(segment, ((), ()))
            if known != (family, *said):
                bias = self._rules.family(family).bias if family else ()
                fresh = repair.repair((*before, *said), self._rules, bias)
                mended = tuple(word for word in fresh if word.segment == segment)
                self._mended[segment] = ((family, *said), mended)
            result += mended
            before = said
        return tuple(result)

    def _doubted(self, words: tuple[Word, ...], second: run.Second) -> tuple[Word, ...]:
        """Each utterance is asked about once, and again where its words changed."""
        by_segment: dict[int, list[Word]] = {}
        for word in words:
            by_segment.setdefault(word.segment, []).append(word)
        for segment, said in by_segment.items():
            if segment not in self._asked or self._asked[segment][0] != tuple(said):
                self._asked[segment] = (tuple(said), second.asked(tuple(said), self._between))
        return tuple(word for segment in by_segment for word in self._asked[segment][1])

    def _between(self, start: float, end: float) -> Samples:
        return self.sound.read(round(start * RATE), round((end - start) * RATE))

    def _end(self) -> None:
        self._spotting.join()
        self.sound.close()
        words = tuple(self._ear.listener.words)
        if words:
            self._events.put(Ended(*self._note(words, self.sound.sha256())))
        else:
            self._events.put(Ended(run.Heard((), self._source(self.sound.sha256())), None))

    def _source(self, digest: str) -> Source:
        listener = self._ear.listener
        return Source(
            kind="audio", name=self._name, sha256=digest or hashlib.sha256(str(self.sound.path).encode()).hexdigest(),
            seconds=listener.seconds, engine=self._engine.name, model=self._engine.model,
            segments=len(listener.segments), dropped_words=listener.dropped_words,
            collapsed_loops=listener.collapsed_loops,
            notices=[*(missing(start, end) for start, end in self.sound.gaps), *self._not_in_text(digest)],
        )  # fmt: skip

    def _not_in_text(self, digest: str) -> list[str]:
        """At the end: control words that were heard in the sound and are not in the text."""
        words = self._ear.listener.words
        return [one.told() for one in spotting.missed(self._spotted, words, self._rules)] if digest else []
