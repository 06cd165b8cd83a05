"""Vosk (Kaldi) on the processor: partial words while the voice still speaks, and closed lists of words.

A model answers at once but writes fewer words right than Whisper does. `Grammar` asks a stretch of sound which of a
few phrases was said; only a model with a look-ahead graph (HCLr.fst and Gr.fst) takes such a list at run time.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log
from pathlib import Path
from typing import Any

import numpy as np

from pipeline import manifest
from pipeline.engines.base import Options, Result
from pipeline.errors import EngineUnavailable, ModelMissing
from pipeline.records import Segment, Word
from pipeline.sound import RATE, Samples

MEANING = "Vosk (Kaldi) on the processor: words while they are spoken, and closed lists of words."

UNKNOWN = "[unk]"
ADD = "Add one with `voxop models add PATH`: a model for Vosk as its publisher packs it, a folder or a zip."
# Of Vosk: the share of a closed list's bigram for the pairs in it, and what the costs of a graph are weighed with.
SEEN, GRAPH_SCALE = 0.5, 0.9
# What a search drops is worse than its best by more than this, where conf/model.conf does not say it.
BEAM = 2.0
_BEAM = re.compile(r"--lattice-beam=([\d.]+)")
# Silence after a stretch, so that the net, which looks ahead, hears its end.
TAIL = 0.4


@dataclass(frozen=True, slots=True)
class Choice:
    """One phrase of a closed list. `score`: the log-likelihood of the whole stretch under it; only differences
    between the choices of one stretch mean something."""

    text: str
    score: float


@dataclass(frozen=True, slots=True)
class Fit:
    """Log-likelihood of a stretch of sound under one way to say it; only differences mean something. `exact`: False
    where the search dropped it, so that it is lower than `score`."""

    score: float
    exact: bool


class Vosk:
    """A model in memory."""

    name = "vosk"
    streams = True

    def __init__(self, chosen: manifest.Model) -> None:
        folder = manifest.folder(chosen.name)
        try:
            import vosk
        except (ImportError, OSError) as problem:
            raise EngineUnavailable(f"vosk cannot be used ({problem}).", "Install vosk==0.3.45.") from problem
        vosk.SetLogLevel(-1)
        self._vosk = vosk
        self.model = chosen.name
        self.sha256 = chosen.sha256
        self.language = chosen.language
        self.folder = Path(folder)
        conf = folder / "conf" / "model.conf"
        said = _BEAM.search(conf.read_text(encoding="utf-8")) if conf.is_file() else None
        self._beam = float(said[1]) if said else BEAM
        self.takes_lists = all((folder / "graph" / name).is_file() for name in ("HCLr.fst", "Gr.fst"))
        try:
            self.weights = vosk.Model(str(folder))
        except Exception as problem:  # vosk raises plain Exception when a model cannot be read
            raise EngineUnavailable(
                f"The model {chosen.name} cannot be loaded by vosk.", "Run `voxop models verify`, or add it again."
            ) from problem

    def knows(self, word: str) -> bool:
        """Whether the word is in the model's vocabulary."""
        return int(self.weights.vosk_model_find_word(word)) >= 0

    def unknown(self, words: Sequence[str]) -> tuple[str, ...]:
        """Those of the words that the model does not know, in their order, once each."""
        parts = dict.fromkeys(part for word in words for part in word.casefold().split())
        return tuple(part for part in parts if part != UNKNOWN and not self.knows(part))

    def open(self, options: Options) -> VoskSession:
        """Raises EngineUnavailable for another language than the model's. Bias words are not used: Vosk takes none."""
        if options.language != self.language:
            raise EngineUnavailable(
                f"{self.model} understands '{self.language}', not '{options.language}'.",
                "Name a model of that language.",
            )
        return VoskSession(self.recogniser(), options.alternatives)

    def recogniser(self, phrases: Sequence[str] | None = None) -> Any:
        """A recogniser of the package, free or for a closed list.

        Raises EngineUnavailable when the model takes no list or does not know a word of it.
        """
        if phrases is None:
            return self._made()
        if not self.takes_lists:
            raise EngineUnavailable(
                f"{self.model} has a fixed graph and takes no list of words at run time.",
                "Use a model with graph/HCLr.fst and graph/Gr.fst.",
            )
        if lacking := self.unknown(phrases):
            raise EngineUnavailable(f"{self.model} does not know: {', '.join(lacking)}.", "Leave these words out.")
        return self._made(json.dumps(list(phrases)))

    def _made(self, *closed: str) -> Any:
        try:
            return self._vosk.KaldiRecognizer(self.weights, RATE, *closed)
        except Exception as problem:  # vosk raises plain Exception for a graph that cannot be read
            raise EngineUnavailable(
                f"The model {self.model} is not whole: vosk makes no recogniser of it.",
                "Run `voxop models verify`, or add it again from its publisher's archive.",
            ) from problem

    def listening(self, phrases: Sequence[str]) -> VoskList:
        """Listens for these phrases and for anything else. Raises EngineUnavailable as `recogniser` does."""
        return VoskList(self.recogniser([*phrases, UNKNOWN]))

    def weigh(
        self, sound: Samples, ways: Sequence[tuple[str, ...]], left: tuple[str, ...], right: tuple[str, ...]
    ) -> dict[tuple[str, ...], Fit]:
        """Log-likelihood of the sound under each of the ways to say something, with what was said before and after it.

        Words of `left` and `right` may be lost or come twice (the sound was cut within them), and anything else may
        lie around. Raises EngineUnavailable as `recogniser` does.
        """
        phrases = {way: (*left, *way, *right) for way in ways}
        listed = [*dict.fromkeys(" ".join(phrase) for phrase in phrases.values()), UNKNOWN]
        told = self._readings(sound, listed, 10 + 10 * len(ways))
        top = max((score for _, score in told), default=-np.inf)
        found: dict[tuple[str, ...], Fit] = {}
        for way, phrase in phrases.items():
            fits = [score + GRAPH_SCALE * list_cost(text, listed) for text, score in told
                    if _holds(text, way, {*left, *right, UNKNOWN})]  # fmt: skip
            dropped = top - self._beam + GRAPH_SCALE * list_cost(phrase, listed)
            found[way] = Fit(max(fits), True) if fits else Fit(dropped, False)
        return found

    def choose(self, sound: Samples, phrases: Sequence[str]) -> tuple[Choice, ...]:
        """How well each phrase fits the whole sound, best first; phrases that do not fit at all are left out.

        `sound`: shape (samples,), 16 kHz. Raises EngineUnavailable as `recogniser` does.
        """
        wanted = {" ".join(phrase.split()) for phrase in phrases}
        best: dict[str, float] = {}
        for words, score in self._readings(sound, phrases, max(10, 2 * len(phrases))):
            if (text := " ".join(words)) in wanted:
                best[text] = max(best.get(text, -np.inf), score)
        return tuple(Choice(text, score) for text, score in sorted(best.items(), key=lambda pair: -pair[1]))

    def _readings(self, sound: Samples, phrases: Sequence[str], most: int) -> list[tuple[list[str], float]]:
        """The likeliest texts over a closed list, with their scores."""
        recogniser = self.recogniser(phrases)
        recogniser.SetMaxAlternatives(most)
        for piece in (*_split(sound), np.zeros(round(TAIL * RATE), np.float32)):
            recogniser.AcceptWaveform(_bytes(piece))
        found = json.loads(recogniser.FinalResult()).get("alternatives", ())
        return [(str(one.get("text", "")).split(), float(one["confidence"])) for one in found]


def _holds(text: Sequence[str], way: tuple[str, ...], around: Collection[str]) -> bool:
    """Whether the text is the way with nothing but words of `around` before and after it."""
    size = len(way)
    return any(
        tuple(text[at : at + size]) == way and all(word in around for word in (*text[:at], *text[at + size :]))
        for at in range(len(text) - size + 1)
    )


def list_cost(text: Sequence[str], listed: Sequence[str]) -> float:
    """What a closed list adds to the cost (-log) of a text, so that it can be taken out of a score: Vosk makes a bigram
    of the list, half of it for the pairs in it, half for any word of it (language_model.cc of vosk-api)."""
    single: Counter[str] = Counter()
    pairs: Counter[tuple[str, str]] = Counter()
    begun: Counter[str] = Counter()
    for phrase in listed:
        words = [*phrase.split(), ""]
        single.update(words)
        pairs.update(pairwise(words))
        begun.update(words[:-1])
    total, cost, before = single.total(), 0.0, None
    for word in [*text, ""]:
        plain = SEEN * single[word] / total
        if before is None:
            cost -= log(plain)
        else:
            cost -= log(max(SEEN * pairs[before, word] / begun[before], (1 - SEEN) * plain))
        before = word
    return cost


class VoskList:
    """Listens without end for the phrases of a closed list; what fits none of them is `UNKNOWN`."""

    def __init__(self, recogniser: Any) -> None:
        self._recogniser = recogniser
        recogniser.SetWords(True)

    def feed(self, samples: Samples) -> tuple[Word, ...]:
        """The words up to a pause, once it is reached, with times in seconds of all the sound fed."""
        found: list[dict[str, Any]] = []
        for piece in _split(samples):
            if self._recogniser.AcceptWaveform(_bytes(piece)):
                found += json.loads(self._recogniser.Result()).get("result", ())
        return _words(found, 0.0, None, sure=True)

    def finish(self) -> tuple[Word, ...]:
        """The words since the last pause."""
        self._recogniser.AcceptWaveform(_bytes(np.zeros(round(TAIL * RATE), np.float32)))
        return _words(json.loads(self._recogniser.FinalResult()).get("result", ()), 0.0, None, sure=True)


class VoskSession:
    """Hears stretch after stretch; partial words come as soon as they are likely."""

    def __init__(self, recogniser: Any, alternatives: int = 0) -> None:
        self._recogniser = recogniser
        self._alternatives = alternatives
        recogniser.SetWords(True)
        if alternatives:
            recogniser.SetMaxAlternatives(alternatives + 1)
        self._done: list[dict[str, Any]] = []
        self._others: list[list[str]] = []
        self._offset = 0.0  # seconds that the recogniser heard before the stretch under way
        self._heard = 0.0

    def feed(self, samples: Samples) -> Result | None:
        """Partial words have no times: to align them each time would cost more than to hear them."""
        if not len(samples):
            return None
        self._take(samples)
        told = json.loads(self._recogniser.PartialResult())
        under_way = [{"word": word} for word in str(told.get("partial", "")).split()]
        words = _words([{"word": one["word"]} for one in self._done] + under_way, 0.0, None, sure=False)
        return Result(words, final=False) if words else None

    def end(self, segment: Segment) -> Result:
        """Words with times within the segment; without confidence where other readings were asked for."""
        self._take(np.zeros(round(TAIL * RATE), np.float32))
        self._keep(self._recogniser.FinalResult())
        words = _words(self._done, segment.start - self._offset, segment, sure=not self._alternatives)
        others = tuple(" ".join(filter(None, parts)) for parts in self._readings())
        self._done, self._others = [], []
        self._recogniser.Reset()
        self._offset = self._heard
        return Result(words, alternatives=others)

    def finish(self) -> Result:
        return Result(())

    def _take(self, samples: Samples) -> None:
        for piece in _split(samples):
            self._heard += len(piece) / RATE
            if self._recogniser.AcceptWaveform(_bytes(piece)):
                self._keep(self._recogniser.Result())

    def _keep(self, told: str) -> None:
        """Takes in a final result: a stretch may hold several, where the speaker paused."""
        read = json.loads(told)
        if "alternatives" in read:
            ways = read["alternatives"]
            if ways:
                self._done += ways[0].get("result", ())
                self._others.append([str(way["text"]).strip() for way in ways])
        else:
            self._done += read.get("result", ())

    def _readings(self) -> list[list[str]]:
        """Readings of the whole stretch other than the best: one part is read otherwise, the rest as it was best."""
        best = [ways[0] for ways in self._others]
        found = [
            [*best[:at], way, *best[at + 1 :]] for at, ways in enumerate(self._others) for way in ways[1:]
            if way != ways[0]
        ]  # fmt: skip
        return found[: self._alternatives]


def load(model: str | None = None) -> Vosk:
    """Loads the named model or the default one.

    Raises UnknownName, ModelMissing, ModelDamaged, EngineUnavailable.
    """
    try:
        chosen = manifest.choose("vosk", model)
    except ModelMissing as problem:
        raise ModelMissing("There is no model for the engine 'vosk'.", ADD) from problem
    return Vosk(chosen)


def _words(
    told: Sequence[dict[str, Any]], shift: float, segment: Segment | None, *, sure: bool
) -> tuple[Word, ...]:
    """Words of Vosk's answer, its times moved by `shift` seconds and kept within the segment."""
    words: list[Word] = []
    for one in told:
        start = end = None
        if "start" in one:
            start, end = one["start"] + shift, one["end"] + shift
            if segment is not None:
                start = min(max(start, segment.start), segment.end)
                end = min(max(end, start), segment.end)
            start, end = round(max(0.0, start), 2), round(max(0.0, end), 2)
        confidence = round(min(1.0, float(one["conf"])), 3) if sure and "conf" in one else None
        words.append(Word(
            id=len(words), text=one["word"], start=start, end=end, confidence=confidence, heard_by=Vosk.name,
            segment=segment.index if segment is not None else 0,
        ))  # fmt: skip
    return tuple(words)


def _split(samples: Samples) -> list[Samples]:
    """Pieces of a quarter of a second: what the recogniser takes best."""
    size = RATE // 4
    return [samples[at : at + size] for at in range(0, len(samples), size)]


def _bytes(samples: Samples) -> bytes:
    return (np.clip(samples, -1.0, 1.0) * 32767).astype("<i2").tobytes()
