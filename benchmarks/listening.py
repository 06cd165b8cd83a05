"""How well the product hears (`make bench-listening`, ARGS="--full" for everything).

One table a recogniser: word error (jiwer), critical-word error by class, with and without bias words, with and without
the repair of terms, clean and in theatre noise, tuning half and test half apart; dropped phrases; invented words on ten
minutes of non-speech; real-time factor, seconds from the end of an utterance to its text, load time, peak memory; how
many wrong numbers the second reading flags, and how many right ones. Human read speech where ../shared/speech is.

The default run hears 14 recordings, about a quarter of an hour of sound, by rotating voices; `--full` hears all
dictations by all voices in all conditions (hours). What was heard is kept in benchmarks/work/heard, by the sound, the
engine's code and the model, so that a second run only scores; `--again` hears anew. Times are those of the run that
heard. "Without bias" is the second reading of the same stretches.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import resource
import sys
import time
import zlib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import median

import jiwer
import listening_corpus as corpus
import words

from pipeline import audio, grammar, listen, plugins, readings, repair, wordlist
from pipeline.engines.base import Engine, Options, safe_bias
from pipeline.grammar import Grammar
from pipeline.records import Word
from pipeline.rows import Unit

ROOT = Path(__file__).resolve().parent.parent
HEARD = corpus.WORK / "heard"
SPEECH = ROOT.parent / "shared" / "speech"
# A run of at least so many words of the script with nothing heard for them is a dropped phrase.
DROPPED = 4
CODE = ("pipeline/listen.py", "pipeline/segments.py", "pipeline/engines/base.py")


@dataclass(frozen=True)
class Job:
    dictation: corpus.Dictation
    voice: str
    condition: str


@dataclass
class Run:
    """One recording heard once. `took`: seconds of work for each utterance, with its length."""

    words: tuple[Word, ...]
    others: dict[int, tuple[str, ...]]
    seconds: float
    wall: float
    took: list[tuple[float, float]]


@dataclass
class Row:
    """One line of the table."""

    errors: words.Errors = field(default_factory=words.Errors)
    dropped: int = 0
    changed: int = 0


def main() -> int:
    options = arguments()
    rules = grammar.load()
    jobs = chosen(options.full)
    hearer = Hearer(options.engine, options.model, rules, options.again, options.mark)
    for half in ("tuning", "test"):
        for condition in corpus.CONDITIONS:
            some = [job for job in jobs if job.dictation.half == half and job.condition == condition]
            if some:
                table(f"{half} half, {condition}", some, hearer, rules)
    figures(hearer)
    silence(hearer)
    human(hearer, rules, options.utterances)
    return 0


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--engine", default=listen.DEFAULT_ENGINE)
    parser.add_argument("--model")
    parser.add_argument("--full", action="store_true", help="every dictation, voice and condition: hours")
    parser.add_argument("--mark", help="score what an earlier state of the engine heard (its mark in the file names)")
    parser.add_argument("--again", action="store_true", help="hear anew what was heard before")
    parser.add_argument("--utterances", type=int, default=20, help="of human read speech (default 20)")
    return parser.parse_args()


def chosen(full: bool) -> list[Job]:
    """All, or: of each half five clean by different voices, and one in each noise by the neural voice."""
    voices = corpus.voices()
    all_of = corpus.dictations()
    if full:
        return [Job(one, voice, level) for one in all_of for voice in voices for level in corpus.CONDITIONS]
    jobs = []
    for half in ("tuning", "test"):
        these = [one for one in all_of if one.half == half]
        jobs += [Job(one, voices[at % len(voices)], "clean") for at, one in enumerate(these[:5])]
        jobs += [Job(these[6], voices[0], "15dB"), Job(these[7], voices[0], "5dB")]
    return jobs


class Hearer:
    """Hears recordings with one engine, or reads what it heard before."""

    def __init__(self, name: str, model: str | None, rules: Grammar, again: bool, mark: str | None = None) -> None:
        self.name, self._model, self._again = name, model, again
        self._rules = rules
        self._engine: Engine | None = None
        self.load_seconds: float | None = None
        self.runs: list[Run] = []
        self._units = [phrase for row in rules.table("units", Unit).values() for phrase in row.say]
        code = "".join((ROOT / file).read_text() for file in (*CODE, f"pipeline/engines/{name}.py"))
        self._mark = mark or hashlib.sha256(f"{code}{model}".encode()).hexdigest()[:12]

    def engine(self) -> Engine:
        if self._engine is None:
            began = time.perf_counter()
            self._engine = plugins.find(listen.ENGINES, self.name).load(self._model)
            self.load_seconds = time.perf_counter() - began
        assert self._engine is not None
        return self._engine

    def hear(self, path: Path, family: str | None) -> Run:
        """Without a family: without bias."""
        bias = safe_bias(self._rules.family(family).bias, self._units) if family else ()
        mark = hashlib.sha256("|".join(bias).encode()).hexdigest()[:8]
        store = HEARD / f"{path.stem}.{self.name}.{self._mark}.{mark}.json"
        if store.exists() and not self._again:
            run = _stored(store)
        else:
            run = self._hear(path, bias)
            _store(store, run, path.name)
        self.runs.append(run)
        return run

    def kept(self, dictation: corpus.Dictation, voice: str, condition: str) -> Run | None:
        """What was heard before of a dictation, by whatever state of the engine heard it last; None for nothing."""
        mark = zlib.crc32(dictation.text.encode())
        stores = HEARD.glob(f"{dictation.name}-{mark:08x}.{voice}.{condition}.{self.name}.*.json")
        newest = max(stores, key=lambda path: path.stat().st_mtime, default=None)
        return _stored(newest) if newest else None

    def _hear(self, path: Path, bias: Sequence[str]) -> Run:
        sound = audio.inspect(path)
        listener = listen.Listener(self.engine(), Options(bias=tuple(bias), alternatives=1))
        took = []
        began = last = time.perf_counter()
        for piece in [*audio.pieces(sound), None]:
            results = listener.finish() if piece is None else listener.feed(piece)
            last = time.perf_counter()
            for result in results:
                now = time.perf_counter()
                if result.final and listener.segments:
                    segment = listener.segments[-1]
                    took.append((now - last, segment.end - segment.start))
                last = time.perf_counter()
        return Run(tuple(listener.words), dict(listener.alternatives), sound.seconds, time.perf_counter() - began, took)


def _store(path: Path, run: Run, source: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    held = json.loads(wordlist.dump(wordlist.WordList(run.words, (), source, "", run.seconds)))
    rest = {"others": run.others, "wall": run.wall, "took": run.took}
    path.write_text(json.dumps({"words": held, **rest}), encoding="utf-8")


def _stored(path: Path) -> Run:
    held = json.loads(path.read_text(encoding="utf-8"))
    these = tuple(Word(**{**row, "others": tuple(row.get("others", ()))}) for row in held["words"]["words"])
    others = {int(segment): tuple(texts) for segment, texts in held["others"].items()}
    return Run(these, others, held["words"]["seconds"], held["wall"], [tuple(pair) for pair in held["took"]])


def table(title: str, jobs: Sequence[Job], hearer: Hearer, rules: Grammar) -> None:
    """Errors of one half in one condition, four ways, and what the second reading flags."""
    ways = {(bias, mend): Row() for bias in (False, True) for mend in (False, True)}
    flags: Counter[str] = Counter()
    seconds = 0.0
    for job in jobs:
        path = corpus.recording(job.dictation, job.voice, job.condition)
        family = rules.family(job.dictation.family)
        run = hearer.hear(path, job.dictation.family)
        seconds += run.seconds
        biased = tuple(replace(word, others=()) for word in run.words)
        for bias in (False, True):
            for mend in (False, True):
                plain = biased if bias else unbiased(run)
                heard = repair.repair(plain, rules, family.bias) if mend else plain
                row = ways[bias, mend]
                errors = words.compare(job.dictation.text, heard, rules)
                row.errors.add(errors)
                row.dropped += dropped(errors)
                row.changed += sum(word.heard is not None for word in heard)
        mended = repair.repair(readings.compared(biased, run.others), rules, family.bias)
        flags.update(flagged(job.dictation.text, mended, rules))
    print(f"\n{title}: {len(jobs)} recordings, {seconds / 60:.1f} min, voices "
          f"{', '.join(dict.fromkeys(job.voice for job in jobs))}")  # fmt: skip
    print(f"{'bias':5}{'repair':7}{'words %':>8}{'critical %':>11}  " + "".join(f"{kind:>14}" for kind in words.CLASSES)
          + f"{'dropped':>9}{'repaired':>9}")  # fmt: skip
    for (bias, mend), row in ways.items():
        by_class = "".join(
            f"{f'{row.errors.critical_wrong[kind]}/{row.errors.critical[kind]}':>14}" for kind in words.CLASSES
        )
        print(f"{'yes' if bias else 'no':5}{'yes' if mend else 'no':7}{100 * row.errors.word_error:8.1f}"
              f"{100 * row.errors.critical_error:11.1f}  {by_class}{row.dropped:9}{row.changed:9}")  # fmt: skip
    wrong, right = flags["wrong"], flags["right"]
    print(f"numbers, units, sides: {flags['wrong flagged']} of {wrong} wrong ones flagged, "
          f"{flags['right flagged']} of {right} right ones flagged")  # fmt: skip
    if any(job.dictation.half == "tuning" for job in jobs):
        for kind, lost, made in ways[True, True].errors.examples:
            print(f"    [{kind}] {lost!r} <- {made!r}")


def unbiased(run: Run) -> tuple[Word, ...]:
    """What the same segments gave without bias words: the second reading, or the first where they are the same."""
    made: list[Word] = []
    for segment in dict.fromkeys(word.segment for word in run.words):
        own = [word.text for word in run.words if word.segment == segment]
        texts = run.others[segment][0].split() if segment in run.others else own
        made += [Word(len(made) + at, text, heard_by="whisper", segment=segment) for at, text in enumerate(texts)]
    return tuple(made)


def dropped(errors: words.Errors) -> int:
    return sum(not made and len(lost.split()) >= DROPPED for _, lost, made in errors.examples)


def flagged(truth: str, heard: Sequence[Word], rules: Grammar) -> Counter[str]:
    """Of the numbers, units, sides and negations heard: right and wrong ones, and those with another reading."""
    counts: Counter[str] = Counter()
    for item, right, words_of in words.judged(truth, heard, rules):
        if item.kind in ("number", "unit", "side", "negation"):
            key = "right" if right else "wrong"
            counts[key] += 1
            counts[f"{key} flagged"] += any(word.others for word in words_of)
    return counts


def figures(hearer: Hearer) -> None:
    """Speed and memory over all that was heard; each stretch was decoded twice, with bias words and without."""
    runs = hearer.runs
    seconds, wall = sum(run.seconds for run in runs), sum(run.wall for run in runs)
    took = [pair for run in runs for pair in run.took]
    short = [work for work, length in took if 3 <= length <= 8]
    load = f"{hearer.load_seconds:.1f} s" if hearer.load_seconds is not None else "not loaded: all was heard before"
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"\n{hearer.name}: real-time factor {wall / max(1.0, seconds):.2f} over {seconds / 60:.0f} min; "
          f"work per utterance median {median(work for work, _ in took):.1f} s, "
          f"of 3 to 8 s of speech {median(short) if short else float('nan'):.1f} s ({len(short)}); load {load}; "
          f"peak memory of this process {peak:.0f} MB")  # fmt: skip


def silence(hearer: Hearer) -> None:
    path = corpus.non_speech()
    run = hearer.hear(path, "laparoscopy")
    text = " ".join(word.text for word in run.words)
    print(f"non-speech, {run.seconds / 60:.0f} min with bias words: {len(run.words)} words invented {text[:200]!r}")


def human(hearer: Hearer, rules: Grammar, limit: int) -> None:
    """Human read speech (not about operations): word error, and what the repair does where nothing is to repair."""
    found = list(_read_speech(limit))
    if not found:
        print("human read speech: not there")
        return
    truths, heard, mended, touched = [], [], [], []
    for path, text in found:
        run = hearer.hear(path, None)
        after = repair.repair(run.words, rules)
        truths.append(_plain(text))
        heard.append(_plain(" ".join(word.text for word in run.words)) or "_")
        mended.append(_plain(" ".join(word.text for word in after)) or "_")
        touched += [f"{word.heard} -> {word.text}" for word in after if word.heard is not None]
    print(f"human read speech, {len(found)} utterances, no bias: word error {100 * jiwer.wer(truths, heard):.1f} %, "
          f"with repair {100 * jiwer.wer(truths, mended):.1f} %; repaired: {touched}")  # fmt: skip


def _read_speech(limit: int) -> Iterable[tuple[Path, str]]:
    """(sound, text) evenly from all speakers of a LibriSpeech-like folder."""
    lists = sorted(SPEECH.rglob("*.trans.txt"))
    rows = [(file, line) for file in lists for line in file.read_text(encoding="utf-8").splitlines()]
    for file, line in rows[:: max(1, len(rows) // max(1, limit))][:limit]:
        name, _, text = line.partition(" ")
        sound = next((path for path in file.parent.glob(f"{name}.*") if path.suffix in (".flac", ".wav", ".ogg")), None)
        if sound is not None:
            yield sound, text


def _plain(text: str) -> str:
    return " ".join("".join(sign if sign.isalnum() or sign == "'" else " " for sign in text.lower()).split())


if __name__ == "__main__":
    sys.exit(main())
