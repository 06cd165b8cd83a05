"""What every recogniser is, and what all of them share: the bias guard and the loop guard.

An engine is a module of this folder with `MEANING` (one plain sentence) and `load(model=None) -> Engine`. It is used
so, by `listen.py`:

    engine = load()                          # slow: reads the weights; once
    session = engine.open(Options(bias=...)) # quick: one for each recording
    for each stretch of speech:
        session.feed(samples)                # any number of pieces, in order -> what is heard so far, or None
        session.end(segment)                 # the stretch is over -> its final words
    session.finish()                         # -> what is left

`feed` may be called while the stretch is still being spoken (`streams` says whether partial words come of it).
Stretches come from `segments.py` for every engine, so that none of them hears silence or noise.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from rapidfuzz import fuzz

from pipeline.records import Segment, Word
from pipeline.sound import Samples

BIAS_LIMIT = 80
# No voice speaks words faster than this for long; a decoder in a loop does. Common practice, no source: fast
# speech is about 6 words a second.
FASTEST = 8.0
LONGEST_PHRASE = 12
# Likeness (0..100, rapidfuzz) of a phrase and its repeat: "no concerns for recovery, no concern for recovery".
NEARLY = 90


@dataclass(frozen=True, slots=True)
class Options:
    """What a session is opened with.

    `bias`: terms that are likely, most useful first, already through `safe_bias`. `language`: ISO 639-1.
    `alternatives`: how many other readings of each stretch are wanted. `script`: word list for `scripted`.
    """

    bias: tuple[str, ...] = ()
    language: str = "en"
    alternatives: int = 0
    script: Path | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """What was heard in a stretch. Word ids count within the result; times are seconds of the recording.

    `final`: false for a partial result, which the next one replaces. `loops`: repeats that were collapsed.
    `alternatives`: other readings of the whole stretch as text, best first. `later`: gives them when it is called,
    for an engine that must work for them: the words need not wait. `revised`: the same final words again, which now
    say where those readings differ.
    """

    words: tuple[Word, ...]
    final: bool = True
    loops: int = 0
    alternatives: tuple[str, ...] = field(default=())
    later: Callable[[], tuple[str, ...]] | None = field(default=None, compare=False)
    revised: bool = False


class Session(Protocol):
    """One recording under way."""

    def feed(self, samples: Samples) -> Result | None:
        """Takes in sound of the stretch under way, shape (samples,); gives a partial result or None."""

    def end(self, segment: Segment) -> Result:
        """Ends the stretch; gives its final words, with times within the segment."""

    def finish(self) -> Result:
        """Ends the session; gives words that belong to no stretch (most engines: none)."""


class Reader(Protocol):
    """Other weights that read a stretch once more, quickly: text alone, to be compared with what was heard."""

    def texts(self, samples: Samples) -> tuple[str, ...]:
        """What they read in the sound of one stretch, shape (samples,), then the same with each number, unit, side or
        negation that was nearly read in place of a word; () where they cannot be trusted."""


class Engine(Protocol):
    """A recogniser with its weights in memory. `model`: name in the manifest, "" without; `sha256`: of the model.

    One that has `repeatable = True` may be given a stretch before it is sure to have ended, and again if it goes on.
    One that has a `lead` gives word times that are so many seconds early; `onsets.py` puts them right.
    """

    name: str
    model: str
    sha256: str
    streams: bool

    def open(self, options: Options) -> Session:
        """Opens a session. Raises EngineUnavailable when the options cannot be met."""


_NUMBERS = """
zero oh nought aught nil one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen
sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred hundreds thousand
thousands million millions billion dozen half halves quarter quarters third thirds fourth fifth sixth seventh eighth
ninth tenth eleventh twelfth first second once twice thrice point minus percent percentage ratio
"""
# "foot" is left out: said in theatre, it is the limb.
_UNITS = """
ml mls cc ccs mg mgs mcg mcgs ug kg kgs g gm gms l cl dl mm cm km nm mol mmol meq iu u unit units mic mics micron
microns inch inches fr french gauge degree degrees celsius fahrenheit minute minutes min mins hour hours hr hrs sec
secs seconds day days week weeks month months year years mmhg hg mercury torr pascal kpa bar psi watt watts volt volts
joule joules hertz hz ampere amperes newton newtons dose doses ampoule ampoules vial vials tablet tablets
"""
_NUMBER_WORDS, _UNIT_WORDS = frozenset(_NUMBERS.split()), frozenset(_UNITS.split())
_METRIC = re.compile(r"(milli|micro|centi|deci|kilo|nano)?(gram|gramme|litre|liter|metre|meter|mole?)s?")
_ROMAN = re.compile(r"[IVX]{2,}")
_PARTS = re.compile(r"[^\W_]+")


def safe_bias(terms: Iterable[str], units: Iterable[str] = (), limit: int = BIAS_LIMIT) -> tuple[str, ...]:
    """The first `limit` different terms, in the order given, without any that holds a number, unit, dose or size.

    A biased decoder writes its bias into unclear sound: a size or a dose must never get there. `units`: further
    unit words, as the grammar says them.
    """
    barred = frozenset(part.casefold() for unit in units for part in _PARTS.findall(unit))
    kept: dict[str, str] = {}
    for term in terms:
        text = " ".join(term.split())
        parts = _PARTS.findall(text)
        if not parts or any(quantitative(part, barred) for part in parts) or "%" in text:
            continue
        kept.setdefault(text.casefold(), text)
        if len(kept) == limit:
            break
    return tuple(kept.values())


def quantitative(word: str, units: frozenset[str] = frozenset()) -> bool:
    """Whether a word is a number, a unit, a Roman numeral or holds a digit. `units`: further unit words."""
    low = word.casefold()
    return (
        any(sign.isnumeric() for sign in word)
        or low in _NUMBER_WORDS
        or low in _UNIT_WORDS
        or low in units
        or _METRIC.fullmatch(low) is not None
        or _ROMAN.fullmatch(word) is not None
    )


def collapse_loops(words: Sequence[Word]) -> tuple[tuple[Word, ...], int]:
    """Words without the repeats of a decoder caught in a loop, and how many phrases were repeated so.

    Only repeats at a pace that no voice reaches are a loop: "five millilitres" said at three draws stays.
    Words without times are left as they are.
    """
    kept = list(words)
    loops = 0
    at = 0
    while at < len(kept):
        for size in range(1, min(LONGEST_PHRASE, (len(kept) - at) // 2) + 1):
            times = _repeats(kept, at, size)
            if times > 1 and _too_fast(kept[at + size : at + size * times], at_least=4 if size == 1 else 3):
                del kept[at + size : at + size * times]
                loops += 1
                break
        at += 1
    return tuple(kept), loops


def twice(words: Sequence[Word], at_least: int = 2) -> bool:
    """Whether a phrase of so many words or more stands twice running, at whatever pace, letter for letter or nearly."""
    plain = [_plain(word) for word in words]
    return any(
        fuzz.ratio(" ".join(plain[at : at + size]), " ".join(plain[at + size : at + 2 * size]), score_cutoff=NEARLY)
        for size in range(at_least, len(plain) // 2 + 1)
        for at in range(len(plain) - 2 * size + 1)
    )


def _repeats(words: Sequence[Word], at: int, size: int) -> int:
    phrase = [_plain(word) for word in words[at : at + size]]
    times = 1
    while [_plain(word) for word in words[at + size * times : at + size * (times + 1)]] == phrase:
        times += 1
    return times


def _plain(word: Word) -> str:
    return word.text.casefold().strip(".,;:!?")


def _too_fast(words: Sequence[Word], at_least: int) -> bool:
    first, last = words[0].start, words[-1].end
    if first is None or last is None or len(words) < at_least:
        return False
    return len(words) > FASTEST * (last - first)
