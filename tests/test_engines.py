"""Recognisers in one protocol: bias without numbers, loops, replayed words, and real words from real sound."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest

from pipeline import listen, plugins, wordlist
from pipeline.engines import scripted
from pipeline.engines.base import BIAS_LIMIT, Options, Result, collapse_loops, safe_bias
from pipeline.errors import EngineUnavailable, NoSpeech, UnknownName
from pipeline.records import Segment, Word
from tests import test_segments
from tests.voice import speak

RATE = 16_000


def wav(path: Path, sound: np.ndarray) -> Path:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((np.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())
    return path


def timed(text: str, pace: float = 0.3, start: float = 0.0) -> list[Word]:
    return [
        Word(id=n, text=part, start=round(start + n * pace, 3), end=round(start + (n + 1) * pace, 3))
        for n, part in enumerate(text.split())
    ]


def text_of(words: tuple[Word, ...] | list[Word]) -> str:
    return " ".join(word.text for word in words)


# --- the bias guard


@pytest.mark.parametrize(
    "term",
    [
        "2-0 Vicryl", "three-oh Monocryl", "0.5% bupivacaine", "five millilitres", "ten", "Ten blade", "milligram",
        "micrograms per kilogram", "ML", "11 gauge needle", "14 French", "half", "twenty-two", "type II", "L4-L5",
        "1:200,000", "½", "four by four", "first draw", "percent", "mmHg", "two thousand units", "²", "٣", "dose",
        "millimeters of mercury", "mL", "one-hole plate", "", "  ", "—",
    ],
)
def test_no_number_unit_dose_or_size_gets_into_the_bias(term: str) -> None:
    assert safe_bias([term, "cefazolin"]) == ("cefazolin",)


@pytest.mark.parametrize(
    "term",
    ["Vicryl", "microfracture", "tenodesis", "foot drop", "intravenous", "tenotomy", "gluteus medius", "weight bearing",
     "ondansetron", "onlay", "V-Loc"],
)
def test_terms_that_only_look_like_numbers_stay(term: str) -> None:
    assert safe_bias([term]) == (term,)


def test_bias_is_ranked_capped_and_without_repeats() -> None:
    assert safe_bias(["talus", "Talus", " bone  marrow ", "awl"], limit=2) == ("talus", "bone marrow")
    assert len(safe_bias(f"term{chr(97 + n // 26)}{chr(97 + n % 26)}" for n in range(300))) == BIAS_LIMIT
    assert safe_bias(["three clicks", "clicks", "shaver"], units=["click", "clicks"]) == ("shaver",)


# --- the loop guard


def test_a_loop_no_voice_can_speak_is_collapsed_and_counted() -> None:
    words = [*timed("the wound was closed"), *timed("in layers " * 8, pace=0.03, start=1.2)]
    kept, loops = collapse_loops(words)
    assert text_of(kept) == "the wound was closed in layers"
    assert loops == 1


def test_repeats_at_a_speakable_pace_stay() -> None:
    draws = timed("five milliliters five milliliters five milliliters no no no")
    assert collapse_loops(draws) == (tuple(draws), 0)


def test_typed_words_are_left_alone() -> None:
    typed = [Word(id=n, text="no") for n in range(9)]
    assert collapse_loops(typed) == (tuple(typed), 0)


# --- scripted, and the driver on it


@pytest.fixture
def script(tmp_path: Path) -> Path:
    words = (
        Word(id=0, text="left", start=1.2, end=1.5, confidence=0.9, heard_by="whisper"),
        Word(id=1, text="cefazolin,", last=3, start=1.5, end=2.0, heard="ceph as all in", others=("cefazoline",)),
        Word(id=4, text="ghost", start=0.1, end=0.3),
        Word(id=5, text="done", start=4.0, end=4.4, segment=1),
    )
    ordered = (words[2], words[0], words[1], words[3])
    numbered = []
    following = 0
    for word in ordered:
        width = word.last - word.id
        numbered.append(Word(id=following, text=word.text, last=following + width, start=word.start, end=word.end,
                             confidence=word.confidence, heard_by=word.heard_by, heard=word.heard,
                             segment=word.segment, others=word.others))
        following += width + 1
    path = tmp_path / "words.json"
    path.write_bytes(wordlist.dump(wordlist.WordList(tuple(numbered), (Segment(0, 1.0, 2.2), Segment(1, 3.9, 4.6)))))
    return path


def test_scripted_gives_words_when_their_stretch_ends(script: Path) -> None:
    session = scripted.load().open(Options(script=script))
    assert session.feed(np.zeros(16_000, dtype=np.float32)) is None
    assert text_of(session.end(Segment(0, 1.0, 2.2)).words) == "ghost left cefazolin,"
    assert text_of(session.end(Segment(1, 3.9, 4.6)).words) == "done"
    assert session.finish() == Result(())


def test_scripted_needs_a_script_and_no_model() -> None:
    with pytest.raises(EngineUnavailable, match=r"words\.json"):
        scripted.load().open(Options())
    with pytest.raises(UnknownName):
        scripted.load("big")


def test_words_where_nobody_speaks_are_dropped_counted_and_ids_stay_whole(script: Path) -> None:
    spoken = speak("The left ankle was prepped and draped.")
    sound = np.concatenate([test_segments.quiet(1.0), spoken, test_segments.quiet(2.0)])
    listener = listen.Listener(scripted.load(), Options(script=script))
    results = [*listener.feed(sound), *listener.finish()]
    assert listener.dropped_words == 1
    assert text_of(listener.words) == "left cefazolin, done"
    assert [(word.id, word.last) for word in listener.words] == [(0, 0), (1, 3), (4, 4)]
    assert [result.final for result in results] == [True, True]
    assert listener.words[1].heard == "ceph as all in"


class _Streaming:
    """An engine that hears one word for each half second, while it is spoken."""

    name, model, sha256, streams = "streaming", "", "", True

    def __init__(self) -> None:
        self.samples = 0
        self.pieces = 0

    def open(self, options: Options) -> _Streaming:
        return self

    def _words(self, start: float) -> tuple[Word, ...]:
        count = self.samples // 8_000
        return tuple(Word(n, f"w{n}", start=start + n / 2, end=start + n / 2 + 0.4) for n in range(count))

    def feed(self, samples: np.ndarray) -> Result | None:
        self.samples += len(samples)
        self.pieces += 1
        return Result(self._words(0.0), final=False)

    def end(self, segment: Segment) -> Result:
        assert self.samples == round((segment.end - segment.start) * RATE), "the stretch is fed once, without a hole"
        result = Result(self._words(segment.start))
        self.samples = 0
        return result

    def finish(self) -> Result:
        return Result(())


def test_a_streaming_engine_gets_each_stretch_once_and_gives_partial_words() -> None:
    sentence = speak("The synovium was debrided with a shaver and unstable cartilage was removed with a curette")
    sound = np.concatenate([test_segments.quiet(0.5), *[sentence] * 5, test_segments.quiet(2.0),
                            speak("No complications."), test_segments.quiet(2.0)])
    listener = listen.Listener(_Streaming(), Options())
    results: list[Result] = []
    for start in range(0, len(sound), 4_000):
        results += listener.feed(sound[start : start + 4_000])
    results += listener.finish()
    assert len(listener.segments) >= 3
    assert sum(not result.final for result in results) > 10
    assert sum(result.final for result in results) == len(listener.segments)
    ids = [word.id for word in listener.words]
    assert ids == list(range(len(ids)))


# --- hear()


@pytest.mark.parametrize("sound", [test_segments.silence, test_segments.noise, test_segments.beeps, test_segments.hum,
                                   test_segments.suction, test_segments.saw, test_segments.bangs,
                                   test_segments.music])
def test_where_nobody_speaks_there_are_no_words(tmp_path: Path, sound: object) -> None:
    assert callable(sound)
    with pytest.raises(NoSpeech) as caught:
        listen.hear(wav(tmp_path / "x.wav", sound()), engine=_Streaming(), bias=["bupivacaine", "Vicryl"])
    assert "10.0 s" in str(caught.value)


def test_a_word_list_is_heard_as_it_stands(script: Path) -> None:
    heard = listen.hear(script)
    assert heard.words == wordlist.read(script).words
    assert heard.segments == wordlist.read(script).segments
    assert wordlist.parse(wordlist.dump(heard.stored())).words == heard.words


def test_an_engine_that_does_not_exist(tmp_path: Path) -> None:
    with pytest.raises(UnknownName, match="scripted"):
        listen.hear(wav(tmp_path / "x.wav", test_segments.quiet(1.0)), "telepathy")


def test_every_engine_module_keeps_the_protocol() -> None:
    assert {"scripted", "whisper"} <= set(plugins.names(listen.ENGINES))
    for module in plugins.every(listen.ENGINES):
        assert module.MEANING.endswith(".")
        assert callable(module.load)


@pytest.fixture(scope="module")
def whisper() -> object:
    return plugins.find(listen.ENGINES, "whisper").load()


SAID = ("Left ankle arthroscopy. Cefazolin, two grams, was given. ",
        "Total tourniquet time, forty-eight minutes. No complications.")


@pytest.mark.slow
def test_real_words_from_real_sound(tmp_path: Path, whisper: object) -> None:
    first, second = (speak(part) for part in SAID)
    before, between = test_segments.quiet(1.0), test_segments.quiet(2.5)
    sound = np.concatenate([before, first, between, second, before])
    told: list[tuple[float, float]] = []
    heard = listen.hear(wav(tmp_path / "x.wav", sound), engine=whisper, bias=["cefazolin", "tourniquet", "arthroscopy"],
                        progress=lambda done, total: told.append((done, total)))
    plain = [word.text.casefold().strip(".,;:") for word in heard.words]
    for expected in ("left", "ankle", "arthroscopy", "cefazolin", "grams", "tourniquet", "48", "minutes", "no",
                     "complications"):
        assert expected in plain
    assert (heard.dropped_words, heard.collapsed_loops, heard.notices) == (0, 0, ())
    assert heard.model == "whisper-base"
    assert len(heard.sha256) == 64
    assert [word.id for word in heard.words] == list(range(len(heard.words)))
    assert all(word.confidence is not None and 0 <= word.confidence <= 1 for word in heard.words)
    assert all(word.text == word.text.strip() != "" for word in heard.words)
    # Times: in order, within their stretch, and each word on its own side of the pause.
    starts = [word.start for word in heard.words if word.start is not None]
    assert len(starts) == len(heard.words)
    assert starts == sorted(starts)
    assert plain.index("total") > plain.index("given")
    given, total = heard.words[plain.index("given")], heard.words[plain.index("total")]
    assert given.end == pytest.approx(1.0 + len(first) / RATE, abs=0.6)
    assert total.start == pytest.approx(3.5 + len(first) / RATE, abs=0.6)
    assert told[-1] == (heard.seconds, heard.seconds)
    assert [done for done, _ in told] == sorted(done for done, _ in told)


@pytest.mark.slow
def test_marks_stay_on_their_word(whisper: object, tmp_path: Path) -> None:
    sound = np.concatenate([test_segments.quiet(0.5), speak("Zero point two five percent bupivacaine."),
                            test_segments.quiet(0.5)])
    heard = listen.hear(wav(tmp_path / "x.wav", sound), engine=whisper, bias=["bupivacaine"])
    assert not any(word.text[0] in ".,%-" for word in heard.words)


@pytest.mark.slow
def test_an_unknown_language_is_told(whisper: object) -> None:
    with pytest.raises(EngineUnavailable, match="xx"):
        whisper.open(Options(language="xx"))  # type: ignore[attr-defined]


@pytest.mark.slow
def test_more_bias_than_fits_is_cut_at_whole_terms(whisper: object, tmp_path: Path) -> None:
    many = [f"{stem}{ending}" for ending in ("itis", "ectomy", "otomy", "oplasty")
            for stem in ("acromi", "bursa", "capsul", "chondr", "disc", "fasci", "lamin", "menisc", "oste", "patell",
                         "periost", "spondyl", "synovi", "tendin", "tenosynovi", "arthr", "burs", "condyl", "epicondyl",
                         "trochanter")]
    assert len(safe_bias(many)) == BIAS_LIMIT
    path = wav(tmp_path / "x.wav", np.concatenate([test_segments.quiet(0.5), speak(SAID[1]), test_segments.quiet(0.5)]))
    heard = listen.hear(path, engine=whisper, bias=many)
    assert "complications" in text_of(heard.words).casefold()
    assert not any(term in text_of(heard.words) for term in many)
