"""A recording or a stored word list -> words. The one place that puts sound, speech and recogniser together.

`Listener` takes sound in pieces and gives results as they come, for a file and for a microphone alike; `hear` runs
it over a whole file.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from pipeline import audio, onsets, plugins, readings, wordlist
from pipeline.engines.base import Engine, Options, Reader, Result, safe_bias
from pipeline.errors import NoSpeech
from pipeline.records import Segment, Word
from pipeline.segments import Limits, Segmenter, Speech
from pipeline.sound import Samples
from pipeline.wordlist import WordList

ENGINES = "pipeline.engines"
DEFAULT_ENGINE = "whisper"
# Word times of a recogniser are right to about this many seconds.
SLACK = 0.15
# A word that lies this many seconds in a span of speech was spoken there at least in part.
REACH = 0.08


class Progress(Protocol):
    """Told now and then how far the work is, in seconds of the recording."""

    def __call__(self, done: float, total: float) -> None: ...


class Hearing(Protocol):
    """What takes in sound in pieces: a Listener, or something that guides one (`ear.py`)."""

    @property
    def listener(self) -> Listener:
        """The one that holds the words; may change as sound is taken in."""

    def feed(self, samples: Samples) -> Iterator[object]:
        """Takes in sound, shape (samples,), 16 kHz mono."""

    def finish(self) -> Iterator[object]:
        """Ends the sound."""


@dataclass(frozen=True, slots=True)
class Heard:
    """All that was heard in a source.

    `seconds`: length of the recording (0 for a word list without sound). `dropped_words`: words placed where nobody
    spoke. `collapsed_loops`: phrases repeated faster than a voice can. `sha256`: of the recording, as 64 hex digits.
    `source`: name of the recording that a word list was made from.
    `notices`: plain sentences on damage to the recording, which the reader of the note must see.
    """

    words: tuple[Word, ...]
    segments: tuple[Segment, ...]
    seconds: float
    dropped_words: int
    collapsed_loops: int
    sha256: str
    engine: str
    model: str
    model_sha256: str
    notices: tuple[str, ...] = ()
    source: str = ""

    def stored(self, source: str = "") -> WordList:
        """The word list to be written as words.json."""
        return WordList(self.words, self.segments, source, self.sha256, self.seconds, self.engine, self.model,
                        self.notices)


class Listener:
    """Sound in pieces -> results, with word ids that count through the whole recording.

    `alternatives`: segment -> its other readings as text, where they were asked for; where they differ in a number,
    a unit, a side or a negation, the words say so (`readings.py`). An engine may be slow to give them: then the words
    come first, and once more, revised, if the readings differ. `reader`: other weights, whose reading of each stretch
    is taken in place of those that the engine is slow to give.
    """

    def __init__(self, engine: Engine, options: Options, limits: Limits | None = None,
                 early: Engine | None = None, reader: Reader | None = None) -> None:  # fmt: skip
        self._engine, self._reader = engine, reader
        self._session = engine.open(options)
        # Another engine for partial words, where the one that writes the text gives none.
        self._ahead = early.open(Options(language=options.language)) if early and not engine.streams else None
        self._segmenter = Segmenter(limits)
        self._given = 0
        self._early: tuple[Segment, Result] | None = None
        self.words: list[Word] = []
        self.segments: list[Segment] = []
        self.dropped_words = 0
        self.collapsed_loops = 0
        self.alternatives: dict[int, tuple[str, ...]] = {}

    @property
    def listener(self) -> Listener:
        """Itself: what holds the words (`Hearing`)."""
        return self

    @property
    def seconds(self) -> float:
        """Seconds of sound taken in."""
        return self._segmenter.seconds

    def feed(self, samples: Samples) -> Iterator[Result]:
        """Takes in sound, shape (samples,), 16 kHz mono; gives final results, and partial ones if the engine can."""
        for speech in self._segmenter.feed(samples):
            yield from self._ended(speech)
        if getattr(self._engine, "repeatable", False):
            self._hear_early(self._segmenter.about_to_end())
        if self._engine.streams or self._ahead:
            new = self._segmenter.under_way()[self._given :]
            if len(new):
                self._given += len(new)
                partial = (self._ahead or self._session).feed(new)
                if partial is not None:
                    yield replace(partial, words=self._numbered(partial.words, len(self.segments)))

    def use(self, options: Options) -> None:
        """Hears what follows with other options; the stretch under way is heard with them from its start."""
        self._session = self._engine.open(options)
        if not self._ahead:
            self._given = 0
        self._early = None

    def finish(self) -> Iterator[Result]:
        """Ends the sound; an unfinished last stretch is decoded too."""
        for speech in self._segmenter.finish():
            yield from self._ended(speech)
        rest = self._session.finish()
        if rest.words:
            yield self._kept(rest, rest.words, max(0, len(self.segments) - 1))

    def _hear_early(self, speech: Speech | None) -> None:
        """Recognises a stretch that is about to end, so that its words are there as soon as it has."""
        if speech is not None:
            self._session.feed(speech.samples)
            self._early = (speech.segment, self._session.end(speech.segment))

    def _ended(self, speech: Speech) -> Iterator[Result]:
        early, self._early = self._early, None
        if early is not None and early[0] == speech.segment:
            result = early[1]
        else:
            self._session.feed(speech.samples if self._ahead else speech.samples[self._given :])
            result = self._session.end(speech.segment)
        if self._ahead:
            self._ahead.end(speech.segment)
        self._given = 0
        spoken = [word for word in result.words if _spoken(word, speech.spans)]
        self.dropped_words += len(result.words) - len(spoken)
        self.segments.append(speech.segment)
        words = [_trimmed(word, speech.spans) for word in spoken]
        lead = getattr(self._engine, "lead", 0.0)
        if lead:
            words = onsets.placed(words, speech.samples, speech.segment.start, lead)
        kept = self._kept(result, words, speech.segment.index)
        yield kept
        said = self._reader.texts(speech.samples) if self._reader else ()
        if not said and kept.later is not None:
            said = kept.later()
        yield from self._revised(kept, speech.segment.index, said)

    def _revised(self, result: Result, segment: int, said: tuple[str, ...]) -> Iterator[Result]:
        """The words of the stretch heard last with what its other readings say, if that is anything."""
        if not said or not result.words:
            return
        self.alternatives[segment] = (*self.alternatives.get(segment, ()), *said)
        words = readings.compared(result.words, {segment: said})
        if words != result.words:
            self.words[len(self.words) - len(words) :] = words
            yield replace(result, words=words, alternatives=said, later=None, revised=True)

    def _kept(self, result: Result, words: Sequence[Word], segment: int) -> Result:
        numbered = readings.compared(self._numbered(words, segment), {segment: result.alternatives})
        self.words += numbered
        self.collapsed_loops += result.loops
        if result.alternatives:
            self.alternatives[segment] = result.alternatives
        return replace(result, words=numbered)

    def _numbered(self, words: Sequence[Word], segment: int) -> tuple[Word, ...]:
        following = self.words[-1].last + 1 if self.words else 0
        numbered = []
        for word in words:
            last = following + word.last - word.id
            numbered.append(replace(word, id=following, last=last, segment=segment))
            following = last + 1
        return tuple(numbered)


def hear(
    source: Path | str,
    engine_name: str | None = None,
    bias: Sequence[str] = (),
    progress: Progress | None = None,
    *,
    model: str | None = None,
    units: Sequence[str] = (),
    engine: Engine | None = None,
    alternatives: int = 0,
    hearing: Hearing | None = None,
) -> Heard:
    """Hears a whole recording, or reads a stored word list (told by its content).

    `bias`: terms that are likely, most useful first; any with a number, unit, dose or size is left out here, `units`
    being the unit words of the grammar. `engine`: a loaded one, to save loading it again. `alternatives`: how many
    other readings of each segment are wanted. `hearing`: what listens in place of a plain Listener with that bias.
    Raises the InputErrors of `audio.inspect` and of `wordlist.read`, NoSpeech, UnknownName, and SetupErrors of the
    engine.
    """
    if wordlist.is_word_list(source):
        return _replayed(Path(source))
    sound = audio.inspect(source)
    chosen: Engine = engine or plugins.find(ENGINES, engine_name or DEFAULT_ENGINE).load(model)
    ear = hearing or Listener(chosen, Options(bias=safe_bias(bias, units), alternatives=alternatives))
    for piece in audio.pieces(sound):
        for _ in ear.feed(piece):
            pass
        if progress:
            progress(min(ear.listener.seconds, sound.seconds), sound.seconds)
    for _ in ear.finish():
        pass
    listener = ear.listener
    if progress:
        progress(sound.seconds, sound.seconds)
    if not listener.segments or not listener.words:
        raise NoSpeech(
            f"Nobody is heard speaking in this recording of {sound.seconds:.1f} s.",
            "Check the microphone and the level.", where=str(source),
        )
    return Heard(
        words=tuple(listener.words), segments=tuple(listener.segments), seconds=sound.seconds,
        dropped_words=listener.dropped_words, collapsed_loops=listener.collapsed_loops, sha256=sound.sha256,
        engine=chosen.name, model=chosen.model, model_sha256=chosen.sha256, notices=sound.notices,
    )


def _replayed(path: Path) -> Heard:
    stored = wordlist.read(path)
    if not stored.words:
        raise NoSpeech("The word list holds no words.", "Hand in a list with words.", where=str(path))
    return Heard(
        words=stored.words, segments=stored.segments, seconds=stored.seconds, dropped_words=0, collapsed_loops=0,
        sha256=stored.sha256, engine=stored.engine or "scripted", model=stored.model, model_sha256="",
        notices=stored.notices, source=stored.source,
    )


def _spoken(word: Word, spans: Sequence[tuple[float, float]]) -> bool:
    if word.start is None or word.end is None:
        return True
    return any(word.start <= end + SLACK and word.end >= start - SLACK for start, end in spans)


def _trimmed(word: Word, spans: Sequence[tuple[float, float]]) -> Word:
    """The word without the pause that the alignment put into it.

    An alignment lets a word begin where the one before it ended, so a word that reaches into a later span belongs
    there; else it belongs to the span that it fills most.
    """
    if word.start is None or word.end is None:
        return word
    first, last = word.start, word.end

    def overlap(span: tuple[float, float]) -> float:
        return min(last, span[1]) - max(first, span[0])

    reached = [span for span in spans if overlap(span) >= REACH]
    start, end = reached[-1] if reached else max(spans, key=overlap)
    begins, ends = max(first, start - SLACK), min(last, end + SLACK)
    return replace(word, start=round(begins, 2), end=round(ends, 2)) if begins < ends else word
