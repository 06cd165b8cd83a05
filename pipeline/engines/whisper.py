"""OpenAI Whisper by CTranslate2, stretch by stretch, on the processor alone.

Why so (measured on synthetic operative dictation): stretches of at most 15 s with bias words ("hotwords") give a
third of the errors of a whole file without; decoding without timestamp tokens avoids a second decode of the tail,
which invents closing phrases; temperature fallback takes a minute on noise, so temperature is 0 and a stretch that
loops is decoded once more without bias instead. Word times come from the alignment of the attention.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from pipeline import manifest
from pipeline.engines.base import Options, Result, collapse_loops, quantitative, twice
from pipeline.errors import EngineUnavailable
from pipeline.records import Segment, Word
from pipeline.sound import RATE, Samples

MEANING = "Whisper by CTranslate2 on the processor: the most accurate text, a few seconds after each stretch."

THREADS = 2
BEAM = 5
BIAS_TOKENS = 200
# The encoder hears the stretch and this much silence, instead of 30 s: a fifth of the work for a short utterance.
TAIL = 1.0
# Seconds that the encoder hears at least. Of 24 stretches of 1 to 3 s, 10 looped or broke off with a silence of 1 s
# alone, 6 with 2 s, 3 when filled up to 6 s, none when filled up to 10 s.
LEAST = 10.0
# Seconds that the alignment is early where words follow each other without a pause (`onsets.py`).
LEAD = 0.08
# Words a second over a whole stretch; common practice, no source: fast speech is about 6 at its quickest.
FASTEST_STRETCH = 5.5
# Tokens that a stretch may hold: dictation takes about 4 a second, and a decoder in a loop would go on to 224.
TOKENS_A_SECOND, TOKENS_MORE = 9, 16
HOP, FRAMES = 160, 3000
# A number, unit, side or negation that was at least so likely in place of a word is another reading. Of the critical
# words wrong in the tuning half it flagged 14 of 27 with 0.1 (0.05: 16), and 23 (28) of 446 right ones.
LIKELY = 0.1
OTHERS_TOLD = frozenset({"left", "right", "bilateral", "no", "not", "without"})
MARKS = ".,;:!?-"


@dataclass(frozen=True, slots=True)
class _Reading:
    """One decode of a stretch. `encoded`: what the encoder made of it; `texts`: token ids, best first; `pace`: words
    a second, before loops were collapsed; `endless`: it was cut off at the token limit; `twice`: a phrase
    stands twice running, which may be a loop or what was said."""

    encoded: Any
    texts: list[list[int]]
    words: tuple[Word, ...]
    loops: int
    pace: float
    endless: bool
    twice: bool

    @property
    def suspect(self) -> bool:
        """Whether the decoder looped, spoke faster than a voice can, or found nothing where somebody spoke."""
        return bool(self.loops) or self.endless or self.twice or self.pace > FASTEST_STRETCH or not self.words

    GOOD: ClassVar = (False, False, 0, False)

    def badness(self) -> tuple[bool, bool, int, bool]:
        return not self.words, self.endless, self.loops, self.pace > FASTEST_STRETCH


class Whisper:
    """Weights in memory, about 400 MB with the product around them."""

    name = "whisper"
    streams = False
    repeatable = True
    tail: float | None = TAIL
    lead = LEAD
    decoded_again = 0

    def __init__(self, model: manifest.Model) -> None:
        # Nothing may be fetched at run time, whatever the machine's environment says.
        os.environ["HF_HUB_OFFLINE"] = "1"
        folder = manifest.folder(model.name)
        from faster_whisper import WhisperModel

        self.model = model.name
        self.sha256 = model.sha256
        try:
            self.weights = WhisperModel(
                str(folder), device="cpu", compute_type="int8", cpu_threads=THREADS, local_files_only=True
            )
        except (RuntimeError, ValueError, OSError) as problem:
            raise EngineUnavailable(
                f"The weights of {model.name} cannot be loaded ({problem}).", "Run `voxop models verify`."
            ) from problem

    def open(self, options: Options) -> WhisperSession:
        """Raises EngineUnavailable for a language that the model does not know."""
        from faster_whisper.tokenizer import Tokenizer

        try:
            tokenizer = Tokenizer(
                self.weights.hf_tokenizer,
                self.weights.model.is_multilingual,
                task="transcribe",
                language=options.language,
            )
        except ValueError as problem:
            raise EngineUnavailable(
                f"{self.model} does not know the language '{options.language}'.", "Use 'en'."
            ) from problem
        return WhisperSession(self, tokenizer, options)


class WhisperSession:
    """Gathers the sound of a stretch and decodes it when the stretch ends."""

    def __init__(self, engine: Whisper, tokenizer: Any, options: Options) -> None:
        from faster_whisper.transcribe import get_suppressed_tokens

        self._engine = engine
        self._weights = engine.weights
        self._tokenizer = tokenizer
        self._alternatives = options.alternatives
        self._sound: list[Samples] = []
        self._plain = self._weights.get_prompt(tokenizer, [], without_timestamps=True)
        self._biased = self._weights.get_prompt(
            tokenizer, [], without_timestamps=True, hotwords=_fitting(tokenizer, options.bias) or None
        )
        self._suppressed = list(get_suppressed_tokens(tokenizer, [-1]))

    def feed(self, samples: Samples) -> Result | None:
        self._sound.append(samples)
        return None

    def end(self, segment: Segment) -> Result:
        """Decodes the stretch: one to three seconds of work on two cores for up to 15 s of sound."""
        sound = np.concatenate(self._sound) if self._sound else np.zeros(0, dtype=np.float32)
        self._sound = []
        if not len(sound):
            return Result(())
        best = self._read(self._encode(sound, self._engine.tail), self._biased, sound, segment)
        full = best.encoded if self._engine.tail is None else None
        if best.suspect and full is None:
            self._engine.decoded_again += 1
            full = self._encode(sound, None)
            best = min(self._read(full, self._biased, sound, segment), best, key=_Reading.badness)
        if best.badness() > _Reading.GOOD and self._biased != self._plain:
            full = self._encode(sound, None) if full is None else full
            best = min(best, self._read(full, self._plain, sound, segment), key=_Reading.badness)
        # The reading without bias says more than the runners-up of one beam, which differ by little.
        if self._alternatives and self._biased != self._plain:
            return Result(best.words, loops=best.loops, later=lambda: self._others(best, _most(sound)))
        return Result(best.words, loops=best.loops, alternatives=self._told(best, best.texts[1:]))

    def finish(self) -> Result:
        self._sound = []
        return Result(())

    def texts(self, samples: Samples) -> tuple[str, ...]:
        """One quick reading without bias words, times or a second try, as `Reader`: () for a loop or silence."""
        limit = _most(samples)
        result = self._weights.model.generate(
            self._encode(samples, self._engine.tail),
            [self._plain],
            beam_size=1,  # with more, the likelihoods of the other tokens are not given
            max_length=min(self._weights.max_length, len(self._plain) + limit),
            suppress_blank=True,
            suppress_tokens=self._suppressed,
            return_logits_vocab=True,
        )[0]
        tokens = [token for token in result.sequences_ids[0] if token < self._tokenizer.eot]
        text: str = self._tokenizer.decode(tokens).strip()
        too_fast = len(text.split()) > FASTEST_STRETCH * max(0.5, len(samples) / RATE)
        if not text or too_fast or len(tokens) >= limit:
            return ()
        pieces = [self._tokenizer.decode([token]) for token in tokens]
        likely = [[self._tokenizer.decode([int(token)]) for token in _likely(np.array(logits))]
                  for logits, _ in zip(result.logits[0], tokens, strict=False)]  # fmt: skip
        return tuple(dict.fromkeys([text, *nearly_read(pieces, likely)]))

    def _others(self, best: _Reading, limit: int) -> tuple[str, ...]:
        return self._told(best, self._decode(best.encoded, self._plain, limit, 1))

    def _told(self, best: _Reading, others: list[list[int]]) -> tuple[str, ...]:
        """The readings as text, without those that say the same as the best one."""
        told = dict.fromkeys(self._tokenizer.decode(tokens).strip() for tokens in others)
        told.pop(self._tokenizer.decode(best.texts[0]).strip(), None)
        return tuple(told)[: self._alternatives]

    def _encode(self, sound: Samples, tail: float | None) -> Any:
        """What the encoder makes of the sound and `tail` seconds of silence after it, LEAST seconds or more;
        None: filled up to 30 s.

        The silence is added to the sound, not to the features: a decoder that meets made-up features loops.
        """
        if tail is None:
            return self._weights.encode(_fill(self._weights.feature_extractor(sound)))
        silence = round(max(tail, LEAST - len(sound) / RATE) * RATE)
        padded = np.concatenate([sound, np.zeros(silence, dtype=np.float32)])
        features = self._weights.feature_extractor(padded)
        return self._weights.encode(features[:, : min(features.shape[-1] // 2 * 2, FRAMES)])

    def _read(self, encoded: Any, prompt: list[int], sound: Samples, segment: Segment) -> _Reading:
        seconds = len(sound) / RATE
        limit = _most(sound)
        runners_up = 0 if self._biased != self._plain else self._alternatives
        texts = self._decode(encoded, prompt, limit, 1 + runners_up)
        said = self._words(encoded, texts[0], min(len(sound) // HOP, FRAMES), segment)
        words, loops = collapse_loops(said)
        pace = len(said) / max(0.5, seconds)
        return _Reading(encoded, texts, words, loops, pace, len(texts[0]) >= limit, twice(words))

    def _decode(self, encoded: Any, prompt: list[int], limit: int, readings: int) -> list[list[int]]:
        """Token ids of the best reading, then of its runners-up: `readings` in all, at most BEAM."""
        result = self._weights.model.generate(
            encoded,
            [prompt],
            beam_size=BEAM,
            num_hypotheses=min(BEAM, readings),
            max_length=min(self._weights.max_length, len(prompt) + limit),
            suppress_blank=True,
            suppress_tokens=self._suppressed,
        )[0]
        end = self._tokenizer.eot
        return [[token for token in tokens if token < end] for tokens in result.sequences_ids]

    def _words(self, encoded: Any, tokens: list[int], frames: int, segment: Segment) -> list[Word]:
        if not tokens:
            return []
        words: list[Word] = []
        aligned = self._weights.find_alignment(self._tokenizer, [tokens], encoded, frames)[0]
        for text, start, end, sure in _glued(aligned):
            begins = min(segment.start + start, segment.end)
            ends = min(max(begins, segment.start + end), segment.end)
            words.append(Word(
                id=len(words), text=text, start=round(begins, 2), end=round(ends, 2), confidence=round(sure, 3),
                heard_by=Whisper.name, segment=segment.index,
            ))
        return words


def load(model: str | None = None) -> Whisper:
    """Loads the named model or the default one.

    Raises UnknownName, ModelMissing, ModelDamaged, EngineUnavailable.
    """
    return Whisper(manifest.choose("whisper", model))


def _glued(aligned: list[dict[str, Any]]) -> Iterator[tuple[str, float, float, float]]:
    """(text, start, end, confidence) of whole words: the tokeniser parts "0.25%" and "34-year-old" at every mark,
    and only what begins with a blank begins a word. The confidence is that of the least sure part."""
    text, start, end, sure = "", 0.0, 0.0, 1.0
    for item in aligned:
        part = item["word"]
        if part[:1].isspace() and text.strip():
            yield text.strip(), start, end, sure
            text = ""
        if not text.strip():
            start, sure = float(item["start"]), 1.0
        text += part
        if part.strip():
            end, sure = float(item["end"]), min(sure, float(item["probability"]))
    if text.strip():
        yield text.strip(), start, end, sure


def nearly_read(pieces: Sequence[str], likely: Sequence[Sequence[str]]) -> list[str]:
    """The text of `pieces` with one word replaced, for each piece that was likely too and makes a number, a unit, a
    side or a negation there. A piece that begins with a blank begins a word. Pure."""
    begins = [0, *(at for at, piece in enumerate(pieces) if at and piece[:1].isspace()), len(pieces)]
    found = []
    for start, end in pairwise(begins):
        for at in range(start, end):
            for other in likely[at]:
                word = other if other[:1].isspace() else "".join([*pieces[start:at], other])
                plain = word.strip().strip(MARKS)
                if other == pieces[at] or not (quantitative(plain) or plain.casefold() in OTHERS_TOLD):
                    continue
                last = pieces[end - 1].strip()
                mark = last if at < end - 1 and last and not last.strip(MARKS) else ""
                found.append("".join([*pieces[:start], word, mark, *pieces[end:]]).strip())
    return found


def _likely(logits: npt.NDArray[np.float32]) -> npt.NDArray[np.int64]:
    """Numbers of the tokens that were likelier than LIKELY."""
    scores = np.exp(logits - logits.max())
    return np.flatnonzero(scores > LIKELY * scores.sum())


def _most(sound: Samples) -> int:
    """More tokens than a voice can say in this sound: a decoder that goes on is in a loop."""
    return round(TOKENS_A_SECOND * len(sound) / RATE) + TOKENS_MORE


def _fill(features: Any) -> Any:
    """Features padded to the 30 s that the encoder was trained on."""
    from faster_whisper.transcribe import pad_or_trim

    return pad_or_trim(features)


def _fitting(tokenizer: Any, bias: tuple[str, ...]) -> str:
    """As many whole bias words, from the first on, as the prompt holds."""
    chosen: list[str] = []
    for term in bias:
        if len(tokenizer.encode(" " + ", ".join([*chosen, term]))) > BIAS_TOKENS:
            break
        chosen.append(term)
    return ", ".join(chosen)
